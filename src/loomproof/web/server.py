"""The server: a port of this machine alone, the address that lets one browser drive, and its end."""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Callable
from importlib.util import find_spec

from loomproof.errors import UsageError
from loomproof.web.answers import House
from loomproof.web.doors import Doors, Seat
from loomproof.web.guard import ENTRANCE
from loomproof.web.session import How, Session
from loomproof.web.workplace import Workplace, refuse_none

HOST = "127.0.0.1"
PATIENCE_S = 2
"""So long a page's open request may hold the end of the server up, s."""


def refuse_without_extra() -> None:
    """Refuse to serve where what the pages want is not installed: `UsageError`."""
    missing = [name for name in ("starlette", "uvicorn", "jinja2") if find_spec(name) is None]
    if missing:
        raise UsageError(
            f"the pages want what is not installed: {', '.join(missing)}",
            cure='Install it with: python -m pip install "loomproof[web]"',
        )


def serve(
    workplace: Workplace,
    ready: Callable[[str], None],
    *,
    port: int = 0,
    how: How = lambda _: "",
    session: Session | None = None,
) -> None:
    """Serve pages until an order to stop comes; ``ready`` gets the address that lets one browser drive.

    ``port`` 0 takes a free one. Raises `UsageError` for a port that is taken and without the extra ``web``,
    `DescriptionError` where there is no loom. Whatever job runs is stopped, and its bench released, before
    this returns.
    """
    refuse_without_extra()
    refuse_none(workplace)
    import uvicorn

    from loomproof.web.app import application

    with contextlib.closing(_listening(port)) as line:
        at = f"{HOST}:{line.getsockname()[1]}"
        house = House(workplace, session or Session(how), Doors(), f"http://{at}", how)
        app = application(house, frozenset({at, at.replace(HOST, "localhost")}), lambda: server.should_exit)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            timeout_graceful_shutdown=PATIENCE_S,
            lifespan="on",
        )
        server = uvicorn.Server(config)
        ready(f"{house.address}{ENTRANCE}?token={house.doors.invite(Seat.DRIVES)}")
        try:
            server.run(sockets=[line])
        finally:
            house.session.close()


def _listening(port: int) -> socket.socket:
    """Return a socket that listens on this machine alone. Raises `UsageError`."""
    line = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        line.bind((HOST, port))
    except OSError as error:
        line.close()
        raise UsageError(
            f"port {port} of this machine can't be used: {error.strerror}", cure="Take another, or none."
        ) from None
    line.listen()
    return line
