"""Kinds of values that options take."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import click

from loomproof.loom.text import pointed

PATH = click.Path(path_type=Path)
FILE = click.Path(path_type=Path, dir_okay=False)
FOLDER = click.Path(path_type=Path, file_okay=False)


class Said(click.types.StringParamType):
    """A text that says something: a blank is none."""

    name = "text"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Return the text as it is given, or fail as click's own kinds do."""
        if not str(value).strip():
            self.fail("a blank says nothing; leave the option out.", param, ctx)
        return str(value)


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
