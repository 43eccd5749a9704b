"""Mutations of the car and of the loom against the fitting sheet.

Every meter check of a sheet is carried out in a simulated car (`tests.campaign.car`), in the state that it
asks for: battery clamps off, plugs and fuses as told, all the rest joined.

0. In a sound car every check passes.
1. One needed end does not meet the car: the check of that end must fail, and no check of another end.
2. The wire to a cavity of the computer is broken: the check of that cavity, or of the wire's other end, must
   fail.
3. One live end touches body or block: its check against earth must fail.
4. One earth point has three times the ohms that its load allows: its check must fail.
5. An unused end is made live by a stray wire from a fed splice or cavity: it must be on the warning list; and
   where the feed has no fuse, as a danger.

``python -m tests.campaign.fitting [--short] [--seed N]``
"""

from __future__ import annotations

import argparse
import os
import random
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from itertools import combinations
from pathlib import Path

import networkx as nx

from loomproof.fitting.needs import plan_of
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import Circuit, Loom, Need, Wire, end_of
from loomproof.results.fitting import Fault, Level, Sheet
from tests.campaign.car import Car, Change
from tests.fitting.looms import demo, random_fitting_loom

ANSWERS = (
    (),
    ("fan=switch", "purge=yes", "gearbox=yes", "revs=no"),
    ("fan=switch", "purge=no", "gearbox=no", "revs=yes"),
)

KINDS = ("sound car", *(fault.value for fault in Fault))


@dataclass
class Tally:
    """How many faults were made, how many checks told, how many are for the eye alone, and what was wrong."""

    made: int = 0
    told: int = 0
    by_eye: int = 0
    wrong: list[str] = field(default_factory=list)

    def add(self, told: bool, what: str) -> None:
        self.made += 1
        self.told += told
        if not told:
            self.wrong.append(what)

    def join(self, other: Tally) -> None:
        self.made += other.made
        self.told += other.told
        self.by_eye += other.by_eye
        self.wrong += other.wrong


def failing(car: Car, sheet: Sheet, change: Change | None = None) -> set[str]:
    """Carry out every check that a meter makes; return the ends whose checks fail."""
    return {
        str(row.facts.end)
        for row in sheet.connect
        for check in row.checks
        if check.a is not None and not car.passes(check, change)
    }


def carried_out(loom: Loom, said: Sequence[str], rng: random.Random) -> dict[str, Tally]:
    """Return the tallies of faults 0 to 4 by name."""
    sheet = fitting_sheet(loom, answers_of(loom, said))
    plan = plan_of(loom, needs_of(loom, answers_of(loom, said)))
    car = Car(loom, plan.computers, plan.plugged, rng.randrange(10**6))
    tallies = {name: Tally() for name in KINDS}
    bad = failing(car, sheet)
    tallies["sound car"].add(not bad, f"sound: {bad}")
    for row in sheet.connect:
        end = str(row.facts.end)
        for check in row.checks:
            tally = tallies[check.finds.value]
            if check.a is None:
                tally.by_eye += 1
            elif check.finds is Fault.NOT_JOINED:
                found = failing(car, sheet, car.not_joined(end))
                tally.add(found == {end}, f"not joined {end}: {found}")
            elif check.finds is Fault.SHORTED:
                change = car.touching(end, rng.choice(["body", "block"]))
                tally.add(not car.passes(check, change), f"shorted {end}")
            elif check.finds is Fault.BAD_EARTH and check.most_ohm is not None:
                change = car.bad_joint(end, 3.0 * check.most_ohm)
                tally.add(not car.passes(check, change), f"bad earth {end}")
            else:
                wires = loom.wires_at.get(end_of(end), ())
                if len(wires) == 1 and not _bypassed(loom, wires[0]):
                    change = car.broken(wires[0].name)
                    # A wire within one housing may be told by the check of its other end.
                    ends = {str(one) for one in wires[0].ends}
                    told = not car.passes(check, change) or bool(failing(car, sheet, change) & ends)
                    tally.add(told, f"broken {wires[0].name}")
    return tallies


def _bypassed(loom: Loom, wire: Wire) -> bool:
    """Whether wires and parts beside it still join a wire's ends: no meter check is meant to see it."""
    graph: nx.Graph[str] = nx.Graph()
    graph.add_edges_from((str(one.a), str(one.b)) for one in loom.wires if one.name != wire.name)
    graph.add_edges_from((str(a), str(b)) for part in loom.components for a, b in combinations(part.ends, 2))
    a, b = map(str, wire.ends)
    return a in graph and b in graph and nx.has_path(graph, a, b)


def strays(loom: Loom, said: Sequence[str], rng: random.Random, most: int) -> tuple[int, int]:
    """Return how many unused ends were made live and how many of them the warnings named."""
    answers = answers_of(loom, said)
    sheet = fitting_sheet(loom, answers)
    fed = [str(row.facts.end) for row in sheet.connect if row.facts.designation == "30"] or ["CAR:1"]
    unused = [str(row.facts.end) for row in sheet.safe if not row.facts.live]
    unused += [
        str(row.facts.end)
        for row in sheet.places
        if row.action.value != "fit its part" and not row.facts.live
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
            row = next((r for r in (*found.safe, *found.places) if str(r.facts.end) == end), None)
            if row is None or row.action.value == "fit its part":
                continue  # The stray made it a needed end or a used place: no longer unused.
            tried += 1
            levels = [warn.level for warn in found.warnings if end in tuple(map(str, warn.ends))]
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
    lines = ["| loom | mutation | made | told | for the eye alone |", "|---|---|---|---|---|"]
    wrong: list[str] = []
    for said in ANSWERS[:1] if options.short else ANSWERS:
        name = f"demo {' '.join(said)}".strip()
        for kind, tally in carried_out(demo(), said, rng).items():
            lines.append(f"| {name} | {kind} | {tally.made} | {tally.told} | {tally.by_eye} |")
            wrong += tally.wrong
        tried, told = strays(demo(), said, rng, 5 if options.short else 1000)
        lines.append(f"| {name} | unused end made live | {tried} | {told} | |")
        good &= tried == told > 0
    totals = {kind: Tally() for kind in KINDS}
    tried = told = 0
    count = 3 if options.short else 100
    for _ in range(count):
        loom = random_fitting_loom(rng)
        for kind, tally in carried_out(loom, (), rng).items():
            totals[kind].join(tally)
        one, other = strays(loom, (), rng, 4)
        tried, told = tried + one, told + other
    for kind, tally in totals.items():
        lines.append(f"| {count} random | {kind} | {tally.made} | {tally.told} | {tally.by_eye} |")
        wrong += tally.wrong
    lines.append(f"| {count} random | unused end made live | {tried} | {told} | |")
    good &= tried == told > 0 and not wrong
    for line in wrong[:20]:
        print(line)
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
