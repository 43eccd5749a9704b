"""From explanations to faults: what was said, worked into the loom again, gives the nets that were found."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.explain import labels_of
from loomproof.diagnosis.faults import (
    Choice,
    Diagnosis,
    Fault,
    Righted,
    diagnose,
    faults_of,
)
from loomproof.diagnosis.search import Explainer, Explanation, Join
from loomproof.diagnosis.strain import PartStrain
from loomproof.diagnosis.structure import arrangements, hypotheses
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.diagnosis.writing import Writer
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire, end_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, Measured
from tests.diagnosis.injector import Bench, Injected, random_faults, random_loom
from tests.diagnosis.test_recognition import hub
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

TABLE = weights()


def diagnosed(loom: Loom, groups: Sequence[frozenset[End]]) -> tuple[Diagnosis, Wiring]:
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, TABLE)
    measured = Measured(expected, tuple(groups), complete=True)
    explainer = Explainer(wiring, TABLE)
    labels = labels_of(wiring, measured)
    strain = PartStrain(Writer(loom, wiring, measured, None, TABLE), measured, labels)
    amiss = explainer.leaves_of(explainer.split(labels))
    slips = hypotheses(loom, wiring, TABLE, amiss)
    return diagnose(arrangements(slips, explainer, labels), explainer, strain), wiring


def worked_in(fault: Fault, wiring: Wiring, loom: Loom) -> list[Injected] | None:
    """Return a fault as changes of the loom's graph, ``None`` for a slip of a housing or a longer ring."""
    ends = [wiring.leaf_ends[leaf] for leaf in fault.leaves]
    if fault.cause in (Cause.CROSSED, Cause.CROSSED_HOUSINGS, Cause.MOVED_TO_SPARE):
        return [Injected("swap", tuple(ends))] if len(ends) == 2 else None
    if fault.cause is Cause.TOUCHING:
        firsts = [wiring.leaf_ends[piece[0]] for piece in fault.pieces]
        return [Injected("short", pair) for pair in itertools.pairwise(firsts)]
    if fault.cause is Cause.NOT_PLUGGED:
        return [Injected("unplugged", loom.by_name[fault.connectors[0]].ends)]
    if fault.cause is Cause.EXCHANGED:
        return [Injected("exchange", connectors=fault.connectors)]
    if fault.splices:
        return [Injected("splice", (wiring.node_ends[fault.splices[0]],))]
    if fault.edges:
        edge = wiring.edges[fault.edges[0]]
        if edge.contact >= 0:
            return [Injected("contact", (wiring.leaf_ends[edge.contact],))]
        return (
            [Injected("fuse", parts=(edge.component,))]
            if edge.component
            else [Injected("open", wires=edge.wires)]
        )
    return None


def built(faults: Sequence[Fault], wiring: Wiring, loom: Loom) -> set[frozenset[End]] | None:
    injected: list[Injected] = []
    for fault in faults:
        told = worked_in(fault, wiring, loom)
        if told is None:
            return None
        injected += told
    # What touches is told in the wiring with every exchange undone: exchanges come last.
    injected.sort(key=lambda one: one.kind in ("swap", "exchange"))
    return set(Bench(loom).build(injected))


@pytest.mark.parametrize("seed", range(24))
def test_faults_worked_in_again_give_what_was_found(seed: int) -> None:
    """And so does each of the others that would explain the same, in its place or with what hangs on it."""
    rng = random.Random(f"again {seed}")
    loom = random_loom(rng, rng.randint(10, 40))
    faults = random_faults(rng, loom, rng.randint(1, 3))
    found = Bench(loom).build(faults)
    if set(found) == set(Bench(loom).build()):
        return
    diagnosis, wiring = diagnosed(loom, found)
    first = [choice.fault for choice in diagnosis.choices]
    again = built(first, wiring, loom)
    if again is None:
        return
    assert again == set(found), first
    loose = [choice for choice in diagnosis.choices if choice.others]
    for choice in diagnosis.choices:
        for others in choice.others:
            assert choice.fault not in others
            fits = False
            # The others stand for this fault, or for it and more of those that have alternatives.
            rest = [one.fault for one in loose if one is not choice]
            for count in range(len(rest) + 1):
                for gone in itertools.combinations(rest, count):
                    kept = [fault for fault in first if fault is not choice.fault and fault not in gone]
                    one = built([*kept, *others], wiring, loom)
                    fits = fits or one is None or one == set(found)
            assert fits, (choice.fault, others)


