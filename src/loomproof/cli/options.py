"""Options that several commands share, and the kinds of values that they take."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

import click

from loomproof.cli.workshop import bench_of
from loomproof.errors import UsageError, suggestion

if TYPE_CHECKING:
    from loomproof.loom.model import End, Hazard, Loom

F = TypeVar("F", bound=Callable[..., object])


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
        number = float(super().convert(value, param, ctx))
        if not math.isfinite(number):
            self.fail(f"{value!r} is not a finite number.", param, ctx)
        return number


BENCH_HELP = "As for prove; else what workshop.toml names."


def address_option(command: F) -> F:
    """Add ``--bench`` to a command that cannot do without one."""
    return click.option("--bench", "address", metavar="ADDRESS", callback=bench_of, help=BENCH_HELP)(command)


def hazard_option(command: F) -> F:
    """Add ``--hazard`` to a command that puts current on a loom."""
    return click.option(
        "--hazard",
        "hazards",
        multiple=True,
        metavar="CONNECTOR=HAZARD",
        help="Say what is at a connector: none, pyrotechnic or 'electronics in place'. Of this and the "
        "description the worse counts.",
    )(command)


def made_safe_option(command: F) -> F:
    """Add ``--made-safe`` to a command that asks whether the cautions are done."""
    return click.option("--made-safe", is_flag=True, help="All cautions are done; do not ask.")(command)


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


def grade_option(command: F) -> F:
    """Add ``--grade`` to a command that gives a verdict."""
    return click.option(
        "--grade",
        type=click.Choice(["wire", "bench", "connections"]),
        help="The least that a pass must show: every joint within its own limit, joints as far as the bench "
        "goes, or joined and apart only. Unless given: bench, or connections where no ohms are measured.",
    )(command)


def ends_given(texts: Sequence[str], option: str) -> tuple[End, ...]:
    """Read cavities from an option that may be repeated, each value holding one or several."""
    from loomproof.loom.model import ends_of

    try:
        return tuple(end for text in texts for end in ends_of(text))
    except ValueError as error:
        raise UsageError(f"{option}: {error}") from None


def hazards_given(texts: Sequence[str], loom: Loom) -> dict[str, Hazard]:
    """Read ``CONNECTOR=HAZARD`` from an option that may be repeated. Raises `UsageError`."""
    from loomproof.loom.model import Hazard

    known = [connector.name for connector in loom.connectors]
    found: dict[str, Hazard] = {}
    for text in texts:
        name, equals, said = text.rpartition("=")
        if not equals or not name or said not in set(Hazard) - {Hazard.UNKNOWN}:
            raise UsageError(
                f"--hazard {text!r} says no hazard: write CONNECTOR=none, CONNECTOR=pyrotechnic or "
                "CONNECTOR='electronics in place'"
            )
        if name not in known:
            raise UsageError(
                f"--hazard {text!r}: the loom has no connector {name}", cure=suggestion(name, known)
            )
        if found.get(name, said) != said:
            raise UsageError(
                f"--hazard says of {name} that it is {found[name]} and that it is {said}",
                cure="Look at it again, and say it once.",
            )
        found[name] = Hazard(said)
    return found


def refuse_strangers(wanted: Sequence[str], connectors: Sequence[str], whose: str) -> None:
    """Refuse a ``--connector`` that is none of these, with the nearest name or all of them."""
    names = list(dict.fromkeys(connectors))
    for name in wanted:
        if name not in names:
            raise UsageError(
                f"--connector {name}: {whose} has no connector of that name",
                cure=suggestion(name, names) or f"Connectors: {', '.join(names)}.",
            )
