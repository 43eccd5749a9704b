"""The fewest hook-ups, and of those the fewest plug-ins, of a small loom, by trying every way there is.

Shares nothing with the planner. A loom is proved when each two nets were plugged together somewhere, and
when the plugs of each net hang together by having been plugged together (`planning/THEORY.md`, Hook-ups).
Both depend only on which plugs were together at some time, so the shortest way is looked for among these
states (E. W. Dijkstra, Numerische Mathematik 1 (1959) 269), by hook-ups first and plug-ins second.
"""

from __future__ import annotations

import heapq
import itertools
import random

from loomproof.loom.model import Connector, ConnectorKind, End, Loom


def small_case(number: int) -> tuple[Loom, tuple[tuple[End, ...], ...], int]:
    """Return a loom of three to six plugs, its nets, and points for any two of its plugs, but not for all."""
    rng = random.Random(f"exact/{number}")
    sizes = [rng.randrange(1, 7) for _ in range(rng.choice((3, 4, 5, 5, 6)))]
    plugs = tuple(
        Connector(f"C{k}", ConnectorKind.PLUG, (tuple(str(c + 1) for c in range(size)),))
        for k, size in enumerate(sizes)
    )
    ends = [end for plug in plugs for end in plug.ends]
    rng.shuffle(ends)
    nets = []
    while ends:
        nets.append(tuple(ends.pop() for _ in range(min(len(ends), rng.choice((1, 2, 2, 2, 3, 4))))))
    # One in nine may have too few points for a plan.
    least = sum(sorted(sizes)[-2:]) - (number % 9 == 8)
    return Loom("small", connectors=plugs), tuple(nets), rng.randrange(least, sum(sizes))


def fewest(loom: Loom, nets: tuple[tuple[End, ...], ...], points: int) -> tuple[int, int] | None:
    """Return the fewest hook-ups with the fewest plug-ins among them; ``None`` where none proves the loom.

    What was together is a number, with a bit for each two plugs, and for each plug with itself.
    """
    plugs = [connector.name for connector in loom.connectors]
    size = [len(connector.ends) for connector in loom.connectors]
    bit: dict[tuple[int, int], int] = {}
    for a, b in itertools.combinations_with_replacement(range(len(plugs)), 2):
        bit[a, b] = bit[b, a] = 1 << len(set(bit.values()))
    on = sorted({tuple(sorted({plugs.index(end.connector) for end in net})) for net in nets})
    meetings = {sum({bit[x, y] for x in a for y in b}) for a, b in itertools.combinations(on, 2)}

    def proved(met: int) -> bool:
        return all(met & meeting for meeting in meetings) and all(_hang_together(net, met, bit) for net in on)

    def together(some: tuple[int, ...]) -> int:
        return sum(bit[pair] for pair in itertools.combinations_with_replacement(some, 2))

    every = [
        (frozenset(some), together(some))
        for count in range(1, len(plugs) + 1)
        for some in itertools.combinations(range(len(plugs)), count)
        if sum(size[plug] for plug in some) <= points
    ]
    whole = 0
    for _, pairs in every:
        whole |= pairs
    if not proved(whole):
        return None
    waiting: list[tuple[int, int, int, frozenset[int], int]] = [(0, 0, 0, frozenset(), 0)]
    tie = itertools.count(1)
    done: set[tuple[frozenset[int], int]] = set()
    while True:
        hook_ups, plug_ins, _, last, met = heapq.heappop(waiting)
        if (last, met) in done:
            continue
        done.add((last, met))
        if proved(met):
            return hook_ups, plug_ins
        for some, pairs in every:
            more = met | pairs
            if more != met and (some, more) not in done:
                put_on = len(some - last)
                heapq.heappush(waiting, (hook_ups + 1, plug_ins + put_on, next(tie), some, more))


def _hang_together(net: tuple[int, ...], met: int, bit: dict[tuple[int, int], int]) -> bool:
    reached = {net[0]} if met & bit[net[0], net[0]] else set()
    while more := {b for b in net if b not in reached and any(met & bit[a, b] for a in reached)}:
        reached |= more
    return len(reached) == len(net)
