"""What is read so that faults can be placed, reading by reading: which nets, how often, and of what worth."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import pytest

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.questions import Answer, Capacitance, Question, Resistance
from loomproof.bench.seam import Capabilities
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End
from loomproof.measuring.events import finish
from loomproof.measuring.placing import NO_FARADS, TOUCH_OHM, read_for_places
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.results.measured import Measured, Path
from tests.cleared import cleared
from tests.electrics.looms import loom_of
from tests.locating.placing_bench import FARADS, FaradBench, farad_bench
from tests.measuring.scripted import meter

LOOM = loom_of(
    "W1 A:1 B:1 1.0m 0.5mm2\nW2 A:2 B:2 1.0m 0.5mm2\nW3 A:3 B:3 1.0m 0.5mm2\n"
    "F1 A:4 S 0.2m 0.5mm2\nF2 S B:4 1.0m 0.5mm2\nF3 S C:1 3.0m 0.5mm2"
)
EXPECTED = expect(LOOM)
ONE, TWO, THREE, STAR = (frozenset(net.cavities) for net in EXPECTED.nets)
A1, A2, A3 = (End("A", f"{k}") for k in (1, 2, 3))
B1, B2, B3 = (End("B", f"{k}") for k in (1, 2, 3))


@dataclass
class Answering(FaradBench):
    """Answers what a test says; ``asked`` counts all that it was asked."""

    ohm: Callable[[int], float] = lambda _number: 1.0
    farad: Callable[[int], float | None] = lambda _number: 50e-12
    asked: int = 0

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Resistance):
            self.asked += 1
            return self.ohm(self.asked)
        if isinstance(question, Capacitance):
            self.asked += 1
            return self.farad(self.asked)
        return super()._answer(question)


def zero(lead_u_f: float = 0.0) -> Adapter:
    leads = in_order(LOOM.cavities).entries
    return Adapter(
        "zeroed", tuple(replace(lead, open_zeroed="2026-01-01", lead_u_f=lead_u_f) for lead in leads)
    )


def read(
    groups: tuple[frozenset[End], ...],
    *leaks: Path,
    repeats: int = 1,
    made: Meter | None = None,
    adapter: Adapter | None = None,
    ohm: Callable[[int], float] = lambda _number: 1.0,
    farad: Callable[[int], float | None] = lambda _number: 50e-12,
    able: Capabilities = FARADS,
) -> tuple[Measured, int]:
    """Return what was read for the places of a loom found so, and how many readings were asked."""
    leads = adapter or zero()
    bench = Answering(farad_bench(LOOM).scanner, able, ohm=ohm, farad=farad)
    plan = plan_proof(EXPECTED, leads.point_of, bench.capabilities(), made or meter())
    found = Measured((ONE, TWO, THREE, STAR), groups, True, leaks=leaks, resistance_readings=100)
    clearance = cleared(LOOM, bench, leads, meter_v=0.0)
    bench.asked = 0
    asked = read_for_places(plan, EXPECTED, bench, clearance, leads, found, repeats, steady=False)
    return finish(asked), bench.asked


def leak(a: End, b: End, ohm: float) -> Path:
    return Path(a, b, ohm, 0.1)


def across(measured: Measured) -> list[list[tuple[End, End]]]:
    return [[(one.a, one.b) for one in each] for each in measured.across]


WHOLE = (ONE, TWO, THREE, STAR)
EACH_WAY = [(A1, A2), (A1, B2), (B1, A2), (B1, B2)]


def test_a_path_is_followed_as_a_touch_up_to_its_ohms_and_told_once_however_often_it_was_found() -> None:
    found, asked = read(WHOLE, leak(A1, A2, TOUCH_OHM), leak(B1, B2, 1.0))
    assert (across(found), asked, found.resistance_readings) == ([EACH_WAY], 4, 104)
    found, asked = read(WHOLE, leak(A1, A2, TOUCH_OHM + 1.0))
    assert (found.across, asked, found.resistance_readings) == ((), 0, 100)


def test_every_touch_is_read_and_of_three_nets_each_against_the_first() -> None:
    found, _ = read((ONE | TWO, THREE | STAR))
    assert [len(each) for each in found.across] == [4, 4]
    found, asked = read((ONE | TWO | THREE, STAR))
    third = [(A1, A3), (A1, B3), (B1, A3), (B1, B3)]
    assert (across(found), asked) == ([[*EACH_WAY, *third]], 8)


def test_a_net_that_is_broken_and_touches_another_is_read_neither_way() -> None:
    """What a piece and another net have together is no piece's farads, nor has it two ends to read from."""
    found, asked = read((frozenset({A1, A2, B2}), frozenset({B1}), THREE, STAR))
    assert (found.farads, found.across, asked) == ((), (), 0)


