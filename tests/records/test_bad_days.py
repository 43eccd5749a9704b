"""What may go wrong with a store: nothing is lost, nothing is half-written, and the error says what to do.

Power loss itself is not tested: SQLite is set to write synchronously (PRAGMA synchronous = FULL), so a
commit is on the disk before it is reported, as far as the disk tells the truth.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import text

from loomproof.errors import StoreError
from loomproof.records import engine
from loomproof.records.backup import backup
from loomproof.records.integrity import check_store
from loomproof.records.keys import Signer
from loomproof.records.store import Store, open_store
from tests.records import postgres
from tests.reports.sample import document

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def shim(tmp_path_factory: pytest.TempPathFactory) -> Path:
    compiler = shutil.which("cc")
    if compiler is None or not sys.platform.startswith("linux"):
        pytest.skip("killing at each write needs Linux and a C compiler")
    built = tmp_path_factory.mktemp("shim") / "dying.so"
    source = str(Path(__file__).with_name("dying.c"))
    subprocess.run([compiler, "-shared", "-fPIC", "-O1", "-o", str(built), source, "-ldl"], check=True)
    return built


@pytest.mark.parametrize(
    "half",
    [
        pytest.param(0, id="before the write", marks=pytest.mark.campaign),
        pytest.param(1, id="with half of it written"),
    ],
)
def test_a_process_killed_at_any_write_leaves_all_or_nothing(shim: Path, tmp_path: Path, half: int) -> None:
    environment = {**os.environ, "LD_PRELOAD": str(shim), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-m", "tests.records.dying", str(tmp_path), str(half)],
        env=environment,
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    deaths = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(deaths) > 5, "a sealing has more writes than that"
    assert [death["died"] for death in deaths] == [True] * (len(deaths) - 1) + [False]
    for death in deaths:
        assert death["runs"] in (["before"], ["before", "during"]), death
        assert death["whole"], death
        assert death["troubles"] == [], death
    assert {tuple(death["runs"]) for death in deaths} == {("before",), ("before", "during")}


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A disk of one megabyte of its own."""
    folder = Path(tempfile.mkdtemp(prefix="loomproof-disk-"))
    mount = ["mount", "-t", "tmpfs", "-o", "size=1m", "tmpfs", str(folder)]
    if os.geteuid() != 0 or subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        folder.rmdir()
        pytest.skip("a small disk cannot be mounted here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
        folder.rmdir()


def fill_until_refused(store: Store, signer: Signer) -> tuple[int, StoreError]:
    for number in range(5000):
        try:
            store.seal_run(document(run=f"r{number}"), signer, os.urandom(20_000))
        except StoreError as error:
            return number, error
    raise AssertionError("the disk never filled")


def test_a_full_disk_keeps_what_was_there_and_says_so(small_disk: Path, signer: Signer) -> None:
    path = str(small_disk / "records.db")
    with open_store(path) as store:
        kept, error = fill_until_refused(store, signer)
    assert kept > 3
    assert "disk" in error.message
    assert "Make room" in error.cure or "room" in error.cure
    with open_store(path) as store:
        assert [run.run for run in store.runs()] == [f"r{number}" for number in range(kept)]
        assert check_store(store).troubles == ()


def test_a_backup_to_a_full_disk_leaves_no_half_file(
    small_disk: Path, tmp_path: Path, signer: Signer
) -> None:
    with open_store(str(tmp_path / "records.db")) as store:
        for number in range(60):
            store.seal_run(document(run=f"r{number}"), signer, os.urandom(30_000))
        with pytest.raises(StoreError):
            backup(store, small_disk / "backup.db")
        assert list(small_disk.iterdir()) == []
        assert len(store.runs()) == 60


def test_a_database_that_may_not_grow_refuses_and_stays_whole(url: str, signer: Signer) -> None:
    """The same without a mounted disk: the database's own limit (SQLite) or tablespace-free refusal."""
    if "://" in url:
        pytest.skip("SQLite's own limit")
    with open_store(url) as store:
        store.seal_run(document(run="a"), signer)
        with store.reading() as connection:
            pages = connection.execute(text("PRAGMA page_count")).scalar_one()
            connection.execute(text(f"PRAGMA max_page_count = {pages + 2}"))
        with pytest.raises(StoreError, match="disk is full"):
            store.seal_run(document(run="b"), signer, os.urandom(100_000))
        assert [run.run for run in store.runs()] == ["a"]
    with open_store(url) as store:
        assert check_store(store).troubles == ()
        assert store.seal_run(document(run="b"), signer).run.sequence == 2


@contextmanager
def other_user() -> Iterator[None]:
    """Act as a user whom rights bind, where the tests run as root."""
    if os.geteuid() != 0:
        yield
        return
    import pwd

    os.seteuid(pwd.getpwnam("nobody").pw_uid)
    try:
        yield
    finally:
        os.seteuid(0)


def test_a_store_made_read_only_is_read_and_not_written(tmp_path: Path, signer: Signer) -> None:
    """As another user where the tests run as root, whom rights do not bind."""
    shared = Path(tempfile.mkdtemp(prefix="loomproof-ro-"))
    try:
        path = shared / "records.db"
        with open_store(str(path)) as store:
            store.seal_run(document(run="a"), signer)
        path.chmod(0o444)
        shared.chmod(0o555)
        with other_user(), open_store(str(path)) as store:
            assert [run.run for run in store.runs()] == ["a"]
            assert check_store(store).troubles == ()
            with pytest.raises(StoreError, match="may only be read") as caught:
                store.seal_run(document(run="b"), signer)
            assert caught.value.cure
        assert path.stat().st_mode & 0o777 == 0o444
    finally:
        shared.chmod(0o755)
        shutil.rmtree(shared)


def test_a_read_only_postgresql_says_so(server: postgres.Server, signer: Signer) -> None:
    url = server.database()
    with open_store(url) as store:
        store.seal_run(document(run="a"), signer)
        with store.writing() as connection:
            name = connection.execute(text("SELECT current_database()")).scalar_one()
            connection.execute(text(f"ALTER DATABASE {name} SET default_transaction_read_only = on"))
    with open_store(url) as store:
        assert [run.run for run in store.runs()] == ["a"]
        with pytest.raises(StoreError, match="may only be read"):
            store.seal_run(document(run="b"), signer)


def test_a_writer_that_holds_the_store_too_long_is_named(
    tmp_path: Path, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = str(tmp_path / "records.db")
    open_store(path).close()
    monkeypatch.setattr(engine, "BUSY_S", 0)
    blocker = sqlite3.connect(path, isolation_level=None)
    blocker.execute("BEGIN IMMEDIATE")
    try:
        with open_store(path) as store, pytest.raises(StoreError, match="held the store for too long"):
            store.seal_run(document(), signer)
    finally:
        blocker.close()


@pytest.mark.parametrize("content", [b"no database at all" * 100, b"SQLite format 3\0" + b"\xff" * 4096])
def test_a_file_that_is_no_store_is_left_as_it_is(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "records.db"
    path.write_bytes(content)
    with pytest.raises(StoreError) as caught:
        open_store(str(path))
    assert caught.value.cure
    assert path.read_bytes() == content


def test_a_folder_that_cannot_be_made_is_named(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match="cannot be made"):
        open_store(None, tmp_path / "file" / "folder")
    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(str(tmp_path / "nowhere" / "records.db"))


def test_a_postgresql_that_goes_away_loses_nothing_that_was_kept(
    server: postgres.Server, signer: Signer
) -> None:
    url = server.database()
    with open_store(url) as store:
        store.seal_run(document(run="a"), signer)
        ending = text("SELECT pg_terminate_backend(pg_backend_pid())")
        with pytest.raises(StoreError), store.writing() as connection:  # noqa: PT012  # one transaction
            connection.execute(text("INSERT INTO benches (name) VALUES ('half')"))
            connection.execute(ending)
        assert [run.run for run in store.runs()] == ["a"]
        store.seal_run(document(run="b"), signer)
        assert check_store(store).troubles == ()
        with store.reading() as connection:
            assert connection.execute(text("SELECT count(*) FROM benches")).scalar_one() == 1
