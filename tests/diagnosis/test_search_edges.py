"""What a search may and may not leave out, and which of equally cheap explanations the readings bear out."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from types import SimpleNamespace
from typing import Any, cast

from loomproof.diagnosis.blame import _behind
from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.faults import Righted, _borne_out, diagnose
from loomproof.diagnosis.found import Found
from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.strain import PartStrain
from loomproof.diagnosis.structure import Arrangement, Hypothesis
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import wiring_of
from loomproof.loom.model import End, end_of
from loomproof.results.findings import Finding, Kind, Severity
from tests.electrics.looms import loom_of

TABLE = weights()


def test_a_contact_alone_in_its_net_is_exchanged_with_one_of_a_large_net() -> None:
    """P:0 leads to a splice and no farther, P:1 is one of eighteen behind another: they changed places.

    One exchange in one housing is all; a net of one contact reads as one conductor whatever is in it.
    """
    lines = ["W0 P:0 T", *(f"W{k} P:{k} S" for k in range(1, 19))]
    loom = loom_of("\n".join(lines))
    star = [End("P", f"{k}") for k in range(1, 19)]
    wiring = wiring_of(loom, [[End("P", "0")], star], TABLE)
    spare, first = wiring.leaf_of[End("P", "0")], wiring.leaf_of[End("P", "1")]
    labels = [1] * 19
    labels[first] = 0
    (piece,) = Explainer(wiring, TABLE).explain(labels)
    assert piece.cost == TABLE.swap
    (told,) = piece.explanations
    assert [set(cycle) for cycle in told.cycles] == [{spare, first}]
    assert not told.edges
    assert not told.joins


def test_what_was_reached_cheaply_is_not_reckoned_anew_on_a_dearer_way() -> None:
    """B:2, A:7 and B:5 went round: an exchange across the housings and one within. Then A:6 and B:0 changed
    places as well, across the housings; or A:6 is open, and what is left of its net touches B:0, as dear."""
    nets = [["B:0"], ["B:1", "B:2", "A:3"], ["B:4", "B:5", "A:6"], ["A:7", "A:8"]]
    lines = [f"W{a} {a} {b}" for net in nets for a, b in pairwise(net)]
    loom = loom_of("\n".join(lines), extra="B:0")
    wiring = wiring_of(loom, [[end_of(text) for text in net] for net in nets], TABLE)
    found = {"B:0": 2, "B:1": 1, "B:2": 2, "A:3": 1, "B:4": 2, "B:5": 3, "A:6": 0, "A:7": 1, "A:8": 3}
    labels = [found[str(end)] for end in wiring.leaf_ends]
    (piece,) = Explainer(wiring, TABLE).explain(labels)
    assert piece.cost == TABLE.stray + TABLE.swap + TABLE.stray
    assert TABLE.stray == TABLE.open_wire + TABLE.short
    told = [
        (sorted(len(cycle) for cycle in one.cycles), len(one.edges), len(one.joins))
        for one in piece.explanations
    ]
    assert sorted(told) == [([2, 3], 0, 0), ([3], 1, 1)]


@dataclass
class Strains:
    """Strains by the labels of an arrangement; readings lie on these groups."""

    groups: set[int]
    much: dict[tuple[int, ...], tuple[int, int]]
    asked: list[tuple[int, ...]] = field(default_factory=list)

    def touches(self, groups: set[int]) -> bool:
        return bool(self.groups & groups)

    def apart(self, _explanation: object) -> tuple[int, int]:
        return (0, 0)

    def __call__(self, righted: Righted) -> tuple[int, int]:
        self.asked.append(righted.labels)
        return self.much[righted.labels]


def test_of_arrangements_that_cost_the_same_the_readings_choose_where_they_lie_on_them() -> None:
    one, other = (Arrangement((), 0, labels, 0) for labels in ((0, 1), (1, 0)))
    kept: list[Any] = [(one, []), (other, [])]
    much: dict[tuple[int, ...], tuple[int, int]] = {(0, 1): (1, 0), (1, 0): (0, 0)}
    strains = Strains({1}, much)
    assert _borne_out(kept, cast(PartStrain, strains)) == [(other, [])]
    elsewhere = Strains({7}, much)
    assert _borne_out(kept, cast(PartStrain, elsewhere)) == kept
    assert _borne_out(kept[:1], cast(PartStrain, strains)) == kept[:1]
    assert (strains.asked, elsewhere.asked) == ([(0, 1), (1, 0)], [])


def test_what_a_slip_would_replace_is_offered_at_the_fault_that_lies_where_the_slip_does() -> None:
    """Two wires open, or a contact of one of them left out: as dear here, and said of that wire."""
    loom = loom_of("W1 A:1 B:1\nW2 A:2 B:2")
    wiring = wiring_of(loom, [[end_of("A:1"), end_of("B:1")], [end_of("A:2"), end_of("B:2")]], TABLE)
    at = wiring.leaf_of
    sound = [0 if end.cavity == "1" else 1 for end in wiring.leaf_ends]
    parted = list(sound)
    parted[at[end_of("B:1")]], parted[at[end_of("B:2")]] = 2, 3
    for near in (1, 2):
        leaf = at[end_of(f"A:{near}")]
        slip = Hypothesis(Cause.MOVED_TO_SPARE, ("A",), ((leaf, None),), 2 * TABLE.open_wire)
        wires = Arrangement((), 0, tuple(parted), 0)
        slipped = Arrangement((slip,), 2 * TABLE.open_wire, tuple(sound), 0)
        told = diagnose([wires, slipped], Explainer(wiring, TABLE), cast(PartStrain, Strains(set(), {})))
        others = {choice.fault.leaves: len(choice.others) for choice in told.choices}
        assert {leaf in leaves: count for leaves, count in others.items()} == {True: 1, False: 0}


def test_a_reading_lies_behind_a_fault_whose_parts_lead_to_any_net_that_the_fault_touches() -> None:
    """Parts join nets 1 and 2, and 3 and 4; a fault touches 2 and 4, another 4 alone."""
    ends = [End("A", f"{k}") for k in range(5)]
    bundles = ({1, 2}, {3, 4})
    found = cast(
        Found,
        SimpleNamespace(
            group_of={end: k for k, end in enumerate(ends)},
            behind=lambda one, other: any({one, other} <= bundle for bundle in bundles),
        ),
    )

    def touching(*cavities: End) -> Finding:
        return Finding(Kind.SHORT, Severity.FAULT, "it", cavities)

    assert _behind(found, touching(ends[2], ends[4]), (ends[1], ends[2]))
    assert _behind(found, touching(ends[2], ends[4]), (ends[1], ends[3]))
    assert not _behind(found, touching(ends[4]), (ends[1], ends[3]))
