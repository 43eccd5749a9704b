"""What every finding is put together from: costs, notes, evidence, conductors; by hand on small looms."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.desk import Desk
from loomproof.diagnosis.faults import Choice, Fault
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.diagnosis.writing import NOT_PROVED, Writer
from loomproof.loom.model import Circuit, Component, ComponentKind, End, Loom, Need, Wire, end_of, ends_of
from loomproof.results.findings import Kind, Severity
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

TABLE = weights()


def desk(loom: Loom = LOOM, groups: str = "", **more: Any) -> Writer:
    named = nets(*groups.split(", ")) if groups else ()
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    measured = Measured(EXPECTED, (*named, *rest), complete=True, **more)
    return Writer(loom, wiring_of(loom, EXPECTED, TABLE), measured, None, TABLE)


@pytest.mark.parametrize(
    ("fault", "cost"),
    [
        (Fault(Cause.BROKEN_WIRE, (0,), edges=(0,)), 1000),
        (Fault(Cause.BROKEN_WIRE, (0,), edges=(0, 1)), 2000),
        (Fault(Cause.OPEN_SPLICE, (0,), splices=(12,)), 1700),
        (Fault(Cause.ADAPTER_BOARD, (0, 1, 2)), 900),
        (Fault(Cause.ADAPTER, (0, 1, 2)), 1600),
        (Fault(Cause.TOUCHING, (0, 1), pieces=((0,), (1,))), 1000),
        (Fault(Cause.TOUCHING, (0, 1, 2), pieces=((0,), (1,), (2,))), 2000),
        (Fault(Cause.EXCHANGED, (0, 1), connectors=("B", "C")), 1600),
        (Fault(Cause.EXCHANGED, (0, 1), connectors=("A", "B")), 2200),
        (Fault(Cause.MIRRORED, (0, 1), connectors=("A",)), 1600),
        (Fault(Cause.NOT_PLUGGED, (0, 1), connectors=("A",)), 1600),
        (Fault(Cause.CROSSED, (0, 1)), 1600),
        (Fault(Cause.CROSSED, (0, 1, 2)), 3200),
        (Fault(Cause.CROSSED_HOUSINGS, (0, 1)), 2000),
        (Fault(Cause.CROSSED_HOUSINGS, (0, 1, 2)), 4000),
        (Fault(Cause.MOVED_TO_SPARE, (0, 1)), 1600),
    ],
)
def test_a_fault_costs_what_the_table_says(fault: Fault, cost: int) -> None:
    """Wires, shorts and slips as `data/weights.toml` prices them, each written out here."""
    assert desk().cost(fault) == cost


def test_wires_of_a_net_stand_in_its_order() -> None:
    at = desk()
    assert at.wires_of(end_of("B:1")) == ("W1", "W2", "W3")
    assert at.wires_of(end_of("A:2"), end_of("A:3"), end_of("B:2")) == ("W4", "W5")
    assert at.wires_of(end_of("A:4")) == ()


def test_nets_come_near_each_other_only_where_they_are_two() -> None:
    at = desk()
    assert at.near(end_of("A:1"), end_of("B:1")) == ()
    assert at.near(end_of("A:2"), end_of("B:3"))[0].ends == ends_of("A:2 A:3")


CHAIN = Loom(
    "chain",
    connectors=(plug("A", "1 2 3 4 5"), plug("B", "1")),
    wires=tuple(Wire(f"W{k}", end_of(f"A:{k}"), end_of(f"A:{k + 1}"), csa_mm2=0.5) for k in range(1, 5)),
)


@pytest.mark.parametrize(
    ("piece", "wires"),
    [
        ("A:1", ""),
        ("A:1 A:2", "W1"),
        ("A:2 A:3 A:4", "W2 W3"),
        ("A:1 A:2 A:3 A:4 A:5", "W1 W2 W3 W4"),
    ],
)
def test_a_piece_of_a_net_is_made_of_the_wires_between_its_cavities(piece: str, wires: str) -> None:
    expected = (frozenset(end for end in CHAIN.cavities if end.connector == "A"), frozenset({End("B", "1")}))
    wiring = wiring_of(CHAIN, expected, TABLE)
    at = Desk(CHAIN, wiring, Measured(expected, expected, complete=True), None, TABLE)
    found = at.conductor(sorted(wiring.leaf_of[end] for end in ends_of(piece)))
    assert {wire.name for wire in found.wires} == set(wires.split())
    assert set(found.leaves) == set(ends_of(piece))
    assert set(ends_of(piece)) <= found.ends


def test_the_whole_of_a_star_and_two_of_its_arms() -> None:
    at = desk()
    leaf = at.wiring.leaf_of
    for ends, wires in (("A:1 B:1 C:1", {"W1", "W2", "W3"}), ("A:1 B:1", {"W1", "W2"})):
        found = at.conductor([leaf[end] for end in ends_of(ends)])
        assert {wire.name for wire in found.wires} == wires
        assert End("S1") in found.ends
        assert found.ends == {*ends_of(ends), End("S1")}


CIRCUITS = replace(
    LOOM,
    wires=tuple(
        replace(wire, circuit={"W4": "idle", "W5": "idle", "W6": "other", "W1": "used"}.get(wire.name, ""))
        for wire in LOOM.wires
    ),
    circuits=(Circuit("idle", need=Need.UNUSED), Circuit("other", need=Need.UNUSED), Circuit("used")),
    components=(
        Component(
            "R1", ComponentKind.RESISTOR, (("1", end_of("A:2")), ("2", end_of("A:3"))), 1.0, circuit="idle"
        ),
    ),
)


@pytest.mark.parametrize(
    ("kind", "wires", "parts", "cavities", "unused"),
    [
        (Kind.OPEN, "W4", "", "A:2", "idle"),
        (Kind.OPEN, "W4 W6", "", "A:2 A:5", "idle other"),
        (Kind.OPEN, "W4 W5", "", "A:2 A:3", "idle"),
        (Kind.OPEN, "W4 W1", "", "A:2 A:1", ""),
        (Kind.OPEN, "W2", "", "B:1", ""),
        (Kind.OPEN, "W4", "R1", "A:2", "idle"),
        (Kind.OPEN, "", "R1", "A:2", "idle"),
        (Kind.OPEN, "", "", "A:4", ""),
        (Kind.HIGH_RESISTANCE, "W4", "", "A:2", "idle"),
        (Kind.MISSING_COMPONENT, "", "R1", "A:2", "idle"),
        (Kind.INTERMITTENT, "W4", "", "A:2", "idle"),
        (Kind.SHORT, "W4 W5", "", "A:2 A:3", ""),
        (Kind.LEAKAGE, "W4 W5", "", "A:2 A:3", ""),
        (Kind.WRONG_VALUE, "", "R1", "A:2", ""),
        (Kind.REVERSED, "", "R1", "A:2", ""),
        (Kind.UNEXPECTED_COMPONENT, "W4", "", "A:2", ""),
        (Kind.MISWIRE, "W4 W5", "", "A:2 A:3", "idle"),
        (Kind.MISWIRE, "W4 W6", "", "A:2 A:5", ""),
        (Kind.MISWIRE, "W4", "", "A:2 A:4", ""),
    ],
)
def test_only_what_stays_within_unused_circuits_is_a_note(
    kind: Kind, wires: str, parts: str, cavities: str, unused: str
) -> None:
    at = desk(CIRCUITS)
    found = at.unused(kind, wires.split(), parts.split(), ends_of(cavities))
    assert found == tuple(unused.split())
    cause = next(cause for cause in Cause if cause.kind is kind)
    made = at.make(
        cause,
        ends_of(cavities),
        "",
        [],
        ["step"],
        wires=tuple(wires.split()),
        components=tuple(parts.split()),
        cost=1500,
    )
    assert made.severity is (Severity.NOTE if unused else Severity.FAULT)
    assert (made.kind, made.cause, made.cost) == (kind, cause.value, 1.5)
    named = unused.replace(" ", " and ")
    last = f"Nothing here uses it: mend it only if {named} is to be used."
    assert made.repair == (
        "step",
        last if unused else "Prove the whole loom again: the certificate needs a full proof.",
    )
    told = [shown.text for shown in made.evidence]
    assert told == ([f"{named} is unused in this conversion: a note, no fault"] if unused else [])


def test_evidence_is_what_should_be_joined_and_what_was() -> None:
    at = desk(groups="A:2 B:3, A:3 B:2")
    shown = [one.text for one in at.evidence(ends_of("A:2 A:4 A:1"), (), ())]
    assert shown == ["A:2 should be joined to B:2; found joined to B:3"]
    at = desk(groups="A:2, B:2 A:4")
    shown = [one.text for one in at.evidence(ends_of("A:2 A:4"), (), ())]
    assert shown == [
        "A:2 should be joined to B:2; found joined to nothing",
        "A:4 should be joined to nothing; found joined to B:2",
    ]


def test_of_many_cavities_six_are_shown() -> None:
    at = desk(groups="A:1, B:1, C:1, A:2, B:2, A:3, B:3")
    assert len(at.evidence(ends_of("A:1 B:1 C:1 A:2 B:2 A:3 B:3"), (), ())) == 6


def read(a: str, b: str, ohm: float, wires: str = "", part: str = "", *, fails: bool = True) -> Judged:
    decision = Decision.FAIL if fails else Decision.UNDECIDED
    return Judged(
        end_of(a), end_of(b), ohm, 0.1, 1.0, 2.0, decision, component=part, wires=tuple(wires.split())
    )


@pytest.mark.parametrize(
    ("judged", "shown"),
    [
        (read("A:2", "B:2", 5.0, "W4"), True),
        (read("A:2", "B:2", 5.0), True),
        (read("B:2", "A:2", 5.0, "W4"), True),
        (read("A:2", "B:2", 5.0, "W9"), False),
        (read("A:3", "B:3", 5.0, "W4"), False),
        (read("A:2", "B:2", 5.0, "W4", fails=False), False),
        (read("A:3", "A:6", 5.0, "", "R1"), True),
        (read("A:3", "A:6", 5.0, "", "R2"), False),
    ],
)
def test_failing_readings_at_its_cavities_or_parts_are_evidence(judged: Judged, shown: bool) -> None:
    found = desk(judged=(judged,)).evidence(ends_of("A:2"), ("W4",), ("R1",))
    assert [one.measured_ohm for one in found] == ([5.0] if shown else [])


def test_no_more_than_twelve_pieces_of_evidence() -> None:
    many = tuple(read("A:2", "B:2", 5.0 + k, "W4") for k in range(20))
    found = desk(judged=many).evidence(ends_of("A:2"), ("W4",), ())
    assert [one.measured_ohm for one in found] == [5.0 + k for k in range(12)]


def writer_of(loom: Loom, groups: Iterable[frozenset[End]]) -> Writer:
    expected = tuple(frozenset(wire.ends) for wire in loom.wires)
    return Writer(
        loom, wiring_of(loom, expected, TABLE), Measured(expected, tuple(groups), complete=True), None, TABLE
    )


def crossed(colours: str) -> str:
    """Return how two crossings of W1 and W2, at A or at B, are told apart."""
    loom = Loom(
        "colours",
        connectors=(plug("A", "1 2"), plug("B", "1 2")),
        wires=tuple(
            Wire(
                f"W{k}",
                End("A", str(k)),
                End("B", str(k)),
                colour="" if colour == "-" else colour,
                csa_mm2=0.5,
            )
            for k, colour in enumerate(colours.split(), start=1)
        ),
    )
    writer = writer_of(loom, nets("A:1 B:2", "A:2 B:1"))
    at_a, at_b = Fault(Cause.CROSSED, (0, 1)), Fault(Cause.CROSSED, (2, 3))
    (other,) = [a for a in writer.finding(Choice(at_a, ((at_b,),))).alternatives if a.cause == "crossed"]
    assert other.cavities == ends_of("B:1 B:2")
    return other.tell_apart


def test_looking_tells_wires_apart_only_by_colours_that_differ() -> None:
    assert crossed("RD RD").startswith("The wires are of one colour, so looking does not tell: pull A apart")
    for colours in ("RD BU", "- RD", "- -"):
        assert crossed(colours).startswith("Look into the back of A and B and compare wire colours"), colours


def test_one_wire_alone_is_looked_for_whatever_its_colour() -> None:
    """W4 found in a spare cavity of A, or its other end in one of C."""
    writer = desk(groups="A:6 B:2, A:2")
    leaf = writer.wiring.leaf_of
    one = Fault(Cause.MOVED_TO_SPARE, tuple(leaf[end] for end in ends_of("A:2 A:6")))
    other = Fault(Cause.CROSSED_HOUSINGS, tuple(leaf[end] for end in ends_of("B:2 C:3")))
    assert writer.tell_apart(one, [other]).startswith("Look into the back of A, B and C")


def test_an_explanation_that_is_not_proved_says_so() -> None:
    writer = desk(groups="A:2, B:2")
    fault = Fault(Cause.BROKEN_WIRE, (1, 7), edges=(3,))
    for proved in (True, False):
        made = writer.finding(Choice(fault, proved=proved))
        assert made.proved is proved
        assert (NOT_PROVED in [one.text for one in made.evidence]) is not proved


def test_an_alternative_of_several_faults_names_all_of_them() -> None:
    writer = desk(groups="A:2, B:2")
    number = {edge.wires[0]: k for k, edge in enumerate(writer.wiring.edges) if edge.wires}
    one = Fault(Cause.BROKEN_WIRE, (1,), edges=(number["W4"],))
    others = (
        Fault(Cause.BROKEN_WIRE, (2,), edges=(number["W5"],)),
        Fault(Cause.BROKEN_WIRE, (4,), edges=(number["W6"],)),
    )
    told = writer.alternative(others, one)
    assert (told.cause, told.wires) == ("broken_wire", ("W5", "W6"))
    assert "; and " in told.text
    assert not any("Prove the whole loom" in step for step in told.repair)


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        (
            "W1",
            "W2",
            "Probe from A:1 to splice S1: open there means W1 (blue/white), joined means the other.",
        ),
        (
            "W2",
            "W1",
            "Probe from B:1 to splice S1: open there means W2 (blue/white), joined means the other.",
        ),
        ("W4", "W5", "Probe from A:2 to B:2: open there means W4 (blue/white), joined means the other."),
        (
            "W3",
            "S1",
            "Probe from C:1 to splice S1: open there means W3 (blue/white), joined means the other.",
        ),
        (
            "S1",
            "W3",
            "Probe from C:1 to splice S1: open there means W3 (blue/white), joined means the other.",
        ),
    ],
)
def test_two_opens_are_told_apart_by_one_probe(one: str, other: str, said: str) -> None:
    writer = desk()
    number = {edge.wires[0]: k for k, edge in enumerate(writer.wiring.edges) if edge.wires}

    def fault(name: str) -> Fault:
        if name == "S1":
            return Fault(Cause.OPEN_SPLICE, (0,), splices=(writer.wiring.inner_of[End("S1")],))
        return Fault(Cause.BROKEN_WIRE, (0,), edges=(number[name],))

    assert writer.tell_apart(fault(one), [fault(other)]) == said


def test_what_is_probed_behind_a_contact_and_at_a_part() -> None:
    fuse = Component("F1", ComponentKind.FUSE, (("1", end_of("A:2")), ("2", end_of("A:3"))), rating_a=10.0)
    loom = replace(LOOM, components=(fuse,))
    expected = (*nets("A:2 B:2 A:3 B:3"), *(net for net in EXPECTED if not net & nets("A:2 A:3")[0]))
    wiring = wiring_of(loom, expected, TABLE)
    writer = Writer(loom, wiring, Measured(expected, expected, complete=True), None, TABLE)
    contact = next(k for k, edge in enumerate(wiring.edges) if edge.contact == wiring.leaf_of[end_of("A:2")])
    part = next(k for k, edge in enumerate(wiring.edges) if edge.component)
    at = [Fault(Cause.BAD_CONTACT, (1,), edges=(contact,)), Fault(Cause.OPEN_PART, (1,), edges=(part,))]
    assert writer.tell_apart(at[0], [at[1]]) == (
        "Probe from A:2 to the wires behind A:2: open there means the contact of A:2, joined means the other."
    )
    assert writer.tell_apart(at[1], [at[0]]) == (
        "Probe from the wires behind A:3 to the wires behind A:2: open there means F1, "
        "joined means the other."
    )
