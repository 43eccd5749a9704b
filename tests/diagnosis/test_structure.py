"""Slips with whole connectors: what moves where, for small housings, and the prices of undoing them."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace

import pytest

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.cuts import FREE
from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.structure import (
    Hypothesis,
    _agreement,
    _gain,
    arrangements,
    hypotheses,
)
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from tests.diagnosis.injector import Bench, Injected, random_faults, random_loom
from tests.diagnosis.test_recognition import hub
from tests.diagnosis.test_wiring_faults import plug

TABLE = weights()


def slips_of(*rows: str) -> dict[tuple[str, str], str]:
    """Return the slips of one plug A: (cause, detail) to where the wire of each cavity is found."""
    a = plug("A", *rows)
    far = Connector("F", ConnectorKind.PLUG, (tuple(a.cavities),))
    loom = Loom(
        "one",
        connectors=(a, far),
        wires=tuple(Wire(f"W{name}", End("A", name), End("F", name)) for name in a.cavities),
    )
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    ends = wiring.leaf_ends
    told = {}
    for slip in hypotheses(loom, wiring, TABLE):
        if slip.connectors != ("A",):
            continue
        assert slip.cost == TABLE.whole_connector
        there = dict(slip.moves)
        found = [there.get(leaf, leaf) for leaf in range(len(a.cavities))]
        told[slip.cause.value, slip.detail] = " ".join("-" if at is None else ends[at].cavity for at in found)
    return told


ROUND = "each contact {}, the end round to the start"
ON, BACK, TWO_ON, TWO_BACK = "1 cavity on", "1 cavity back", "2 cavities on", "2 cavities back"


def test_every_slip_of_two_rows_of_three() -> None:
    """Typed from a drawing of the face: 1 2 3 above 4 5 6; where the wire of 1, 2, 3 … is found."""
    assert slips_of("1 2 3", "4 5 6") == {
        ("mirrored", "left for right"): "3 2 1 6 5 4",
        ("mirrored", "row for row"): "4 5 6 1 2 3",
        ("rotated", "half a turn"): "6 5 4 3 2 1",
        ("rotated", ROUND.format(ON)): "2 3 4 5 6 1",
        ("rotated", ROUND.format(BACK)): "6 1 2 3 4 5",
        ("rotated", ROUND.format(TWO_ON)): "3 4 5 6 1 2",
        ("rotated", ROUND.format(TWO_BACK)): "5 6 1 2 3 4",
        ("shifted", f"by {ON}"): "2 3 4 5 6 -",
        ("shifted", f"by {BACK}"): "- 1 2 3 4 5",
        ("shifted", f"by {TWO_ON}"): "3 4 5 6 - -",
        ("shifted", f"by {TWO_BACK}"): "- - 1 2 3 4",
        ("shifted", f"by {ON} in every row"): "2 3 - 5 6 -",
        ("shifted", f"by {BACK} in every row"): "- 1 2 - 4 5",
        ("not_plugged", ""): "- - - - - -",
    }


def test_every_slip_of_one_row_of_three() -> None:
    """Round by two on is round by one back; mirrored moves two contacts alone, which is an exchange."""
    assert slips_of("1 2 3") == {
        ("rotated", ROUND.format(ON)): "2 3 1",
        ("rotated", ROUND.format(BACK)): "3 1 2",
        ("shifted", f"by {ON}"): "2 3 -",
        ("shifted", f"by {BACK}"): "- 1 2",
        ("shifted", f"by {TWO_ON}"): "3 - -",
        ("shifted", f"by {TWO_BACK}"): "- - 1",
        ("not_plugged", ""): "- - -",
    }


def test_every_slip_of_two_cavities() -> None:
    assert slips_of("1 2") == {
        ("shifted", f"by {ON}"): "2 -",
        ("shifted", f"by {BACK}"): "- 1",
        ("not_plugged", ""): "- -",
    }
    assert slips_of("1") == {}


def test_rows_of_uneven_length_fit_only_as_far_as_they_are_alike() -> None:
    """1 2 3 above 4 5: no turn puts every contact into a cavity, but counted from behind they fit."""
    found = slips_of("1 2 3", "4 5")
    assert found["mirrored", "last for first"] == "5 4 3 2 1"
    assert ("mirrored", "left for right") not in found
    assert ("rotated", "half a turn") not in found
    assert found["shifted", f"by {ON} in every row"] == "2 3 - 5 -"


def test_slips_are_named_as_what_they_are() -> None:
    for size in (4, 8, 9):
        loom = hub(size)
        wiring = wiring_of(loom, Bench(loom).build(), TABLE)
        told = {
            (slip.cause, slip.connectors): dict(slip.moves)
            for slip in reversed(hypotheses(loom, wiring, TABLE))
        }
        for kind, cause in (("rotate", None), ("exchange", Cause.EXCHANGED)):
            moves = Bench(loom).moves(Injected(kind, connectors=("P", "Q") if cause else ("P",)))
            leaves = {
                wiring.leaf_of[a]: None if b is None else wiring.leaf_of[b]
                for a, b in moves.items()
                if a != b
            }
            if cause:
                assert told[cause, ("P", "Q")] == leaves
            else:
                assert leaves in [dict(slip.moves) for slip in hypotheses(loom, wiring, TABLE)]


@pytest.mark.parametrize(
    ("one", "other", "cost"),
    [
        (plug("P", "1 2 3", housing="h"), plug("Q", "1 2 3", housing="h"), TABLE.exchange_alike),
        (plug("P", "1 2 3", housing="h"), plug("Q", "1 2 3", housing="g"), TABLE.exchange_unlike),
        (plug("P", "1 2 3"), plug("Q", "a b c"), TABLE.exchange_unlike),
        (plug("P", "1 2"), plug("Q", "1 2"), TABLE.exchange_alike),
        (plug("P", "1 2 3 4"), plug("Q", "1 2", "3 4"), TABLE.exchange_unlike),
        (
            plug("P", "1 2 3"),
            Connector("Q", ConnectorKind.SOCKET, (("1", "2", "3"),)),
            TABLE.exchange_unlike,
        ),
        (plug("P", "1 2 3"), plug("Q", "1 2 3 4"), None),
        (plug("P", "1"), plug("Q", "1"), None),
    ],
)
def test_plugs_of_one_size_can_be_in_each_others_place(
    one: Connector, other: Connector, cost: int | None
) -> None:
    far = plug("F", " ".join(f"x{k}" for k in range(len(one.cavities))))
    wires = tuple(Wire(f"W{k}", a, b) for k, (a, b) in enumerate(zip(one.ends, far.ends, strict=True)))
    loom = Loom("two", connectors=(one, other, far), wires=wires)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    found = [slip for slip in hypotheses(loom, wiring, TABLE) if slip.connectors == ("P", "Q")]
    if cost is None:
        assert not found
        return
    (slip,) = found
    assert (slip.cause, slip.cost) == (Cause.EXCHANGED, cost)
    ends = wiring.leaf_ends
    assert {(ends[a], ends[b]) for a, b in slip.moves if b is not None} == {
        pair for a, b in zip(one.ends, other.ends, strict=True) for pair in ((a, b), (b, a))
    }


def test_cavities_of_the_same_names_meet_by_name() -> None:
    one, other = plug("P", "1 2 3"), plug("Q", "3 1 2")
    loom = Loom("two", connectors=(one, other), wires=(Wire("W", End("P", "1"), End("Q", "2")),))
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    (slip,) = [slip for slip in hypotheses(loom, wiring, TABLE) if slip.connectors == ("P", "Q")]
    ends = wiring.leaf_ends
    assert all(b is not None and ends[a].cavity == ends[b].cavity for a, b in slip.moves)


def test_what_is_not_tested_moves_nowhere_and_nothing_is_found_in_it() -> None:
    """A:2 has no point on the bench: it is no leaf, and what would sit in it is found nowhere."""
    loom = Loom(
        "untested",
        connectors=(plug("A", "1 2 3 4"), plug("F", "1 3 4")),
        wires=tuple(Wire(f"W{k}", End("A", k), End("F", k)) for k in "134"),
    )
    expected = [frozenset(wire.ends) for wire in loom.wires]
    wiring = wiring_of(loom, expected, TABLE)
    leaf = wiring.leaf_of
    told = {
        slip.detail: dict(slip.moves) for slip in hypotheses(loom, wiring, TABLE) if slip.connectors == ("A",)
    }
    one, three, four = (leaf[End("A", name)] for name in "134")
    assert told["left for right"] == {one: four, three: None, four: one}
    assert told[f"by {ON}"] == {one: None, three: four, four: None}


def test_only_plugs_with_something_amiss_are_looked_at() -> None:
    loom = hub(4)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    amiss = [wiring.leaf_of[End("P", "1")], wiring.leaf_of[End("Q", "3")]]
    named = {name for slip in hypotheses(loom, wiring, TABLE, amiss) for name in slip.connectors}
    assert named == {"P", "Q"}
    assert hypotheses(loom, wiring, TABLE, []) == []


def test_undoing_puts_back_what_was_moved() -> None:
    slip = Hypothesis(Cause.SHIFTED, ("A",), ((0, 1), (1, 2), (2, None)), 1)
    assert slip.undo([9, 0, 1, 3]) == [0, 1, FREE, 3]
    assert slip.undo([9, 0, 1, 9]) is None, "what was left in the first cavity is no bare one"
    assert slip.undo([FREE, 0, 1, FREE]) == [0, 1, FREE, FREE]
    two = Hypothesis(Cause.SHIFTED, ("A",), ((0, 2), (1, 3), (2, None), (3, None)), 1)
    assert two.undo([9, 4, 0, 1, 9]) is None, "one of two that are left over was joined to something"
    assert two.undo([8, 4, 0, 1, 9]) == [0, 1, FREE, FREE, 9]
    whole = Hypothesis(Cause.ROTATED, ("A",), ((0, 1), (1, 2), (2, 0)), 1)
    assert whole.undo([5, 5, 6, 5]) == [5, 6, 5, 5]


def priced(explainer: Explainer, labels: list[int]) -> int:
    return sum(explainer.price(labels, nets) for nets in explainer.split(labels))


@pytest.mark.parametrize("seed", range(14))
def test_arrangements_cost_what_their_labels_cost(seed: int) -> None:
    """Step by step priced is what pricing anew gives, the cheapest first, and the plain one among them."""
    rng = random.Random(f"arranged {seed}")
    loom = random_loom(rng, 40, sizes=(3, 4, 6, 8)) if seed % 2 else hub(rng.choice((4, 6, 9)))
    kinds = ("exchange", "mirror", "rotate", "cycle", "shift")
    faults = random_faults(rng, loom, 2)
    if seed % 2 == 0:
        kind = kinds[seed // 2 % len(kinds)]
        faults = [Injected(kind, connectors=("P", "Q") if kind == "exchange" else ("P",))]
    expected = Bench(loom).build()
    wiring = wiring_of(loom, expected, TABLE)
    group_of = {end: k for k, group in enumerate(Bench(loom).build(faults)) for end in group}
    labels = [group_of[end] for end in wiring.leaf_ends]
    explainer = Explainer(wiring, TABLE)
    amiss = explainer.leaves_of(explainer.split(labels))
    found = arrangements(hypotheses(loom, wiring, TABLE, amiss), explainer, labels)
    assert [one.total for one in found] == sorted(one.cost + one.rest for one in found)
    plain = next(one for one in found if not one.slips)
    assert (plain.cost, list(plain.labels), plain.rest) == (0, labels, priced(explainer, labels))
    for one in found:
        after: list[int] | None = labels
        for slip in one.slips:
            assert after is not None
            after = slip.undo(after)
        assert after == list(one.labels)
        assert one.cost == sum(slip.cost for slip in one.slips)
        assert one.rest == priced(explainer, list(one.labels))
        assert not one.slips or one.total < plain.total
    if seed % 2 == 0:
        # Nothing is left to explain once the slip is undone: one slip, by whatever name it has.
        assert (found[0].rest, found[0].total) == (0, TABLE.whole_connector)


def gain_by_definition(slip: Hypothesis, wiring: Wiring, labels: list[int]) -> int:
    """Leaves that agree with another of their net after the slip is undone, less those that do now."""
    gain = 0
    moves = dict(slip.moves)
    for net in wiring.nets:
        moved = [leaf for leaf in net.leaves if leaf in moves]
        if not moved or len(net.leaves) < 2:
            continue
        if len(moved) == len(net.leaves):
            after = Counter(labels[at] for leaf in moved if (at := moves[leaf]) is not None)
            gain += max(after.values(), default=0) - max(Counter(labels[leaf] for leaf in moved).values())
            continue
        for leaf in moved:
            others = [labels[other] for other in net.leaves if other != leaf]
            at = moves[leaf]
            gain += (at is not None and labels[at] in others) - (labels[leaf] in others)
    return gain


@pytest.mark.parametrize("seed", range(8))
def test_a_slip_gains_the_leaves_that_come_to_their_net(seed: int) -> None:
    rng = random.Random(f"gain {seed}")
    loom = random_loom(rng, 24, sizes=(2, 3, 4))
    loom = replace(loom, wires=(*loom.wires, Wire("in", loom.cavities[0], loom.cavities[1])))
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    slips = hypotheses(loom, wiring, TABLE)
    for _ in range(4):
        labels = [rng.choice((net, net, rng.randrange(9))) for net in wiring.net_of]
        agree = _agreement(wiring, labels)
        for slip in rng.sample(slips, min(20, len(slips))):
            assert _gain(slip, wiring, labels, agree) == gain_by_definition(slip, wiring, labels)


def test_a_plug_that_reaches_nothing_is_one_slip_of_two_wires_or_more() -> None:
    """Nothing of P is found: with four wires that is P; with one wired cavity it is that wire."""
    loom = hub(4)
    for left, slips in ((4, 1), (2, 1), (1, 0)):
        wires = tuple(w for w in loom.wires if not (w.a.connector == "P" and int(w.a.cavity) > left))
        some = replace(loom, wires=wires)
        expected = Bench(some).build()
        wiring = wiring_of(some, expected, TABLE)
        labels = [
            1000 + leaf if end.connector == "P" else wiring.net_of[leaf]
            for leaf, end in enumerate(wiring.leaf_ends)
        ]
        explainer = Explainer(wiring, TABLE)
        found = arrangements(hypotheses(some, wiring, TABLE), explainer, labels)
        told = [one for one in found if [slip.cause for slip in one.slips] == [Cause.NOT_PLUGGED]]
        assert any(one.slips[0].connectors == ("P",) for one in told) == bool(slips)
        for one in told:
            assert one.rest == priced(explainer, list(one.labels))


def test_a_plug_with_a_contact_that_reaches_something_is_plugged() -> None:
    loom = hub(4)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = [
        1000 + leaf if end.connector == "P" and end.cavity != "2" else wiring.net_of[leaf]
        for leaf, end in enumerate(wiring.leaf_ends)
    ]
    found = arrangements(hypotheses(loom, wiring, TABLE), Explainer(wiring, TABLE), labels)
    assert not any(
        slip.cause is Cause.NOT_PLUGGED and slip.connectors == ("P",) for one in found for slip in one.slips
    )
