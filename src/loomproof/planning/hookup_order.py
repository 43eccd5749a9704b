"""In which order to plug hook-ups: the fewest plugs put on in all; what both need stays plugged."""

from __future__ import annotations

from collections.abc import Sequence

EXACT = 13
"""Up to this many hook-ups the best order is found exactly (Held and Karp's dynamic programme)."""


def plug_ins(sets: Sequence[int], order: Sequence[int]) -> int:
    """Return how many plugs are put on when the sets are hooked up in this order."""
    before, count = 0, 0
    for k in order:
        count += (sets[k] & ~before).bit_count()
        before = sets[k]
    return count


def best_order(sets: Sequence[int]) -> tuple[int, ...]:
    """Return an order with the fewest plug-ins: exactly up to `EXACT` sets, else improved step by step."""
    if len(sets) <= 1:
        return tuple(range(len(sets)))
    return _exact(sets) if len(sets) <= EXACT else _improved(sets)


def _exact(sets: Sequence[int]) -> tuple[int, ...]:
    n = len(sets)
    cost = [[(sets[j] & ~sets[i]).bit_count() for j in range(n)] for i in range(n)]
    best: list[dict[int, tuple[int, int]]] = [{} for _ in range(1 << n)]
    for k in range(n):
        best[1 << k][k] = (sets[k].bit_count(), -1)
    for done in range(1, 1 << n):
        for last, (spent, _) in best[done].items():
            for k in range(n):
                if not done >> k & 1:
                    reached = best[done | 1 << k]
                    price = spent + cost[last][k]
                    if k not in reached or price < reached[k][0]:
                        reached[k] = (price, last)
    done = (1 << n) - 1
    last = min(best[done], key=lambda k: (best[done][k][0], k))
    order = []
    while last >= 0:
        order.append(last)
        before = best[done][last][1]
        done, last = done & ~(1 << last), before
    return tuple(reversed(order))


def _improved(sets: Sequence[int]) -> tuple[int, ...]:
    """Nearest neighbour first, then reversals of stretches while one helps."""
    order = [max(range(len(sets)), key=lambda k: sets[k].bit_count())]
    while len(order) < len(sets):
        rest = [k for k in range(len(sets)) if k not in order]
        order.append(min(rest, key=lambda k: ((sets[k] & ~sets[order[-1]]).bit_count(), k)))
    better = True
    while better:
        better = False
        for i in range(len(order)):
            for j in range(i + 1, len(order)):
                turned = order[:i] + order[i : j + 1][::-1] + order[j + 1 :]
                if plug_ins(sets, turned) < plug_ins(sets, order):
                    order, better = turned, True
    return tuple(order)
