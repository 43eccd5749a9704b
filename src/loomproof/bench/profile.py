"""Instrument profiles: a TOML file that says how a switch matrix and a meter are spoken to.

A shipped profile is named without ``.toml``; any other name is a file of the person's own. What each key
means to whoever writes one stands in ``firmware_notes/matrix_bench.md``.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Mapping
from dataclasses import MISSING, dataclass, fields
from importlib import resources
from pathlib import Path
from string import Formatter
from typing import Any

from loomproof.bench.seam import Accuracy, CapacitanceAccuracy
from loomproof.errors import Todo, UsageError, suggestion

MOST_POINTS = 4096
"""As many as the scanner link numbers."""

MOST_MS = 60_000.0
"""A minute for one reading: nobody waits longer."""

MOST = 1e15
"""What no figure of a meter reaches, in any unit."""


@dataclass(frozen=True, slots=True)
class Profile:
    """How the matrix forms two buses, and what the meter is worth.

    ``channel`` names a crosspoint with ``{row}``, ``{point}`` and ``{column}`` (the point less one);
    ``rows_a`` and ``rows_b`` are the rows of bus A and B, the first for two wires, a second one sensing for
    four. ``close`` and ``open_all`` are the matrix's commands, ``{channels}`` a comma list of crosspoints.
    ``measure`` and ``measure_four`` are the meter's questions, ``setup`` what it is told once. ``ohms`` is
    the range that it reads, the rest its limits of error and what it puts into a loom at the most.

    ``measure_farads`` is the question for a capacitance: to the meter, or to an instrument of its own on the
    rows ``rows_farads`` (its high and its low one), told ``setup_farads`` once. ``farads`` is the range that
    it reads, ``spread_farads`` the standard deviation of its single readings, F.
    """

    name: str
    points: int
    channel: str
    rows_a: tuple[str, ...]
    rows_b: tuple[str, ...]
    measure: str
    ohms: tuple[float, float]
    accuracy: Accuracy
    test_current_a: float
    test_voltage_v: float
    close: str = "ROUTe:CLOSe (@{channels})"
    open_all: str = "ROUTe:OPEN:ALL"
    settle_ms: float = 10.0
    reading_ms: float = 20.0
    setup: tuple[str, ...] = ()
    measure_four: str = ""
    accuracy_four: Accuracy | None = None
    measure_farads: str = ""
    farads: tuple[float, float] | None = None
    accuracy_farads: CapacitanceAccuracy | None = None
    spread_farads: float | None = None
    rows_farads: tuple[str, ...] = ()
    setup_farads: tuple[str, ...] = ()

    def crosspoint(self, row: str, point: int) -> str:
        """Return the name of the crosspoint of a row and a point."""
        return self.channel.format(row=row, point=point, column=point - 1)


def shipped() -> tuple[str, ...]:
    """Return the names of the profiles that come with the program."""
    folder = resources.files("loomproof.bench") / "profiles"
    return tuple(sorted(each.name[:-5] for each in folder.iterdir() if each.name.endswith(".toml")))


def shipped_text(name: str) -> str:
    """Return a shipped profile as its TOML text. Raises `UsageError` that lists those that there are."""
    if name not in shipped():
        raise UsageError(
            f"no profile {name} comes with the program",
            cure=suggestion(name, shipped()) or f"Shipped profiles: {', '.join(shipped())}.",
        )
    return (resources.files("loomproof.bench") / "profiles" / f"{name}.toml").read_text(encoding="utf-8")


def read_profile(name: str) -> Profile:
    """Read a profile, shipped or from a file. Raises `UsageError` that names the key at fault."""
    if name in shipped():
        return parse_profile(shipped_text(name), name)
    try:
        text = Path(name).read_text(encoding="utf-8")
    except (OSError, ValueError) as error:
        why = "it is no text in UTF-8" if isinstance(error, ValueError) else error.strerror
        raise UsageError(
            f"the instrument profile {name} cannot be read: {why}",
            cure=suggestion(name, shipped())
            or f"Give a TOML file, or a shipped profile: {', '.join(shipped())}.",
        ) from None
    return parse_profile(text, name)


def parse_profile(text: str, name: str) -> Profile:
    """Read a profile from its text. Raises `UsageError` that names the key at fault."""
    try:
        given = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise UsageError(
            f"the instrument profile {name} is no TOML: {error}",
            cure="Start from one that comes with the program.",
            do=Todo.PROFILES,
        ) from None
    for key in given:
        if key not in _READERS:
            raise UsageError(
                f"{name}: there is no key {key!r} in a profile",
                cure=suggestion(key, _READERS) or f"Keys: {', '.join(_READERS)}.",
            )
    for field in fields(Profile):
        if field.default is MISSING and field.name not in given:
            raise UsageError(f"{name}: the key {field.name} is missing")
    found: dict[str, Any] = {}
    for key, value in given.items():
        read, wanted = _READERS[key]
        try:
            found[key] = read(value)
        except (TypeError, ValueError, LookupError, AttributeError):
            raise UsageError(f"{name}: {key} is {value!r}; {wanted} was expected") from None
    profile = Profile(**found)
    _check_rows(profile, name)
    _check_farads(profile, name)
    _check_crosspoints(profile, name)
    return profile


def _check_rows(profile: Profile, name: str) -> None:
    if profile.measure_four:
        if len(profile.rows_a) < 2 or len(profile.rows_b) < 2:
            raise UsageError(f"{name}: measure_four needs two rows in rows_a and in rows_b")
        if profile.accuracy_four is None:
            raise UsageError(f"{name}: measure_four needs accuracy_four, its limits of error")
    rows = (*profile.rows_a, *profile.rows_b, *profile.rows_farads)
    if len(set(rows)) < len(rows):
        raise UsageError(
            f"{name}: rows_a, rows_b and rows_farads name a row twice; a row can be on one bus only"
            if profile.rows_farads
            else f"{name}: rows_a and rows_b name a row twice; a row can be on one bus only"
        )


def _check_farads(profile: Profile, name: str) -> None:
    if profile.measure_farads:
        if profile.farads is None or profile.accuracy_farads is None:
            lacking = (
                "farads, its range" if profile.farads is None else "accuracy_farads, its limits of error"
            )
            raise UsageError(f"{name}: measure_farads needs {lacking}")
        return
    for key in ("farads", "accuracy_farads", "spread_farads", "rows_farads", "setup_farads"):
        if getattr(profile, key):
            raise UsageError(f"{name}: {key} means nothing without measure_farads")


def _check_crosspoints(profile: Profile, name: str) -> None:
    """Refuse a pattern that gives two crosspoints one name: it would close what was not meant."""
    wide = [spec for _, _, spec, _ in _pieces(profile.channel) if spec and not re.fullmatch(_NARROW, spec)]
    if wide:
        raise UsageError(
            f"{name}: channel {profile.channel!r} has the format {wide[0]!r}",
            cure="A format is a width up to 99, such as {point:03d}.",
        )
    seen: dict[str, tuple[str, int]] = {}
    for row in (*profile.rows_a, *profile.rows_b, *profile.rows_farads):
        for point in range(1, profile.points + 1):
            try:
                crosspoint = profile.crosspoint(row, point)
            except (ValueError, LookupError, AttributeError) as error:
                raise UsageError(
                    f"{name}: channel {profile.channel!r} cannot be filled in: {error}",
                    cure="It may hold {row}, {point}, {column} and a format such as {point:03d}.",
                ) from None
            if crosspoint in seen:
                other, also = seen[crosspoint]
                raise UsageError(
                    f"{name}: channel gives the crosspoint of row {other}, point {also} and that of "
                    f"row {row}, point {point} one name, {crosspoint!r}",
                    cure="It must hold {row}, and {point} or {column}, so that no two are alike.",
                )
            seen[crosspoint] = (row, point)


def _pieces(pattern: str) -> list[tuple[str, str | None, str | None, str | None]]:
    try:
        return list(Formatter().parse(pattern))
    except ValueError:
        return []  # filling it in tells what is wrong


# One reader for each kind of value: it returns what it read, or raises what Python
# raises for a value of the wrong type, a value out of range, a name that is not there.


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip() or not value.isprintable():
        raise TypeError
    return value


def _command(value: object) -> str:
    if not (text := _text(value)).isascii():
        raise ValueError
    return text


def _closing(value: object) -> str:
    text = _command(value)
    if text.count("{channels}") != 1 or re.search("[{}]", text.replace("{channels}", "")):
        raise ValueError
    return text


def _commands(value: object) -> tuple[str, ...]:
    if not isinstance(value, list):
        raise TypeError
    return tuple(_command(each) for each in value)


def _rows(value: object) -> tuple[str, ...]:
    if not (found := _commands(value)) or len(found) > 2:
        raise ValueError
    return found


def _pair(value: object) -> tuple[str, ...]:
    if len(found := _rows(value)) != 2:
        raise ValueError
    return found


def _points(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool) or not 2 <= value <= MOST_POINTS:
        raise TypeError
    return value


def _not_negative(value: object) -> float:
    if not isinstance(value, int | float) or isinstance(value, bool):
        raise TypeError
    if not 0 <= value <= MOST:
        raise ValueError
    return float(value)


def _milliseconds(value: object) -> float:
    if (found := _not_negative(value)) > MOST_MS:
        raise ValueError
    return found


def _reading(value: object) -> float:
    if not (found := _milliseconds(value)):
        raise ValueError
    return found


def _positive(value: object) -> float:
    if not (found := _not_negative(value)):
        raise ValueError
    return found


def _range(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise TypeError
    least, most = _not_negative(value[0]), _positive(value[1])
    if least >= most:
        raise ValueError
    return least, most


def _accuracy(value: object) -> Accuracy:
    if not isinstance(value, dict) or set(value) != {"ohm", "ratio"}:
        raise KeyError
    return Accuracy(_positive(value["ohm"]), _not_negative(value["ratio"]))


def _farad_accuracy(value: object) -> CapacitanceAccuracy:
    if not isinstance(value, dict) or set(value) != {"farad", "ratio"}:
        raise KeyError
    return CapacitanceAccuracy(_positive(value["farad"]), _not_negative(value["ratio"]))


_NARROW = "[0-9]{0,2}d?"
_TEXT = "a text of one line in quotes"
_COMMAND = "a command in quotes, ASCII, of one line"
_ROWS = 'a list of one row, or of two with the sensing one last, such as ["1", "3"],'
_LIMITS = "a table such as { ohm = 0.2, ratio = 0.0005 }, both finite and ohm above 0,"

_READERS: Mapping[str, tuple[Callable[[object], Any], str]] = {
    "name": (_text, _TEXT),
    "points": (_points, f"a whole number from 2 to {MOST_POINTS}"),
    "channel": (_command, 'a pattern in quotes such as "{row}{point:03d}"'),
    "rows_a": (_rows, _ROWS),
    "rows_b": (_rows, _ROWS),
    "close": (_closing, "a command with {channels} once and no other brace"),
    "open_all": (_command, _COMMAND),
    "settle_ms": (_milliseconds, f"milliseconds, 0 to {MOST_MS:g},"),
    "setup": (_commands, "a list of commands in quotes"),
    "measure": (_command, _COMMAND),
    "measure_four": (_command, _COMMAND),
    "ohms": (_range, "a list of the smallest and the largest reading in ohms, such as [0.1, 1e8],"),
    "accuracy": (_accuracy, _LIMITS),
    "accuracy_four": (_accuracy, _LIMITS),
    "reading_ms": (_reading, f"milliseconds above 0, up to {MOST_MS:g},"),
    "test_current_a": (_positive, "amperes above 0"),
    "test_voltage_v": (_positive, "volts above 0"),
    "measure_farads": (_command, _COMMAND),
    "farads": (_range, "a list of the smallest and the largest reading in farad, such as [0, 1e-6],"),
    "accuracy_farads": (
        _farad_accuracy,
        "a table such as { farad = 5e-12, ratio = 0.01 }, both finite and farad above 0,",
    ),
    "spread_farads": (_positive, "farad above 0"),
    "rows_farads": (_pair, 'a list of two rows, the high one first, such as ["5", "6"],'),
    "setup_farads": (_commands, "a list of commands in quotes"),
}
"""What reads each key of a profile, and what it wants to find there."""
