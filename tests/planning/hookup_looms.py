"""Random looms that are bigger than a bench, for comparing hook-up plans from one version to the next.

    python -m tests.planning.hookup_looms [--first 0] [--count 120]

prints, as JSON by number, how many hook-ups and plug-ins each loom's plan takes and how few are proved
possible. ``hookup_sizes.json`` keeps these of November 2026; no later plan may be worse.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from dataclasses import dataclass
from pathlib import Path

from loomproof.loom.model import Connector, ConnectorKind, End, Loom
from loomproof.planning.hookup_search import Constraints, NotPossibleError, plan_hook_ups

SIZES = Path(__file__).parent / "hookup_sizes.json"
WAYS = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32)


@dataclass(frozen=True)
class Case:
    """A loom, its nets, and what it is to be hooked up to."""

    loom: Loom
    nets: tuple[tuple[End, ...], ...]
    points: int
    limits: Constraints


def case(number: int) -> Case:
    """Return the loom of this number: plugs of many sizes, most nets among neighbours, some of many ends."""
    rng = random.Random(f"hook-ups/{number}")
    count = rng.choice((5, 8, 11, 14, 18, 25, 40))
    sizes = [rng.choice(WAYS) for _ in range(count)]
    plugs = tuple(
        Connector(f"C{k}", ConnectorKind.PLUG, (tuple(str(c + 1) for c in range(size)),), housing=f"H{size}")
        for k, size in enumerate(sizes)
    )
    free = [list(plug.ends) for plug in plugs]
    for ends in free:
        rng.shuffle(ends)
    reach = rng.choice((1, 3, count))
    nets: list[tuple[End, ...]] = []
    for big in range(rng.randrange(3)):
        at = [k for k in range(count) if free[k] and rng.random() < 0.4 - 0.1 * big]
        nets.append(tuple(free[k].pop() for k in at))
    for k in range(count):
        while free[k]:
            net = [free[k].pop()]
            for _ in range(rng.choice((0, 1, 1, 1, 1, 2, 3))):
                near = [n for n in range(max(0, k - reach), min(count, k + reach + 1)) if free[n]]
                if near:
                    net.append(free[rng.choice(near)].pop())
            nets.append(tuple(net))
    total = sum(sizes)
    points = max(int(total * rng.uniform(0.3, 0.9)), 2)
    stay = (plugs[rng.randrange(count)].name,) if number % 5 == 1 else ()
    split = (max(plugs, key=lambda plug: len(plug.ends)).name,) if number % 5 == 2 else ()
    housing = plugs[rng.randrange(count)].housing
    owned = {housing: max(1, sum(plug.housing == housing for plug in plugs) - 1)} if number % 5 == 3 else {}
    return Case(
        Loom("random", connectors=plugs),
        tuple(net for net in nets if net),
        points,
        Constraints(split, stay, owned),
    )


def sizes_of(number: int) -> list[object]:
    """Return hook-ups, plug-ins and bound of the plan for this loom, or whom it fails on."""
    asked = case(number)
    try:
        plan = plan_hook_ups(asked.loom, asked.nets, asked.points, asked.limits)
    except NotPossibleError as error:
        return ["not possible", error.connector]
    return [len(plan.hook_ups), plan.plug_ins, plan.bound]


def main() -> int:
    """Print the sizes of some of the looms' plans."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--count", type=int, default=120)
    options = parser.parse_args()
    numbers = range(options.first, options.first + options.count)
    rows = []
    for number in numbers:
        rows.append(f'"{number}": {json.dumps(sizes_of(number))}')
        print(rows[-1], file=sys.stderr, flush=True)
    print("{\n" + ",\n".join(rows) + "\n}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
