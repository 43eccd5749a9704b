"""Who may come in: what a browser sends is checked before any page sees it."""

from __future__ import annotations

import asyncio
import re
from collections.abc import AsyncIterator, Mapping
from pathlib import Path

import httpx
import pytest

from loomproof.web.answers import House
from loomproof.web.app import GETS, POSTS
from loomproof.web.doors import Doors, Seat
from loomproof.web.guard import MOST_BYTES
from tests.web.asking import ADDRESS, HOST, client, house


def asked(
    of: House,
    path: str,
    *,
    method: str = "GET",
    seat: Seat | None = Seat.DRIVES,
    headers: Mapping[str, str] | None = None,
    content: bytes = b"",
) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(of, seat) as asks:
            return await asks.request(method, path, headers=headers, content=content)

    return asyncio.run(ask())


def test_a_token_opens_once_and_its_cookie_stays() -> None:
    doors = Doors()
    token = doors.invite(Seat.DRIVES)
    cookie = doors.enter(token)
    assert cookie is not None
    assert doors.seat(cookie) is Seat.DRIVES
    assert doors.enter(token) is None
    assert doors.enter("") is None
    assert doors.seat("") is None
    assert doors.seat(token) is None


def test_the_address_lets_in_once_with_a_strict_cookie(tmp_path: Path) -> None:
    of = house(tmp_path)
    way = f"/enter?token={of.doors.invite(Seat.DRIVES)}"
    first = asked(of, way, seat=None)
    assert first.status_code == 200
    said = first.headers["set-cookie"]
    assert {"HttpOnly", "SameSite=Strict", "Path=/"} <= set(said.split("; "))
    again = asked(of, way, seat=None)
    assert again.status_code == 403
    assert "set-cookie" not in again.headers
    cookie = said.partition(";")[0]
    assert asked(of, "/", seat=None, headers={"cookie": cookie}).status_code == 200


@pytest.mark.parametrize("path", sorted(GETS) + sorted(POSTS) + ["/static/bench.css", "/prove/events", "/x"])
def test_nothing_is_shown_to_strangers(path: str, tmp_path: Path) -> None:
    of = house(tmp_path)
    for method in ("GET", "POST"):
        assert asked(of, path, method=method, seat=None).status_code == 403


@pytest.mark.parametrize("path", sorted(POSTS))
def test_who_watches_changes_nothing(path: str, tmp_path: Path) -> None:
    found = asked(house(tmp_path), path, method="POST", seat=Seat.WATCHES)
    assert found.status_code == 403
    assert "watches" in found.text


@pytest.mark.parametrize(
    "headers",
    [
        {"host": "evil.example:4711"},
        {"host": "127.0.0.1"},
        {"host": "127.0.0.1:4712"},
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": ADDRESS.replace("http", "https")},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
    ],
)
def test_another_page_of_the_same_browser_gets_nothing(headers: dict[str, str], tmp_path: Path) -> None:
    """A name that was made to point here (the Host), and a form or script of another site (the others)."""
    of = house(tmp_path)
    assert asked(of, "/prove/stop", method="POST", headers=headers).status_code == 403
    assert asked(of, "/", headers=headers).status_code == 403
    assert asked(of, "/", headers={"host": HOST}).status_code == 200


def test_what_changes_something_says_where_it_comes_from(tmp_path: Path) -> None:
    async def ask() -> int:
        async with client(house(tmp_path)) as asks:
            del asks.headers["origin"]
            return (await asks.post("/prove/stop")).status_code

    assert asyncio.run(ask()) == 403


def test_every_answer_forbids_scripts_that_are_not_ours(tmp_path: Path) -> None:
    of = house(tmp_path)
    for path, seat in (
        ("/", Seat.DRIVES),
        ("/static/live.js", Seat.DRIVES),
        ("/no", Seat.DRIVES),
        ("/", None),
    ):
        found = asked(of, path, seat=seat)
        policy = dict(
            rule.strip().partition(" ")[::2] for rule in found.headers["content-security-policy"].split(";")
        )
        assert policy["default-src"] == "'none'"
        assert policy["script-src"] == "'self'"
        assert policy["frame-ancestors"] == "'none'"
        assert found.headers["x-content-type-options"] == "nosniff"


def test_a_request_brings_no_more_than_a_form(tmp_path: Path) -> None:
    of = house(tmp_path)
    said = {"content-type": "application/x-www-form-urlencoded"}
    most = b"a=" + b"x" * (MOST_BYTES - 2)
    assert asked(of, "/mend", method="POST", headers=said, content=most).status_code == 400
    assert asked(of, "/mend", method="POST", headers=said, content=most + b"x").status_code == 413

    async def in_pieces() -> int:
        async def pieces() -> AsyncIterator[bytes]:
            for _ in range(20):
                yield b"x" * 8192

        async with client(of) as asks:
            return (await asks.post("/mend", content=pieces(), headers=said)).status_code

    assert asyncio.run(in_pieces()) == 413


@pytest.mark.parametrize(
    "path",
    [
        "/looms/%2e%2e",
        "/looms/..%2f..%2fetc",
        "/looms/%2fetc%2fpasswd",
        "/runs/..%2frecords.db",
        "/runs/%2fetc%2fpasswd",
        "/runs/x.results.json",
        "/static/../app.py",
        "/static/..%2fapp.py",
    ],
)
def test_no_path_leads_to_a_file(path: str, tmp_path: Path) -> None:
    (tmp_path / "x.results.json").write_text("{}")
    found = asked(house(tmp_path), path)
    assert found.status_code in (400, 404)
    assert not re.search(r"root:|def application", found.text)


@pytest.mark.parametrize(
    "bench",
    [
        "sim:?adapter=/etc/passwd",
        "visa:X?profile=/etc/passwd",
        "tcp:a:1?x=/etc",
        "serial:/etc/passwd",
        "hand:",
    ],
)
def test_no_address_names_a_file(bench: str, tmp_path: Path) -> None:
    said = {"content-type": "application/x-www-form-urlencoded"}
    of = house(tmp_path)
    content = str(httpx.QueryParams({"bench": bench, "adapter": "in-order"})).encode()
    found = asked(of, "/looms/tail_lamp/prove", method="POST", headers=said, content=content)
    assert found.status_code == 409
    assert "a page may ask for no bench at this address" in found.text
    assert not of.session.running
