"""A traced loom laid on a known one: against brute force on small looms, and by examples with names."""

from __future__ import annotations

import random
from collections.abc import Mapping
from itertools import permutations

import numpy as np
import pytest

from loomproof.errors import InputError
from loomproof.loom.model import CavityFacts, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.matching.aligning import Aligner, Pinned, best_alignment, explored
from loomproof.matching.match import match
from loomproof.matching.shape import shape_of
from loomproof.matching.taking import take
from loomproof.results.matching import Match, Standing, Unlike
from tests.campaign.match_looms import case_of
from tests.campaign.matching import rows_of


def loom(name: str, sizes: dict[str, int], *nets: str, colour: str = "", **of: Hazard) -> Loom:
    """Return a loom of plugs with so many cavities, and nets like ``A:1 B:2``; three ends share a splice."""
    connectors = [
        Connector(
            plug,
            ConnectorKind.PLUG,
            (tuple(str(k) for k in range(1, size + 1)),),
            hazard=of.get(plug, Hazard.NONE),
        )
        for plug, size in sizes.items()
    ]
    wires: list[Wire] = []
    for net in nets:
        ends = [End(*text.split(":")) for text in net.split()]
        if len(ends) == 2:
            wires.append(Wire(f"{name}-W{len(wires)}", ends[0], ends[1], colour=colour))
        else:
            splice = Connector(f"{name}-S{len(connectors)}", ConnectorKind.SPLICE)
            connectors.append(splice)
            for end in ends:
                wires.append(Wire(f"{name}-W{len(wires)}", end, End(splice.name), colour=colour))
    return Loom(name, connectors=tuple(connectors), wires=tuple(wires))


KNOWN = loom(
    "known",
    {"ECU": 6, "INJ1": 2, "INJ2": 2, "MAP": 3, "BULK": 2},
    "BULK:1 INJ1:1 INJ2:1",
    "ECU:1 INJ1:2",
    "ECU:2 INJ2:2",
    "ECU:3 MAP:1",
    "ECU:4 MAP:2",
    "ECU:5 MAP:3 BULK:2",
    colour="RD",
    BULK=Hazard.ELECTRONICS,
)
TRACED = loom(
    "traced",
    {"a": 2, "b": 2, "c": 6, "d": 3, "e": 2},
    "a:2 b:2 e:2",
    "c:6 a:1",
    "c:4 b:1",
    "c:3 d:3",
    "c:2 d:1",
    "c:1 d:2 e:1",
)


def standings(found: Match) -> dict[str, tuple[str, str]]:
    return {p.traced: (p.known, p.standing.value) for p in found.places}


def test_look_alikes_are_said_to_be_alike_and_the_rest_is_sure() -> None:
    found = match(TRACED, KNOWN)
    placed = standings(found)
    assert {placed[plug] for plug in "cde"} == {("ECU", "sure"), ("MAP", "sure"), ("BULK", "sure")}
    assert {placed[plug][0] for plug in "ab"} == {"INJ1", "INJ2"}
    assert {placed[plug][1] for plug in "ab"} == {"alike"}
    assert not found.differences
    assert found.score == 1.0


def test_the_touch_that_is_proposed_decides() -> None:
    found = match(TRACED, KNOWN)
    assert found.touch is not None
    assert found.touch.known in (End("INJ1", "2"), End("INJ2", "2"))
    assert len(found.touch.answers) == 2
    first = match(TRACED, KNOWN, [(End("a", "1"), found.touch.known)])
    assert standings(first)["a"] == (found.touch.known.connector, "sure")
    assert standings(first)["b"][1] == "sure"
    other = match(TRACED, KNOWN, [(End("b", "1"), found.touch.known)])
    assert standings(other)["b"] == (found.touch.known.connector, "sure")
    assert other.touch is None


def test_touches_that_contradict_each_other_and_ends_that_are_not_there_are_refused() -> None:
    with pytest.raises(InputError, match=r"b:1 was said to be INJ1:2, which another touch contradicts"):
        match(TRACED, KNOWN, [(End("a", "1"), End("INJ1", "2")), (End("b", "1"), End("INJ1", "2"))])
    with pytest.raises(InputError, match=r"known: there is no end INJ9:1"):
        match(TRACED, KNOWN, [(End("a", "1"), End("INJ9", "1"))])
    with pytest.raises(InputError, match=r"traced: there is no end z:1"):
        match(TRACED, KNOWN, [(End("z", "1"), End("INJ1", "1"))])


