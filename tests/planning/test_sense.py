"""Soundness of the sense proof, exhaustively for small looms and against networkx above.

The loom model here is the test's own: a relation "p reads low when d is driven", written down directly.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Callable, Iterator, Sequence

import networkx as nx
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from loomproof.measuring.resolve_nets import complete, learn
from loomproof.planning.drive_codes import antichain_codes, antichain_length
from loomproof.planning.test_vectors import Group, Vector, empty_vector, sense_vectors
from tests.planning.toggling import toggling_codes, toggling_length, toggling_vectors

Partition = tuple[int, ...]


def partitions(points: Sequence[int]) -> Iterator[list[list[int]]]:
    if not points:
        yield []
        return
    first, *rest = points
    for part in partitions(rest):
        yield [[first], *part]
        for i in range(len(part)):
            yield [*part[:i], [first, *part[i]], *part[i + 1 :]]


def masks(partition: Sequence[Sequence[int]]) -> Partition:
    return tuple(sorted(sum(1 << p for p in part) for part in partition))


def sensing(partition: Sequence[int]) -> Callable[[Sequence[int]], list[int]]:
    def ask(drives: Sequence[int]) -> list[int]:
        return [sum(part for part in partition if part & drive) for drive in drives]

    return ask


def sensing_relation(low: Sequence[int]) -> Callable[[Sequence[int]], list[int]]:
    """``low[d]`` is the set of points that read low when point d is driven."""

    def ask(drives: Sequence[int]) -> list[int]:
        answers = []
        for drive in drives:
            answer = 0
            for d, points in enumerate(low):
                if drive >> d & 1:
                    answer |= points
            answers.append(answer)
        return answers

    return ask


def _vectors(groups: Sequence[Group], *, one_way: bool) -> tuple[Vector, ...]:
    return sense_vectors(groups) if one_way else toggling_vectors(groups)


def passes(expected: Partition, ask: Callable[[Sequence[int]], list[int]], *, one_way: bool) -> bool:
    vectors = _vectors([Group.of(part) for part in expected], one_way=one_way)
    lows = ask([vector.drive for vector in vectors])
    return not any(vector.wrong(low) for vector, low in zip(vectors, lows, strict=True))


@pytest.mark.parametrize("points", [1, 2, 3, 4, 5, 6])
@pytest.mark.parametrize("one_way", [False, True])
def test_a_pass_means_the_expected_partition_and_no_other(points: int, one_way: bool) -> None:
    every = [masks(partition) for partition in partitions(range(points))]
    bell = {1: 1, 2: 2, 3: 5, 4: 15, 5: 52, 6: 203}  # Bell numbers
    assert len(every) == bell[points]
    for expected in every:
        for actual in every:
            assert passes(expected, sensing(actual), one_way=one_way) == (expected == actual)


def preorders(points: int) -> Iterator[list[int]]:
    """All reflexive, transitive relations, as ``low`` lists."""
    pairs = [(p, d) for p in range(points) for d in range(points) if p != d]
    for bits in range(1 << len(pairs)):
        low = [1 << d for d in range(points)]
        for k, (p, d) in enumerate(pairs):
            if bits >> k & 1:
                low[d] |= 1 << p
        if all(low[p] & ~low[d] == 0 for d in range(points) for p in range(points) if low[d] >> p & 1):
            yield low


def test_the_antichain_excludes_every_one_way_coupling_of_four_points() -> None:
    every = list(preorders(4))
    assert len(every) == 355  # OEIS A000798, topologies on four labelled points
    escaped_plain = 0
    for expected in (masks(partition) for partition in partitions(range(4))):
        for low in every:
            symmetric = all((low[d] >> p & 1) == (low[p] >> d & 1) for d in range(4) for p in range(4))
            across = any(
                low[d] >> p & 1 and not any(part >> d & 1 and part >> p & 1 for part in expected)
                for d in range(4)
                for p in range(4)
            )
            if passes(expected, sensing_relation(low), one_way=True):
                assert not across
            if not symmetric and across and passes(expected, sensing_relation(low), one_way=False):
                escaped_plain += 1
    assert escaped_plain > 0, "a plain code is known to let one-way couplings escape; the test must see it"


def test_a_diode_between_two_nets_escapes_the_plain_code_and_not_the_antichain() -> None:
    expected = tuple(1 << p for p in range(6))
    codes = toggling_codes([1] * 6)
    source, sink = next((i, j) for i in range(6) for j in range(6) if i != j and codes[j] & ~codes[i] == 0)
    low = [1 << d for d in range(6)]
    low[sink] |= 1 << source
    assert passes(expected, sensing_relation(low), one_way=False)
    assert not passes(expected, sensing_relation(low), one_way=True)


# Vector counts: toggling ceil(log2(q+2)) after Goel & McMahon 1982 (from memory, recomputed); the
# boundary cases catch off-by-one. Antichain: smallest M with C(M, M/2) >= k (Sperner 1928, from memory).
@pytest.mark.parametrize(
    ("nets", "length"),
    [
        *[(2, 2), (6, 3), (14, 4), (30, 5), (31, 6), (62, 6), (63, 7), (126, 7), (127, 8), (254, 8)],
        *[(255, 9), (51, 6), (205, 8), (819, 10)],
    ],
)
def test_toggling_length(nets: int, length: int) -> None:
    assert toggling_length(nets) == length == math.ceil(math.log2(nets + 2))
    codes = toggling_codes([1] * nets)
    assert len(set(codes)) == nets
    assert all(0 < code < (1 << length) - 1 for code in codes)


@pytest.mark.parametrize(("nets", "length"), [(2, 2), (26, 7), (51, 8), (205, 10), (819, 12), (1638, 13)])
def test_antichain_length(nets: int, length: int) -> None:
    assert antichain_length(nets) == length
    codes = antichain_codes(nets)
    assert all(a & ~b for a, b in itertools.permutations(codes, 2)) or nets > 300
    assert len({code.bit_count() for code in codes}) == 1
    assert len(set(codes)) == nets


def test_heavier_codes_on_bigger_nets() -> None:
    sizes = [1, 9, 2, 5, 1, 30, 3]
    codes = toggling_codes(sizes)
    for a, b in itertools.permutations(range(len(sizes)), 2):
        if sizes[a] > sizes[b]:
            assert codes[a].bit_count() >= codes[b].bit_count()
            assert codes[a] & ~codes[b], "some vector must drive the bigger net and not the smaller"


def random_partition(rng: random.Random, points: int) -> Partition:
    nets = max(1, int(points * 0.4))
    parts = [0] * nets
    for p in range(points):
        parts[p if p < nets else rng.randrange(nets)] |= 1 << p
    return tuple(sorted(part for part in parts if part))


def disturbed(rng: random.Random, partition: Partition, faults: int) -> Partition:
    """Open, short and swap at random; the truth comes from networkx."""
    graph: nx.Graph[int] = nx.Graph()
    graph.add_nodes_from(range(sum(partition).bit_length()))
    for part in partition:
        points = [p for p in range(part.bit_length()) if part >> p & 1]
        graph.add_edges_from(itertools.pairwise(points))
    for _ in range(faults):
        what = rng.choice(["open", "short", "swap"])
        if what == "open" and graph.edges:
            graph.remove_edge(*rng.choice(sorted(graph.edges)))
        elif what == "short":
            graph.add_edge(*rng.sample(sorted(graph.nodes), 2))
        else:
            a, b = rng.sample(sorted(graph.nodes), 2)
            graph = nx.relabel_nodes(graph, {a: b, b: a})
    return masks([sorted(part) for part in nx.connected_components(graph)])


@given(st.integers(0, 2**32), st.integers(2, 80), st.integers(0, 8), st.booleans())
@settings(max_examples=300, deadline=None)
def test_completion_finds_exactly_what_is_connected(
    seed: int, points: int, faults: int, one_way: bool
) -> None:
    rng = random.Random(seed)
    expected = random_partition(rng, points)
    actual = disturbed(rng, expected, faults)
    ask = sensing(actual)
    groups = [Group.of(part) for part in expected]
    vectors = _vectors(groups, one_way=one_way)
    lows = ask([vector.drive for vector in vectors])
    failed = any(vector.wrong(low) for vector, low in zip(vectors, lows, strict=True))
    assert failed == (expected != actual)
    found = complete(ask, groups, vectors, lows)
    assert tuple(sorted(found.groups)) == actual
    assert not found.one_way


@given(st.integers(0, 2**32), st.integers(1, 200))
@settings(max_examples=200, deadline=None)
def test_learning_takes_log2_of_the_points(seed: int, points: int) -> None:
    rng = random.Random(seed)
    actual = random_partition(rng, points)
    asked = 0

    def ask(drives: Sequence[int]) -> list[int]:
        nonlocal asked
        asked += len(drives)
        return sensing(actual)(drives)

    assert tuple(sorted(learn(ask, (1 << points) - 1))) == actual
    assert asked == (points - 1).bit_length()


@given(st.integers(0, 2**32), st.integers(4, 40), st.integers(1, 3))
@example(12271684, 13, 3)  # a path one way that looked like a short from the head that was driven
@settings(max_examples=200, deadline=None)
def test_unexpected_one_way_paths_are_told_as_such(seed: int, points: int, diodes: int) -> None:
    rng = random.Random(seed)
    expected = random_partition(rng, points)
    graph: nx.DiGraph[int] = nx.DiGraph()
    graph.add_nodes_from(range(len(expected)))
    for _ in range(diodes):
        source, sink = rng.sample(range(len(expected)), 2) if len(expected) > 1 else (0, 0)
        graph.add_edge(source, sink)
    reached = {i: nx.descendants(graph, i) | {i} for i in graph}
    low = [0] * points
    for i, part in enumerate(expected):
        for j in reached[i]:
            for d in range(points):
                if expected[j] >> d & 1:
                    low[d] |= part
    ask = sensing_relation(low)
    groups = [Group.of(part) for part in expected]
    vectors = sense_vectors(groups)
    lows = ask([vector.drive for vector in vectors])
    failed = any(vector.wrong(low_) for vector, low_ in zip(vectors, lows, strict=True))
    assert failed == any(len(others) > 1 for others in reached.values())
    if failed:
        found = complete(ask, groups, vectors, lows)
        mutual = masks(
            [
                [p for i in part for p in range(points) if expected[i] >> p & 1]
                for part in nx.strongly_connected_components(graph)
            ]
        )
        assert tuple(sorted(found.groups)) == mutual
        if any(j not in reached or i not in reached[j] for i in reached for j in reached[i]):
            assert found.one_way


@given(st.integers(0, 2**32), st.integers(6, 40))
@settings(max_examples=200, deadline=None)
def test_expected_components_do_not_fail_a_proof_and_hide_no_foreign_coupling(seed: int, points: int) -> None:
    """Couplings that are expected may read either way; any other coupling must be seen."""
    rng = random.Random(seed)
    expected = random_partition(rng, points)
    k = len(expected)
    reach: list[set[int]] = [set() for _ in range(k)]
    for _ in range(2):
        i, j = rng.sample(range(k), 2) if k > 1 else (0, 0)
        if i != j:
            reach[i].add(j)
            if rng.random() < 0.5:
                reach[j].add(i)
    for _ in range(k):  # what is reached through what is reached
        for i in range(k):
            reach[i] |= {m for j in reach[i] for m in reach[j]} - {i}
    groups = [Group.of(part) for part in expected]
    frozen = [frozenset(others) for others in reach]
    vectors = sense_vectors(groups, frozen)

    def ask_with(extra: tuple[int, int] | None) -> Callable[[Sequence[int]], list[int]]:
        def ask(drives: Sequence[int]) -> list[int]:
            answers = []
            for drive in drives:
                low = 0
                for i, part in enumerate(expected):
                    seen = bool(part & drive)
                    # A component may or may not pull low: each reading by chance.
                    seen |= any(expected[j] & drive for j in reach[i]) and rng.random() < 0.5
                    if extra is not None and extra[0] == i:
                        seen |= bool(expected[extra[1]] & drive)
                    low |= part if seen else 0
                answers.append(low)
            return answers

        return ask

    def failed(extra: tuple[int, int] | None) -> bool:
        lows = ask_with(extra)([vector.drive for vector in vectors])
        return any(vector.wrong(low) for vector, low in zip(vectors, lows, strict=True))

    assert not failed(None)
    for i, j in itertools.permutations(range(k), 2):
        if j not in reach[i]:
            assert failed((i, j))


def test_nothing_driven_must_read_all_high() -> None:
    vector = empty_vector([Group.of(0b011), Group.of(0b100)])
    assert vector.drive == 0
    assert vector.wrong(0b100) == 0b100
    assert vector.wrong(0) == 0
