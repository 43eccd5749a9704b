"""Conductors that a bench without ohms finds as one, though parts may be all that joins them.

What hangs on one of two nets that a coil couples reads low from both, so sense takes all of it for one
conductor. With a contact in the wrong place that would be a short besides. Here such a group is parted again,
in each way in which no two nets are joined that parts alone can join.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence

from loomproof.diagnosis.wiring import Wiring
from loomproof.electrics.component_kinds import FACTS, Path, conducting_ends, joined_ends
from loomproof.electrics.graph import DisjointSets
from loomproof.loom.model import End, Loom
from loomproof.results.measured import Measured

MOST_WAYS = 32
"""So many ways to part what sense found as one are tried; where there are more, none is."""

SURELY_LOW_OHM = 10_000.0
"""A part of no more reads low wherever it joins two conductors: inputs tell less from more well above it
(common practice). Of one of more it is not known."""

Groups = tuple[frozenset[End], ...]


def senses_alone(measured: Measured) -> bool:
    """Whether a bench was asked that only senses: what parts join it can't tell from a conductor."""
    return measured.sense_vectors > 0 and measured.resistance_readings == 0


def ways_apart(loom: Loom, wiring: Wiring, measured: Measured) -> list[Groups]:
    """Return the groups as found parted in each way that parts allow; none where no part lies in any."""
    if not senses_alone(measured):
        return []
    coupled = _coupled_nets(loom, wiring)
    ways = [_ways(group, wiring, coupled) for group in measured.groups]
    if all(len(way) == 1 for each in ways for way in each):
        return []
    if math.prod(len(each) for each in ways) > MOST_WAYS:
        return []
    return [tuple(itertools.chain.from_iterable(way)) for way in itertools.product(*ways)]


def _coupled_nets(loom: Loom, wiring: Wiring) -> set[frozenset[int]]:
    """Return the pairs of expected nets that a part joins both ways."""
    net_of = dict(enumerate(wiring.net_of))
    for net in wiring.nets:
        for number in net.edges:
            net_of[wiring.edges[number].u] = net_of[wiring.edges[number].v] = net.index
    found = set()
    for pair in low_pairs(loom):
        nodes = [wiring.node_of(end) for end in pair]
        found.add(frozenset(net_of[node] for node in nodes if node in net_of))
    return {pair for pair in found if len(pair) == 2}


def low_pairs(loom: Loom) -> Iterator[tuple[End, End]]:
    """Yield the pairs of ends between which a part reads low both ways, without making one net of them."""
    for part in loom.components:
        facts = FACTS[part.kind]
        most_ohm = facts.most_ohm if part.resistance_ohm is None else part.resistance_ohm
        if facts.path is Path.RESISTIVE and most_ohm <= SURELY_LOW_OHM:
            yield from set(conducting_ends(part)) - set(joined_ends(part))


def parts_join(loom: Loom, pieces: Sequence[frozenset[End]]) -> bool:
    """Whether parts may read low between all of these conductors, by their ends: sense tells no short."""
    piece_of = {end: number for number, ends in enumerate(pieces) for end in ends}
    ways = {(piece_of[a], piece_of[b]) for a, b in _may_conduct(loom) if a in piece_of and b in piece_of}
    both = [pair for pair in ways if pair[::-1] in ways]
    return len(DisjointSets(range(len(pieces)), both).sets()) == 1


def _may_conduct(loom: Loom) -> Iterator[tuple[End, End]]:
    """Yield the ends between which a part may read low, from one to the other; its ohms may be unknown."""
    for part in loom.components:
        for a, b in conducting_ends(part):
            if FACTS[part.kind].path is Path.DIODE:
                yield a, b
            elif part.resistance_ohm is None or part.resistance_ohm <= SURELY_LOW_OHM:
                yield from ((a, b), (b, a))


def _ways(
    group: frozenset[End], wiring: Wiring, coupled: set[frozenset[int]]
) -> Sequence[tuple[frozenset[End], ...]]:
    """Return the ways to part one group into the nets that parts couple, each with what hangs on it."""
    pieces: dict[int, set[End]] = {}
    for end in sorted(group):
        pieces.setdefault(wiring.net_of[wiring.leaf_of[end]], set()).add(end)
    joins = [pair for pair in coupled if pair <= pieces.keys()]
    if not joins:
        return [(group,)]
    bundles = DisjointSets(pieces, joins).sets()
    first, *rest = sorted(bundles, key=len, reverse=True)
    if not rest:
        return [(group,)]  # nothing else hangs on them: what joins them is no part
    found = []
    # Each bundle, and what no part couples, hangs on one net of the first by one path.
    for meets in itertools.islice(
        itertools.product(*(itertools.product(bundle, first) for bundle in rest)), MOST_WAYS + 1
    ):
        whole = DisjointSets(pieces, meets).sets()
        found.append(tuple(frozenset().union(*(pieces[net] for net in nets)) for nets in whole))
    return found
