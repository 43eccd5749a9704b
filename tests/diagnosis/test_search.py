"""What the search keeps: all explanations of the least cost, against every arrangement and every cut.

The brute force of `test_optimality` says what is cheapest; here it says what all of the cheapest are, and the
bounds by which the search leaves out are held against it.
"""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import networkx as nx
import pytest

from loomproof.diagnosis.cuts import FREE
from loomproof.diagnosis.search import Explainer, Explanation
from loomproof.diagnosis.weights import weights
from loomproof.diagnosis.wiring import Wiring, wiring_of
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from tests.diagnosis.injector import Bench, random_faults, random_loom
from tests.diagnosis.test_cuts import parted
from tests.diagnosis.test_optimality import arrangement_costs, loom_of
from tests.diagnosis.test_recognition import hub

TABLE = weights()
Told = tuple[frozenset[tuple[int, int]], frozenset[int], frozenset[int]]


def every_cut(wiring: Wiring) -> list[tuple[int, frozenset[int], frozenset[int], list[frozenset[int]]]]:
    """Return every set of things open, with what it costs, a short for each piece included."""
    splices = [node for node in range(len(wiring.node_ends)) if wiring.is_splice(node)]
    found = []
    for many in range(len(splices) + 1):
        for broken in itertools.combinations(splices, many):
            sound = [k for k, e in enumerate(wiring.edges) if not {e.u, e.v} & set(broken)]
            for count in range(len(sound) + 1):
                for gone in itertools.combinations(sound, count):
                    pieces = parted(wiring, gone, broken)
                    cost = sum(wiring.edges[k].cost for k in gone) + TABLE.open_splice * many
                    found.append(
                        (cost + TABLE.short * len(pieces), frozenset(gone), frozenset(broken), pieces)
                    )
    return sorted(found, key=lambda each: each[0])


def brute_force(loom: Loom, wiring: Wiring, labels: Sequence[int]) -> tuple[int, set[Told]]:
    """Return the least cost and everything that explains the labels at it."""
    shorts = TABLE.short * len(set(labels))
    best, told = 10**9, set[Told]()
    cuts = every_cut(wiring)
    for state, price in arrangement_costs(tuple(end.connector for end in loom.cavities)).items():
        if price > best:
            continue
        for cost, gone, broken, pieces in cuts:
            total = price + cost - shorts
            if total > best:
                break
            if all(len({labels[state[i]] for i in piece}) == 1 for piece in pieces):
                if total < best:
                    best, told = total, set()
                moved = frozenset((here, there) for here, there in enumerate(state) if here != there)
                told.add((moved, gone, broken))
    return best, told


def said(explanations: Sequence[Explanation]) -> Told:
    moved = {
        (cycle[k], cycle[(k + 1) % len(cycle)])
        for one in explanations
        for cycle in one.cycles
        for k in range(len(cycle))
    }
    return (
        frozenset(moved),
        frozenset(edge for one in explanations for edge in one.edges),
        frozenset(node for one in explanations for node in one.splices),
    )


@pytest.mark.parametrize("shape", ["straight", "splice", "two splices", "chain", "loop"])
def test_all_that_is_as_cheap_is_kept_and_nothing_else(shape: str) -> None:
    loom = loom_of(shape)
    rng = random.Random(f"all {shape}")
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    explainer = Explainer(wiring, TABLE)
    whole = 0
    for _ in range(14):
        labels = [rng.randint(0, 4) for _ in loom.cavities]
        pieces = explainer.explain(labels)
        best, told = brute_force(loom, wiring, labels)
        assert sum(piece.cost for piece in pieces) == best
        assert sum(explainer.floor(labels, piece.nets) for piece in pieces) <= best
        ours = {said(one) for one in itertools.product(*(piece.explanations for piece in pieces))}
        assert ours <= told, labels
        if len(told) < TABLE.bound_alternatives:
            whole += 1
            assert ours == told, labels
    assert whole > 5


@pytest.mark.parametrize("seed", range(6))
def test_explanations_give_the_labels_that_they_explain(seed: int) -> None:
    """Cut, exchanged and joined as said, the wiring gives the groups; and the prices add up."""
    rng = random.Random(f"gives {seed}")
    loom = random_loom(rng, 14)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = [rng.randint(0, 8) if rng.random() < 0.3 else wiring.net_of[k] for k in range(wiring.leaf_count)]
    explainer = Explainer(wiring, TABLE)
    ends = wiring.leaf_ends
    for piece in explainer.explain(labels):
        leaves = [leaf for net in piece.nets for leaf in wiring.nets[net].leaves]
        assert sorted(piece.leaves) == sorted(leaves)
        for one in piece.explanations:
            at = dict(zip(leaves, leaves, strict=True))
            cost = sum(wiring.edges[k].cost for k in one.edges) + TABLE.open_splice * len(one.splices)
            for cycle in one.cycles:
                at |= {here: cycle[(k + 1) % len(cycle)] for k, here in enumerate(cycle)}
                homes = [ends[leaf].connector for leaf in cycle]
                if len(cycle) == 2:
                    cost += TABLE.swap if homes[0] == homes[1] else TABLE.stray
                else:
                    cost = -(10**6)  # which exchanges made a longer cycle is not told
            pieces = [p for p in parted(wiring, one.edges, one.splices) if p <= set(leaves)]
            groups: dict[int, set[tuple[int, ...]]] = {}
            for part in pieces:
                (label,) = {labels[at[leaf]] for leaf in part}
                groups.setdefault(label, set()).add(tuple(sorted(part)))
            assert {join.group: set(join.pieces) for join in one.joins} == {
                label: parts for label, parts in groups.items() if len(parts) > 1
            }
            joined = sum(len(join.pieces) - 1 for join in one.joins)
            if cost >= 0:
                assert one.cost == cost + TABLE.short * joined
            assert one.cost == piece.cost


