"""Lines of the scanner link: the checked form, numbers, point sets and refusals, as pure functions.

A checked line is ``:SSbody*CCCCCCCC`` LF; the check is the CRC-32 of IEEE 802.3 and ITU-T V.42 over the
open link's nonce and the bytes from ``SS`` up to the byte before the last ``*``.
"""

from __future__ import annotations

import math
import re
import zlib
from dataclasses import dataclass

from loomproof.bench.seam import PointSet

FRAME_BYTES = 13
"""What a frame adds to its body: colon, sequence number, star, check and LF."""

EVENT = -1
"""The sequence number of a watch event, which has none (``!!`` on the wire)."""

EVENT_MARK = b":!!"
"""How a watch event begins."""

_FRAME = re.compile(rb":([0-9A-F]{2}|!!)([ -~]*)\*([0-9A-F]{8})", re.DOTALL)
_NUMBER = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[Ee][+-]?[0-9]+)?")
_SET = re.compile(r"#[Hh](?:0|[1-9A-Fa-f][0-9A-Fa-f]*)")
_REFUSAL = re.compile(r'ERR ([+-]?[0-9]+),"((?:[^"]|"")*)"')

_OVER_RANGE = 9.9e37  # SCPI-99 volume 1, 7.2.1.4: infinity
_NO_NUMBER = 9.91e37  # and 7.2.1.5: not a number


@dataclass(frozen=True, slots=True)
class Frame:
    """A line whose check held. ``sequence`` is 0 to 255, or `EVENT`."""

    sequence: int
    body: str


def check_of(nonce: bytes, covered: bytes) -> bytes:
    """Return the check of a line, eight upper-case hex digits."""
    return b"%08X" % zlib.crc32(covered, zlib.crc32(nonce))


def seal(sequence: int, body: str, nonce: bytes) -> bytes:
    """Return the checked line for this body, LF included."""
    covered = b"%02X" % sequence + body.encode("ascii")
    return b":" + covered + b"*" + check_of(nonce, covered) + b"\n"


def unseal(line: bytes, nonce: bytes) -> Frame | None:
    """Return the frame of a line without its LF, or ``None`` where form or check is wrong."""
    match = _FRAME.fullmatch(line)
    if match is None:
        return None
    mark, body, check = match.groups()
    if check != check_of(nonce, mark + body):
        return None
    return Frame(EVENT if mark == b"!!" else int(mark, 16), body.decode("ascii"))


class Splitter:
    """Cuts a byte stream into lines; a line longer than ``longest`` bytes is dropped to its LF."""

    def __init__(self, longest: int) -> None:
        self.longest = longest
        self._rest = b""
        self._overlong = False

    def feed(self, data: bytes) -> list[bytes]:
        """Return the lines completed by these bytes, without LF and without a CR before it."""
        *lines, rest = (self._rest + data).split(b"\n")
        found = []
        for line in lines:
            if not self._overlong and len(line) < self.longest:
                found.append(line.removesuffix(b"\r"))
            self._overlong = False
        self._overlong = self._overlong or len(rest) >= self.longest
        self._rest = b"" if self._overlong else rest
        return [line for line in found if line]

    def forget(self) -> None:
        """Drop what has come of an unfinished reply.

        Of a watch event the rest may still be on its way; should it not be, the check of what follows fails.
        """
        if not self._rest.startswith(EVENT_MARK):
            self._rest, self._overlong = b"", False


def write_set(points: PointSet) -> str:
    """Return a point set as the link writes it: points 1, 3 and 9 are ``#H105``."""
    return f"#H{points:X}"


def read_set(text: str, points: int) -> PointSet:
    """Read a point set of a reply. Raises `ValueError` where it is none, or names a point over ``points``."""
    if not _SET.fullmatch(text):
        raise ValueError(f"{text!r} is no point set")
    found = int(text[2:], 16)
    if found.bit_length() > points:
        raise ValueError(f"{text!r} names point {found.bit_length()}, and there are {points}")
    return found


def read_number(text: str) -> float:
    """Read a number; over range is ``inf``, or ``-inf`` below zero.

    Raises `ValueError` for no number, in words or as 9.91E37, and for one over 9.9E37.
    """
    if not _NUMBER.fullmatch(text):
        raise ValueError(f"{text!r} is no number")
    value = float(text)
    if abs(value) == _NO_NUMBER:
        raise ValueError(f"{text!r} stands for no number")
    if abs(value) > _OVER_RANGE:
        raise ValueError(f"{text!r} is over 9.9E37, which stands for over range")
    return math.copysign(math.inf, value) if abs(value) == _OVER_RANGE else value


def is_no_number(text: str) -> bool:
    """Whether this is SCPI's "not a number", in whatever form a number may be written."""
    return bool(_NUMBER.fullmatch(text)) and float(text) == _NO_NUMBER


def read_amount(text: str) -> float:
    """Read what cannot be under range: ohms, or a forward voltage. Raises `ValueError` as `read_number`."""
    if (value := read_number(text)) == -math.inf:
        raise ValueError(f"{text!r} is over range below zero, and an open reads over range above it")
    return value


def write_number(value: float) -> str:
    """Return a number as the link writes it, in the fewest digits that give it back."""
    if not math.isfinite(value):
        raise ValueError(f"{value} cannot be sent")
    return str(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value)).upper()


def read_refusal(body: str) -> tuple[int, str] | None:
    """Return code and text of a refusal, or ``None`` where the body is none."""
    match = _REFUSAL.fullmatch(body)
    return (int(match[1]), match[2].replace('""', '"')) if match else None