def test_a_cut_wire_is_missing_and_an_added_one_is_extra() -> None:
    traced = loom(
        "traced",
        {"a": 2, "b": 2, "c": 6, "d": 3, "e": 2},
        "a:2 b:2 e:2",
        "c:6 a:1",
        "c:4 b:1",
        "c:3 d:3",
        "c:1 d:2 e:1 c:5",
    )
    found = match(traced, KNOWN)
    kinds = {(d.kind, tuple(map(str, d.known)), tuple(map(str, d.traced))) for d in found.differences}
    # Which of the two wires of MAP alone is gone no net can tell.
    (missing,) = [known for kind, known, _ in kinds if kind is Unlike.MISSING]
    assert missing in (("ECU:3", "MAP:1"), ("ECU:4", "MAP:2"))
    (extra,) = [traced for kind, _, traced in kinds if kind is Unlike.EXTRA]
    assert extra in (("c:5",), ("c:1",))


def test_a_plug_with_nothing_on_it_is_not_told_by_its_size() -> None:
    traced = loom("traced", {"a": 2, "c": 6}, "c:1 c:2")
    known = loom("known", {"X": 2, "Y": 2, "ECU": 6}, "ECU:1 ECU:2")
    placed = standings(match(traced, known))
    assert placed["c"] == ("ECU", "sure")
    assert placed["a"][1] == "untold"


def test_cavity_names_help_only_where_nets_show_that_they_mean_the_same() -> None:
    sizes = {"ECU": 12, "P": 6, "Q": 6, "I1": 2, "I2": 2}
    nets = [f"ECU:{k} P:{k}" for k in range(1, 6)] + [f"ECU:{k + 5} Q:{k} Q:6" for k in (1,)]
    nets += ["ECU:7 Q:2", "ECU:8 Q:3", "ECU:9 Q:4", "ECU:10 I1:1", "ECU:11 I2:1", "I1:2 I2:2 ECU:12"]
    known = loom("known", sizes, *nets)
    new = dict(zip(sizes, ("v", "w", "x", "y", "z"), strict=True))

    def renamed(turn: int) -> Loom:
        def text(end: str) -> str:
            plug, cavity = end.split(":")
            return f"{new[plug]}:{(int(cavity) - 1 + turn) % sizes[plug] + 1}"

        return loom(
            "traced",
            {new[plug]: size for plug, size in sizes.items()},
            *(" ".join(map(text, net.split())) for net in nets),
        )

    same = match(renamed(0), known)
    assert same.by_names
    assert standings(same)["y"] == ("I1", "sure")
    turned = match(renamed(1), known)
    assert not turned.by_names
    assert standings(turned)["y"][1] == "alike"


def test_what_is_taken_over_is_named_with_its_source_and_the_rest_keeps_its_name() -> None:
    found = match(TRACED, KNOWN, placed={"a": "INJ2"})
    taken = take(found, [p.traced for p in found.places if p.standing is Standing.SURE and p.traced != "b"])
    assert {c.name for c in taken.connectors if c.cavities} == {"ECU", "MAP", "BULK", "INJ2", "b"}
    assert taken.by_name["BULK"].hazard is Hazard.ELECTRONICS
    assert "traced as e" in taken.by_name["BULK"].description
    wires = {wire.name: wire for wire in taken.wires}
    assert (wires["known-W4"].colour, set(map(str, wires["known-W4"].ends))) == ("RD", {"ECU:2", "INJ2:2"})
    assert "as known-W4 of known" in wires["known-W4"].note
    # Two wires run from MAP to the computer alike, so their cavities keep the traced names, marked.
    assert {"ECU:t3", "ECU:t2", "MAP:t3", "MAP:t1"} <= {str(end) for end in taken.cavities}
    assert not {"known-W5", "known-W6"} & set(wires)
    with pytest.raises(InputError, match="there is no connector q"):
        take(found, ["q"])


def test_a_place_that_a_person_knows_makes_the_cavities_sure_that_hang_on_it() -> None:
    def sure(found: Match) -> set[str]:
        return {str(cavity.traced) for cavity in found.cavities if cavity.sure}

    assert sure(match(TRACED, KNOWN)) == {"a:2", "b:2", "e:2", "c:1", "d:2", "e:1"}
    known = match(TRACED, KNOWN, placed={"a": "INJ2"})
    assert sure(known) - sure(match(TRACED, KNOWN)) == {"a:1", "b:1", "c:6", "c:4"}
    assert standings(known)["b"] == ("INJ1", "sure")
    with pytest.raises(InputError, match="known: there is no connector INJ3"):
        match(TRACED, KNOWN, placed={"a": "INJ3"})
    with pytest.raises(InputError, match="two connectors were said to be one and the same"):
        match(TRACED, KNOWN, placed={"a": "INJ1", "b": "INJ1"})


def test_a_loom_of_nothing_is_matched_to_nothing() -> None:
    empty = Loom("empty")
    assert match(empty, KNOWN).places == ()
    found = match(TRACED, empty)
    assert {place.known for place in found.places} == {""}
    with pytest.raises(InputError, match="nothing in empty is like it"):
        take(found, ["a"])


