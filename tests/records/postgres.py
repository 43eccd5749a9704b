"""A PostgreSQL server of the tests' own: made, started and removed here, reached by a socket only."""

from __future__ import annotations

import functools
import getpass
import itertools
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import psycopg


def programs() -> Path | None:
    """Return the folder of PostgreSQL's programs, the newest one, or ``None`` where it is not installed."""
    found = shutil.which("initdb")
    if found and shutil.which("pg_ctl"):
        return Path(found).parent
    folders = [path.parent for path in Path("/usr/lib/postgresql").glob("*/bin/initdb")]
    return max(folders, key=lambda folder: int(folder.parent.name), default=None)


class Server:
    """A running server; databases are made on demand."""

    def __init__(self, folder: Path, user: str, control: Callable[..., None]) -> None:
        self.folder = folder
        self.user = user
        self._control = control
        self._numbers = itertools.count(1)

    def url(self, database: str) -> str:
        """Return the URL of a database."""
        return f"postgresql://{self.user}@/{database}?host={self.folder}"

    def kill(self) -> None:
        """End the server as a power cut does: who is connected is dropped, nothing is written any more."""
        self._control("-m", "immediate", "stop")

    def start(self) -> None:
        """Start it again; it recovers what was committed."""
        self._control("start")

    def database(self) -> str:
        """Make an empty database and return its URL."""
        name = f"store{next(self._numbers)}"
        with psycopg.connect(
            host=str(self.folder), user=self.user, dbname="postgres", autocommit=True
        ) as connection:
            connection.execute(f"CREATE DATABASE {name} TEMPLATE template0".encode())
        return self.url(name)


@contextmanager
def running(options: str = "") -> Iterator[Server]:
    """Start a server, and stop and remove it afterwards.

    PostgreSQL refuses to run as root; then it runs as the user ``postgres`` that its package makes.
    """
    where = programs()
    assert where is not None, "PostgreSQL is not installed"
    folder = Path(tempfile.mkdtemp(prefix="loomproof-pg-"))
    user, prefix = getpass.getuser(), []
    if os.geteuid() == 0:
        user, prefix = "postgres", ["runuser", "-u", "postgres", "--"]
        import pwd

        owner = pwd.getpwnam(user)
        os.chown(folder, owner.pw_uid, owner.pw_gid)

    def run(program: str, *arguments: str) -> None:
        done = subprocess.run(
            [*prefix, str(where / program), *arguments],
            cwd=folder,
            capture_output=True,
            text=True,
            check=False,
        )
        assert done.returncode == 0, f"{program}: {done.stderr or done.stdout}"

    data = str(folder / "data")
    # Stops and removes the server when this process lets go of the pipe, also when it is killed.
    stop = f"{' '.join(prefix)} {where / 'pg_ctl'} -D {data} -w -m immediate stop; rm -rf {folder}"
    keeper = subprocess.Popen(
        ["sh", "-c", f"read _; {stop}"],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        cwd="/",
        start_new_session=True,
    )
    try:
        run("initdb", "-D", data, "-U", user, "--auth=trust", "--no-sync", "--encoding=UTF8", "--locale=C")
        settings = f"-k {folder} -c listen_addresses='' -c max_connections=120 {options}"
        control = functools.partial(
            run, "pg_ctl", "-D", data, "-w", "-l", str(folder / "log"), "-o", settings
        )
        control("start")
        yield Server(folder, user, control)
    finally:
        assert keeper.stdin is not None
        keeper.stdin.close()
        keeper.wait()
