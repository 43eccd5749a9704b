"""A server in process, asked over ASGI as a browser asks: Host, Origin, cookie."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import httpx

from loomproof.web.answers import House
from loomproof.web.app import application
from loomproof.web.doors import Doors, Seat
from loomproof.web.session import Session
from loomproof.web.workplace import Workplace

HOST = "127.0.0.1:4711"
LAN = "192.168.7.2:4711"
ADDRESS = f"http://{HOST}"
ROOT = Path(__file__).parents[2]
LOOMS = ROOT / "fixtures"
PATIENCE_S = 60.0
"""So long a job may take on a machine that others load."""


def house(out: Path, looms: Path = LOOMS, *, lan: bool = False) -> House:
    place = Workplace(looms, out, str(out / "records.db"))
    return House(place, Session(), Doors(), ADDRESS, lan=f"http://{LAN}" if lan else "")


def client(of: House, seat: Seat | None = Seat.DRIVES, *, phone: bool = False) -> httpx.AsyncClient:
    """Return a browser of this seat, that has not come in where there is none; a phone asks over the LAN."""
    host, comes_from = (LAN, "192.168.7.40") if phone else (HOST, "127.0.0.1")
    hosts = frozenset({HOST, LAN} if of.lan else {HOST})
    line = httpx.ASGITransport(application(of, hosts), client=(comes_from, 40_000))
    asks = httpx.AsyncClient(transport=line, base_url=f"http://{host}", headers={"origin": f"http://{host}"})
    if seat is not None:
        cookie = of.doors.enter(of.doors.invite(seat))
        assert cookie is not None
        asks.cookies.set("loomproof_4711", cookie, domain=host.partition(":")[0])
    return asks


def join(session: Session) -> dict[str, Any]:
    """Wait for the job's own end, and return all that a page sees then."""
    for thread in threading.enumerate():
        if thread.name == "job":
            thread.join(PATIENCE_S)
            assert not thread.is_alive()
    return session.since(0)
