"""Mutations of the car and of the loom against the fitting sheet.

1. One needed connection is missing at the car's side: the meter checks are carried out on a graph of loom and
   car, by networkx; the check that reads open must name that end, and no other may.
2. An unused end is made live by a stray wire from a fed splice or cavity: it must be on the warning list; and
   where the feed has no fuse, as a danger.

``python -m tests.campaign.fitting [--short] [--seed N]``
"""

from __future__ import annotations

import argparse
import os
import random
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import networkx as nx

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import Circuit, Loom, Need, Wire, end_of
from loomproof.results.fitting import Level, Sheet
from tests.fitting.looms import demo, random_fitting_loom

ANSWERS = (
    (),
    ("fan=switch", "purge=yes", "gearbox=yes", "revs=no"),
    ("fan=switch", "purge=no", "gearbox=no", "revs=yes"),
)


def checks_that_fail(loom: Loom, sheet: Sheet, missing: str) -> list[str]:
    """Carry the sheet's meter checks out where one end does not meet the car; return ends that read open.

    A check starts at its probe in the loom and goes to the car's counterpart of the end.
    """
    graph: nx.Graph[str] = nx.Graph()
    graph.add_edges_from((str(wire.a), str(wire.b)) for wire in loom.wires)
    for part in loom.components:
        if part.kind.value in ("resistor", "coil", "link"):
            graph.add_edge(*(str(end) for end in part.ends[:2]))
    ends = [row.facts.end for row in sheet.connect]
    graph.add_nodes_from(ends)
    graph.add_edges_from((end, f"car {end}") for end in ends if end != missing)
    open_at = []
    for row in sheet.connect:
        target = f"car {row.facts.end}"
        if not row.probe:
            # By eye: what is looked at is the end itself.
            if row.facts.end == missing:
                open_at.append(row.facts.end)
        elif target not in graph or not nx.has_path(graph, row.probe, target):
            assert row.facts.end in row.check
            open_at.append(row.facts.end)
    return open_at


def missing_connections(loom: Loom, said: Sequence[str]) -> tuple[int, int, int]:
    """Return how many connections were taken away, how many were named exactly, how many by eye alone."""
    sheet = fitting_sheet(loom, answers_of(loom, said))
    named = sum(checks_that_fail(loom, sheet, row.facts.end) == [row.facts.end] for row in sheet.connect)
    assert checks_that_fail(loom, sheet, "") == []
    return len(sheet.connect), named, sum(not row.probe for row in sheet.connect)


def strays(loom: Loom, said: Sequence[str], rng: random.Random, most: int) -> tuple[int, int]:
    """Return how many unused ends were made live and how many of them the warnings named."""
    answers = answers_of(loom, said)
    sheet = fitting_sheet(loom, answers)
    fed = [row.facts.end for row in sheet.connect if row.facts.designation == "30"] or ["CAR:1"]
    unused = [row.facts.end for row in sheet.safe if not row.facts.live]
    unused += [
        row.facts.end for row in sheet.places if row.action.value != "fit its part" and not row.facts.live
    ]
    tried = told = 0
    for end in unused if len(unused) <= most else rng.sample(unused, most):
        # An unused circuit, so that the stray itself does not make the end a needed one.
        spare = next((name for name, need in needs_of(loom, answers).items() if need is Need.UNUSED), "")
        stray = Wire("stray", end_of(rng.choice(fed)), end_of(end), "RD", 1.0, 0.5, spare)
        for fused in (True, False):
            circuits = tuple(
                Circuit(c.name, c.purpose, c.designation, c.load_a, "30 A" if fused else "", c.needs, c.need)
                if c.designation == "30"
                else c
                for c in loom.circuits
            )
            mutant = replace(loom, wires=(*loom.wires, stray), circuits=circuits)
            found = fitting_sheet(mutant, answers)
            row = next((r for r in (*found.safe, *found.places) if r.facts.end == end), None)
            if row is None or row.action.value == "fit its part":
                continue  # The stray made it a needed end or a used place: no longer unused.
            tried += 1
            levels = [warn.level for warn in found.warnings if end in warn.ends]
            wanted = (Level.DANGER,) if not fused else (Level.DANGER, Level.WARNING)
            told += any(level in wanted for level in levels)
    return tried, told


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, write its table, and say whether every mutation was told."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    rng = random.Random(options.seed)
    good = True
    lines = ["| loom | mutation | made | told | of these by eye alone |", "|---|---|---|---|---|"]
    for said in ANSWERS[:1] if options.short else ANSWERS:
        made, named, by_eye = missing_connections(demo(), said)
        lines.append(f"| demo {' '.join(said)} | connection missing | {made} | {named} | {by_eye} |")
        tried, told = strays(demo(), said, rng, 5 if options.short else 1000)
        lines.append(f"| demo {' '.join(said)} | unused end made live | {tried} | {told} | |")
        good &= made == named and tried == told > 0
    totals = [0] * 5
    count = 3 if options.short else 100
    for _ in range(count):
        loom = random_fitting_loom(rng)
        for k, value in enumerate((*missing_connections(loom, ()), *strays(loom, (), rng, 4))):
            totals[k] += value
    lines.append(f"| {count} random | connection missing | {totals[0]} | {totals[1]} | {totals[2]} |")
    lines.append(f"| {count} random | unused end made live | {totals[3]} | {totals[4]} | |")
    good &= totals[0] == totals[1] and totals[3] == totals[4] > 0
    text = "\n".join(
        [
            "# Mutations against the fitting sheet",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.fitting --seed {options.seed}`, "
            f"{os.cpu_count()} cores.",
            "",
            *lines,
            "",
        ]
    )
    print(text)
    if not options.short:
        target = Path(__file__).parent / "results" / "fitting.md"
        target.parent.mkdir(exist_ok=True)
        target.write_text(text, encoding="utf-8")
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