@pytest.mark.parametrize("seed", range(20))
def test_pieces_are_what_nets_and_groups_share(seed: int) -> None:
    """A net and a group are joined where a leaf lies in both; one of each, all of both, is sound."""
    rng = random.Random(f"split {seed}")
    loom = random_loom(rng, 30)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = [wiring.net_of[leaf] + 100 for leaf in range(wiring.leaf_count)]
    for _ in range(rng.randint(0, 6)):
        labels[rng.randrange(len(labels))] = rng.choice((FREE, rng.randrange(100, 110), 999))
    graph: nx.Graph[str] = nx.Graph()
    for leaf, label in enumerate(labels):
        graph.add_node(f"net {wiring.net_of[leaf]}")
        if label != FREE:
            graph.add_edge(f"net {wiring.net_of[leaf]}", f"group {label}")
    expected = set()
    for component in nx.connected_components(graph):
        inside = {int(name[4:]) for name in component if name.startswith("net")}
        if len(component) - len(inside) > 1 or len(inside) > 1:
            expected.add(frozenset(inside))
    explainer = Explainer(wiring, TABLE)
    found = explainer.split(labels)
    assert {frozenset(nets) for nets in found} == expected
    assert explainer.leaves_of(found) == {
        leaf for leaf, net in enumerate(wiring.net_of) if any(net in nets for nets in expected)
    }
    for nets in found:
        own = {labels[leaf] for net in nets for leaf in wiring.nets[net].leaves} - {FREE}
        alone = sum(
            explainer.cuts(net).cost(tuple(labels[leaf] for leaf in wiring.nets[net].leaves)) for net in nets
        )
        assert explainer.price(labels, nets) == alone - TABLE.short * len(own)


@pytest.mark.parametrize(
    ("rest", "least"),
    [
        (0, 0),
        (1, 1),
        (1599, 1599),
        (1600, 1600),
        (1601, 1600),
        (4000, 1600),
        (4001, 1601),
        (5599, 3199),
        (5601, 3200),
        (8000, 3200),
        (8500, 3700),
    ],
)
def test_one_exchange_saves_two_wires_and_two_shorts_at_most(rest: int, least: int) -> None:
    """It changes two leaves: 2 × (1000 + 1000) for 1600. What is less than an exchange stays as it is."""
    loom = loom_of("straight")
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    assert Explainer(wiring, TABLE).bound(rest) == least


def test_the_dearest_edge_is_parallel_wires() -> None:
    loom = loom_of("loop")
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    assert Explainer(wiring, TABLE).dearest == 2 * TABLE.open_wire
    assert Explainer(wiring, TABLE).bound(6001) == 1601


def labelled(loom: Loom, wiring: Wiring, sits: dict[str, str]) -> list[int]:
    """Return the labels where what belongs in one cavity sits in another."""

    def leaf(text: str) -> int:
        name, _, cavity = text.partition(":")
        return wiring.leaf_of[End(name, cavity)]

    labels = list(wiring.net_of)
    for home, there in sits.items():
        labels[leaf(there)] = wiring.net_of[leaf(home)]
    return labels


@pytest.mark.parametrize("size", [5, 8, 9, 13])
def test_a_ring_of_contacts_is_found_in_plugs_of_any_size(size: int) -> None:
    """Three contacts in a ring are two exchanges; the first alone saves as well."""
    loom = hub(size)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = labelled(loom, wiring, {"P:1": "P:2", "P:2": "P:4", "P:4": "P:1"})
    (piece,) = Explainer(wiring, TABLE).explain(labels)
    assert piece.cost == 2 * TABLE.swap
    assert piece.proved
    told = {said([one]) for one in piece.explanations}
    p = {name: wiring.leaf_of[End("P", name)] for name in "124"}
    # What belongs in 1 was found in 2, and so on round.
    assert (
        frozenset({(p["1"], p["2"]), (p["2"], p["4"]), (p["4"], p["1"])}),
        frozenset(),
        frozenset(),
    ) in told


