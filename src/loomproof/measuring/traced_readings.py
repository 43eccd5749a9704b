"""Readings of several hook-ups as one ohmmeter: what a pair reads that no hook-up may have read itself."""

from __future__ import annotations

import heapq
import math
from collections import defaultdict
from collections.abc import Callable, Sequence

from loomproof.loom.model import End
from loomproof.measuring.trace import Seen, together


def reader(seen: Sequence[Seen]) -> Callable[[End, End], tuple[float, float]]:
    """Return a function that gives Ω and uncertainty between two ends, of what these hook-ups read.

    Within a net it is the smallest sum of readings that leads from one to the other, which is what the pair
    reads or more: resistance is a metric (Klein and Randić 1993). Between nets it is what their conductors
    read, the mean of both ways; inf where they read open.
    """
    home = {end: k for k, net in enumerate(together(seen).nets) for end in net}
    beside: dict[End, list[tuple[End, float, float]]] = defaultdict(list)
    between: dict[tuple[int, int], list[tuple[float, float]]] = defaultdict(list)
    for each in seen:
        for wire in each.wires:
            if wire.value is not None:
                beside[wire.a].append((wire.b, wire.value, wire.u))
                beside[wire.b].append((wire.a, wire.value, wire.u))
        for way in each.between:
            pair = sorted((home[way.a], home[way.b]))
            value = math.inf if way.value is None else way.value
            between[pair[0], pair[1]].append((value, way.u))

    def within(a: End, b: End) -> tuple[float, float]:
        ahead: list[tuple[float, End, float]] = [(0.0, a, 0.0)]
        done: set[End] = set()
        while ahead:
            ohm, end, u = heapq.heappop(ahead)
            if end == b:
                return ohm, u
            if end not in done:
                done.add(end)
                for other, more, more_u in beside[end]:
                    heapq.heappush(ahead, (ohm + max(more, 0.0), other, u + more_u))
        return math.inf, math.inf

    def read(a: End, b: End) -> tuple[float, float]:
        if home[a] == home[b]:
            return within(a, b)
        found = between.get((min(home[a], home[b]), max(home[a], home[b])), [])
        if not found:
            return math.inf, math.inf
        return sum(ohm for ohm, _ in found) / len(found), max(u for _, u in found)

    return read