def test_a_net_of_several_branches_is_read_from_the_two_cavities_that_lie_farthest_apart() -> None:
    """From A:4 it is 1.2 m to B:4 and 3.2 m to C:1, from B:4 to C:1 4.0 m."""
    found, _ = read((ONE | STAR, TWO, THREE))
    ends = {one.b for one in found.across[0]} | {one.a for one in found.across[0]}
    assert ends == {A1, B1, End("B", "4"), End("C", "1")}


def test_what_a_reading_across_is_worth_is_its_scatter_over_the_root_of_how_often_and_its_leads() -> None:
    """JCGM 100:2008, 4.2.3: the mean of n readings has the standard deviation of one over the root of n."""
    leads = {point: 0.01 * point for point in range(1, 12)}
    two_wire = meter(0.1, lead_ohm=leads, lead_u_ohm=0.003, repeatability_ohm=0.02, repeats=2)
    first = zero().point_of
    found, asked = read((ONE | TWO, THREE, STAR), made=two_wire, ohm=float)
    one = found.across[0][0]
    assert (one.a, one.b, one.lead_u_ohm) == (A1, A2, 0.003)
    assert one.ohm == pytest.approx(1.5 - leads[first[A1]] - leads[first[A2]])
    assert one.u_ohm == pytest.approx(0.02 / math.sqrt(2.0))
    assert asked == 8
    found, asked = read((ONE | TWO, THREE, STAR), made=two_wire, repeats=4)
    assert found.across[0][0].u_ohm == pytest.approx(0.02 / 2.0)
    assert asked == 16


def test_a_reading_across_that_is_open_says_nothing() -> None:
    found, _ = read((ONE | TWO, THREE, STAR), ohm=lambda number: math.inf if number == 2 else 1.0)
    assert across(found) == [[EACH_WAY[0], *EACH_WAY[2:]]]


def test_every_broken_net_is_read_with_the_meters_scatter_and_that_of_its_leads() -> None:
    """1 pF of a reading, half of the expanded 4 pF of each lead, and ± 5 pF of offset for a lead more."""
    parted = (frozenset({A1}), frozenset({B1}), frozenset({A2}), frozenset({B2}), THREE)
    split = (frozenset({End("A", "4"), End("B", "4")}), frozenset({End("C", "1")}))
    found, asked = read((*parted, *split), adapter=zero(4e-12))
    assert asked == 6
    worth = {len(piece.ends): piece.u_f for piece in found.farads}
    assert worth[1] == pytest.approx(1e-12 * math.sqrt(1.0 + 4.0), rel=1e-9, abs=0.0)
    assert worth[2] == pytest.approx(1e-12 * math.sqrt(1.0 + 8.0 + 25.0 / 3.0), rel=1e-9, abs=0.0)
    assert found.resistance_readings == 106


@pytest.mark.parametrize("told", [None, math.inf])
def test_of_a_net_whose_pieces_give_no_farads_only_the_reason_is_told(told: float | None) -> None:
    parted = (frozenset({A1}), frozenset({B1}), TWO, THREE, STAR)
    found, asked = read(parted, farad=lambda _number: told)
    assert (found.farads, asked, len(found.unplaced)) == ((), 2, 1)
    assert found.unplaced[0][1] == NO_FARADS
