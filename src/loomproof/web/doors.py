"""Who may come in: an address with a token that opens once, then a cookie of this server alone."""

from __future__ import annotations

import hashlib
import secrets
import threading
from enum import StrEnum


class Seat(StrEnum):
    """What a browser may do: drive the bench and answer for it, or watch."""

    DRIVES = "drives"
    WATCHES = "watches"


class Doors:
    """Tokens that were handed out and not used, and the cookies of those who came in.

    Both are kept as digests: how long it takes to look one up tells nothing of those that are known.
    """

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._tokens: dict[bytes, Seat] = {}
        self._seats: dict[bytes, Seat] = {}

    def invite(self, seat: Seat) -> str:
        """Return a new token that opens once, for this seat."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            self._tokens[_digest(token)] = seat
        return token

    def enter(self, token: str) -> str | None:
        """Use up a token; return the cookie of who came in by it, ``None`` for one that opens nothing."""
        cookie = secrets.token_urlsafe(32)
        with self._lock:
            seat = self._tokens.pop(_digest(token), None)
            if seat is None:
                return None
            self._seats[_digest(cookie)] = seat
        return cookie

    def seat(self, cookie: str) -> Seat | None:
        """Return what the bearer of a cookie may do; ``None`` for a stranger."""
        with self._lock:
            return self._seats.get(_digest(cookie))


def _digest(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()
