"""Tracing step by step: what sense groups, what charges, which parts are told, which lengths are taken."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from typing import cast

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Capabilities, singles
from loomproof.electrics.expectation import expect
from loomproof.loom.model import ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Settings
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import finish
from loomproof.measuring.ohmmeter import Ohmmeter, Settled
from loomproof.measuring.trace import (
    LEAK_OHM,
    MOST_TOGETHER,
    Traced,
    _between,
    _sensed,
    _settled,
    _Tracing,
    trace,
)
from loomproof.measuring.traced_loom import LENGTHS_M, fitted_loom, loom_of, questions_of
from loomproof.measuring.traced_parts import Read, TracedPart, parts_between
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import plan_proof
from tests.cleared import cleared
from tests.measuring.network_bench import Network, NetworkBench
from tests.measuring.scripted import Scripted, between, meter, ohmmeter_of


def end(k: int) -> End:
    return End("X", str(k))


def scope_of_points(count: int) -> Scope:
    end_of = {k: end(k) for k in range(1, count + 1)}
    return Scope((), (), (), {e: point for point, e in end_of.items()}, end_of, ())


class Sensing:
    """Stands in for an `Asker`: what is driven reads low, and so does what it pulls low."""

    def __init__(self, pulls: dict[int, int]) -> None:
        self.pulls = pulls

    def sense(self, drives: Sequence[int]) -> list[int]:
        found = []
        for drive in drives:
            low = drive
            for one in singles(drive):
                low |= self.pulls.get(one, 0)
            found.append(low)
        return found


def sensed(pulls: dict[int, int], points: int) -> tuple[set[int], list[tuple[int, int]], bool]:
    groups, one_way, confirmed = _sensed(cast(Asker, Sensing(pulls)), (1 << points) - 1)
    return set(groups), one_way, confirmed


def test_what_senses_the_same_both_ways_is_confirmed() -> None:
    assert sensed({}, 3) == ({1, 2, 4}, [], True)
    assert sensed({1: 4, 4: 1}, 4) == ({5, 2, 8}, [], True)


@pytest.mark.parametrize(("sink", "source"), [(1, 2), (2, 1), (1, 4), (4, 2), (2, 4)])
def test_a_path_that_conducts_one_way_is_never_confirmed(sink: int, source: int) -> None:
    assert sensed({sink: source}, 3) == ({1, 2, 4}, [(source, sink)], False)


def test_one_way_paths_that_group_alike_both_ways_give_themselves_away_too() -> None:
    """Point 1 is pulled low by both others: numbered either way each is found by itself."""
    assert sensed({2: 1, 4: 1}, 3) == ({1, 2, 4}, [(1, 4), (1, 2)], False)


@pytest.mark.parametrize("farads", [False, True])
@pytest.mark.parametrize(
    ("found", "ohm", "charges"),
    [
        (Settled(5.0, 0.1, False), 5.0, False),
        (Settled(LEAK_OHM + 1.0, 0.1, False), LEAK_OHM + 1.0, False),
        (Settled(5.0, 0.1, True), 5.0, True),
        (Settled(5.0, 0.1, True, True), math.inf, True),
        (Settled(LEAK_OHM, 0.1, True), math.inf, True),
        (Settled(LEAK_OHM - 1.0, 0.1, True), LEAK_OHM - 1.0, True),
    ],
)
def test_what_charges_and_leads_nowhere_is_open_and_a_person_is_asked_once(
    found: Settled, ohm: float, charges: bool, farads: bool
) -> None:
    """A bench that reads farads asks only about what conducts beside a capacitor: that it cannot read."""

    class Charging:
        asker = Scripted(between({}), able=Capabilities(8, farads=(0.0, 1.0) if farads else None))

        def settled(self, *_given: object, **_more: object) -> Settled:
            return found

    tracing = _Tracing(None, scope_of_points(2))
    for a, b in ((1, 2), (2, 1)):
        assert _settled(tracing, cast(Ohmmeter, Charging()), a, b)[0] == ohm
    said = ["Between X:1 and X:2 a reading rises: is there a capacitor, and of how many farads?"]
    asked = charges and not (farads and math.isinf(ohm))
    assert tracing.questions == (said if asked else [])


def parts(ohm: dict[tuple[int, int], float], volt: float = math.inf) -> tuple[list[TracedPart], list[str]]:
    """Parts between three conductors of one point each, read both ways; what is not said is open."""
    by_points = {(1 << (i - 1), 1 << (j - 1)): value for (i, j), value in ohm.items()}
    able = Capabilities(64, ohms=(0.0, 1e6), diode=True)
    asker = Scripted(between(by_points), lambda _a, _b: volt, able)
    scope = scope_of_points(3)
    made = ohmmeter_of(asker, scope)
    ohms, volts = _between(_Tracing(made, scope), made, [1, 2, 4], {(0, 1), (1, 2)})
    assert len(ohms) == 6
    found, asked = parts_between([(end(1),), (end(2),), (end(3),)], ohms, volts)
    return [replace(part, u=None) for part in found], list(asked)


def test_a_resistor_beside_a_diode_is_told_with_the_diodes_way() -> None:
    """X:1 to X:2 reads 100 Ω within ±0.1, X:2 conducts to X:3 only, and X:1 to X:3 nothing does."""
    resistor = TracedPart(end(1), end(2), 100.1)
    both = {(1, 2): 100.0, (2, 1): 100.1}
    assert parts(both | {(2, 3): 50.0}) == ([resistor, TracedPart(end(2), end(3), None, True)], [])
    diode = TracedPart(end(3), end(2), None, True, 0.6)
    assert parts(both | {(3, 2): 50.0}, 0.6) == ([resistor, diode], [])


def test_what_conducts_both_ways_but_unlike_is_a_resistor_and_a_diode() -> None:
    found, _ = parts({(1, 2): 50.0, (2, 1): 100.0}, 0.6)
    assert found == [TracedPart(end(1), end(2), 100.0), TracedPart(end(1), end(2), None, True, 0.6)]


def test_two_parts_in_a_row_are_asked_about_from_end_to_end() -> None:
    """Diodes X:1 to X:2 to X:3: from X:1 to X:3 reads more than either leg, and nothing back."""
    found, said = parts({(1, 2): 50.0, (2, 3): 60.0, (1, 3): 120.0})
    assert [(part.a, part.b) for part in found] == [(end(1), end(2)), (end(2), end(3))]
    assert said == ["X:1 and X:3 conduct, as it seems through other parts. Is that so?"]


def test_of_several_readings_of_a_pair_the_first_counts() -> None:
    reads = [Read(end(1), end(2), ohm, 0.1) for ohm in (100.0, 90.0)]
    reads += [Read(end(2), end(1), ohm, 0.1) for ohm in (100.0, None)]
    (found,), asked = parts_between([(end(1),), (end(2),)], reads, [])
    assert found.ohm == pytest.approx(100.0)
    assert not asked


@pytest.mark.parametrize("count", [3, MOST_TOGETHER, MOST_TOGETHER + 1])
def test_of_few_conductors_each_is_read_to_each_and_of_many_what_is_known_to_conduct(count: int) -> None:
    """A row of conductors, each joined to the next, and two others apart from them."""
    scope = scope_of_points(count + 2)
    conductors = [1 << k for k in range(count + 2)]
    row = {(k, k + 1) for k in range(count - 1)}
    asker = Scripted(lambda _a, _b, _wires: 100.0)
    tracing = _Tracing(ohmmeter_of(asker, scope), scope)
    assert tracing.ohmmeter
    _between(tracing, tracing.ohmmeter, conductors, {*row, (count, count + 1)})
    read = {(a.bit_length() - 1, b.bit_length() - 1) for a, b, _ in asker.asked}
    wanted = row if count > MOST_TOGETHER else set(combinations(range(count), 2))
    wanted = wanted | {(count, count + 1)}
    assert read == wanted | {(j, i) for i, j in wanted}


def test_a_loom_is_traced_in_the_order_of_its_points() -> None:
    """Wires of 0.1 Ω from 1 to 4 and from 2 to 6, 100 Ω from 2 to 3, a diode from 4 to 5; 7 is alone."""
    network = Network(
        {
            "W1": (end(1), end(4), 0.1),
            "W2": (end(2), end(6), 0.1),
            "R1": (end(6), end(3), 100.0),
        },
        {"D1": (end(4), end(5))},
    )
    bench = NetworkBench(network, {end(k): k for k in range(1, 8)})
    plug = Connector("X", ConnectorKind.PLUG, (tuple(map(str, range(1, 8))),), hazard=Hazard.NONE)
    loom = Loom("it", connectors=(plug,))
    cleared_for = cleared(loom, bench)
    end_of = {k: end(k) for k in range(1, 8)}
    found = finish(trace(bench, cleared_for, end_of, meter()))
    assert found.nets == ((end(1), end(4)), (end(2), end(6)), (end(3),), (end(5),), (end(7),))
    assert {pair: round(ohm, 3) for pair, (ohm, _) in found.ohms.items()} == {
        (end(1), end(4)): 0.1,
        (end(2), end(6)): 0.1,
    }
    (diode,) = [part for part in found.parts if part.one_way]
    (resistor,) = [part for part in found.parts if not part.one_way]
    assert (diode.a, diode.b) == (end(1), end(5))
    assert (resistor.a, resistor.b, round(resistor.ohm or 0.0)) == (end(2), end(3), 100)
    assert not found.confirmed
    bare = finish(trace(bench, cleared_for, end_of, None))
    assert set(bare.nets) == {(end(1), end(4)), (end(2), end(3), end(6)), (end(5),), (end(7),)}
    (way,) = bare.parts  # once, though both cavities of its net show it
    assert (way.a, way.b, way.one_way) == (end(4), end(5), True)
    assert bare.questions == ("This bench has no ohms: what senses as joined may be joined by a part.",)


LOOM = Loom("nothing known", connectors=(Connector("X", ConnectorKind.PLUG, (("1", "2", "3", "4", "5"),)),))
TRACED = Traced(
    ((end(1), end(2)), (end(3),), (end(4),), (end(5),)), {}, (TracedPart(end(3), end(4), 100.0),), True
)
ORDER = in_order(LOOM.cavities).point_of
ABLE = Capabilities(8, ohms=(0.0, 1e6))


def limits_ohm(length_m: float) -> tuple[float, float]:
    """What the wire may read, and the resistor, with wires of this length."""
    loom = loom_of(TRACED, "it", ORDER, settings=Settings(wire_length_m=length_m))
    plan = plan_proof(expect(loom, 20.0), ORDER, ABLE, meter())
    return plan.conductors[0].limit_ohm, plan.parts[0].upper_ohm


def fitted(ohm: dict[tuple[End, End], float]) -> tuple[Loom, tuple[str, ...]]:
    return fitted_loom(TRACED, "it", ORDER, ABLE, meter(), lambda a, b: (ohm[a, b], 0.1))


@pytest.mark.parametrize("length_m", [2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0, 45.0, 60.0])
def test_the_shortest_length_is_taken_with_which_what_was_found_passes(length_m: float) -> None:
    limit_ohm, _ = limits_ohm(length_m)
    for ohm in (limit_ohm, 0.99 * limit_ohm):  # on its limit a reading passes
        loom, failing = fitted({(end(1), end(2)): ohm, (end(3), end(4)): 100.0})
        assert (loom.settings.wire_length_m, failing) == (length_m, ())
    if length_m < LENGTHS_M[-1]:
        longer, _ = fitted({(end(1), end(2)): 1.001 * limit_ohm, (end(3), end(4)): 100.0})
        assert (longer.settings.wire_length_m or 0.0) > length_m


def test_a_part_on_its_limit_passes_and_one_that_no_tolerance_fits_is_asked_about() -> None:
    _, most_ohm = limits_ohm(2.0)
    loom, failing = fitted({(end(1), end(2)): 0.01, (end(3), end(4)): most_ohm})
    assert (loom.settings.wire_length_m, loom.components[0].tolerance_pct, failing) == (2.0, 5.0, ())
    loom, failing = fitted({(end(1), end(2)): 0.01, (end(3), end(4)): 145.0})
    assert (loom.components[0].tolerance_pct, failing) == (50.0, ())
    _, failing = fitted({(end(1), end(2)): 50.0, (end(3), end(4)): 7000.0})
    assert failing == (
        "X:1 to X:2 reads 50.000 ohm: a bad joint?",
        "X:3 to X:4 reads 7000 ohm, not as one part: what is there?",
    )


def test_a_bench_without_ohms_leaves_the_usual_defaults() -> None:
    for made, read in ((None, lambda _a, _b: (9.9, 0.1)), (meter(), None)):
        loom, failing = fitted_loom(TRACED, "it", ORDER, ABLE, made, read)
        assert (loom.settings, failing) == (Settings(), ())


def test_what_only_a_person_can_know_is_asked() -> None:
    diode = TracedPart(end(3), end(5), None, True, 0.6123)
    traced = Traced(TRACED.nets, {}, (*TRACED.parts, diode), False, ("First?",))
    loom = loom_of(traced, "it", ORDER)
    assert [(c.name, c.kind, c.resistance_ohm, c.forward_v) for c in loom.components] == [
        ("R1", ComponentKind.RESISTOR, 100.0, None),
        ("D1", ComponentKind.DIODE, None, 0.612),
    ]
    begin = [
        "First?",
        "R1, 100 ohm from X:3 to X:4: a part, a leak, or a bad joint?",
        "D1 conducts from X:3 to X:5 only: is it a diode, and which?",
        "What was at X? Fill in the column hazard.",
        "Which connector is which: kinds, housings, rows as seen from the mating face, what each goes to?",
        "Which ends does a fuse or a link lie between",
        "Colours, lengths and sections of the wires, and where splices lie?",
        "Note, nothing to answer: sense was not the same both ways, so every point was asked alone; "
        "D1 may be why.",
    ]
    for said, start in zip(questions_of(traced, loom), begin, strict=True):
        assert said.startswith(start)
    again = list(questions_of(traced, loom, loom))
    assert not any(said.startswith(("R1", "D1")) for said in again)
    assert any(said.startswith("Which connector is which (X): kinds") for said in again)
    safe = loom_of(TRACED, "it", ORDER, hazards={"X": Hazard.NONE})
    assert not any("hazard" in said for said in questions_of(TRACED, safe))
    assert "X:5: nothing found on it: spare, cut wire, or a pulled part?" in list(questions_of(TRACED, safe))
