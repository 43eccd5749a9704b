"""The insulation test: a higher voltage between conductors that have passed everything else.

Conductors that a component joins, whatever its kind, carry one number together: no component ever sees the
test voltage across it. Numbers go to the two buses by their bits, as in `isolation_search`: each pair lies
across at least one of ceil(log2 n) readings.
"""

from __future__ import annotations

import math
from collections.abc import Callable

from loomproof.electrics.graph import DisjointSets
from loomproof.loom.model import Loom
from loomproof.measuring.isolation_search import believed, measure_isolation
from loomproof.planning.net_access import Scope
from loomproof.planning.request import InsulationTest
from loomproof.results.document import BUT_CONDUCTORS, ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, Measured, Path

ERROR_RATIO = 0.3
"""Largest operating error that IEC 61557-2 allows an insulation tester, a share of the reading (from memory).
The scanner link has no key for a better one."""


def numbered(loom: Loom, scope: Scope) -> tuple[int, ...]:
    """Return the point sets between which the voltage stands: conductors, joined where a component is."""
    fitted = (part for part in loom.components if part.fitted)
    joins = ([scope.group_of[end] for end in part.ends if end in scope.group_of] for part in fitted)
    together = DisjointSets(range(len(scope.groups)), joins)
    return tuple(sum(scope.groups[k].points for k in groups) for groups in together.sets())


def clean(measured: Measured) -> bool:
    """Whether everything measured so far passes: nothing else is put under voltage.

    A reading within its limits that the bench can't decide lowers the grade of a pass; it stands in one.
    """
    within = all(each.within for each in measured.judged)
    within &= all(each.decision is Decision.PASS for each in measured.diodes)
    high = measured.isolation_ohm is None or measured.isolation_ohm > (measured.isolation_pass_ohm or 0.0)
    return measured.sound and high and within


def run_insulation(
    loom: Loom, scope: Scope, asked: InsulationTest, measure: Callable[[int, int], float]
) -> Insulation:
    """Measure between all numbered sets, and find the pairs to blame for what reads too low.

    ``measure`` is between two joined point sets, Ω, inf where over range. The limit is the loom's isolation
    limit; a pair is blamed only where it reads under it by itself, error and all. Raises `UnfitError` at the
    first reading that is less than nothing.
    """
    limit_ohm = loom.settings.isolation_ohm
    sets = numbered(loom, scope)
    count = 0

    def counted(a: int, b: int) -> float:
        nonlocal count
        count += 1
        return believed(measure(a, b))

    surely_ohm = limit_ohm / (1 + ERROR_RATIO)
    leaks: dict[tuple[int, int], float] = {}
    ruled_out: frozenset[tuple[int, int]] = frozenset()
    for _ in range(1 + len(sets)):  # a bench whose readings contradict each other is not asked for ever
        found = measure_isolation(counted, sets, surely_ohm, ERROR_RATIO, ruled_out)
        leaks = {(leak.i, leak.j): counted(sets[leak.i], sets[leak.j]) for leak in found.leaks}
        false = {pair for pair, ohm in leaks.items() if ohm >= surely_ohm} - ruled_out
        if not false:
            break
        ruled_out |= false
    lowest_ohm = min(found.readings_ohm, default=math.inf)
    paths = tuple(
        _path(scope, sets[i], sets[j], ohm, asked.volts)
        for (i, j), ohm in leaks.items()
        if (i, j) not in ruled_out
    )
    if paths:
        decision = Decision.FAIL
    elif lowest_ohm * (1 - ERROR_RATIO) > limit_ohm:
        decision = Decision.PASS
    else:
        decision = Decision.UNDECIDED
    return Insulation(asked.volts, asked.dwell_ms, limit_ohm, ERROR_RATIO, lowest_ohm, count, decision, paths)


def _path(scope: Scope, a: int, b: int, ohm: float, volts: float) -> Path:
    first, second = (min(scope.ends(points), key=scope.place_of.__getitem__) for points in (a, b))
    return Path(first, second, ohm, ERROR_RATIO * ohm, volts)


def claim_of(found: Insulation, wires: tuple[str, ...]) -> ClaimEntry:
    """Return what the test claims of these wires, with its rule."""
    limit, lowest = ohms(found.limit_ohm), ohms(found.lowest_ohm)
    said = {
        Decision.PASS: f"each above {limit} from every other, {BUT_CONDUCTORS[1]}",
        Decision.FAIL: "paths between conductors were found",
        Decision.UNDECIDED: f"all pairs in parallel read {lowest}, limit {limit}, and no pair alone is "
        "surely under it",
    }
    return ClaimEntry(
        kind="isolation",
        subject=f"all conductors at {found.volts:g} V",
        statement=said[found.decision],
        decision=found.decision,
        rule=f"{found.volts:g} V for {found.dwell_ms} ms, {found.readings} readings, discharged after each; "
        f"a reading may be off by {found.error_ratio:.0%} of it",
        wires=wires,
        threshold_ohm=found.limit_ohm,
        uncertainty_ohm=None if math.isinf(found.lowest_ohm) else found.error_ratio * found.lowest_ohm,
        measured_ohm=None if math.isinf(found.lowest_ohm) else found.lowest_ohm,
        open=math.isinf(found.lowest_ohm),
    )
