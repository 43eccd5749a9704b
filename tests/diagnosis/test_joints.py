"""Conductors that read high: which joint, by sets worked out by hand on small looms, and what is said."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.joints import Suspect, _fewest
from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Wire,
    end_of,
    ends_of,
)
from loomproof.results.findings import Finding, Kind
from loomproof.results.measured import Decision, Judged, Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

LIMIT = 0.3


def reading(
    a: str, b: str, ohm: float, *, wires: str = "", u: float = 0.1, most: float | None = None
) -> Judged:
    decision = Decision.FAIL if ohm - u > LIMIT else Decision.PASS if ohm + u <= LIMIT else Decision.UNDECIDED
    return Judged(
        end_of(a), end_of(b), ohm, u, 0.05, LIMIT, decision, wires=tuple(wires.split()), most_ohm=most
    )


def explained(loom: Loom, expected: Sequence[frozenset[End]], *judged: Judged) -> tuple[Finding, ...]:
    return explain(loom, Measured(tuple(expected), tuple(expected), complete=True, judged=judged))


def told(*judged: Judged) -> tuple[Finding, ...]:
    return explained(LOOM, EXPECTED, *judged)


def suspects(finding: Finding) -> set[tuple[str, tuple[str, ...]]]:
    """Return the finding and its equals: cause and wires, leads of the adapter left out."""
    every = [(finding.cause, finding.wires), *((a.cause, a.wires) for a in finding.alternatives)]
    return {(cause, wires) for cause, wires in every if cause != "resistive_lead"}


W1, W2, W3 = (("resistive_wire", (name,)) for name in ("W1", "W2", "W3"))
S1 = ("resistive_splice", ("W1", "W2", "W3"))


@pytest.mark.parametrize(
    ("readings", "which"),
    [
        # A star of three wires at a splice: each reading sees two of them and the splice.
        ("A:1 B:1 5", {W1, W2, S1}),
        ("A:1 B:1 5, A:1 C:1 6", {W1, S1}),
        ("A:1 B:1 5, A:1 C:1 5, B:1 C:1 .05", {W1}),
        ("A:1 B:1 5, B:1 C:1 .05", {W1}),
        ("A:1 B:1 5, A:1 C:1 5, B:1 C:1 5", {S1}),
        ("B:1 C:1 5, A:1 C:1 .05", {W2}),
    ],
)
def test_what_failing_readings_share_and_no_passing_one_sees(
    readings: str, which: set[tuple[str, tuple[str, ...]]]
) -> None:
    read = [text.split() for text in readings.split(", ")]
    (finding,) = told(*(reading(a, b, float(ohm)) for a, b, ohm in read))
    assert suspects(finding) == which
    assert finding.kind is Kind.HIGH_RESISTANCE
    assert finding.cost == 1.0
    worst = max(float(ohm) for _, _, ohm in read)
    assert finding.evidence[0].measured_ohm == worst


def test_nets_are_told_apart() -> None:
    found = told(reading("A:2", "B:2", 5.0), reading("A:3", "B:3", 5.0), reading("A:1", "B:1", 0.05))
    assert [finding.wires for finding in found] == [("W4",), ("W5",)]
    assert told(reading("A:1", "B:1", 0.05), reading("A:2", "B:2", 0.1)) == ()


def test_an_undecided_reading_clears_only_what_is_far_worse() -> None:
    """A:1 to B:1 is 4.6 Ω too high at least: what reads 0.29 ± 0.1 Ω cannot hold a joint as bad as that.

    Where the bad joint may have 0.05 Ω only, the same reading clears nothing.
    """
    (clear,) = told(reading("A:1", "B:1", 5.0), reading("B:1", "C:1", 0.29))
    assert suspects(clear) == {W1}
    (unclear,) = told(reading("A:1", "B:1", 0.45), reading("B:1", "C:1", 0.29))
    assert suspects(unclear) == {W1, W2, S1}
    (both,) = told(reading("A:1", "B:1", 5.0), reading("A:1", "C:1", 0.45), reading("B:1", "C:1", 0.29))
    assert suspects(both) == {W1, S1}, "the least that any failing reading asks for"
    (beyond,) = told(reading("A:1", "B:1", 5.0), reading("B:1", "C:1", 0.31))
    assert suspects(beyond) == {W1, W2, S1}, "a reading above its limit stands for nothing"
    (known,) = told(reading("A:1", "B:1", 0.65), reading("B:1", "C:1", 0.29, most=0.24))
    assert suspects(known) == {W1}, "below a meter's range more is known"


def test_what_a_reading_says_that_it_sees_is_what_is_suspected() -> None:
    (finding,) = told(reading("A:1", "B:1", 5.0, wires="W1"))
    assert suspects(finding) == {W1, S1}


@pytest.mark.parametrize(
    ("blamed", "sets"),
    [
        ([{1}], [(1,)]),
        ([{1, 2}, {2, 3}], [(2,)]),
        ([{1, 2}, {3}], [(1, 3), (2, 3)]),
        ([{1}, {2}, {3}], [(1, 2, 3)]),
        ([{1}, {2}, {3}, {4}], []),
        ([{1, 2}, {1, 2}], [(1,), (2,)]),
    ],
)
def test_the_fewest_suspects_that_explain_all(blamed: list[set[int]], sets: list[tuple[int, ...]]) -> None:
    named = [{Suspect(0, edge=k) for k in each} for each in blamed]
    found = _fewest(named)
    assert [tuple(one.edge for one in each) for each in found] == sets


def test_wires_come_before_parts_and_these_before_splices() -> None:
    every = {Suspect(2, node=1), Suspect(0, edge=9), Suspect(1, edge=3)}
    assert [one.rank for (one,) in _fewest([every])] == [0, 1, 2]


def test_of_far_too_many_suspects_no_set_is_tried() -> None:
    """C(201, 2) = 20 100: pairs of more than 200 are not tried, of 200 (19 900) they are."""
    for count, tried in ((200, True), (201, False)):
        halves = [{Suspect(0, edge=k) for k in range(half, count, 2)} for half in (0, 1)]
        assert bool(_fewest(halves)) is tried


COMB = Loom(
    "comb",
    connectors=(plug("A", "1 2 3 4 5 6"), Connector("S", ConnectorKind.SPLICE)),
    wires=tuple(Wire(f"W{k}", End("A", str(k)), End("S"), csa_mm2=0.5) for k in range(1, 7)),
)
WHOLE = [frozenset(COMB.cavities)]


@pytest.mark.parametrize("count", [1, 2, 3])
def test_bad_joints_of_one_net_are_told_each_for_itself(count: int) -> None:
    """Read to A:6, of which another reading says that it is sound, and with it the splice."""
    high = [reading(f"A:{k}", "A:6", 5.0 + k) for k in range(1, count + 1)]
    found = explained(COMB, WHOLE, *high, reading("A:5", "A:6", 0.05))
    assert {finding.wires for finding in found} == {(f"W{k}",) for k in range(1, count + 1)}
    for finding in found:
        (shown,) = finding.evidence
        assert shown.measured_ohm == 5.0 + int(finding.wires[0][1])


def test_four_bad_joints_are_told_as_one_path() -> None:
    read = [reading(f"A:{k}", "A:6", 5.0, wires=f"W{k} W6") for k in range(1, 5)]
    (path,) = explained(COMB, WHOLE, *read, reading("A:5", "A:6", 0.05))
    assert path.cause == "resistive_path"
    assert path.title == "High resistance between A:1, A:6, A:2, A:3 and A:4"
    assert path.cost == 2.0
    assert len(path.evidence) == 4
    assert path.wires == ("W1", "W6", "W2", "W3", "W4")


def test_leads_of_the_adapter_are_cleared_by_a_sound_reading() -> None:
    def leads(*judged: Judged) -> list[tuple[End, ...]]:
        (finding,) = told(*judged)
        return [a.cavities for a in finding.alternatives if a.cause == "resistive_lead"]

    assert leads(reading("A:2", "B:2", 5.0)) == [ends_of("A:2 B:2")]
    assert leads(reading("A:1", "B:1", 5.0), reading("A:1", "C:1", 5.0)) == [(end_of("A:1"),)]
    assert leads(reading("A:1", "B:1", 5.0), reading("B:1", "C:1", 0.05)) == [(end_of("A:1"),)]


def test_a_contact_of_two_wires_a_fuse_and_a_ring_are_told_as_what_they_are() -> None:
    loom = Loom(
        "kinds",
        connectors=(
            plug("A", "1 2"),
            plug("B", "1 2 3"),
            plug("F", "1 2"),
            Connector("E", ConnectorKind.RING, (("1",),), location="engine"),
        ),
        wires=(
            Wire("W1", end_of("A:1"), end_of("B:1"), csa_mm2=0.5),
            Wire("W2", end_of("A:1"), end_of("B:2"), csa_mm2=0.5),
            Wire("W3", end_of("A:2"), end_of("F:1"), csa_mm2=0.5),
            Wire("W4", end_of("F:2"), end_of("E:1"), csa_mm2=0.5),
            Wire("W5", end_of("E:1"), end_of("B:3"), csa_mm2=0.5),
        ),
        components=(
            Component("F1", ComponentKind.FUSE, (("1", end_of("F:1")), ("2", end_of("F:2"))), rating_a=10.0),
        ),
    )
    whole = nets("A:1 B:1 B:2", "A:2 F:1 F:2 E:1 B:3")
    (contact,) = explained(
        loom, whole, reading("A:1", "B:1", 5.0), reading("A:1", "B:2", 5.0), reading("B:1", "B:2", 0.05)
    )
    assert (contact.cause, contact.cavities, contact.wires) == (
        "resistive_contact",
        (end_of("A:1"),),
        ("W1", "W2"),
    )
    assert contact.title == "Bad contact at A:1"
    assert contact.repair[:2] == (
        "Look at A:1: green, spread or half crimped?",
        "Clean it, or crimp on a new contact of its type.",
    )
    (ring,) = explained(
        loom, whole, reading("E:1", "F:2", 5.0), reading("E:1", "B:3", 5.0), reading("F:2", "B:3", 0.05)
    )
    assert ring.title == "Bad joint at ring E:1"
    assert ring.repair[0] == "Look at E:1: paint or rust under the lug, a loose bolt or half crimped?"
    assert ring.repair[1].startswith("Clean lug and seat")
    assert ring.wires == ("W4", "W5")
    (fuse,) = explained(
        loom, whole, reading("A:2", "E:1", 5.0), reading("A:2", "F:1", 0.05), reading("F:2", "E:1", 0.05)
    )
    assert (fuse.cause, fuse.components, fuse.wires) == ("resistive_contact", ("F1",), ())
    assert fuse.title == "High resistance through F1"
    assert fuse.cavities == ends_of("F:1 F:2")
    assert contact.components == ring.components == ()
    (first,) = explained(loom, whole, reading("A:2", "E:1", 5.0))
    assert first.wires == ("W3",), "wires come before contacts and parts"
    assert [other.cause for other in first.alternatives][:2] == ["resistive_wire", "resistive_contact"]


def test_a_wire_between_two_splices_is_shown_by_what_hangs_behind_it() -> None:
    loom = Loom(
        "two splices",
        connectors=(
            plug("A", "1 2"),
            plug("B", "1 2"),
            *(Connector(name, ConnectorKind.SPLICE) for name in ("S", "T")),
        ),
        wires=tuple(
            Wire(f"W{k}", end_of(a), end_of(b), csa_mm2=0.5)
            for k, (a, b) in enumerate(
                (("A:1", "S"), ("A:2", "S"), ("S", "T"), ("B:1", "T"), ("B:2", "T")), start=1
            )
        ),
    )
    ends = [str(end) for end in loom.cavities]
    read = [reading(a, b, 5.0 if a[0] != b[0] else 0.05) for a, b in itertools.combinations(ends, 2)]
    (finding,) = explained(loom, [frozenset(loom.cavities)], *read)
    assert (finding.cause, finding.wires) == ("resistive_wire", ("W3",))
    assert finding.title == "High resistance in W3 or at its ends"
    assert finding.cavities in (ends_of("A:1 A:2"), ends_of("B:1 B:2"))
    assert finding.places[:2] == ("splice S", "splice T")
    assert finding.repair[0].startswith("Look at S and T first: joint green, loose or burnt?")


def test_a_joint_of_two_wires_is_no_splice_to_suspect() -> None:
    """Two wires that meet in a splice are read through it alike: the wires are named, not the splice."""
    loom = Loom(
        "joint",
        connectors=(plug("A", "1"), plug("B", "1"), Connector("S", ConnectorKind.SPLICE)),
        wires=(
            Wire("W1", end_of("A:1"), End("S"), csa_mm2=0.5),
            Wire("W2", End("S"), end_of("B:1"), csa_mm2=0.5),
        ),
    )
    (finding,) = explained(loom, [frozenset(loom.cavities)], reading("A:1", "B:1", 5.0))
    assert suspects(finding) == {W1, W2}


def test_a_reading_between_crossed_contacts_is_judged_by_the_way_its_current_takes() -> None:
    """W4 is 40 m and W5 1 m of 0.5 mm² (1.6 and 0.05 Ω), their contacts at B crossed.

    A:2 to B:3 is W4: 1.6 Ω are right. A:3 to B:2 is W5: 1.6 Ω are not, and were so for W4.
    """
    wires = tuple(replace(wire, length_m={"W4": 40.0}.get(wire.name, 1.0)) for wire in LOOM.wires)
    loom = replace(LOOM, wires=wires)
    crossed = nets("A:2 B:3", "A:3 B:2")
    rest = tuple(net for net in EXPECTED if not any(net & group for group in crossed))
    loom = replace(
        loom,
        components=(
            Component("R1", ComponentKind.RESISTOR, (("1", end_of("A:2")), ("2", end_of("A:4"))), 470.0, 5.0),
        ),
    )
    right = Judged(end_of("A:2"), end_of("A:4"), 470.0, 5.0, 470.0, 494.0, Decision.PASS, 446.0, "R1")

    def high(*paths: Path) -> list[Finding]:
        measured = Measured(EXPECTED, crossed + rest, complete=True, judged=(right,), paths=paths)
        return [finding for finding in explain(loom, measured) if finding.kind is Kind.HIGH_RESISTANCE]

    assert high(Path(end_of("A:2"), end_of("B:3"), 1.6, 0.01)) == []
    (bad,) = high(Path(end_of("A:3"), end_of("B:2"), 1.6, 0.01))
    assert bad.wires == ("W5",)
    (worse,) = high(Path(end_of("A:2"), end_of("B:3"), 9.0, 0.01))
    assert worse.wires == ("W4",)
    assert high(Path(end_of("A:3"), end_of("B:2"), math.inf, 0.01)) == []
    # As a reading that the plan asked for, judged by a limit that is not its own.
    asked = Judged(end_of("A:2"), end_of("B:3"), 1.6, 0.01, 0.05, 0.3, Decision.FAIL)
    measured = Measured(EXPECTED, crossed + rest, complete=True, judged=(right, asked))
    assert not [finding for finding in explain(loom, measured) if finding.kind is Kind.HIGH_RESISTANCE]


def test_of_equals_a_part_comes_before_a_splice() -> None:
    """Read through W1, the splice and a fuse behind it, of which the reading sees no wire that is bad."""
    loom = Loom(
        "fused splice",
        connectors=(plug("A", "1 2 3"), Connector("S", ConnectorKind.SPLICE)),
        wires=(
            Wire("W1", end_of("A:1"), End("S"), csa_mm2=0.5),
            Wire("W2", end_of("A:2"), End("S"), csa_mm2=0.5),
        ),
        components=(
            Component("F1", ComponentKind.FUSE, (("1", End("S")), ("2", end_of("A:3"))), rating_a=10.0),
        ),
    )
    (finding,) = explained(loom, [frozenset(loom.cavities)], reading("A:1", "A:3", 5.0, wires="W2"))
    assert finding.components == ("F1",)
    assert finding.alternatives[0].cause == "resistive_splice"