def test_the_same_piece_is_searched_once() -> None:
    loom = loom_of("straight")
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    explainer = Explainer(wiring, TABLE)
    labels = labelled(loom, wiring, {"A:1": "A:2", "A:2": "A:1"})
    assert explainer.explain(labels)[0] is explainer.explain(labels)[0]
    other = labelled(loom, wiring, {"A:1": "A:3", "A:3": "A:1"})
    assert explainer.explain(other)[0].leaves != explainer.explain(labels)[0].leaves


def test_a_short_in_a_big_piece_is_proved() -> None:
    """Eight nets of one wire in one group: seven shorts, and nothing is cheaper."""
    loom = hub(8)
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = [0 if end.connector in ("P", "HP") else 1 + k for k, end in enumerate(wiring.leaf_ends)]
    for k, net in enumerate(wiring.nets):
        for leaf in net.leaves:
            if labels[leaf]:
                labels[leaf] = 100 + k
    (piece,) = Explainer(wiring, TABLE).explain(labels)
    assert piece.cost == 7 * TABLE.short
    (one,) = piece.explanations
    assert len(one.joins[0].pieces) == 8


@pytest.mark.parametrize("seed", [1, 22, 31, 45, 54, 59, 104, 117])
def test_pieces_of_up_to_sixteen_leaves_are_proved(seed: int) -> None:
    """Where the quick search may have missed something the whole one is made, and says the same or less."""
    rng = random.Random(seed)
    loom = random_loom(rng, rng.randint(14, 30), sizes=(2, 3, 4, 6))
    found = Bench(loom).build(random_faults(rng, loom, rng.randint(2, 5)))
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    group_of = {end: k for k, group in enumerate(found) for end in group}
    pieces = Explainer(wiring, TABLE).explain([group_of[end] for end in wiring.leaf_ends])
    assert all(piece.proved for piece in pieces if len(piece.leaves) <= 16)


@pytest.mark.parametrize("crossed", [1, 2])
def test_contacts_of_two_big_nets_are_found_crossed(crossed: int) -> None:
    """Two stars of seven cavities each in one plug: fourteen leaves, more than are searched in full."""
    names = tuple(str(k) for k in range(14))
    loom = Loom(
        "stars",
        connectors=(
            Connector("P", ConnectorKind.PLUG, (names,)),
            *(Connector(name, ConnectorKind.SPLICE) for name in ("S", "T")),
        ),
        wires=tuple(Wire(f"W{k}", End("P", str(k)), End("S" if k < 7 else "T")) for k in range(14)),
    )
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    labels = [0] * 7 + [1] * 7
    for k in range(crossed):
        labels[k], labels[7 + k] = 1, 0
    (piece,) = Explainer(wiring, TABLE).explain(labels)
    assert piece.cost == crossed * TABLE.swap
    assert piece.proved
    moved = {frozenset(pair) for one in piece.explanations for pair in one.cycles}
    assert frozenset({0, 7}) in moved


def test_a_contact_of_a_big_net_in_a_spare_cavity_is_moved() -> None:
    """Twelve cavities at a splice, and a spare one: a net whole by itself can hold what is missing."""
    names = tuple(str(k) for k in range(13))
    loom = Loom(
        "star",
        connectors=(Connector("P", ConnectorKind.PLUG, (names,)), Connector("S", ConnectorKind.SPLICE)),
        wires=tuple(Wire(f"W{k}", End("P", str(k)), End("S")) for k in range(12)),
    )
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    (piece,) = Explainer(wiring, TABLE).explain([1, *[0] * 11, 0])
    assert piece.cost == TABLE.swap
    assert {frozenset(pair) for one in piece.explanations for pair in one.cycles} == {frozenset({0, 12})}


def test_contacts_of_one_star_are_never_told_as_crossed() -> None:
    """Crossed within one net they change nothing: a dear wire that is open is not a neighbour's, crossed."""
    ends = [End("P", str(k)) for k in range(4)]
    plug = Connector("P", ConnectorKind.PLUG, (("0", "1", "2", "3"),))
    loom = Loom(
        "dear",
        connectors=(plug, Connector("S", ConnectorKind.SPLICE)),
        wires=tuple(Wire(f"W{k}", ends[k // 3], End("S")) for k in (0, 1, 2, 3, 6, 9)),
    )
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    (piece,) = Explainer(wiring, TABLE).explain([1, 0, 0, 0])
    assert piece.cost == 3 * TABLE.open_wire
    assert [one.cycles for one in piece.explanations] == [()]


def test_what_a_quick_search_may_have_missed_is_not_proved() -> None:
    """Eighteen leaves and 4200: two exchanges that save nothing alone, for 3200, might have explained it."""
    rng = random.Random(36)
    loom = random_loom(rng, rng.randint(20, 40), sizes=(3, 4, 6))
    found = Bench(loom).build(random_faults(rng, loom, rng.randint(3, 4)))
    wiring = wiring_of(loom, Bench(loom).build(), TABLE)
    group_of = {end: k for k, group in enumerate(found) for end in group}
    pieces = Explainer(wiring, TABLE).explain([group_of[end] for end in wiring.leaf_ends])
    (piece,) = [piece for piece in pieces if len(piece.leaves) == 18]
    assert (piece.cost, piece.proved) == (4200, False)
