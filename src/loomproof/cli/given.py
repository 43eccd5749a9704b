"""What a person types for an option, read into values: cavities, hazards, limits of error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from loomproof.errors import UsageError, suggestion
from loomproof.loom.text import pointed

if TYPE_CHECKING:
    from loomproof.loom.model import End, Hazard, Loom


def ends_given(texts: Sequence[str], option: str) -> tuple[End, ...]:
    """Read cavities from an option that may be repeated, each value holding one or several."""
    from loomproof.loom.model import ends_of

    try:
        return tuple(end for text in texts for end in ends_of(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def metres_given(text: str, option: str) -> float:
    """Read a length with its unit: ``5cm``, ``50 mm``, ``0.05 m``. Raises `UsageError`."""
    for unit, metres in (("mm", 1e-3), ("cm", 1e-2), ("m", 1.0)):
        if text.strip().endswith(unit):
            try:
                length_m = float(pointed(text.strip().removesuffix(unit).strip())) * metres
            except ValueError:
                break
            if 0.0 < length_m <= 100.0:
                return length_m
            break
    raise UsageError(f"{option} {text!r} is no length from 0 to 100 m", cure="Write 5cm, 50mm or 0.05m.")


def hazards_given(texts: Sequence[str], loom: Loom) -> dict[str, Hazard]:
    """Read ``CONNECTOR=HAZARD`` from an option that may be repeated. Raises `UsageError`."""
    from loomproof.loom.model import Hazard

    known = [connector.name for connector in loom.connectors]
    found: dict[str, Hazard] = {}
    for text in texts:
        name, equals, said = text.rpartition("=")
        if not equals or not name or said not in set(Hazard) - {Hazard.UNKNOWN}:
            raise UsageError(
                f"--hazard {text!r} says no hazard",
                cure="Write CONNECTOR=none, CONNECTOR=pyrotechnic or CONNECTOR='electronics in place'.",
            )
        if name not in known:
            raise UsageError(
                f"--hazard {text!r}: the loom has no connector {name}",
                cure=suggestion(name, known) or f"It has {', '.join(known)}.",
            )
        if found.get(name, said) != said:
            raise UsageError(
                f"--hazard says of {name} that it is {found[name]} and that it is {said}",
                cure="Look at it again, and say it once.",
            )
        found[name] = Hazard(said)
    return found


def limits_of_error(
    option: str, text: str, most_ratio: float = math.inf, like: str = "OHM:RATIO, such as 0.1:0.01"
) -> tuple[float, float]:
    """Read limits of error, ``OHM:RATIO`` or what they are ``like``. Raises `UsageError`."""
    ohm, colon, ratio = text.partition(":")
    try:
        found = float(pointed(ohm)), float(pointed(ratio))
    except ValueError:
        found = (-1.0, -1.0)
    if not colon or not all(
        0.0 <= value < most for value, most in zip(found, (math.inf, most_ratio), strict=True)
    ):
        raise UsageError(f"{option} {text}: no limits of error", cure=f"Write {like}.")
    return found
