"""The whole of it: when this is not the loom described, how sense's groups are parted, and the queue."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.explain import labels_of
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    End,
    Loom,
    Need,
    Wire,
    end_of,
    ends_of,
)
from loomproof.results.findings import Finding, Severity
from loomproof.results.measured import Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug


def pairs(count: int) -> Loom:
    names = " ".join(map(str, range(1, count + 1)))
    return Loom(
        "pairs",
        connectors=(plug("A", names), plug("B", names)),
        wires=tuple(Wire(f"W{k}", End("A", str(k)), End("B", str(k))) for k in range(1, count + 1)),
    )


def scrambled(count: int, whole: int) -> tuple[Finding, ...]:
    """Find so many of the nets whole, and the ends of all others in threes at random."""
    loom = pairs(count)
    expected = tuple(frozenset(wire.ends) for wire in loom.wires)
    left = sorted(frozenset().union(*expected[whole:]))
    rng = random.Random(count)
    rng.shuffle(left)
    threes = [frozenset(left[k : k + 3]) for k in range(0, len(left), 3)]
    # None of what is left is found whole by chance.
    assert not set(threes) & set(expected)
    return explain(loom, Measured(expected, (*expected[:whole], *threes), complete=True))


def test_a_loom_of_which_a_third_is_found_is_another_loom() -> None:
    """Of forty nets thirteen are 32.5 %, fourteen 35 %: from there on it is this loom with many opens."""

    def opened(whole: int) -> tuple[Finding, ...]:
        loom = pairs(40)
        expected = tuple(frozenset(wire.ends) for wire in loom.wires)
        alone = [frozenset({end}) for net in expected[whole:] for end in sorted(net)]
        return explain(loom, Measured(expected, (*expected[:whole], *alone), complete=True))

    (finding,) = opened(13)
    assert finding.cause == "wrong_loom"
    assert finding.title == "This is not the loom described: 13 of its 40 joined nets were found"
    assert finding.evidence[0].text == "13 of 40 nets were found as described"
    assert len(finding.evidence) == 6
    assert all("should be one net, and is not" in shown.text for shown in finding.evidence[1:])
    assert len(finding.cavities) == 80
    # 27 000 are six exchanges' worth of 4000 each, and one more for what is left.
    assert finding.cost == pytest.approx(6 * 1.6 + 1.6)
    assert [one.cause for one in opened(14)] == ["broken_wire"] * 26


def test_a_few_faults_are_no_other_loom() -> None:
    """Of four nets none is found; six broken wires' worth of faults are still faults."""
    assert all(one.cause != "wrong_loom" for one in scrambled(4, 0))
    assert scrambled(12, 0)[0].cause == "wrong_loom"


def test_nothing_joined_is_not_plugged_from_two_nets_on() -> None:
    for count, cause in ((1, "broken_wire"), (2, "nothing_plugged")):
        plugs = [(plug(f"A{k}", "1"), plug(f"B{k}", "1")) for k in range(count)]
        loom = Loom(
            "single",
            connectors=tuple(one for pair in plugs for one in pair),
            wires=tuple(Wire(f"W{k}", a.ends[0], b.ends[0]) for k, (a, b) in enumerate(plugs)),
        )
        expected = tuple(frozenset(wire.ends) for wire in loom.wires)
        alone = tuple(frozenset({end}) for end in loom.cavities)
        found = explain(loom, Measured(expected, alone, complete=True))
        assert found[0].cause == cause
        if cause == "nothing_plugged":
            (finding,) = found
            assert finding.cost == 1.6
            assert finding.evidence[0].text == ("2 nets should join cavities; every cavity was found alone")


def test_a_cavity_in_no_group_is_alone() -> None:
    wiring = wiring_of(LOOM, EXPECTED, weights())
    groups = nets("A:1 B:1", "A:2 B:2")
    labels = labels_of(wiring, Measured(EXPECTED, groups, complete=True))
    at = dict(zip(wiring.leaf_ends, labels, strict=True))
    assert at[end_of("A:1")] == at[end_of("B:1")] == 0
    assert at[end_of("A:2")] == at[end_of("B:2")] == 1
    others = [label for end, label in at.items() if end not in {*ends_of("A:1 B:1 A:2 B:2")}]
    assert sorted(others) == list(range(2, 2 + len(others)))


COIL = Component("K1", ComponentKind.COIL, (("1", end_of("A:2")), ("2", end_of("A:3"))), 80.0)


def sensed(*groups: str, loom: Loom | None = None) -> tuple[Finding, ...]:
    named = nets(*groups)
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    measured = Measured(EXPECTED, (*named, *rest), complete=True, sense_vectors=9)
    return explain(loom or replace(LOOM, components=(COIL,)), measured)


def test_what_a_coil_joins_for_a_bench_that_senses_is_parted_where_that_is_cheaper() -> None:
    """W4's end from A:2 sits in A:6: with the coil all of A:3, B:3, A:6 … reads as one conductor.

    One contact moved explains it, where a short and an open are needed otherwise.
    """
    whole = sensed("A:2 A:3 B:3 A:6 B:2")
    assert {finding.cause for finding in whole} & {"touching", "added_wire"}
    moved = sensed("A:6 B:2", "A:2 A:3 B:3")
    assert moved
    plain = sensed("A:2 B:2 A:3 B:3 A:5 C:2")
    assert len(plain) == 1


def test_findings_stand_in_the_order_in_which_they_are_mended_and_notes_last() -> None:
    circuits = (Circuit("idle", need=Need.UNUSED), Circuit("used"))
    wires = tuple(replace(wire, circuit="idle" if wire.name == "W6" else "used") for wire in LOOM.wires)
    loom = replace(LOOM, wires=wires, circuits=circuits)
    named = nets("A:2 B:2 A:3 B:3", "A:1 C:1", "B:1", "A:5", "C:2")
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    leak = Path(end_of("A:4"), end_of("A:1"), 50_000.0, 100.0)
    found = explain(loom, Measured(EXPECTED, (*named, *rest), complete=True, leaks=(leak,)))
    assert [finding.cause for finding in found] == ["touching", "broken_wire", "leak", "broken_wire"]
    assert [finding.severity for finding in found] == [Severity.FAULT] * 3 + [Severity.NOTE]


@pytest.mark.parametrize("order", [("W4", "W5"), ("W5", "W4")])
def test_findings_alike_stand_by_their_titles(order: tuple[str, str]) -> None:
    groups = {"W4": ("A:2", "B:2"), "W5": ("A:3", "B:3")}
    named = nets(*groups[order[0]], *groups[order[1]])
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    found = explain(LOOM, Measured(EXPECTED, (*named, *rest), complete=True))
    assert [finding.wires for finding in found] == [("W4",), ("W5",)]