def wired(*runs: str, bare: str = "") -> tuple[Loom, Wiring]:
    cavities: dict[str, list[str]] = {}
    for word in " ".join((*runs, bare)).split():
        name, _, cavity = word.partition(":")
        held = cavities.setdefault(name, [])
        if cavity and cavity not in held:
            held.append(cavity)
    connectors = tuple(
        plug(name, " ".join(held)) if held else Connector(name, ConnectorKind.SPLICE)
        for name, held in cavities.items()
    )

    def end(word: str) -> End:
        name, _, cavity = word.partition(":")
        return End(name, cavity)

    pairs = [run.split() for run in runs]
    wires = tuple(Wire(f"W{k}", end(a), end(b)) for k, (a, b) in enumerate(pairs, start=1))
    loom = Loom("runs", connectors=connectors, wires=wires)
    return loom, wiring_of(loom, Bench(loom).build(), TABLE)


def test_what_a_ring_of_contacts_is_called() -> None:
    """Within a housing crossed, between housings so; a wire in a spare cavity of its own housing moved."""
    _, wiring = wired("A:1 B:1", "A:2 B:2", bare="A:3 B:3")
    at = wiring.leaf_of

    def cause(*ends: str) -> Cause:
        leaves = tuple(at[End(*end.split(":"))] for end in ends)
        (fault,) = faults_of(Explanation(0, (leaves,), (), (), ()), wiring)
        assert fault.leaves == tuple(sorted(leaves))
        return fault.cause

    assert cause("A:2", "A:1") is Cause.CROSSED
    assert cause("A:1", "B:2") is Cause.CROSSED_HOUSINGS
    assert cause("A:3", "A:1") is Cause.MOVED_TO_SPARE
    assert cause("B:3", "A:1") is Cause.CROSSED_HOUSINGS
    assert cause("A:1", "A:2", "A:3") is Cause.CROSSED
    assert cause("A:1", "A:2", "B:3") is Cause.CROSSED_HOUSINGS


def test_what_is_open_shows_at_its_ends_or_at_the_smaller_side() -> None:
    loom, wiring = wired("A:1 S", "A:2 S", "A:3 S", "S T", "B:1 T", "B:2 T", "A:4 A:5", "A:5 A:6")
    number = {edge.wires[0]: k for k, edge in enumerate(wiring.edges) if edge.wires}
    contact = next(k for k, edge in enumerate(wiring.edges) if edge.contact >= 0)
    leaf = wiring.leaf_of

    def shown(edges: tuple[int, ...], splices: tuple[int, ...] = ()) -> list[tuple[Cause, set[str]]]:
        return [
            (fault.cause, {str(wiring.leaf_ends[k]) for k in fault.leaves})
            for fault in faults_of(Explanation(0, (), edges, splices, ()), wiring)
        ]

    assert shown((number["W1"],)) == [(Cause.BROKEN_WIRE, {"A:1"})]
    assert shown((number["W4"],)) == [(Cause.BROKEN_WIRE, {"B:1", "B:2"})]
    assert shown((contact,)) == [(Cause.BAD_CONTACT, {"A:5"})]
    assert shown((), (wiring.inner_of[End("T")],)) == [
        (Cause.OPEN_SPLICE, {"A:1", "A:2", "A:3", "B:1", "B:2"})
    ]
    join = Join(3, ((leaf[End("A", "1")], leaf[End("A", "2")]), (leaf[End("B", "1")],)))
    (fault,) = faults_of(Explanation(0, (), (), (), (join,)), wiring)
    assert (fault.cause, fault.pieces) == (Cause.TOUCHING, join.pieces)
    assert set(fault.leaves) == {leaf[end] for end in nets("A:1 A:2 B:1")[0]}
    assert loom.name == "runs"


