"""The server: a port of this machine alone, the address that lets one browser drive, and its end."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable, Iterable
from importlib.util import find_spec

from loomproof.errors import UsageError
from loomproof.installed import adding
from loomproof.web.answers import House
from loomproof.web.doors import Doors, Seat
from loomproof.web.guard import ENTRANCE
from loomproof.web.lan import address_here
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
            cure=adding("web"),
        )


def serve(
    workplace: Workplace,
    ready: Callable[[str], None],
    *,
    port: int = 0,
    how: How = lambda _: "",
    session: Session | None = None,
    knocks: Iterable[object] = (),
    lan: bool = False,
) -> None:
    """Serve pages until an order to stop comes; ``ready`` gets the address that lets one browser drive.

    ``port`` 0 takes a free one. For each of ``knocks`` ``ready`` gets a new such address: the way back in of
    whoever is at the server's terminal; the browser that drove before watches once it is used. With ``lan``
    phones on this machine's network reach the pages too, to watch and to tick the fitting sheet.

    Raises `UsageError` for a port that is taken, without the extra ``web`` and without a network, and
    `DescriptionError` where there is no loom. Whatever job runs is stopped, and its bench released, before
    this returns.
    """
    refuse_without_extra()
    refuse_none(workplace)
    import uvicorn

    from loomproof.web.app import application
    from loomproof.web.cures import on_pages

    how = on_pages(how)

    with contextlib.ExitStack() as lines:
        line = lines.enter_context(_listening(HOST, port))
        port = line.getsockname()[1]
        sockets, hosts, phones = [line], {f"{HOST}:{port}", f"localhost:{port}"}, ""
        if lan:
            here = address_here()
            sockets.append(lines.enter_context(_listening(here, port)))
            hosts.add(f"{here}:{port}")
            phones = f"http://{here}:{port}"
        house = House(workplace, session or Session(how), Doors(), f"http://{HOST}:{port}", how, phones)
        app = application(house, frozenset(hosts), lambda: server.should_exit)
        config = uvicorn.Config(
            app,
            log_level="warning",
            access_log=False,
            server_header=False,
            # Whoever sends a request must not say itself from where it comes.
            proxy_headers=False,
            timeout_graceful_shutdown=PATIENCE_S,
            lifespan="on",
        )
        server = uvicorn.Server(config)

        def let_in() -> None:
            ready(f"{house.address}{ENTRANCE}?token={house.doors.invite(Seat.DRIVES)}")

        def let_in_again() -> None:
            for _ in knocks:
                let_in()

        let_in()
        threading.Thread(target=let_in_again, name="knocks", daemon=True).start()
        try:
            server.run(sockets=sockets)
        finally:
            house.session.close()


def _listening(host: str, port: int) -> socket.socket:
    """Return a socket that listens at one address of this machine. Raises `UsageError`."""
    line = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        line.bind((host, port))
    except OSError as error:
        line.close()
        raise UsageError(
            f"port {port} of this machine can't be used: {error.strerror}", cure="Take another, or none."
        ) from None
    line.listen()
    return line
