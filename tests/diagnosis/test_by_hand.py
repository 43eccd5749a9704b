"""Slips of a housing, places of shorts, notes of unused circuits and changes: worked out by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.causes import CAUSES, Cause, at_the_adapter
from loomproof.diagnosis.changes import changes
from loomproof.diagnosis.words import Names, listed
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
    end_of,
)
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.test_wiring_faults import nets, plug
from tests.fitting.looms import document


def straight(*rows: str) -> Loom:
    """Plug A of these rows, each cavity wired to one of its own in a socket of one row."""
    a = plug("A", *rows)
    names = [name for row in a.rows for name in row]
    far = [Connector(f"P{name}", ConnectorKind.PLUG, (("1",),)) for name in names]
    return Loom(
        "straight",
        connectors=(a, *far),
        wires=tuple(Wire(f"W{name}", End("A", name), End(f"P{name}", "1"), csa_mm2=0.5) for name in names),
    )


def slipped(loom: Loom, at: dict[str, str | None]) -> tuple[Finding, ...]:
    """Find the wire of cavity x of A in cavity ``at[x]``; ``None``: in none."""
    expected = tuple(frozenset({wire.a, wire.b}) for wire in loom.wires)
    groups = [frozenset({End("A", there), End(f"P{name}", "1")}) for name, there in at.items() if there]
    groups += [frozenset({wire.a, wire.b}) for wire in loom.wires if wire.a.connector != "A"]
    held = frozenset().union(*groups)
    left = [frozenset({end}) for end in loom.cavities if end not in held]
    return explain(loom, Measured(expected, (*groups, *left), complete=True))


TWO_ROWS = ("1 2 3 4", "5 6 7 8")


@pytest.mark.parametrize(
    ("rows", "order", "how"),
    [
        (TWO_ROWS, "4 3 2 1 8 7 6 5", "mirrored (left for right)"),
        (TWO_ROWS, "5 6 7 8 1 2 3 4", "mirrored (row for row)"),
        (TWO_ROWS, "8 7 6 5 4 3 2 1", "rotated (half a turn)"),
        (TWO_ROWS, "2 3 4 5 6 7 8 1", "rotated (each contact 1 cavity on, the end round to the start)"),
        (TWO_ROWS, "8 1 2 3 4 5 6 7", "rotated (each contact 1 cavity back, the end round to the start)"),
        (
            ("1 2 3 4 5 6 7",),
            "3 4 5 6 7 1 2",
            "rotated (each contact 2 cavities on, the end round to the start)",
        ),
        (
            ("1 2 3 4 5 6 7",),
            "6 7 1 2 3 4 5",
            "rotated (each contact 2 cavities back, the end round to the start)",
        ),
        (("1 2 3 4 5 6 7",), "2 3 4 5 6 7 -", "shifted (by 1 cavity on)"),
        (("1 2 3 4 5 6 7",), "- 1 2 3 4 5 6", "shifted (by 1 cavity back)"),
        (TWO_ROWS, "2 3 4 - 6 7 8 -", "shifted (by 1 cavity on in every row)"),
        (TWO_ROWS, "- 1 2 3 - 5 6 7", "shifted (by 1 cavity back in every row)"),
    ],
)
def test_a_slip_of_a_whole_housing_is_called_by_its_name(rows: tuple[str, ...], order: str, how: str) -> None:
    """The cavity in which each wire of 1, 2, 3 … was found, typed from a drawing of the face."""
    loom = straight(*rows)
    names = [name for row in loom.by_name["A"].rows for name in row]
    there = dict(zip(names, (None if name == "-" else name for name in order.split()), strict=True))
    (finding,) = slipped(loom, there)
    assert finding.kind is Kind.MISWIRE
    assert finding.cause == how.partition(" ")[0]
    assert how in " ".join((finding.title, *finding.places, *finding.repair))
    assert "A" in finding.title
    assert finding.places[0].startswith("A:1, row 1 place 1")


def test_a_plug_of_which_nothing_is_found_is_not_plugged() -> None:
    loom = straight(*TWO_ROWS)
    (finding,) = slipped(loom, dict.fromkeys("12345678"))
    assert (finding.kind, finding.cause) == (Kind.OPEN, "nothing_plugged")
    more = Connector("M", ConnectorKind.PLUG, (("1", "2"),))
    beside = Wire("W9", End("M", "1"), End("M", "2"), csa_mm2=0.5)
    loom = replace(loom, connectors=(*loom.connectors, more), wires=(*loom.wires, beside))
    (finding,) = slipped(loom, dict.fromkeys("12345678"))
    assert (finding.kind, finding.cause) == (Kind.OPEN, "not_plugged")
    assert "A" in finding.title


def shorted(a: str, b: str, *, bundles: tuple[str, str] = ("", ""), part: bool = False) -> Finding:
    """Two wires of plug A (2 rows of 3) to plugs B and C, found joined."""
    loom = Loom(
        "short",
        connectors=(plug("A", "1 2 3", "4 5 6"), plug("B", "1"), plug("C", "1")),
        wires=(
            Wire("W1", End("A", a), End("B", "1"), csa_mm2=0.5, bundle=bundles[0]),
            Wire("W2", End("A", b), End("C", "1"), csa_mm2=0.5, bundle=bundles[1]),
        ),
    )
    ends = (("1", End("A", a)), ("2", End("A", b)))
    if part:
        loom = replace(loom, components=(Component("R1", ComponentKind.RESISTOR, ends, 47.0),))
    one, two = nets(f"A:{a} B:1", f"A:{b} C:1")
    rest = tuple(frozenset({end}) for end in loom.cavities if end not in one | two)
    (finding,) = explain(loom, Measured((one, two, *rest), (one | two, *rest), complete=True))
    return finding


@pytest.mark.parametrize(
    ("a", "b", "bundles", "where"),
    [
        ("1", "2", ("", ""), "Look at A:1 and A:2 first: a bent pin"),
        ("1", "4", ("", ""), "Look at A:1 and A:4 first: a bent pin"),
        ("1", "2", ("front", "front"), "Look at A:1 and A:2 first: a bent pin"),
        ("1", "3", ("front", "front"), "Look along bundle front first"),
        ("1", "3", ("rear front", "front"), "Look along bundle front first"),
        ("1", "3", ("front", "rear"), "Look into A first: water"),
        ("1", "3", ("", ""), "Look into A first: water"),
    ],
)
def test_a_short_is_looked_for_where_the_two_come_nearest(
    a: str, b: str, bundles: tuple[str, str], where: str
) -> None:
    """Neighbours touch by a bent pin; wires of one bundle by chafing; else the housing that both enter."""
    finding = shorted(a, b, bundles=bundles)
    assert finding.kind is Kind.SHORT
    assert finding.repair[0].startswith(where)


def test_a_part_between_two_shorted_conductors_may_have_gone_short() -> None:
    causes = {other.cause for other in shorted("1", "3").alternatives}
    with_part = {other.cause: other for other in shorted("1", "3", part=True).alternatives}
    assert "shorted_part" not in causes
    assert with_part["shorted_part"].components == ("R1",)
    assert {"added_wire", "adapter_short"} <= causes


UNUSED = Loom(
    "unused",
    connectors=(plug("A", "1 2 3 4 5"), plug("B", "1 2 3 4 5")),
    wires=tuple(
        Wire(f"W{k}", End("A", str(k)), End("B", str(k)), csa_mm2=0.5, circuit=circuit)
        for k, circuit in enumerate(("idle", "idle", "spare", "used"), start=1)
    ),
    circuits=(Circuit("idle", need=Need.UNUSED), Circuit("spare", need=Need.UNUSED), Circuit("used")),
)
PLAIN = nets("A:1 B:1", "A:2 B:2", "A:3 B:3", "A:4 B:4", "A:5", "B:5")


@pytest.mark.parametrize(
    ("groups", "severity"),
    [
        (("A:1", "B:1"), Severity.NOTE),
        (("A:4", "B:4"), Severity.FAULT),
        (("A:1 B:2", "A:2 B:1"), Severity.NOTE),
        (("A:1 B:3", "A:3 B:1"), Severity.FAULT),
        (("A:1 B:4", "A:4 B:1"), Severity.FAULT),
        (("A:1", "A:5 B:1"), Severity.FAULT),
        (("A:1 B:1 A:2 B:2",), Severity.FAULT),
    ],
)
def test_what_stays_within_one_unused_circuit_is_a_note(groups: tuple[str, ...], severity: Severity) -> None:
    """Two unused circuits exchanged are a fault: a conversion that uses one of them later meets the other."""
    named = nets(*groups)
    touched = frozenset().union(*named)
    rest = tuple(net for net in PLAIN if not net & touched)
    left = tuple(
        frozenset({end}) for end in UNUSED.cavities if all(end not in each for each in (*named, *rest))
    )
    (finding,) = explain(UNUSED, Measured(PLAIN, (*named, *rest, *left), complete=True))
    assert finding.severity is severity
    said = " ".join((*finding.repair, *(one.text for one in finding.evidence)))
    assert ("is unused in this conversion: a note, no fault" in said) is (severity is Severity.NOTE)
    assert ("Nothing here uses it: mend it only if idle is to be used." in said) is (
        severity is Severity.NOTE
    )


def test_a_place_is_told_as_it_is_found_on_the_bench() -> None:
    loom = Loom(
        "places",
        connectors=(
            Connector("E", ConnectorKind.RING, (("1",),), location="engine block"),
            Connector("P", ConnectorKind.PLUG, (("1", "2"), ("3", "4")), location="left"),
            Connector("Q", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("S", ConnectorKind.SPLICE, location="trunk"),
        ),
    )
    names = Names(loom)
    assert names.place(end_of("E:1")) == "E:1 (ring), engine block"
    assert names.place(end_of("P:4")) == "P:4, row 2 place 2, seen from the mating face, left"
    assert names.place(end_of("Q:1")) == "Q:1, row 1 place 1, seen from the mating face"
    assert names.place(end_of("S")) == "splice S, trunk"
    assert names.place(end_of("X:1")) == "X:1"


def test_a_list_is_cut_where_it_grows_long() -> None:
    assert [listed("abc"[:k]) for k in range(4)] == ["", "a", "a and b", "a, b and c"]
    assert listed(range(8)) == "0, 1, 2, 3, 4, 5, 6 and 7"
    assert listed(range(9)) == "0, 1, 2, 3, 4, 5, 6 and 2 more"
    assert listed(range(4), most=3) == "0, 1 and 2 more"


def reading(
    ohm: float | None, u: float = 0.01, kind: str = "resistance", subject: str = "A:1 to B:1"
) -> ClaimEntry:
    return ClaimEntry(
        kind=kind,  # type: ignore[arg-type]
        subject=subject,
        statement="",
        decision=Decision.PASS,
        rule="",
        measured_ohm=ohm,
        open=ohm is None,
        uncertainty_ohm=u,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("then", "now", "moved"),
    [
        (reading(0.10), reading(0.115), False),
        (reading(0.10), reading(0.125), True),
        (reading(0.125), reading(0.10), True),
        (reading(0.10, 0.02), reading(0.125), False),
        (reading(None), reading(0.10), True),
        (reading(0.10), reading(None), True),
        (reading(None), reading(None), False),
        (reading(None).model_copy(update={"open": False}), reading(0.10), False),
        (reading(0.10), reading(None).model_copy(update={"open": False}), False),
        (reading(100.0, kind="component"), reading(120.0, kind="component"), True),
        (reading(100.0, kind="component"), reading(120.0), False),
        (reading(1e6, kind="isolation"), reading(5e6, kind="isolation"), False),
        (reading(0.10), reading(0.30, subject="A:2 to B:2"), False),
    ],
)
def test_a_resistance_has_moved_by_more_than_both_uncertainties(
    then: ClaimEntry, now: ClaimEntry, moved: bool
) -> None:
    loom = straight("1 2")
    found = changes(
        document(loom, Verdict.PASS, claims=(then,)), document(loom, Verdict.PASS, claims=(now,))
    ).moved
    assert [(one.before_ohm, one.after_ohm) for one in found] == (
        [(then.measured_ohm, now.measured_ohm)] if moved else []
    )


QUEUE = (
    "wrong_loom nothing_plugged",
    "adapter_lead adapter_board adapter_short resistive_lead",
    "not_plugged left_in",
    "exchanged mirrored rotated shifted adapter",
    "touching added_wire",
    "crossed crossed_housings crossed_joint moved_to_spare unexplained",
    "reversed_diode",
    "open_splice broken_wire bad_contact blown_fuse open_part",
    "missing_part shorted_part wrong_value",
    "added_part one_way_path shorter_way",
    "resistive_wire resistive_contact resistive_splice resistive_path",
    "leak",
    "loose_contact",
)
"""What is mended first: what changes the meaning of all else, then what burns, then what is in the wrong
place, then what does not reach, then values, then what is weak; common practice at a bench."""


def test_causes_stand_in_the_order_in_which_they_are_mended() -> None:
    ranks = [{CAUSES[name].rank for name in line.split()} for line in QUEUE]
    assert all(len(each) == 1 for each in ranks), "causes of one line are mended together"
    flat = [rank for each in ranks for rank in each]
    assert flat == sorted(set(flat))
    assert {name for line in QUEUE for name in line.split()} == {cause.value for cause in Cause}
    benchward = {cause.value for cause in Cause if at_the_adapter(cause)}
    assert benchward == {"adapter_lead", "resistive_lead", "adapter_board", "adapter_short", "adapter"}


@pytest.mark.parametrize(("readings", "told"), [(0, True), (4, False)])
def test_a_bench_that_only_senses_cannot_tell_a_short_from_a_resistive_path(
    readings: int, told: bool
) -> None:
    loom = straight("1 2")
    one, two = (frozenset({wire.a, wire.b}) for wire in loom.wires)
    measured = Measured(
        (one, two), (one | two,), complete=True, sense_vectors=6, resistance_readings=readings
    )  # fmt: skip
    (finding,) = explain(loom, measured)
    assert ("leak" in {other.cause for other in finding.alternatives}) is told


@pytest.mark.parametrize(
    ("kinds", "steps"),
    [
        ((ConnectorKind.PLUG, ConnectorKind.PLUG), ["Look at X:1 and Y:1 first: contact"]),
        (
            (ConnectorKind.PLUG, ConnectorKind.RING),
            ["Look at X:1 first: contact", "Look at Y:1: paint or rust"],
        ),
        ((ConnectorKind.RING, ConnectorKind.RING), ["Look at X:1 and Y:1: paint or rust"]),
    ],
)
def test_a_contact_and_a_ring_are_looked_at_each_in_its_own_way(
    kinds: tuple[ConnectorKind, ConnectorKind], steps: list[str]
) -> None:
    """A wire of 1 m reads 5 Ω between its two ends, and nothing says where."""
    connectors = tuple(Connector(name, kind, (("1",),)) for name, kind in zip("XY", kinds, strict=True))
    a, b = End("X", "1"), End("Y", "1")
    loom = Loom("high", connectors=connectors, wires=(Wire("W1", a, b, csa_mm2=1.0, length_m=1.0),))
    net = (frozenset({a, b}),)
    high = Judged(a, b, 5.0, 0.1, 0.04, 0.15, Decision.FAIL, wires=("W1",))
    (finding,) = explain(loom, Measured(net, net, complete=True, judged=(high,)))
    assert finding.kind is Kind.HIGH_RESISTANCE
    said = [*finding.repair, *(step for other in finding.alternatives for step in other.repair)]
    for step in steps:
        assert any(text.startswith(step) for text in said), said
