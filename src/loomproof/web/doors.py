"""Who may come in: an address with a token that opens once, then a cookie of this server alone."""

from __future__ import annotations

import hashlib
import math
import secrets
import threading
import time
from collections.abc import Callable
from enum import StrEnum


class Seat(StrEnum):
    """What a browser may do: drive the bench and answer for it; watch and tick the fitting sheet; watch."""

    DRIVES = "drives"
    FITS = "fits"
    WATCHES = "watches"


class Doors:
    """Tokens that were handed out and not used, and the cookies of those who came in.

    Both are kept as digests: how long it takes to look one up tells nothing of those that are known. One
    browser drives: a new address for that puts an unused one out of use, and who comes in by it makes whoever
    drove before watch.
    """

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._tokens: dict[bytes, tuple[Seat, float]] = {}
        self._seats: dict[bytes, Seat] = {}

    def invite(self, seat: Seat, lasts_s: float = math.inf) -> str:
        """Return a new token that opens once, for this seat, within so many seconds."""
        token = secrets.token_urlsafe(32)
        with self._lock:
            if seat is Seat.DRIVES:
                self._tokens = {key: way for key, way in self._tokens.items() if way[0] is not seat}
            self._tokens[_digest(token)] = seat, self._clock() + lasts_s
        return token

    def enter(self, token: str, *, here: bool = True) -> str | None:
        """Use up a token; return the cookie of who came in by it, ``None`` for one that opens nothing.

        ``here`` says that it was used on the server's own machine: nobody drives from another.
        """
        cookie = secrets.token_urlsafe(32)
        with self._lock:
            seat, until_s = self._tokens.pop(_digest(token), (None, 0.0))
            if seat is None or self._clock() > until_s or (seat is Seat.DRIVES and not here):
                return None
            if seat is Seat.DRIVES:
                self._seats = {
                    key: Seat.WATCHES if other is seat else other for key, other in self._seats.items()
                }
            self._seats[_digest(cookie)] = seat
        return cookie

    def seat(self, cookie: str, *, here: bool = True) -> Seat | None:
        """Return what the bearer of a cookie may do; ``None`` for a stranger, and for a driver elsewhere."""
        with self._lock:
            seat = self._seats.get(_digest(cookie))
        return None if seat is Seat.DRIVES and not here else seat

    def send_away(self) -> None:
        """Know nobody any more but who drives; what was handed out for others opens nothing."""
        with self._lock:
            self._tokens = {key: way for key, way in self._tokens.items() if way[0] is Seat.DRIVES}
            self._seats = {key: seat for key, seat in self._seats.items() if seat is Seat.DRIVES}


def _digest(secret: str) -> bytes:
    return hashlib.sha256(secret.encode()).digest()
