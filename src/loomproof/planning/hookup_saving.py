"""Fewer plugs put on, hook-ups and their order given: what may stay plugged, and what need not be plugged."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from loomproof.planning.hookup_grow import Grower
from loomproof.planning.hookup_order import good_order, plug_ins


def saved(grower: Grower, sets: Sequence[int]) -> list[int]:
    """Return hook-ups in an order in which few plugs are put on, covering what these cover.

    Each time that a unit is put on begins a run of hook-ups in which it stays. A run that no row needs is
    left out, and two runs are one where the unit fits into all hook-ups between them.
    """
    best = [sets[k] for k in good_order(sets)]
    least = plug_ins(best, range(len(best)))
    current = list(best)
    while True:
        while _left_out(grower, current) or _joined(grower, current):
            pass
        current = [current[k] for k in good_order(current)]
        count = plug_ins(current, range(len(current)))
        if count >= least:
            return best
        best, least = list(current), count


def _runs(sets: Sequence[int], unit: int) -> list[tuple[int, int]]:
    """Return the stretches (first, behind the last) of hook-ups in which a unit is plugged."""
    runs: list[tuple[int, int]] = []
    for k, chosen in enumerate(sets):
        if chosen >> unit & 1:
            first = runs.pop()[0] if runs and runs[-1][1] == k else k
            runs.append((first, k + 1))
    return runs


def _left_out(grower: Grower, sets: list[int]) -> bool:
    """Take out every run that no row needs; return whether there was one."""
    problem = grower.problem
    found = False
    for unit in sorted(range(len(problem.sizes)), key=lambda u: (-problem.sizes[u], u)):
        if problem.stay >> unit & 1:
            continue
        for first, behind in _runs(sets, unit):
            without = [chosen & ~(1 << unit) for chosen in sets[first:behind]]
            if grower.covers([*sets[:first], *without, *sets[behind:]]):
                sets[first:behind] = without
                found = True
    return found


def _joined(grower: Grower, sets: list[int]) -> bool:
    """Let every unit stay plugged between two of its runs where it fits; return whether one does."""
    problem = grower.problem
    found = False
    gaps = [
        (right[0] - left[1], unit, left[1], right[0])
        for unit in range(len(problem.sizes))
        for left, right in pairwise(_runs(sets, unit))
    ]
    for _, unit, first, behind in sorted(gaps):
        within = [chosen | 1 << unit for chosen in sets[first:behind]]
        if all(map(problem.fits, within)):
            sets[first:behind] = within
            found = True
    return found
