"""Equally cheap explanations: which stay, and how faults that hang together are told; worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.loom.model import Component, ComponentKind, Loom, Wire, end_of
from loomproof.results.findings import Finding, Kind
from loomproof.results.measured import Decision, Judged, Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, found, nets, plug

R1 = Component("R1", ComponentKind.RESISTOR, (("1", end_of("A:2")), ("2", end_of("A:4"))), 470.0, 5.0)
CROSSED = nets("A:2 B:3", "A:3 B:2")
REST = tuple(net for net in EXPECTED if not any(net & group for group in CROSSED))


def with_part(reading: Judged, *paths: Path) -> tuple[Finding, ...]:
    loom = replace(LOOM, components=(R1,))
    return explain(loom, Measured(EXPECTED, CROSSED + REST, True, judged=(reading,), leaks=paths))


def read(ohm: float, decision: Decision) -> Judged:
    a, b = (end for _, end in R1.terminals)
    return Judged(a, b, ohm, 5.0, 470.0, 494.0, decision, 446.0, "R1")


def test_without_a_part_both_ends_are_listed() -> None:
    (finding,) = found("A:2 B:3", "A:3 B:2")
    told = {finding.cavities, *(other.cavities for other in finding.alternatives if other.cause == "crossed")}
    assert told == {(end_of("A:2"), end_of("A:3")), (end_of("B:2"), end_of("B:3"))}


def test_contacts_that_may_be_crossed_at_either_end_are_moved_at_one_end_only() -> None:
    """Moved at both ends, the loom would be crossed again."""
    (finding,) = found("A:2 B:3", "A:3 B:2")
    look, *mend = finding.repair[:-1]
    assert look.startswith("Before anything is moved, tell which it is.")
    assert len(mend) == 2
    for step in mend:
        assert step.startswith("If it is ")
        assert step.endswith("and move nothing else.")
        assert ("at A:2 and A:3" in step) is not ("at B:2 and B:3" in step)
    assert sum("at A:2 and A:3" in step for step in mend) == 1


def test_three_contacts_crossed_in_a_ring_have_a_step_for_each_place_that_comes_in_question() -> None:
    """At A, at B, or two at each: all cost two exchanges, by hand; each is told apart, and has its repair."""
    pins = range(1, 9)
    loom = Loom(
        "ring",
        connectors=tuple(plug(name, " ".join(map(str, pins))) for name in "AB"),
        wires=tuple(
            Wire(f"W{k}", end_of(f"A:{k}"), end_of(f"B:{k}"), "BU" if k % 2 else "RD", 0.5, 1.0) for k in pins
        ),
    )
    straight = {k: f"A:{k} B:{k}" for k in pins}
    turned = straight | {2: "A:2 B:5", 5: "A:5 B:7", 7: "A:7 B:2"}
    should, are = nets(*straight.values()), nets(*turned.values())
    (finding,) = explain(loom, Measured(should, are, complete=True))
    equal = [other for other in finding.alternatives if other.cause == "crossed"]
    assert len({other.tell_apart for other in equal}) > 1
    for other in equal:
        assert any(other.tell_apart in step for step in finding.repair), other.text
        assert sum(step.startswith(f"If it is {other.text}:") for step in finding.repair) == 1, other.text


def test_a_part_that_reads_where_it_should_says_that_its_end_is_right() -> None:
    (finding,) = with_part(read(470.0, Decision.PASS))
    assert finding.cavities == (end_of("B:2"), end_of("B:3"))
    assert not [other for other in finding.alternatives if other.cause == "crossed"]


def test_a_part_found_from_the_other_cavity_says_that_its_end_is_crossed() -> None:
    (finding,) = with_part(read(math.inf, Decision.FAIL), Path(end_of("A:3"), end_of("A:4"), 470.0, 5.0))
    assert finding.cavities == (end_of("A:2"), end_of("A:3"))
    assert not [other for other in finding.alternatives if other.cause == "crossed"]
    assert finding.components == ("R1",)


def test_a_part_found_nowhere_leaves_both_and_is_told() -> None:
    crossed, missing = with_part(read(math.inf, Decision.FAIL))
    assert [other for other in crossed.alternatives if other.cause == "crossed"]
    assert (missing.kind, missing.components) == (Kind.MISSING_COMPONENT, ("R1",))


def test_faults_that_hang_together_list_the_other_way_each_with_its_counterpart_first() -> None:
    """A:2 and A:3 crossed with a short from W4 to A:1's net, or B:2 and B:3 crossed with one from W5."""
    short, crossed = found("A:2 B:3", "A:3 B:2 A:1 B:1 C:1")
    assert (short.kind, crossed.kind) == (Kind.SHORT, Kind.MISWIRE)
    for finding in (short, crossed):
        whole = [other for other in finding.alternatives if "; and " in other.text]
        assert [other.cause for other in whole] == [finding.cause]
    assert set(short.wires) ^ set(next(o for o in short.alternatives if "; and " in o.text).wires) >= {"W4"}


@pytest.mark.parametrize(("bad", "wire"), [(("A:2", "B:3"), "W"), (("A:3", "B:2"), "W")])
def test_a_bad_wire_of_crossed_contacts_is_told_with_them(bad: tuple[str, str], wire: str) -> None:
    paths = tuple(
        Path(end_of(a), end_of(b), 12.0 if (a, b) == bad else 0.05, 0.1)
        for a, b in (("A:2", "B:3"), ("A:3", "B:2"))
    )
    crossed, high = explain(LOOM, Measured(EXPECTED, CROSSED + REST, True, paths=paths))
    assert (crossed.kind, high.kind) == (Kind.MISWIRE, Kind.HIGH_RESISTANCE)
    at_a = crossed.cavities == (end_of("A:2"), end_of("A:3"))
    # Crossed at A, the wire found in A:2 is that of A:3; crossed at B, that of A:2.
    assert high.wires == (("W5",) if (bad[0] == "A:2") == at_a else ("W4",))


def test_a_search_cut_short_is_told_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loomproof.diagnosis.search.BUDGET", 0)
    findings = found("A:2 B:1 C:1", "A:1 B:2")
    assert findings
    assert not any(finding.proved for finding in findings)
    assert all("not proved the smallest" in finding.evidence[-1].text for finding in findings)


def test_a_finished_search_is_proved_and_costs_add_up() -> None:
    findings = found("A:2 B:3", "A:3 B:2 A:1 B:1 C:1")
    assert all(finding.proved for finding in findings)
    table = weights()
    wiring = wiring_of(LOOM, EXPECTED, table)
    groups = nets("A:2 B:3", "A:3 B:2 A:1 B:1 C:1", "A:4", "A:5 C:2", "A:6", "C:3")
    label = {end: k for k, group in enumerate(groups) for end in group}
    (piece,) = Explainer(wiring, table).explain([label[end] for end in wiring.leaf_ends])
    assert sum(finding.cost or 0.0 for finding in findings) == pytest.approx(piece.cost / 1000)


def test_exchanged_plugs_come_before_crossed_contacts() -> None:
    """All of B and C that is wired is found on the other: as well two contacts crossed at A, and two more."""
    (finding,) = found("A:5 B:2", "A:2 C:2", "A:1 B:1 C:1", "A:3 C:3", "B:3")
    assert finding.cause == "exchanged"


def test_crossed_contacts_come_before_a_turned_plug() -> None:
    _, crossed = found("A:2 B:3", "A:3 B:2 A:1 B:1 C:1")
    assert crossed.cause == "crossed"
    assert "rotated" in {other.cause for other in crossed.alternatives}