def test_choices_that_hang_together_are_told_whole_and_others_each_for_itself() -> None:
    """Two crossings at A and at C can each be at the other end: four explanations, two choices of two."""
    loom, _ = wired("A:1 B:1", "A:2 B:2", "C:1 D:1", "C:2 D:2")
    groups = nets("A:1 B:2", "A:2 B:1", "C:1 D:2", "C:2 D:1")
    diagnosis, wiring = diagnosed(loom, groups)
    assert diagnosis.cost == 2 * TABLE.swap
    assert len(diagnosis.choices) == 2
    for choice in diagnosis.choices:
        (other,) = [others for others in choice.others if others[0].cause is Cause.CROSSED]
        homes = {wiring.leaf_ends[leaf].connector for leaf in (*choice.fault.leaves, *other[0].leaves)}
        assert homes in ({"A", "B"}, {"C", "D"})
        assert len(other) == 1
        assert choice.proved


@pytest.mark.parametrize("kind", ["rotate", "mirror", "exchange", "shift", "cycle"])
def test_the_wiring_is_put_right_as_it_was_found(kind: str) -> None:
    loom = hub(6)
    fault = Injected(kind, connectors=("P", "Q") if kind == "exchange" else ("P",))
    found = Bench(loom).build([fault])
    diagnosis, wiring = diagnosed(loom, found)
    righted: Righted = diagnosis.righted
    (choice,) = diagnosis.choices
    assert isinstance(choice, Choice)
    where = {wiring.leaf_of[a]: b for a, b in Bench(loom).moves(fault).items()}
    if choice.fault.connectors in (("P",), ("P", "Q")):
        assert dict(righted.moved) == {
            leaf: wiring.leaf_of[at]
            for leaf, at in where.items()
            if at is not None and wiring.leaf_of[at] != leaf
        }
    group_of = {end: k for k, group in enumerate(found) for end in group}
    labels = [group_of[end] for end in wiring.leaf_ends]
    moved = dict(righted.moved)
    for leaf, label in enumerate(righted.labels):
        if label >= 0:
            assert label == labels[moved.get(leaf, leaf)]


def test_crossed_contacts_and_opens_are_put_right_together() -> None:
    groups = nets("A:2 B:3", "A:3 B:2", "A:1 B:1", "C:1")
    rest = tuple(net for net in EXPECTED if not any(net & group for group in groups))
    diagnosis, wiring = diagnosed(LOOM, (*groups, *rest))
    pairs = {(wiring.leaf_ends[a], wiring.leaf_ends[b]) for a, b in diagnosis.righted.moved}
    a2, a3, b2, b3 = (End(*text.split(":")) for text in ("A:2", "A:3", "B:2", "B:3"))
    assert pairs in ({(a2, a3), (a3, a2)}, {(b2, b3), (b3, b2)})
    (open_edge,) = diagnosis.righted.edges
    assert wiring.edges[open_edge].wires == ("W3",)
    assert diagnosis.cost == TABLE.swap + TABLE.open_wire
    assert diagnosis.righted.splices == frozenset()


TWISTED = "A:2 B:3, A:3 B:2 A:1 B:1 C:1"
"""A short, and contacts crossed at A or at B, or plug B rotated: 2600 thousandths each."""


def told(leg: str = "", *, groups: str = TWISTED, sound: bool = True) -> tuple[Finding, ...]:
    """Explain with a resistor between a cavity and A:4 that reads as it should there, or open."""
    named = nets(*groups.split(", "))
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    loom, judged = LOOM, tuple[Judged, ...]()
    if leg:
        a, b = end_of(leg), end_of("A:4")
        loom = replace(
            LOOM, components=(Component("R1", ComponentKind.RESISTOR, (("1", a), ("2", b)), 470.0),)
        )
        decision, ohm = (Decision.PASS, 470.0) if sound else (Decision.FAIL, math.inf)
        judged = (Judged(a, b, ohm, 5.0, 470.0, 494.0, decision, 446.0, "R1"),)
    return explain(loom, Measured(EXPECTED, (*named, *rest), complete=True, judged=judged))


def homes(findings: Sequence[Finding]) -> set[str]:
    """Return where contacts are said to be crossed or a plug rotated, alternatives included."""
    every = [(finding.cause, finding.cavities) for finding in findings]
    every += [(other.cause, other.cavities) for finding in findings for other in finding.alternatives]
    return {
        f"{cause} {cavities[0].connector}" for cause, cavities in every if cause in ("crossed", "rotated")
    }


