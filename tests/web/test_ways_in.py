"""Ways in besides the first address: back in after a lost cookie, and a phone on the network."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import socket
import subprocess
import sys
from pathlib import Path

import httpx
import pytest

from loomproof.errors import UsageError
from loomproof.web.answers import House
from loomproof.web.app import POSTS
from loomproof.web.doors import Doors, Seat
from loomproof.web.guard import TICKS
from loomproof.web.lan import CODE_LASTS_S, MEANING, address_here
from tests.web.asking import HOST, LAN, LOOMS, client, house


def come_in(doors: Doors, seat: Seat) -> str:
    cookie = doors.enter(doors.invite(seat))
    assert cookie is not None
    return cookie


def by_phone(of: House, path: str, *, method: str = "GET", seat: Seat | None = Seat.FITS) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(of, seat, phone=True) as asks:
            return await asks.request(method, path)

    return asyncio.run(ask())


def test_one_browser_drives_and_the_one_before_watches() -> None:
    doors = Doors()
    first, watches = come_in(doors, Seat.DRIVES), come_in(doors, Seat.WATCHES)
    never_used = doors.invite(Seat.DRIVES)
    second = come_in(doors, Seat.DRIVES)
    assert [doors.seat(each) for each in (first, watches, second)] == [
        Seat.WATCHES,
        Seat.WATCHES,
        Seat.DRIVES,
    ]
    assert doors.enter(never_used) is None


def test_nobody_drives_from_another_machine() -> None:
    doors = Doors()
    token, drives = doors.invite(Seat.DRIVES), None
    assert doors.enter(token, here=False) is None
    assert doors.enter(token) is None  # who had it elsewhere may not pass it on either
    drives = come_in(doors, Seat.DRIVES)
    assert doors.seat(drives, here=False) is None
    fits = doors.enter(doors.invite(Seat.FITS), here=False)
    assert fits is not None
    assert doors.seat(fits, here=False) is Seat.FITS


def test_a_code_lasts_for_a_while_and_ways_in_are_taken_back() -> None:
    time_s = [50.0]
    doors = Doors(lambda: time_s[0])
    late, early, open_still = (doors.invite(Seat.FITS, CODE_LASTS_S) for _ in range(3))
    time_s[0] += CODE_LASTS_S
    cookie = doors.enter(early)
    assert cookie is not None
    drives = come_in(doors, Seat.DRIVES)
    doors.send_away()
    assert (doors.seat(cookie), doors.seat(drives)) == (None, Seat.DRIVES)
    assert doors.enter(open_still) is None
    time_s[0] += 1.0
    assert doors.enter(late) is None


def test_a_phone_comes_in_by_the_code_on_the_page_at_the_bench(tmp_path: Path) -> None:
    of = house(tmp_path, lan=True)

    async def shown() -> str:
        async with client(of) as asks:
            return (await asks.post("/watchers")).text

    page = asyncio.run(shown())
    assert "<svg" in page
    assert all(text in page for text in MEANING)
    way = re.search(rf"http://{re.escape(LAN)}(/enter[^<]*)<", page)
    assert way is not None
    came = by_phone(of, way[1], seat=None)
    assert (came.status_code, "set-cookie" in came.headers) == (200, True)
    assert by_phone(of, way[1], seat=None).status_code == 403
    assert "ticks the fitting sheet" in by_phone(of, "/prove").text


@pytest.mark.parametrize("path", sorted(POSTS))
def test_a_phone_changes_nothing_but_ticks(path: str, tmp_path: Path) -> None:
    of = house(tmp_path, lan=True)
    found = by_phone(of, path, method="POST")
    assert (found.status_code == 403) is (TICKS.fullmatch(path) is None)
    # Not even with the cookie of who drives: it is worth nothing from there.
    assert by_phone(of, path, method="POST", seat=Seat.DRIVES).status_code == 403


def test_without_it_no_name_but_this_machines_is_answered(tmp_path: Path) -> None:
    assert by_phone(house(tmp_path), "/prove").status_code == 403
    assert by_phone(house(tmp_path, lan=True), "/prove").status_code == 200


def test_each_name_of_the_server_is_a_site_of_its_own(tmp_path: Path) -> None:
    """A page that came over the network, where anyone can write into it, asks nothing of the bench's own."""
    of = house(tmp_path, lan=True)

    async def ask() -> list[int]:
        async with client(of) as asks:
            return [
                (await asks.post("/prove/life", headers={"origin": f"http://{host}"})).status_code
                for host in (HOST, LAN)
            ]

    assert asyncio.run(ask()) == [200, 403]


def test_without_a_network_no_phone_is_let_in(monkeypatch: pytest.MonkeyPatch) -> None:
    def unreachable(*_: object) -> None:
        raise OSError("Network is unreachable")

    monkeypatch.setattr(socket.socket, "connect", unreachable)
    with pytest.raises(UsageError, match="no network"):
        address_here()


def test_enter_at_the_terminal_prints_a_way_back_in(tmp_path: Path) -> None:
    """On a real terminal, with the server listening on the network too where there is one."""
    pty = pytest.importorskip("pty", reason="this system has no pseudo-terminals")
    try:
        here = address_here()
    except UsageError:
        here = ""
    ours, theirs = pty.openpty()
    words = ["serve", str(LOOMS / "tail_lamp"), "--out", str(tmp_path), "--store", str(tmp_path / "r.db")]
    run = [sys.executable, "-c", "from loomproof.cli.main import main; main()", *words]
    with subprocess.Popen(
        [*run, *(["--lan"] if here else [])], stdin=theirs, stdout=subprocess.PIPE, text=True
    ) as server:
        os.close(theirs)
        try:
            first = _address(server)
            os.write(ours, b"\n")
            second = _address(server)
            assert httpx.get(first).status_code == 403  # what was not used is put out of use
            with httpx.Client() as browser:
                assert browser.get(second).status_code == 200
                base = second.partition("/enter")[0]
                assert browser.get(base).status_code == 200
                if here:
                    port = base.rpartition(":")[2]
                    assert "not come in" in httpx.get(f"http://{here}:{port}/").text
                    stranger = httpx.get(f"http://{here}:{port}/", headers={"host": f"localhost:{port}"})
                    assert "not come in" in stranger.text
        finally:
            server.send_signal(signal.SIGINT)
            server.communicate(timeout=60)
            os.close(ours)


def _address(server: subprocess.Popen[str]) -> str:
    assert server.stdout is not None
    return next(line.strip() for line in server.stdout if line.startswith("http://"))