def test_small_looms_are_aligned_as_well_as_brute_force_can() -> None:
    rng = random.Random(5)
    for _ in range(25):
        traced, known = _small(rng, "t"), _small(rng, "k")
        mine, theirs = shape_of(traced), shape_of(known)
        aligner = Aligner(mine, theirs, np.zeros((len(mine.sizes), len(theirs.sizes))))
        best = explored(aligner, best_alignment(aligner, Pinned()), Pinned()).best
        assert best.score == pytest.approx(_brute(traced, known), abs=1e-6)


def _small(rng: random.Random, name: str) -> Loom:
    ends = [f"{plug}:{k}" for plug in "abcd" for k in (1, 2)]
    rng.shuffle(ends)
    nets, left = [], ends[: rng.choice([6, 8])]
    while len(left) > 1:
        size = min(len(left), rng.choice([2, 2, 3]))
        nets.append(" ".join(left[:size]))
        left = left[size:]
    return loom(name, dict.fromkeys("abcd", 2), *nets)


def _brute(traced: Loom, known: Loom) -> int:
    """Most cavities that agree under any assignment of connectors and nets, counted by hand."""

    def nets(of: Loom) -> list[list[str]]:
        groups: dict[object, list[str]] = {}
        for k, wire in enumerate(of.wires):
            if wire.b.cavity:
                groups[k] = [wire.a.connector, wire.b.connector]
            else:
                groups.setdefault(wire.b, []).append(wire.a.connector)
        return list(groups.values())

    mine, theirs = nets(traced), nets(known)
    theirs += [[]] * max(0, len(mine) - len(theirs))
    best = 0
    for places in permutations("abcd"):
        to = dict(zip("abcd", places, strict=True))
        moved = [[to[plug] for plug in net] for net in mine]
        worth = [[sum(min(n.count(p), m.count(p)) for p in "abcd") for m in theirs] for n in moved]
        for chosen in permutations(range(len(theirs)), len(mine)):
            best = max(best, sum(row[k] for row, k in zip(worth, chosen, strict=True)))
    return best


@pytest.mark.parametrize("seed", [3, 18, 22, 36])
def test_what_is_said_to_be_sure_of_random_looms_is_right(seed: int) -> None:
    case = case_of(seed)
    found = match(case.traced, case.known)
    sure = [place for place in found.places if place.standing is Standing.SURE]
    assert sure
    for place in sure:
        assert case.orbits[place.known] == case.orbits[case.truth[place.traced]]
    named = {p.traced: p.known for p in sure}
    for cavity in found.cavities:
        own = case.truth[cavity.traced.connector]
        if cavity.sure and named.get(cavity.traced.connector) == own and len(_orbit(case.orbits, own)) == 1:
            truth = case.cavity_truth[cavity.traced]
            assert truth.connector == cavity.known.connector


def _orbit(orbits: Mapping[str, int], name: str) -> list[str]:
    return [other for other, k in orbits.items() if k == orbits[name]]


def test_the_same_match_is_found_again() -> None:
    case = case_of(18)
    assert match(case.traced, case.known) == match(case.traced, case.known)


def test_bare_cavities_and_facts_follow_their_connector() -> None:
    traced = Loom(
        TRACED.name,
        connectors=TRACED.connectors,
        wires=TRACED.wires,
        cavity_facts=(CavityFacts(End("c", "5"), note="nothing found"),),
    )
    taken = take(match(traced, KNOWN), ["c"])
    assert [str(facts.end) for facts in taken.cavity_facts] == ["ECU:t5"]
    assert all(end in taken.cavities or taken.is_splice(end) for _, end in taken.walk())


@pytest.mark.parametrize(("ohm", "agree"), [(1000.0, True), (1200.0, False)])
def test_a_resistor_tells_plugs_apart_that_wires_do_not(ohm: float, agree: bool) -> None:
    from dataclasses import replace

    from loomproof.loom.model import Component, ComponentKind

    def with_resistor(base: Loom, at: str, value: float) -> Loom:
        a, b = (End(*text.split(":")) for text in at.split())
        part = Component("R", ComponentKind.RESISTOR, (("1", a), ("2", b)), resistance_ohm=value)
        return replace(base, components=(part,))

    found = match(with_resistor(TRACED, "b:1 d:3", ohm), with_resistor(KNOWN, "INJ1:2 MAP:1", 1010.0))
    placed = standings(found)
    assert (placed["b"] == ("INJ1", "sure")) is agree
    assert (placed["a"][1] == "alike") is not agree


def test_groups_that_change_places_by_the_feed_that_each_shares_are_found() -> None:
    """Two groups of six look-alike plugs, the feed of one hidden: one plug was once wrong and sure."""
    rows, _ = rows_of(1_000_152)
    assert [row for row in rows if not row.right and row.standing is Standing.SURE] == []
