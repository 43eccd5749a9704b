"""In which order to plug hook-ups: the fewest plugs put on in all; what both need stays plugged.

Plugs put on are all plugs of all hook-ups but those that stay from one to the next. So the best order is the
path on which most stay, whichever way it is gone.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

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
    return _exact(sets) if len(sets) <= EXACT else good_order(sets)


def _exact(sets: Sequence[int]) -> tuple[int, ...]:
    n = len(sets)
    stay = np.array([[(a & b).bit_count() for b in sets] for a in sets], dtype=np.int32)
    # most[done, last]: plugs that stay on the best way through the sets of ``done`` that ends with ``last``.
    most = np.full((1 << n, n), -1, dtype=np.int32)
    before = np.full((1 << n, n), -1, dtype=np.int8)
    for k in range(n):
        most[1 << k, k] = 0
    every = np.arange(1 << n)
    counts = np.array([mask.bit_count() for mask in range(1 << n)])
    for count in range(2, n + 1):
        layer = every[counts == count]
        for k in range(n):
            here = layer[layer >> k & 1 == 1]
            from_: npt.NDArray[np.int32] = most[here ^ (1 << k)]
            reached = np.where(from_ < 0, -1, from_ + stay[:, k])
            before[here, k] = reached.argmax(axis=1)
            most[here, k] = reached.max(axis=1)
    done = (1 << n) - 1
    last = int(most[done].argmax())
    order = []
    while done:
        order.append(last)
        done, last = done & ~(1 << last), int(before[done, last])
    return tuple(reversed(order))


def good_order(sets: Sequence[int]) -> tuple[int, ...]:
    """Return an order with few plug-ins: nearest first, then reversals of stretches while one helps."""
    stay = [[(a & b).bit_count() for b in sets] for a in sets]
    count = len(sets)
    order = [max(range(count), key=lambda k: sets[k].bit_count())]
    rest = [k for k in range(count) if k != order[0]]
    while rest:
        last = order[-1]
        order.append(min(rest, key=lambda k: ((sets[k] & ~sets[last]).bit_count(), k)))
        rest.remove(order[-1])
    better = True
    while better:
        better = False
        for i in range(count):
            for j in range(i + 1, count):
                gain = 0
                if i:
                    gain += stay[order[i - 1]][order[j]] - stay[order[i - 1]][order[i]]
                if j + 1 < count:
                    gain += stay[order[i]][order[j + 1]] - stay[order[j]][order[j + 1]]
                if gain > 0:
                    order[i : j + 1] = order[i : j + 1][::-1]
                    better = True
    return tuple(order)
