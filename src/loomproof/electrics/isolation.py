"""Isolation by resistance: what a reading between groups of nets proves, and what a sound loom must read.

All pairs across the two groups lie in parallel, so a reading is at most the smallest of them: *every* pair
is at least what the group reads. Nothing better is claimed. The other way round a low group reading accuses
no pair: many good insulations in parallel read low too, and then the group is split. Temperature and humidity
are noted beside the claim, never corrected for: how an old loom's insulation depends on them is not known.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from loomproof.electrics.currents import reachable
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.network import Network
from loomproof.electrics.unions import Unions
from loomproof.loom.model import ComponentKind, End


@dataclass(frozen=True, slots=True)
class IsolationClaim:
    """A reading between two groups of nets: limit, how many pairs it covers, and how they could leak.

    ``limit_ohm`` is demanded of each pair, so of the group too. ``neighbours`` counts pairs with cavities
    side by side in a housing or wires in one bundle; only these lie in parallel in earnest.
    ``sound_pair_ohm`` is what each of them must have for a sound loom to pass as one group.
    ``expected_ohm`` is the least that the components across the groups make (inf: there are none); where it
    is under the limit the groups can't be tested against each other and ``testable`` is false.
    """

    limit_ohm: float
    pairs: int
    neighbours: int
    expected_ohm: float

    @property
    def sound_pair_ohm(self) -> float:
        """What each neighbouring pair must have so that all of them in parallel reach the limit."""
        return self.limit_ohm * max(self.neighbours, 1)

    @property
    def testable(self) -> bool:
        """Whether a sound loom can pass."""
        return self.expected_ohm > self.limit_ohm

    @property
    def statement(self) -> str:
        """The claim in words, for a certificate."""
        who = "the two nets are" if self.pairs == 1 else f"each of {self.pairs} pairs of nets is"
        return f"{who} apart by at least {self.limit_ohm:g} Ω"


def isolation_claim(
    expectation: Expectation,
    group_a: Collection[int],
    group_b: Collection[int],
    limit_ohm: float | None = None,
) -> IsolationClaim:
    """Return what testing net group a against group b claims; the limit is the loom's where none is given.

    Raises `ValueError` where the groups share a net or one is empty.
    """
    a, b = set(group_a), set(group_b)
    if not a or not b or a & b:
        raise ValueError("two groups of nets that share none are expected")
    return IsolationClaim(
        limit_ohm=expectation.loom.settings.isolation_ohm if limit_ohm is None else limit_ohm,
        pairs=len(a) * len(b),
        neighbours=sum((x in a and y in b) or (x in b and y in a) for x, y in neighbouring_nets(expectation)),
        expected_ohm=group_ohm(expectation, a, b),
    )


def neighbouring_nets(expectation: Expectation) -> frozenset[tuple[int, int]]:
    """Return the pairs of nets (smaller index first) that lie side by side in a housing or in one bundle."""
    loom, net_of = expectation.loom, expectation.net_of
    found = set()
    for connector in loom.connectors:
        for cavity in connector.cavities:
            here = net_of[End(connector.name, cavity)]
            for other in connector.neighbours(cavity):
                there = net_of[End(connector.name, other)]
                if here < there:
                    found.add((here, there))
    bundles: dict[str, set[int]] = {}
    for wire in loom.wires:
        if wire.bundle:
            bundles.setdefault(wire.bundle, set()).add(net_of[wire.a])
    for nets in bundles.values():
        found |= {(x, y) for x in nets for y in nets if x < y}
    return frozenset(found)


def group_ohm(expectation: Expectation, group_a: Collection[int], group_b: Collection[int]) -> float:
    """Return the least that components make between all nets of a joined and all of b joined, Ω.

    Resistances at their lower tolerance. A diode or a part of unknown value that lies across counts as
    nothing (0 Ω), whichever way round: the reading's direction is not known here. inf: nothing lies across.
    """
    a, b = set(group_a), set(group_b)
    unions = Unions(range(len(expectation.nets)))
    live = [coupling for coupling in expectation.couplings if coupling.kind is not ComponentKind.CAPACITOR]
    for group in (a, b):
        first = min(group)
        for net in group:
            unions.join(first, net)
    for coupling in live:
        if not coupling.linear:
            unions.join(coupling.net_a, coupling.net_b)
    start, stop = unions.root(min(a)), unions.root(min(b))
    if start == stop:
        return 0.0
    edges = [
        (tail, head, coupling.lo_ohm)
        for coupling in live
        if (tail := unions.root(coupling.net_a)) != (head := unions.root(coupling.net_b))
    ]
    reached = reachable([start], [step for tail, head, _ in edges for step in ((tail, head), (head, tail))])
    if stop not in reached:
        return math.inf
    node = {net: k for k, net in enumerate(sorted(reached))}
    inside = [(node[tail], node[head], ohm) for tail, head, ohm in edges if tail in node]
    tails, heads, ohms = zip(*inside, strict=True)
    return Network(len(node), tails, heads, ohms).resistance(node[start], node[stop])
