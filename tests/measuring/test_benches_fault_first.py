"""What one fault of the bench explains is told as that, before any wire is accused.

Each lie is on the engine loom of the demonstration, sound and with a fault of its own. What is the loom's
stays the loom's.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Diode, Question, Resistance
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.jobs.prove import prove
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.torture import loom_of
from tests.cleared import cleared
from tests.measuring.test_doubting import Lying

ENGINE = loom_of("hillclimb_engine")

Figure = Callable[[float], float]


def late(by: int, begin: int = 0) -> Callable[[], Figure]:
    """A meter that answers what it was asked so many questions before, from one of them on."""

    def made() -> Figure:
        shown: list[float] = []

        def figure(ohm: float) -> float:
            shown.append(ohm)
            return shown[-1 - by] if len(shown) > begin + by else ohm

        return figure

    return made


def drifting(by_ohm: float = 0.0, by_ratio: float = 0.0) -> Callable[[], Figure]:
    """A meter that shows more with every reading."""

    def made() -> Figure:
        number = itertools.count()

        def figure(ohm: float) -> float:
            n = next(number)
            return ohm * (1 + by_ratio * n) + by_ohm * n

        return figure

    return made


def noisy(share: float, by_ohm: float) -> Callable[[], Figure]:
    """A meter that is off by so much now and then."""

    def made() -> Figure:
        rng = random.Random(5)
        return lambda ohm: ohm + by_ohm if rng.random() < share else ohm

    return made


def always(figure: Figure) -> Callable[[], Figure]:
    """The same to every reading."""
    return lambda: figure


class Wrong(Lying):
    """A simulated scanner whose ``figure`` is off, whose point ``at`` is, or whose diode test is."""

    def __init__(
        self,
        scanner: Scanner,
        figure: Figure,
        sets: Callable[[int, int], tuple[int, int]],
        diode: bool,
    ) -> None:
        super().__init__(scanner, lambda ohm, *_: figure(ohm), lambda low, _: low)
        self.sets, self.diode_test = sets, diode

    def _answer(self, question: Question) -> Answer:
        match question:
            case Resistance(a, b):
                one, two = self.sets(a, b)
                if one & two or not (one and two):
                    return self.shown(0.01 if one and two else math.inf, a, b)
                return super()._answer(replace(question, a=one, b=two))
            case Diode() if not self.diode_test:
                return math.inf
        return super()._answer(question)


TRUE = always(lambda ohm: ohm)


def proved(
    *faults: str,
    figure: Callable[[], Figure] = TRUE,
    sets: Callable[[int, int], tuple[int, int]] = lambda a, b: (a, b),
    diode: bool = True,
    loom: Loom = ENGINE,
    make: Make | None = None,
) -> Verdict:
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    with Wrong(Scanner(loom, make, faults=faults), figure(), sets, diode) as bench:
        return finish(prove(request, bench, cleared(loom, bench))).document.verdict


FAULTS = [(), ("open W7",), ("high 9 W12",), ("short INJ1:2 COIL2:1",)]


@pytest.mark.parametrize("faults", FAULTS)
@pytest.mark.parametrize(
    ("figure", "says"),
    [
        (late(1), "its answers belong to other questions"),
        (late(3), "its answers belong to other questions"),
        (
            late(1, begin=40),
            "contradicts itself|not read the same again|its answers belong to other questions",
        ),
        (drifting(by_ohm=0.01), "not read the same again|not one of|bench's own"),
        (drifting(by_ratio=0.05), "not read the same again"),
        (noisy(0.3, 2.0), "not read the same again"),
        (noisy(0.05, 900.0), "not read the same again"),
        (always(lambda ohm: ohm + 0.3), "of every reading is the bench's own|not one of"),
        (always(lambda ohm: max(ohm, 0.4)), "of every reading is the bench's own|not one of"),
        (always(lambda ohm: 30e3 if math.isinf(ohm) else ohm * 30e3 / (ohm + 30e3)), "a leak of the bench"),
    ],
    ids=[
        "one behind",
        "three behind",
        "one behind later",
        "drift",
        "gain drifts",
        "noise often",
        "noise now and then",
        "offset",
        "never under",
        "board leaks",
    ],
)
def test_one_cause_in_the_meter_is_told_before_a_wire_is_accused(
    faults: tuple[str, ...], figure: Callable[[], Figure], says: str
) -> None:
    with pytest.raises(UnfitError, match=says):
        proved(*faults, figure=figure)


@cache
def alone_on_buses() -> tuple[list[int], list[int]]:
    """Return the points that the conductors' readings have alone on either bus: a relay of no other shows."""
    plan = plan_proof(
        expect(ENGINE),
        in_order(ENGINE.cavities).point_of,
        Capabilities(127),
        Meter(Accuracy(0.1, 0.01), None, (0.01, 1e6), {}),
    )
    bits = [(plan.scope.bit(r.a), plan.scope.bit(r.b)) for r in plan.conductors]
    return [a for a, _ in bits], [b for _, b in bits]


@pytest.mark.parametrize("faults", FAULTS)
@pytest.mark.parametrize("number", [0, 9, 30])
@pytest.mark.parametrize("kind", ["open to a", "open to b", "stuck on a", "stuck on b"])
def test_a_relay_at_fault_is_told_by_reading_both_ways_round(
    faults: tuple[str, ...], number: int, kind: str
) -> None:
    at = alone_on_buses()[kind.endswith("b")][number]
    sets: Callable[[int, int], tuple[int, int]] = {
        "open to a": lambda a, b: (a & ~at, b),
        "open to b": lambda a, b: (a, b & ~at),
        "stuck on a": lambda a, b: (a | at, b),
        "stuck on b": lambda a, b: (a, b | at),
    }[kind]
    with pytest.raises(UnfitError, match=r"the other way round, 5 times of 5|contradicts itself"):
        proved(*faults, sets=sets)


@pytest.mark.parametrize("faults", FAULTS)
def test_a_diode_test_that_finds_nothing_where_ohms_find_a_path_is_the_benchs(
    faults: tuple[str, ...],
) -> None:
    with pytest.raises(UnfitError, match="the diode test finds no current"):
        proved(*faults, diode=False)


@pytest.mark.parametrize(
    "faults",
    [
        ("leak 30k INJ1:2 COIL2:1", "leak 30k INJ2:2 COIL3:1", "leak 30k INJ3:2 COIL1:1"),
        ("loose W5 4 Hz", "loose W9 3 Hz"),
        ("high 3 W5", "high 3 W7", "high 3 W9", "high 3 W12"),
        ("missing D1",),
        ("reversed D1",),
        ("value 1 R1",),
    ],
)
def test_alike_faults_of_the_loom_are_the_looms(faults: tuple[str, ...]) -> None:
    assert proved(*faults) is Verdict.FAIL
