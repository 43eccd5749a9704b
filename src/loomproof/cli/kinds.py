"""Kinds of values that are typed: what each is called in the help, how it is read and completed."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.errors import UsageError
from loomproof.loom.text import pointed

if TYPE_CHECKING:
    from click.shell_completion import CompletionItem

    from loomproof.loom.model import End

MOST_POINTS = 4096
"""So many points a scanner on the link may have."""

PATH = click.Path(path_type=Path)
FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)
READ = click.Path(path_type=Path)
"""A file that is told of by what reads it, whatever stands there."""
READ.name = "file"


def _offered(what: str, context: click.Context, begun: str) -> list[CompletionItem]:
    """Return what a word may become, by the name of an `Offer`."""
    from click.shell_completion import CompletionItem

    from loomproof.jobs.completing import Offer, candidates

    store = context.params.get("store") or context.params.get("archive") or ""
    # Behind an option that waits for its value click leaves the arguments where they are.
    loom = context.params.get("loom") or next(filter(Path.exists, map(Path, context.args)), None)
    return [
        CompletionItem(word, help=about or None)
        for word, about in candidates(Offer[what], begun, loom, store)
    ]


class Said(click.types.StringParamType):
    """A text that says something: a blank is none."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the text as it is given, or fail as click's own kinds do."""
        if not str(value).strip():
            self.fail("a blank says nothing; leave the option out.", param, ctx)
        return str(value)


class _Word(Said):
    """A word that a shell completes to what there is of its name."""

    def __init__(self, name: str) -> None:
        self.name = name

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Return what the word may become."""
        return _offered(self.name, ctx, incomplete)


class _LoomPath(click.Path):
    """A path that a shell completes to a loom that lies here, else to any file."""

    def shell_complete(
        self, ctx: click.Context, param: click.Parameter, incomplete: str
    ) -> list[CompletionItem]:
        """Return what the path may become."""
        return _offered("LOOM", ctx, incomplete) or super().shell_complete(ctx, param, incomplete)


LOOM = _LoomPath(path_type=Path)
KEPT_LOOM, RUN, CONNECTOR, CAVITY = map(_Word, ("KEPT_LOOM", "RUN", "CONNECTOR", "CAVITY"))


class FiniteNumber(click.FloatRange):
    """A number that is one: not ``nan`` and not infinite, which Python reads as numbers too."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number, or fail as click's own kinds do."""
        plain: Any = pointed(value) if isinstance(value, str) else value
        number = float(super().convert(plain, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a finite number.", param, ctx)
        return number

    def _describe_range(self) -> str:
        """Say nothing of a range where there is none."""
        return "" if self.min is None and self.max is None else super()._describe_range()


class ScannerPoints(click.IntRange):
    """How many points a scanner has; one with more than the link goes up to is told apart from nonsense."""

    def __init__(self) -> None:
        super().__init__(1, MOST_POINTS)

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        """Return the number, or fail as click's own kinds do."""
        points = click.INT.convert(value, param, ctx)
        if points > MOST_POINTS:
            said = f"{points} points are more than the scanner link goes up to, {MOST_POINTS}. "
            self.fail(f"{said}A loom that is bigger is proved plug by plug, in hook-ups.", param, ctx)
        return int(super().convert(points, param, ctx))


class WithUnit(click.types.FloatParamType):
    """A figure with its unit as people say it, read into that unit whose figure is 1.

    ``said`` is what a figure outside of ``least`` to ``most`` is not.
    """

    def __init__(
        self, name: str, units: Mapping[str, float], least: float, most: float, said: str, like: str
    ) -> None:
        self.name = name
        self._units, self._least, self._most, self._said, self._like = units, least, most, said, like

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the figure, or fail as click's own kinds do."""
        if isinstance(value, float):
            return value
        parts = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*([a-z]*)", str(value).strip())
        if parts is None or parts[2] not in self._units:
            self.fail(f"{value!r} is no {self.name}; write {self._like}.", param, ctx)
        figure = float(parts[1].replace(",", ".")) * self._units[parts[2]]
        if not self._least <= figure <= self._most:
            self.fail(f"{value!r} is not {self._said}.", param, ctx)
        return figure


LENGTH = WithUnit(
    "length", {"mm": 1e-3, "cm": 1e-2, "m": 1.0}, 1e-9, 100.0, "from 0 to 100 m", "5cm, 50mm or 0.05m"
)
"""A length, m."""

TIME = WithUnit(
    "time", {"": 1.0, "s": 1.0, "min": 60.0, "h": 3600.0}, 1.0, 14_400.0, "from 1s to 4h", "90s, 5min or 1h"
)
"""A time, s; a bare number is seconds."""


def ends_given(texts: Sequence[str], option: str, cure: str = "") -> tuple[End, ...]:
    """Read cavities, each text holding one or several. Raises `UsageError`."""
    from loomproof.loom.model import ends_of

    try:
        return tuple(end for text in texts for end in ends_of(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}", cure=cure) from None


def pair_given(text: str, option: str, cure: str) -> tuple[End, End]:
    """Read two cavities. Raises `UsageError`."""
    ends = ends_given((text,), option, cure)
    if len(ends) != 2:
        raise UsageError(f"{option} {text!r}: two cavities are expected", cure=cure)
    return ends[0], ends[1]


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
