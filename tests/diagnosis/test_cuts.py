"""Cuts of one net against brute force: every set of things open, every set of splices that let go.

The brute force knows the prices and the wiring as a graph; what hangs together it finds by walking.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis.cuts import FREE, Cut, NetCuts, pieces_of
from loomproof.diagnosis.weights import Weights, weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire

SHORT, SPLICE = weights().short, weights().open_splice


def net_of(*runs: str, parts: Sequence[str] = ()) -> Wiring:
    """Return the wiring of one net of ``A:1 S`` runs and of fuses between such ends."""
    words = [word for run in (*runs, *parts) for word in run.split()]
    cavities: dict[str, dict[str, None]] = {}
    for word in words:
        name, _, cavity = word.partition(":")
        cavities.setdefault(name, {}).update({cavity: None} if cavity else {})
    connectors = [
        Connector(name, ConnectorKind.PLUG if held else ConnectorKind.SPLICE, (tuple(held),) if held else ())
        for name, held in cavities.items()
    ]

    def end(word: str) -> End:
        name, _, cavity = word.partition(":")
        return End(name, cavity)

    ends = [[end(word) for word in run.split()] for run in (*runs, *parts)]
    wires = tuple(Wire(f"W{k}", a, b) for k, (a, b) in enumerate(ends[: len(runs)]))
    fuses = tuple(
        Component(f"F{k}", ComponentKind.FUSE, (("1", a), ("2", b)))
        for k, (a, b) in enumerate(ends[len(runs) :])
    )
    loom = Loom("net", connectors=tuple(connectors), wires=wires, components=fuses)
    return wiring_of(loom, [loom.cavities], weights())


TREES = (
    ("A:1 B:1",),
    ("A:1 A:2", "A:2 A:3", "A:3 A:4"),
    ("A:1 S", "A:2 S", "A:3 S"),
    ("A:1 S", "A:2 S", "S T", "A:3 T", "A:4 T"),
    ("A:1 S", "A:2 S", "S T", "S T", "A:3 T", "A:4 T"),
    ("A:1 S", "S T", "T A:2", "T U", "U A:3", "U A:4"),
    ("A:1 A:2", "A:1 S", "S A:3", "S A:4", "A:1 A:2"),
)
LOOPS = (
    ("A:1 S", "S T", "T U", "U S", "A:2 T", "A:3 U"),
    ("A:1 A:2", "A:2 A:3", "A:3 A:1", "A:4 A:1"),
    ("A:1 S", "A:2 T", "S T", "S A:3", "T A:3"),
)


def parted(wiring: Wiring, gone: Sequence[int], broken: Sequence[int]) -> list[frozenset[int]]:
    """Return the pieces with leaves that a net falls into."""
    left, pieces = set(range(len(wiring.node_ends))), []
    while left:
        found, queue = set(), [left.pop()]
        while queue:
            node = queue.pop()
            found.add(node)
            for k, edge in enumerate(wiring.edges):
                if node in (edge.u, edge.v) and k not in gone and not {edge.u, edge.v} & set(broken):
                    queue += [other for other in (edge.u, edge.v) if other not in found]
        left -= found
        pieces.append(frozenset(node for node in found if node < wiring.leaf_count))
    return [piece for piece in pieces if piece]


def ways_apart(
    wiring: Wiring, prices: Sequence[int], splice: int
) -> Iterator[tuple[int, Cut, list[frozenset[int]]]]:
    """Yield every cut with its price, a short for each piece included, and the pieces."""
    splices = [node for node in range(len(wiring.node_ends)) if wiring.is_splice(node)]
    for many in range(len(splices) + 1):
        for broken in itertools.combinations(splices, many):
            sound = [k for k, e in enumerate(wiring.edges) if not {e.u, e.v} & set(broken)]
            for count in range(len(sound) + 1):
                for gone in itertools.combinations(sound, count):
                    pieces = parted(wiring, gone, broken)
                    cost = sum(prices[k] for k in gone) + splice * many + SHORT * len(pieces)
                    yield cost, Cut(gone, broken), pieces


def cheapest(
    every: Sequence[tuple[int, Cut, list[frozenset[int]]]], labels: Sequence[int]
) -> tuple[int, list[Cut]]:
    """Return the least price that keeps leaves of different labels apart, and all cuts of that price."""
    fitting = [
        (cost, cut)
        for cost, cut, pieces in every
        if all(len({labels[leaf] for leaf in piece} - {FREE}) < 2 for piece in pieces)
    ]
    least = min(cost for cost, _ in fitting)
    return least, sorted(cut for cost, cut in fitting if cost == least)


@pytest.mark.parametrize("runs", [*TREES, *LOOPS])
@pytest.mark.parametrize("table", [weights(), replace(weights(), open_splice=900, short=300)])
def test_cuts_are_the_cheapest_and_all_of_them(runs: tuple[str, ...], table: Weights) -> None:
    wiring = net_of(*runs)
    cuts = NetCuts(wiring, 0, table)
    every = [
        (cost + (table.short - SHORT) * len(pieces), cut, pieces)
        for cost, cut, pieces in ways_apart(wiring, [e.cost for e in wiring.edges], table.open_splice)
    ]
    rng = random.Random(f"{runs}")
    count = wiring.leaf_count
    vectors = {tuple(rng.randrange(3) for _ in range(count)) for _ in range(9)} | {tuple(range(count))}
    for labels in sorted(vectors):
        least, found = cheapest(every, labels)
        assert cuts.cost(labels) == least, labels
        assert cuts.cost(labels) == least, "asked again"
        if len(set(labels)) > 1:
            assert cuts.ways(labels, 1000) == found, labels
            few = cuts.ways(labels, 1)
            assert len(few) == 1
            assert few[0] in found


def test_a_loop_of_six_splices_in_three_groups_is_solved_by_trying_every_choice() -> None:
    """Each splice is of one of three groups or lets go: 4⁶ = 4096 choices, the most that are all tried. A:2
    and A:4 are of one group: with the own wires of A:1 and A:3 open, three pieces are left."""
    runs = ("T S", "U S", "V U", "W V", "X V", "T U", "W U", "S V", "A:1 T", "A:2 W", "A:3 V", "A:4 U")
    wiring = net_of(*runs)
    cuts, labels = NetCuts(wiring, 0, weights()), (0, 1, 2, 1)
    (cut,) = cuts.ways(labels, 1000)
    assert {name for k in cut.edges for name in wiring.edges[k].wires} == {"W8", "W10"}
    assert cut.splices == ()
    assert cuts.cost(labels) == sum(wiring.edges[k].cost for k in cut.edges) + 3 * SHORT


@pytest.mark.parametrize("runs", TREES)
def test_a_leaf_of_which_nothing_is_known_costs_nothing(runs: tuple[str, ...]) -> None:
    wiring = net_of(*runs)
    cuts = NetCuts(wiring, 0, weights())
    every = list(ways_apart(wiring, [e.cost for e in wiring.edges], SPLICE))
    rng = random.Random(f"{runs}")
    for _ in range(12):
        labels = tuple(rng.choice((FREE, 0, 1, 7)) for _ in range(wiring.leaf_count))
        if set(labels) == {FREE}:
            assert cuts.cost(labels) == 0
        else:
            assert cuts.cost(labels) == cheapest(every, labels)[0], labels


@pytest.mark.parametrize("runs", LOOPS)
def test_in_a_loop_too_it_costs_no_less_than_the_cheapest(runs: tuple[str, ...]) -> None:
    """With unknown leaves a loop is cut along a spanning tree: it is a cut, if not the cheapest."""
    wiring = net_of(*runs)
    cuts = NetCuts(wiring, 0, weights())
    every = list(ways_apart(wiring, [e.cost for e in wiring.edges], SPLICE))
    for labels in itertools.product((FREE, 0, 1), repeat=wiring.leaf_count):
        if len(set(labels) - {FREE}) < 2:
            continue
        least, _ = cheapest(every, labels)
        assert cuts.cost(labels) >= least
        if FREE not in labels:
            assert cuts.cost(labels) == least
            continue
        prices = {cut: cost for cost, cut, _ in every}
        for cut in cuts.ways(labels, 50):
            assert prices[cut] == cuts.cost(labels)
            pieces = parted(wiring, cut.edges, cut.splices)
            assert all(len({labels[leaf] for leaf in piece} - {FREE}) < 2 for piece in pieces)


@pytest.mark.parametrize("runs", [*TREES, *LOOPS])
def test_pieces_are_what_hangs_together(runs: tuple[str, ...]) -> None:
    wiring = net_of(*runs)
    for _, cut, pieces in itertools.islice(ways_apart(wiring, [0] * len(wiring.edges), 0), 0, None, 7):
        assert {frozenset(piece) for piece in pieces_of(wiring, 0, cut)} == set(pieces)
        assert all(list(piece) == sorted(piece) for piece in pieces_of(wiring, 0, cut))


def test_a_net_that_hangs_together_needs_no_cut() -> None:
    cuts = NetCuts(net_of("A:1 S", "A:2 S"), 0, weights())
    assert cuts.ways((3, 3), 9) == cuts.ways((FREE, 3), 9) == [Cut((), ())]
    assert cuts.cost((3, 3)) == cuts.cost((FREE, 3)) == SHORT


def test_a_fuse_is_cut_before_a_wire() -> None:
    wiring = net_of("A:1 F:1", "F:2 A:2", parts=("F:1 F:2",))
    (cut,) = NetCuts(wiring, 0, weights()).ways((0, 1, 0, 1), 9)
    assert [wiring.edges[k].component for k in cut.edges] == ["F0"]


@pytest.mark.parametrize(
    ("runs", "star"),
    [
        (("A:1 B:1",), True),
        (("A:1 S", "A:2 S", "A:3 S"), True),
        (("A:1 S", "A:2 S", "S T", "A:3 T", "A:4 T"), False),
        (("A:1 A:2", "A:2 A:3", "A:3 A:1"), False),
    ],
)
def test_in_a_star_all_leaves_are_alike(runs: tuple[str, ...], star: bool) -> None:
    """Then exchanging two leaves of one net changes nothing."""
    wiring = net_of(*runs)
    cuts = NetCuts(wiring, 0, weights())
    assert cuts.star is star
    labels = range(2)
    vectors = itertools.product(labels, repeat=wiring.leaf_count)
    prices: dict[tuple[int, ...], set[int]] = {}
    for one in vectors:
        prices.setdefault(tuple(sorted(one)), set()).add(cuts.cost(one))
    assert all(len(each) == 1 for each in prices.values()) or not star
