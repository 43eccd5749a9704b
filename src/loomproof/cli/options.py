"""Options that several commands share, and the kinds of values that they take."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., object])


class FiniteNumber(click.FloatRange):
    """A number that is one: not ``nan`` and not infinite, which Python reads as numbers too."""

    name = "number"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the number, or fail as click's own kinds do."""
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a finite number.", param, ctx)
        return number


def hazard_option(command: F) -> F:
    """Add ``--hazard`` to a command that puts current on a loom."""
    return click.option(
        "--hazard",
        "hazards",
        multiple=True,
        metavar="CONNECTOR=HAZARD",
        help="Say what is at a connector that the description leaves open: none, pyrotechnic or "
        "'electronics in place'.",
    )(command)


def meter_volts_option(command: F) -> F:
    """Add ``--meter-volts`` to a command that puts current on a loom."""
    return click.option(
        "--meter-volts",
        "meter_v",
        type=FiniteNumber(),
        metavar="V",
        help="Voltage read on the loom with a meter, for a bench that measures none.",
    )(command)


def selftest_age_option(command: F) -> F:
    """Add ``--selftest-max-age`` to a command that asks a bench."""
    return click.option(
        "--selftest-max-age",
        type=FiniteNumber(0),
        metavar="DAYS",
        help="Refuse a bench whose last self-test is older.",
    )(command)
