"""What every request passes first: is it meant for this server, from its own pages, by somebody who may?

Another page in the same browser can send requests here as well, under any host name that it has made point
at this machine. So Host and Origin are checked, nothing is done without the cookie, and what changes anything
is asked only by whoever drives. Browser behaviour as the Fetch and Cookie (RFC 6265bis) standards have it.
"""

from __future__ import annotations

import ipaddress
import re
from collections.abc import Awaitable, Callable, MutableMapping
from html import escape
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import parse_qs

from loomproof.web.doors import Doors, Seat

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
Application = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BYTES = 65_536
"""Of what a request brings. No page sends more than a form of a few lines."""

FILES = {"/brought": 32 * 1024 * 1024, "/verify": 16 * 1024 * 1024, "/trace/leads": 1024 * 1024}
"""Where files are brought: so many bytes at most."""

ENTRANCE = "/enter"
SEAT = "loomproof.seat"
"""Where in a request's scope stands what its sender may do."""

TICKS = re.compile("/fit/[^/]+/ticks")
"""The paths at which the fitting sheet is ticked: all that a browser changes which does not drive."""

_KEPT_S = 86_400
_READS = ("GET", "HEAD")
_HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        b"form-action 'self'; base-uri 'none'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    # Without any referrer a browser would say that forms come from nowhere: their Origin would be "null".
    (b"referrer-policy", b"same-origin"),
    (b"cache-control", b"no-store"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)


class Guard:
    """Lets through what may pass, with the sender's seat in its scope, and refuses the rest in words.

    ``hosts`` are the names under which this server is asked, each with its port.
    """

    def __init__(self, inside: Application, doors: Doors, hosts: frozenset[str]) -> None:
        self._inside, self._doors, self._hosts = inside, doors, hosts
        # Cookies know no ports: two servers on one machine must not take each other's.
        self._cookie = f"loomproof_{min(hosts).rpartition(':')[2]}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, or refuse it."""
        if scope["type"] == "lifespan":
            await self._inside(scope, receive, send)
            return
        if scope["type"] != "http":
            return
        headers = {name.decode("latin-1").lower(): text.decode("latin-1") for name, text in scope["headers"]}
        refused = self._refused(scope["method"], scope["path"], headers)
        if refused:
            await _say(send, 403, refused)
            return
        here = _is_here(scope)
        if scope["path"] == ENTRANCE:
            await self._enter(scope, send, here)
            return
        seat = self._doors.seat(self._carried(headers), here=here)
        if seat is None:
            await _say(
                send,
                403,
                "This browser has not come in. Open the address that the server printed: it opens once, "
                "and this browser is then known until the server ends. Where it was used already, press "
                "Enter at the server's terminal for a new one. A phone comes in by a code that the page at "
                "the bench shows.",
            )
            return
        if scope["method"] not in _READS and not _may_change(seat, scope["path"]):
            await _say(send, 403, "This browser watches. Only the one at the bench starts, stops or answers.")
            return
        scope[SEAT] = seat
        await self._bounded(scope, headers, receive, send)

    def _refused(self, method: str, path: str, headers: dict[str, str]) -> str:
        """Return why a request is none of ours, in words; "" where it is."""
        host = headers.get("host", "")
        if host not in self._hosts:
            return f"This server is asked as {' or '.join(sorted(self._hosts))} only."
        origin = headers.get("origin")
        strange = origin is not None and origin != f"http://{host}"
        if method not in _READS:
            strange = strange or origin is None
        # Who follows a link to the entrance comes from elsewhere, with a token that nobody guesses.
        elsewhere = headers.get("sec-fetch-site", "none") not in ("same-origin", "none")
        if strange or (elsewhere and (method not in _READS or path != ENTRANCE)):
            return "This was asked by a page of another site, and only this server's own pages may."
        return ""

    def _carried(self, headers: dict[str, str]) -> str:
        try:
            found = SimpleCookie(headers.get("cookie", "")).get(self._cookie)
        except CookieError:
            return ""
        return "" if found is None else found.value

    async def _enter(self, scope: Scope, send: Send, here: bool) -> None:
        """Use the address's token up; the page that is answered goes on to the start by itself.

        A redirect would be followed without the cookie, which is strict, where the address came by a link.
        """
        token = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
        cookie = self._doors.enter(token, here=here)
        if cookie is None:
            await _say(send, 403, "This address was used already, lasts no longer, or is not of this server.")
            return
        kept = f"{self._cookie}={cookie}; Path=/; Max-Age={_KEPT_S}; HttpOnly; SameSite=Strict"
        page = '<meta http-equiv="refresh" content="0; url=/"><main><a href="/">Go on to the bench</a></main>'
        await _html(send, 200, page, ((b"set-cookie", kept.encode()),))

    async def _bounded(self, scope: Scope, headers: dict[str, str], receive: Receive, send: Send) -> None:
        """Pass a request on with all that it brings, if that is no more than it may be."""
        said = headers.get("content-length", "0")
        most = FILES.get(scope["path"], MOST_BYTES)
        brought = bytearray() if said.isdecimal() and int(said) <= most else None
        more = True
        while more and brought is not None:
            message = await receive()
            brought += message.get("body", b"")
            more = message.get("more_body", False)
            if len(brought) > most:
                brought = None
        if brought is None:
            await _say(send, 413, f"A request may bring {most} bytes at most.")
            return
        whole: list[Message] = [{"type": "http.request", "body": bytes(brought), "more_body": False}]

        async def again() -> Message:
            return whole.pop() if whole else await receive()

        await self._inside(scope, again, _with_headers(send))


def _is_here(scope: Scope) -> bool:
    """Say whether a request comes from this machine, by the address of its connection alone."""
    try:
        return ipaddress.ip_address((scope.get("client") or ("",))[0]).is_loopback
    except ValueError:
        return False


def _may_change(seat: Seat, path: str) -> bool:
    return seat is Seat.DRIVES or (seat is Seat.FITS and TICKS.fullmatch(path) is not None)


def _with_headers(send: Send) -> Send:
    async def sent(message: Message) -> None:
        if message["type"] == "http.response.start":
            message = {**message, "headers": [*message.get("headers", ()), *_HEADERS]}
        await send(message)

    return sent


async def _say(send: Send, status: int, text: str) -> None:
    await _html(send, status, f"<main><h1>Not done</h1><p>{escape(text)}</p></main>")


async def _html(send: Send, status: int, page: str, more: tuple[tuple[bytes, bytes], ...] = ()) -> None:
    head = (
        '<!doctype html><html lang="en"><meta charset="utf-8"><title>loomproof</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        '<meta name="color-scheme" content="light dark">'
        '<link rel="icon" href="/static/icon.svg">'
    )
    send = _with_headers(send)
    kind = (b"content-type", b"text/html; charset=utf-8")
    await send({"type": "http.response.start", "status": status, "headers": [kind, *more]})
    await send({"type": "http.response.body", "body": (head + page).encode()})
