"""Hook-ups of loom sets and covering designs, and how they compare: figures that asking shows."""

from __future__ import annotations

import random
import time
from itertools import combinations

from loomproof.planning.hookup_cover import cover
from loomproof.planning.hookup_problem import Problem
from tests.planning.covering_designs import DESIGNS


def designs() -> tuple[list[str], bool]:
    lines, good = [], True
    begun = time.process_time()
    matched = 0
    for (v, k), blocks in DESIGNS.items():
        found = cover(Problem((1,) * v, k, tuple((1 << a, 1 << b) for a, b in combinations(range(v), 2))))
        reached = len(found.sets) == found.bound == blocks
        matched += reached
        good &= reached
    spent = time.process_time() - begun
    lines.append(
        f"{matched} of {len(DESIGNS)} covering designs matched and proved optimal, {spent:.1f} s in all."
    )
    return lines, good


def hook_up_sets(rng: random.Random, sets: int) -> tuple[list[str], bool]:
    """Random looms of 8 to 14 connectors on scanners of 0.4 to 0.85 of their cavities."""
    from loomproof.loom.model import Connector, ConnectorKind, End, Loom
    from loomproof.planning.hookup_search import NotPossibleError, plan_hook_ups

    lines = [
        "| connectors | cavities | points | hook-ups | bound | plug-ins | s |",
        "|---|---|---|---|---|---|---|",
    ]
    good, optimal, made = True, 0, 0
    while made < sets:
        count = 8 + made % 7
        sizes = [rng.choice((4, 6, 8, 12, 16, 24, 32, 48, 64)) for _ in range(count)]
        connectors = tuple(
            Connector(f"C{k}", ConnectorKind.PLUG, (tuple(str(c + 1) for c in range(size)),))
            for k, size in enumerate(sizes)
        )
        ends = [end for connector in connectors for end in connector.ends]
        hub = connectors[sizes.index(max(sizes))].name
        # Two cavities a net, most with one at the hub; some spares; two grounds.
        rng.shuffle(ends)
        at_hub = [end for end in ends if end.connector == hub]
        others = [end for end in ends if end.connector != hub]
        nets: list[list[End]] = [others[: len(ends) // 12], others[len(ends) // 12 : len(ends) // 8]]
        rest = others[len(ends) // 8 :]
        while rest:
            a = rest.pop()
            partner = at_hub.pop() if at_hub and rng.random() < 0.7 else rest.pop() if rest else None
            nets.append([a, partner] if partner and rng.random() > 0.1 else [a])
            if partner and nets[-1] == [a]:
                nets.append([partner])
        nets += [[end] for end in at_hub]
        points = int(len(ends) * rng.uniform(0.4, 0.85))
        begun = time.process_time()
        try:
            plan = plan_hook_ups(Loom("random", connectors=connectors), nets, points)
        except NotPossibleError:
            continue
        spent = time.process_time() - begun
        made += 1
        optimal += plan.optimal
        good &= len(plan.hook_ups) <= plan.bound + 1 and spent < 10
        lines.append(
            f"| {count} | {len(ends)} | {points} | {len(plan.hook_ups)} | {plan.bound} | {plan.plug_ins} "
            f"| {spent:.2f} |"
        )
    lines.append("")
    lines.append(f"{optimal} of {sets} proved optimal; all within one of the bound in under 10 s: {good}.")
    return lines, good and optimal * 2 > sets
