"""Opens, shorts and miswires on a small loom whose answers are worked out by hand."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Circuit, Connector, ConnectorKind, End, Loom, Need, Wire, end_of, ends_of
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.measured import Measured


def plug(name: str, *rows: str, housing: str = "") -> Connector:
    return Connector(name, ConnectorKind.PLUG, tuple(tuple(row.split()) for row in rows), housing=housing)


def wire(name: str, a: str, b: str, circuit: str = "") -> Wire:
    return Wire(name, end_of(a), end_of(b), colour="BU/WH", csa_mm2=0.5, circuit=circuit)


LOOM = Loom(
    "small",
    connectors=(
        plug("A", "1 2 3", "4 5 6"),
        plug("B", "1 2 3", housing="three"),
        plug("C", "1 2 3", housing="three"),
        Connector("S1", ConnectorKind.SPLICE),
    ),
    wires=(
        wire("W1", "A:1", "S1"),
        wire("W2", "S1", "B:1"),
        wire("W3", "S1", "C:1"),
        wire("W4", "A:2", "B:2"),
        wire("W5", "A:3", "B:3"),
        wire("W6", "A:5", "C:2", circuit="purge"),
    ),
    circuits=(Circuit("purge", need=Need.UNUSED),),
)


def nets(*texts: str) -> tuple[frozenset[End], ...]:
    return tuple(frozenset(ends_of(text)) for text in texts)


EXPECTED = nets("A:1 B:1 C:1", "A:2 B:2", "A:3 B:3", "A:4", "A:5 C:2", "A:6", "C:3")


def found(*groups: str) -> tuple[Finding, ...]:
    named = nets(*groups)
    touched = frozenset().union(*named)
    rest = tuple(net for net in EXPECTED if not net & touched)
    return explain(LOOM, Measured(EXPECTED, (*named, *rest), complete=True))


def test_a_sound_loom_has_no_findings() -> None:
    assert explain(LOOM, Measured(EXPECTED, EXPECTED, complete=True)) == ()


def test_an_open_names_the_wire_at_its_side_of_the_splice() -> None:
    (finding,) = found("A:1 B:1", "C:1")
    assert (finding.kind, finding.cause, finding.wires) == (Kind.OPEN, "broken_wire", ("W3",))
    assert "W3 (blue/white)" in finding.title
    assert any(place.startswith("C:1, row 1 place 1, seen from the mating face") for place in finding.places)


def test_a_splice_that_lets_all_go_is_one_fault() -> None:
    (finding,) = found("A:1", "B:1", "C:1")
    assert (finding.kind, finding.cause) == (Kind.OPEN, "open_splice")


def test_a_short_is_looked_for_between_neighbours_first() -> None:
    (finding,) = found("A:2 B:2 A:3 B:3")
    assert finding.kind is Kind.SHORT
    assert finding.cavities == ends_of("A:2 A:3 B:2 B:3")
    assert finding.places[0].startswith("A:2, row 1 place 2")


def test_two_crossed_contacts_name_both_ends_that_could_be_crossed() -> None:
    (finding,) = found("A:2 B:3", "A:3 B:2")
    assert (finding.kind, finding.cause) == (Kind.MISWIRE, "crossed")
    (other,) = (other for other in finding.alternatives if other.cause == "crossed")
    assert {finding.cavities, other.cavities} == {
        (End("A", "2"), End("A", "3")),
        (End("B", "2"), End("B", "3")),
    }
    assert other.tell_apart


def test_a_wire_in_a_spare_cavity_is_a_move() -> None:
    (finding,) = found("A:6 B:2", "A:2")
    assert (finding.cause, finding.cavities) == ("moved_to_spare", (End("A", "2"), End("A", "6")))


def test_exchanged_look_alike_plugs_are_one_finding() -> None:
    (finding,) = found("A:1 B:1 C:1", "A:2 C:2", "A:3 C:3", "A:5 B:2", "B:3")
    assert (finding.kind, finding.cause) == (Kind.MISWIRE, "exchanged")
    assert {end.connector for end in finding.cavities} == {"B", "C"}


def test_a_plug_that_is_not_home_is_one_finding() -> None:
    (finding,) = found("A:1 C:1", "A:2", "A:3", "B:1", "B:2", "B:3")
    assert (finding.kind, finding.cause) == (Kind.OPEN, "not_plugged")


def test_an_open_in_an_unused_circuit_is_a_note_and_a_short_from_one_a_fault() -> None:
    (note,) = found("A:5", "C:2")
    assert note.severity is Severity.NOTE
    (fault,) = found("A:5 C:2 A:6")
    assert fault.severity is Severity.FAULT


@pytest.mark.parametrize("groups", [("A:1 A:2 A:3 A:4 A:5 A:6", "B:1 B:2", "B:3 C:1", "C:2 C:3")])
def test_nothing_is_ever_silent(groups: tuple[str, ...]) -> None:
    assert found(*groups)


def on_boards(moved: Callable[[int], int | None]) -> tuple[Finding, ...]:
    """Explain two plugs of 16 on 32 points; what belongs on point p was found on point ``moved(p)``."""
    sixteen = " ".join(map(str, range(1, 17)))
    # The fives' multiples modulo 17 are a permutation without a pattern that a turned plug would repeat.
    wires = tuple(wire(f"W{i}", f"A:{i}", f"B:{5 * i % 17}") for i in range(1, 17))
    loom = Loom("two plugs", connectors=(plug("A", sixteen), plug("B", sixteen)), wires=wires)
    points = {end: number for number, end in enumerate(loom.cavities, start=1)}
    at = {number: end for end, number in points.items()}
    expected = tuple(frozenset(one.ends) for one in loom.wires)
    groups = [
        frozenset(at[place] for end in net if (place := moved(points[end])) is not None) for net in expected
    ]
    alone = set(loom.cavities).difference(*groups)
    groups = [group for group in groups if group] + [frozenset({end}) for end in alone]
    return explain(loom, Measured(expected, tuple(groups), complete=True, points=tuple(points.items())))


def test_all_faults_on_one_board_are_the_board() -> None:
    (finding,) = on_boards(lambda point: None if point <= 8 else point)
    assert finding.cause == "adapter_board"
    assert "Points 1 to 8" in finding.title


def test_two_boards_exchanged_are_the_adapter() -> None:
    (finding,) = on_boards(
        lambda point: point + 8 if 9 <= point <= 16 else point - 8 if 17 <= point <= 24 else point
    )
    assert (finding.kind, finding.cause) == (Kind.MISWIRE, "adapter")
    assert "points 9 to 16 and points 17 to 24 exchanged" in finding.title


def test_a_board_turned_is_the_adapter() -> None:
    (finding,) = on_boards(lambda point: 25 - point if 9 <= point <= 16 else point)
    assert finding.cause == "adapter"
    assert "points 9 to 16 turned end for end" in finding.title


def test_two_contacts_crossed_may_be_two_leads_of_the_adapter() -> None:
    (finding,) = on_boards(lambda point: {3: 4, 4: 3}.get(point, point))
    assert finding.cause == "crossed"
    others = [other for other in finding.alternatives if other.cause == "adapter"]
    assert "points 3 and 4" in others[0].text
    assert len(others) == 2, "the leads at the far plug read the same"


def test_an_open_may_be_the_adapters_lead() -> None:
    (finding,) = found("A:1 B:1", "C:1")
    (other,) = (other for other in finding.alternatives if other.cause == "adapter_lead")
    assert other.cavities == (End("C", "1"),)
    assert other.tell_apart
