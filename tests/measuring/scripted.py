"""A meter that answers what a test says, on conductors of a test's own, with a fixed uncertainty."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import cast

from loomproof.bench.seam import Capabilities, Wires
from loomproof.errors import UnfitError
from loomproof.loom.model import End
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.results.measured import Decision, Judged
from tests.planning.test_meter_and_reach import fixed, scope_of_sizes

Resistance = Callable[[int, int, Wires], float]


@dataclass
class Scripted:
    """Stands in for an `Asker`; ``asked`` is what was asked, in order."""

    ohm: Resistance
    volt: Callable[[int, int], float] = lambda _a, _b: math.inf
    able: Capabilities = field(default_factory=lambda: Capabilities(64, ohms=(0.0, 1e6)))
    asked: list[tuple[int, int, int]] = field(default_factory=list)

    def resistance(self, a: int, b: int, wires: Wires = 2) -> float:
        self.asked.append((a, b, wires))
        return self.ohm(a, b, wires)

    def diode(self, a: int, b: int) -> float:
        return self.volt(a, b)

    def capabilities(self) -> Capabilities:
        return self.able


def meter(u_ohm: float = 0.1, **more: object) -> Meter:
    """A meter of this expanded uncertainty, whatever it reads."""
    made = Meter(fixed(u_ohm), None, (0.0, 1e6), {})
    return replace(made, **more)  # type: ignore[arg-type]  # fields of a meter


def ohmmeter_of(asker: Scripted, scope: Scope | None = None, made: Meter | None = None) -> Ohmmeter:
    return Ohmmeter(cast(Asker, asker), made or meter(), scope or scope_of_sizes([2] * 6))


def one_after_the_other(values: Sequence[float]) -> Resistance:
    """Answer these, whatever is asked; the last again and again."""
    left: Iterator[float] = iter(values)
    last = values[-1]
    return lambda _a, _b, _wires: next(left, last)


def between(ohm: dict[tuple[int, int], float], otherwise: float = math.inf) -> Resistance:
    """Answer by the two sets, one way; what is not said reads open."""
    return lambda a, b, _wires: ohm.get((a, b), otherwise)


def judged(
    a: str,
    b: str,
    measured: float,
    expected: float,
    limit: float,
    decision: Decision = Decision.PASS,
    *,
    u: float = 0.0,
    lower: float = 0.0,
    part: str = "",
) -> Judged:
    """A judged reading between ``net:cavity`` texts."""
    ends = [End(*text.split(":")) for text in (a, b)]
    return Judged(ends[0], ends[1], measured, u, expected, limit, decision, lower_ohm=lower, component=part)


def part(
    name: str, a: int, b: int, value: float, measured: float, decision: Decision = Decision.FAIL
) -> Judged:
    """A part between two nets, within 10 % of its value."""
    return judged(f"{a}:1", f"{b}:1", measured, value, 1.1 * value, decision, lower=0.9 * value, part=name)


def wire(net: int, measured: float, expected: float = 1.0, limit: float = 2.0, u: float = 0.1) -> Judged:
    decision = Decision.PASS if measured + u < limit else Decision.FAIL
    return judged(f"{net}:1", f"{net}:2", measured, expected, limit, decision, u=u)


def refused(rule: object, *given: object) -> str:
    """What a rule says where it refuses, "" where it does not."""
    try:
        rule(*given)  # type: ignore[operator]  # each test gives a rule what it takes
    except UnfitError as error:
        return str(error)
    return ""
