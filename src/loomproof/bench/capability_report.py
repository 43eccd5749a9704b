"""Reads what a scanner says of itself: identity and capabilities, every key checked."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import NamedTuple, TypeVar

from loomproof.bench.frames import read_number
from loomproof.bench.seam import Accuracy, Capabilities, CapacitanceAccuracy, Identity
from loomproof.errors import UnfitError

LINK_VERSION = "1"
NOT_THE_LINK = (
    "It does not keep to the scanner link: look for newer firmware, or for what else is on its line."
)
"""What to do about a scanner that answers what it should not."""

MOST_POINTS = 4096
"""So many points a scanner on the link may have."""

MOST_MS = 60_000.0
MOST = 1e15
"""What no figure of a bench reaches, in any unit: one over it is a slip, not a capability."""

T = TypeVar("T")


class Told(NamedTuple):
    """What ``SYST:CAP?`` tells: the capabilities, and the longest line accepted and sent, bytes."""

    capabilities: Capabilities
    line_bytes: int


def read_identity(body: str, who: str = "scanner") -> Identity:
    """Read the reply to ``*IDN?``. Raises `UnfitError` unless it has four fields (IEEE 488.2, 10.14).

    The serial may not be empty: a run is bound to it. A device that knows none says 0.
    """
    fields = [field.strip() for field in body.split(",")]
    if len(fields) != 4 or not fields[2]:
        raise UnfitError(
            f"the {who} names itself {body!r}; maker, model, serial and firmware were expected",
            cure=NOT_THE_LINK if who == "scanner" else "It has to answer *IDN? as IEEE 488.2 says.",
        )
    return Identity(*fields)


def read_capabilities(body: str) -> Told:
    """Read the reply to ``SYST:CAP?``. Raises `UnfitError` for a key missing, doubled or unreadable."""
    given: dict[str, str] = {}
    for piece in body.split(","):
        key, equals, value = piece.partition("=")
        if not equals or not key or key in given:
            raise _unfit(f"hold {piece!r}, which cannot be read")
        given[key] = value

    def take(key: str, read: Callable[[str], T], missing: T | None = None) -> T:
        if key not in given:
            if missing is None:
                raise _unfit(f"lack {key}, which is required")
            return missing
        text = given.pop(key)
        try:
            return read(text)
        except ValueError:
            raise _unfit(f"hold {key}={text}, which cannot be read or is no figure of a bench") from None

    def maybe(key: str, read: Callable[[str], T]) -> T | None:
        return take(key, read) if key in given else None

    version = given.pop("LINK", LINK_VERSION)
    if version != LINK_VERSION:
        raise UnfitError(
            f"the scanner speaks version {version} of the scanner link; this program speaks {LINK_VERSION}",
            cure="Update the older of the two.",
        )
    points = take("POINTS", _points)
    line_bytes = take("LINE", _count)
    least = 2 * -(-points // 4) + 48
    if line_bytes < least:
        raise _unfit(f"hold LINE={line_bytes}, below {least}, the least for {points} points")
    sense_ohm, clear_ohm = take("SENSE", _positive, 25_000.0), take("CLEAR", _positive, 250_000.0)
    if sense_ohm > clear_ohm:
        raise _unfit("hold a SENSE over CLEAR; one path cannot read both ways for sure")
    capabilities = Capabilities(
        points=points,
        sense_ohm=sense_ohm,
        clear_ohm=clear_ohm,
        settle_min_us=take("SETTLE", _count, 100),
        volt_max=maybe("VOLT", _positive),
        ohms=maybe("OHMS", _range),
        accuracy=maybe("ACC", _accuracy),
        four_wire=take("FOUR", _flag, False),
        four_wire_accuracy=maybe("FACC", _accuracy),
        diode=take("DIOD", _flag, False),
        reading_ms=take("MSTIME", _milliseconds, 20.0),
        test_current_a=take("TESTI", _positive, 0.02),
        test_voltage_v=take("TESTV", _positive, 5.0),
        insulation_v=take("INS", _not_negative, 0.0),
        watch_us=maybe("WATCH", _count),
        baud_max=take("BAUD", _count, 115_200),
        driver_ohm=take("DRIVR", _not_negative, 0.0),
        pulled_at_once=maybe("PULLS", _count),
        farads=maybe("CAPF", _range),
        farad_accuracy=maybe("CACC", lambda text: CapacitanceAccuracy(*_two(text))),
        farad_spread=maybe("CREP", _not_negative),
        other=tuple(sorted(given.items())),
    )
    return Told(capabilities, line_bytes)


def _unfit(what: str) -> UnfitError:
    return UnfitError(f"the scanner's capabilities {what}", cure=NOT_THE_LINK)


def _count(text: str) -> int:
    if not re.fullmatch(r"[0-9]{1,9}", text) or int(text) == 0:
        raise ValueError(text)
    return int(text)


def _points(text: str) -> int:
    if (points := _count(text)) > MOST_POINTS:
        raise UnfitError(
            f"the scanner says that it has {points} points (POINTS={points}), and the scanner link goes up "
            f"to {MOST_POINTS}",
            cure=f"Set it to {MOST_POINTS} points or fewer; a loom that is bigger is proved plug by plug.",
        )
    return points


def _milliseconds(text: str) -> float:
    if (value := _positive(text)) > MOST_MS:
        raise ValueError(text)
    return value


def _not_negative(text: str) -> float:
    value = read_number(text)
    if not 0 <= value <= MOST:  # over range is infinite
        raise ValueError(text)
    return value


def _positive(text: str) -> float:
    value = _not_negative(text)
    if value == 0:
        raise ValueError(text)
    return value


def _flag(text: str) -> bool:
    if text not in ("0", "1"):
        raise ValueError(text)
    return text == "1"


def _two(text: str) -> tuple[float, float]:
    first, _, second = text.partition(":")
    return _not_negative(first), _not_negative(second)


def _range(text: str) -> tuple[float, float]:
    low, high = _two(text)
    if low >= high:
        raise ValueError(text)
    return low, high


def _accuracy(text: str) -> Accuracy:
    return Accuracy(*_two(text))
