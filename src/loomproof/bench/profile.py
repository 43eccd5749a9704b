"""Instrument profiles: a TOML file that says how a switch matrix and a meter are spoken to.

A shipped profile is named without ``.toml``; any other name is a file of the person's own.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, fields
from importlib import resources
from pathlib import Path
from typing import Any

from loomproof.bench.seam import Accuracy
from loomproof.errors import UsageError, suggestion


@dataclass(frozen=True, slots=True)
class Profile:
    """How the matrix forms two buses, and what the meter is worth.

    ``channel`` names a crosspoint with ``{row}``, ``{point}`` and ``{column}`` (the point less one);
    ``rows_a`` and ``rows_b`` are the rows of bus A and B, the first for two wires, a second one sensing for
    four. ``close`` and ``open_all`` are the matrix's commands, ``{channels}`` a comma list of crosspoints.
    ``measure`` and ``measure_four`` are the meter's questions, ``setup`` what it is told once.
    """

    name: str
    points: int
    channel: str
    rows_a: tuple[str, ...]
    rows_b: tuple[str, ...]
    measure: str
    ohms: tuple[float, float]
    accuracy: Accuracy
    close: str = "ROUTe:CLOSe (@{channels})"
    open_all: str = "ROUTe:OPEN:ALL"
    settle_ms: float = 10.0
    reading_ms: float = 20.0
    setup: tuple[str, ...] = ()
    measure_four: str = ""
    accuracy_four: Accuracy | None = None
    test_current_a: float = 0.01
    test_voltage_v: float = 12.0

    def crosspoint(self, row: str, point: int) -> str:
        """Return the name of the crosspoint of a row and a point."""
        return self.channel.format(row=row, point=point, column=point - 1)


def shipped() -> tuple[str, ...]:
    """Return the names of the profiles that come with the program."""
    folder = resources.files("loomproof.bench") / "profiles"
    return tuple(sorted(each.name[:-5] for each in folder.iterdir() if each.name.endswith(".toml")))


def read_profile(name: str) -> Profile:
    """Read a profile, shipped or from a file. Raises `UsageError` that names the key at fault."""
    if name in shipped():
        text = (resources.files("loomproof.bench") / "profiles" / f"{name}.toml").read_text(encoding="utf-8")
    else:
        try:
            text = Path(name).read_text(encoding="utf-8")
        except (OSError, UnicodeDecodeError) as error:
            raise UsageError(
                f"the instrument profile {name} cannot be read: {error}",
                cure=suggestion(name, shipped()) or f"Shipped profiles: {', '.join(shipped())}.",
            ) from None
    return parse_profile(text, name)


def parse_profile(text: str, name: str) -> Profile:
    """Read a profile from its text. Raises `UsageError` that names the key at fault."""
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(f"the instrument profile {name} is no TOML: {error}") from None
    known = {field.name for field in fields(Profile)}
    for key in given:
        if key not in known:
            raise UsageError(f"{name}: there is no key {key!r} in a profile", cure=suggestion(key, known))
    for key in ("name", "points", "channel", "rows_a", "rows_b", "measure", "ohms", "accuracy"):
        if key not in given:
            raise UsageError(f"{name}: the key {key} is missing")
    try:
        profile = Profile(**_typed(given))
        profile.crosspoint(profile.rows_a[0], 1)
        profile.close.format(channels="")
    except (TypeError, ValueError, KeyError, IndexError) as error:
        raise UsageError(f"the instrument profile {name} cannot be meant: {error}") from None
    if profile.points < 2 or not profile.rows_b or profile.rows_a[0] == profile.rows_b[0]:
        raise UsageError(f"{name}: two points and two rows that differ are the least")
    if profile.measure_four and (len(profile.rows_a) < 2 or len(profile.rows_b) < 2):
        raise UsageError(f"{name}: measure_four needs two rows in rows_a and in rows_b")
    return profile


def _typed(given: Mapping[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = {}
    for key, value in given.items():
        if key in ("accuracy", "accuracy_four"):
            found[key] = Accuracy(float(value["ohm"]), float(value["ratio"]))
        elif key == "ohms":
            found[key] = (float(value[0]), float(value[1]))
        elif key in ("rows_a", "rows_b", "setup"):
            found[key] = tuple(str(each) for each in value)
        elif key == "points":
            if not isinstance(value, int):
                raise TypeError("points is a whole number")
            found[key] = value
        elif key in ("settle_ms", "reading_ms", "test_current_a", "test_voltage_v"):
            found[key] = float(value)
        else:
            if not isinstance(value, str):
                raise TypeError(f"{key} is a text")
            found[key] = value
    return found