def test_a_reading_of_a_part_rules_out_explanations_with_whole_plugs_too() -> None:
    """R1 reads right at B:2: B is as it should be. At A:2: A is."""
    every = {"crossed A", "crossed B", "rotated B"}
    assert homes(told()) == every
    assert homes(told("B:2")) == {"crossed A"}
    assert homes(told("A:2")) == {"crossed B", "rotated B"}
    assert homes(told("A:6")) == every


def test_what_is_amiss_elsewhere_is_no_part_of_the_alternatives() -> None:
    found = told(groups=f"{TWISTED}, A:5, C:2")
    assert homes(found) == {"crossed A", "crossed B", "rotated B"}
    for finding in found:
        if finding.cause != "broken_wire":
            assert not any("W6" in other.wires for other in finding.alternatives)
    (open_wire,) = [finding for finding in found if finding.cause == "broken_wire"]
    assert [other.cause for other in open_wire.alternatives] == ["adapter_lead"]


def test_the_contact_of_the_first_cavity_of_all_is_a_contact() -> None:
    """A:1 holds two wires; its contact is open: leaf 0, whose number is as good as any."""
    loom, wiring = wired("A:1 B:1", "A:1 B:2")
    contact = next(k for k, edge in enumerate(wiring.edges) if edge.contact == 0)
    (fault,) = faults_of(Explanation(0, (), (contact,), (), ()), wiring)
    assert (fault.cause, fault.leaves) == (Cause.BAD_CONTACT, (0,))
    expected = Bench(loom).build()
    (finding,) = explain(loom, Measured(expected, nets("A:1", "B:1 B:2"), complete=True))
    assert finding.cause == "bad_contact"
    assert finding.title == "Contact of A:1 open; its wires W1 and W2 hang together behind it"
    read = [
        Judged(end_of(a), end_of(b), ohm, 0.1, 0.05, 0.3, Decision.FAIL if ohm > 1 else Decision.PASS)
        for a, b, ohm in (("A:1", "B:1", 5.0), ("A:1", "B:2", 5.0), ("B:1", "B:2", 0.05))
    ]
    (high,) = explain(loom, Measured(expected, expected, complete=True, judged=tuple(read)))
    assert high.title == "Bad contact at A:1"
    (loose,) = explain(loom, Measured(expected, expected, complete=True, unstable=(end_of("A:1"),)))
    assert loose.title == "the contact of A:1 comes and goes"


def test_opens_on_two_arms_of_a_star_are_two_choices_of_two() -> None:
    """Each arm is two wires and a joint; A:1 and A:2 were found alone: either wire of either arm."""
    loom, _ = wired("A:1 S", "S U", "A:2 T", "T U", "A:3 U", "A:4 U")
    diagnosis, wiring = diagnosed(loom, nets("A:1", "A:2", "A:3 A:4"))
    assert diagnosis.cost == 2 * TABLE.open_wire
    named = {edge.wires[0]: k for k, edge in enumerate(wiring.edges) if edge.wires}
    arms = ({named["W1"], named["W2"]}, {named["W3"], named["W4"]})
    assert len(diagnosis.choices) == 2
    for choice in diagnosis.choices:
        ((other,),) = choice.others
        assert {choice.fault.edges[0], other.edges[0]} in arms


def test_plugs_in_each_others_place_come_before_contacts_that_are_crossed() -> None:
    """Of P and Q one cavity each is wired: P and Q exchanged or the two wires crossed at A cost the same."""
    loom, _ = wired("A:1 P:1", "A:2 Q:1", bare="P:2 Q:2 A:3")
    expected = Bench(loom).build()
    groups = Bench(loom).build([Injected("swap", (End("A", "1"), End("A", "2")))])
    (finding,) = explain(loom, Measured(expected, groups, complete=True))
    assert (finding.cause, finding.cost) == ("exchanged", 1.6)
    crossed = [other.cavities for other in finding.alternatives if other.cause == "crossed"]
    assert (End("A", "1"), End("A", "2")) in crossed
