"""A server in process, asked over ASGI as a browser asks: Host, Origin, cookie."""

from __future__ import annotations

from pathlib import Path

import httpx

from loomproof.web.answers import House
from loomproof.web.app import application
from loomproof.web.doors import Doors, Seat
from loomproof.web.session import Session
from loomproof.web.workplace import Workplace

HOST = "127.0.0.1:4711"
ADDRESS = f"http://{HOST}"
ROOT = Path(__file__).parents[2]
LOOMS = ROOT / "fixtures"


def house(out: Path, looms: Path = LOOMS) -> House:
    return House(Workplace(looms, out, str(out / "records.db")), Session(), Doors(), ADDRESS)


def client(of: House, seat: Seat | None = Seat.DRIVES) -> httpx.AsyncClient:
    """Return a browser of this seat, that has not come in where there is none."""
    line = httpx.ASGITransport(application(of, frozenset({HOST})))
    asks = httpx.AsyncClient(transport=line, base_url=ADDRESS, headers={"origin": ADDRESS})
    if seat is not None:
        cookie = of.doors.enter(of.doors.invite(seat))
        assert cookie is not None
        asks.cookies.set("loomproof_4711", cookie, domain="127.0.0.1")
    return asks
