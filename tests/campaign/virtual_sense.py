"""Sense readings of thousands of random faulty looms against networkx's connected components.

    python -m tests.campaign virtual_sense [--short] [--looms 5000] [--seed 0]

Opens, shorts, crossed and misplaced wires and exchanged plugs are put into the simulator as text and
into a graph by the oracle's own few lines; every set that is driven must read the same. Exits with 1
where one does not.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence

import networkx as nx

from loomproof.loom.model import End, Loom
from loomproof.virtual.scanner import Scanner
from tests.results import table_file
from tests.virtual.looms import expected_low, random_loom

_SETS = 10
KINDS = ("open", "short", "swap", "move", "exchange")


class Oracle:
    """A loom as wires whose ends can be moved, and places that touch; nothing of the simulator's."""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom
        self.ends = {wire.name: list(wire.ends) for wire in loom.wires}
        self.broken: set[str] = set()
        self.touching: list[tuple[End, End]] = []

    def put(self, kind: str, rng: random.Random) -> str | None:
        """Put one random fault in; return its text, or nothing where this loom cannot have it."""
        if kind == "open":
            name = rng.choice(sorted(self.ends))
            self.broken.add(name)
            return f"open {name}"
        if kind == "short":
            a, b = rng.sample(self.loom.cavities, 2)
            self.touching.append((a, b))
            return f"short {a} {b}"
        if kind == "exchange":
            pairs = [
                (one, two)
                for one in self.loom.connectors
                for two in self.loom.connectors
                if one.name < two.name and one.cavities == two.cavities and one.cavities
            ]
            if not pairs:
                return None
            first, second = rng.choice(pairs)
            there = {End(first.name, cavity): End(second.name, cavity) for cavity in first.cavities}
            self._move(there | {to: at for at, to in there.items()})
            return f"exchange {first.name} {second.name}"
        a, b = rng.sample(self.loom.cavities, 2)
        if kind == "move":
            used = {end for ends in self.ends.values() for end in ends}
            free = [end for end in self.loom.cavities if end not in used]
            if not free:
                return None
            b = rng.choice(free)
            if a == b:
                return None
        self._move({a: b, b: a})
        return f"{kind} {a} {b}"

    def _move(self, there: dict[End, End]) -> None:
        for name, ends in self.ends.items():
            self.ends[name] = [there.get(end, end) for end in ends]

    def parts(self) -> list[int]:
        """Point sets of the connected components."""
        graph: nx.Graph[End] = nx.Graph()
        graph.add_nodes_from(self.loom.cavities)
        graph.add_edges_from((a, b) for name, (a, b) in self.ends.items() if name not in self.broken)
        graph.add_edges_from(self.touching)
        number = {end: i for i, end in enumerate(self.loom.cavities)}
        return [
            sum(1 << number[end] for end in component if end in number)
            for component in nx.connected_components(graph)
        ]


def main(argv: Sequence[str] | None = None) -> int:
    """Compare, show the table, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=5000)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true", help="100 looms")
    options = parser.parse_args(argv)
    looms = 100 if options.short else options.looms
    begun = time.monotonic()
    kinds: Counter[str] = Counter()
    points, sets, wrong = 0, 0, []
    for number in range(looms):
        rng = random.Random(f"{options.seed}/{number}")
        loom = random_loom(rng, rng.randint(4, 300))
        oracle = Oracle(loom)
        faults: list[str] = []
        for kind in rng.choices(KINDS, k=rng.randint(0, 5)):
            if kind != "open" or oracle.ends:
                text = oracle.put(kind, rng)
                if text:
                    faults.append(text)
                    kinds[kind] += 1
        scanner = Scanner(loom, faults=faults, seed=number)
        parts = oracle.parts()
        for i in range(_SETS):
            drive = rng.getrandbits(len(loom.cavities))
            points += len(loom.cavities)
            sets += 1
            if scanner.sense(drive, i * 1e-3, 500e-6) != expected_low(parts, drive):
                wrong.append((number, faults))
    rows = [
        "| looms | faults | sets driven | points read | sets that read otherwise |",
        "| --- | --- | --- | --- | --- |",
        f"| {looms} | {', '.join(f'{kinds[kind]} {kind}' for kind in KINDS)} | {sets} | {points} "
        f"| {len(wrong)} |",
    ]
    rows += [f"- loom {number} of seed {options.seed}: {'; '.join(faults)}" for number, faults in wrong[:10]]
    table_file("campaign", "virtual_sense", rows, time.monotonic() - begun, short=options.short)
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
