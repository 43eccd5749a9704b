"""Bad joints in nets with branches: against the sum that three readings of a star make, and on a bench."""

from __future__ import annotations

import pytest

from loomproof.locating.bad_joints import BadPart, Thing, place_joint
from loomproof.locating.shorts import Copper, Reading
from loomproof.locating.tree import Run, Tree
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.results.findings import Kind
from loomproof.results.places import Place
from tests.locating.placing_bench import placed

A, B, C, D = (End(name, "1") for name in "ABCD")
S, T = End("S"), End("T")
STAR = Tree((Run("WA", A, S), Run("WB", B, S), Run("WC", C, S)), (A, B, C))
LADDER = Tree((*STAR.runs[:2], Run("WT", S, T), Run("WC", C, T), Run("WD", D, T)), (A, B, C, D))


def _found(tree: Tree, **ohm: float) -> tuple[BadPart, ...]:
    """Return the parts of a tree of 0.1 Ω a wire and 0.01 Ω a contact, with these ohms too many."""
    sides = [(run.name, end) for run in tree.runs for end in (run.a, run.b)]
    copper = Copper(
        {run.name: 0.1 for run in tree.runs},
        dict.fromkeys(sides, (0.0, 0.0)),
        dict.fromkeys(tree.cavities, (0.01, 0.003)),
        own_ratio=0.01,
    )
    readings = []
    for k, one in enumerate(tree.cavities):
        for other in tree.cavities[k + 1 :]:
            way = tree.way(one, other)
            passed = [run.name for run in way] + [one.connector, other.connector]
            inner = {end.connector for run in way for end in (run.a, run.b)} - {
                one.connector,
                other.connector,
            }
            more = sum(value for name, value in ohm.items() if name in passed or name in inner)
            readings.append(Reading(one, other, 0.1 * len(way) + 0.02 + more, 0.002))
    place = place_joint(tree, readings, copper)
    assert bool(place.parts) is not bool(place.reason)
    return place.parts


def test_three_readings_of_a_star_give_the_ohms_of_each_arm() -> None:
    """By hand: 0.92, 0.92 and 0.22 Ω; (0.92 + 0.92 - 0.22) / 2 = 0.81 Ω before B, 0.11 Ω of it sound."""
    (part,) = _found(STAR, WB=0.7)
    assert part.ohm == pytest.approx(0.7, abs=0.01)
    assert {thing.run or str(thing.end) for thing in part.things} == {"WB", "B:1"}
    assert part.share > 0.99


def test_the_wire_between_two_splices_is_told_from_those_beyond() -> None:
    for name in ("WA", "WT", "WD"):
        (part,) = _found(LADDER, **{name: 0.3})
        assert Thing(name) in part.things
        assert {thing.run for thing in part.things if thing.run} == {name}


def test_a_splice_itself_is_told_from_its_wires() -> None:
    (part,) = _found(LADDER, S=0.4)
    assert part.things == (Thing(end=S, whole=True),)


def test_two_bad_parts_are_no_place() -> None:
    assert not _found(STAR, WA=0.5, WB=0.7)


def test_between_two_ends_nothing_is_taken_apart() -> None:
    tree = Tree((Run("W", A, B),), (A, B))
    assert "two ends" in place_joint(tree, [Reading(A, B, 1.0, 0.01)], Copper({}, {}, {})).reason


PLUGS = tuple(Connector(n, ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE) for n in "ABC")
LOOM = Loom(
    "joints",
    connectors=(*PLUGS, Connector("S", ConnectorKind.SPLICE)),
    wires=(
        *(Wire(f"W{n}", End(n, "1"), S, "BU", 0.5, 1.0) for n in "ABC"),
        Wire("W2", End("A", "2"), End("B", "2"), "RD", 0.5, 1.0),
    ),
)


def _place(fault: str, *, locate: bool = True) -> tuple[Place | None, int]:
    outcome, bench = placed(LOOM, fault, locate=locate)
    (finding,) = (each for each in outcome.document.findings if each.kind is Kind.HIGH_RESISTANCE)
    return finding.place, bench.farad_readings


def test_a_bad_joint_on_a_bench_is_placed_by_what_was_read_anyway() -> None:
    place, farads = _place("high 0.8 B:1")
    assert place is not None
    assert place.answer == "either"
    assert set(place.ends) == {B, S}
    assert "too many between B:1 and splice S: contact or crimp at B:1, WB (blue) or the joint" in place.text
    assert farads == 0
    splice, _ = _place("high 0.8 S")
    assert splice is not None
    assert splice.answer == "contact"
    assert splice.ends == (S,)


def test_of_a_wire_with_two_ends_and_where_no_place_was_asked_for_none_is_told() -> None:
    assert _place("high 0.8 W2")[0] is None
    assert _place("high 0.8 WB", locate=False)[0] is None
