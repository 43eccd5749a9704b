"""Looms with a source left on them: is it found, and how much was driven before?

    python -m tests.campaign voltage [--short] [--looms 2000] [--seed 0]

Each random loom gets feeds and earths, and a battery, a second battery, a backup supply or a charged
capacitor between any two places, of 1 to 24 V. It is looked at by a bench that measures volts, and by one
that does not and whose person reads the pairs that the tool names, with an ideal meter. Counted is what was
driven before the source was told: nothing, one point at a time, or several. A source is expected with no
driver on where one of its conductors is a feed, an earth or a ring and the bench measures volts: exits with
1 where one was not.

Which conductor a place belongs to, and what an ideal meter reads, follow from the wires as drawn, by a graph
of this script's own. A source that copper or a part of less than about half an ohm shorts counts apart: a
meter held to its two places shows less than nine tenths of it, amperes flow already, and a capacitor would be
empty before anybody looks.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import networkx as nx

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Sense, Settle, Voltage
from loomproof.bench.seam import Accuracy, Capabilities, Identity, Opening, opening_of
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Circuit, End, Loom
from loomproof.measuring.selfcheck import SelfCheck, self_check
from loomproof.planning.net_access import scope_of
from loomproof.planning.suspects import conductors_of
from loomproof.virtual.scanner import Make, Scanner
from tests.campaign.verdict_looms import loom_of
from tests.cleared import cleared
from tests.memory_bench import MemoryBench
from tests.results import table_file

WITH, WITHOUT = "measures volts", "measures none, person reads the named pairs"
SOURCES = ("battery", "backup supply", "charged capacitor")
METER_LEAST_V = 0.5
IDENTITY = Identity("Invented Instruments", "simulated pin scanner", "SN1", "1.0")


@dataclass
class Direct(MemoryBench):
    """A simulated scanner without a line, on a clock of its own; it keeps every set that was driven."""

    scanner: Scanner
    able: Capabilities = field(init=False)
    opened: Opening = field(default_factory=lambda: opening_of(IDENTITY))
    now_s: float = 0.0
    settle_us: int = 500
    driven: list[int] = field(default_factory=list)
    readings: int = 0

    def __post_init__(self) -> None:
        make = self.scanner.make
        self.able = Capabilities(
            make.points, volt_max=make.volt_max, ohms=make.ohms, accuracy=Accuracy(0.1, 0.01), diode=True
        )

    def identify(self) -> Identity:
        return IDENTITY

    def _answer(self, question: Question) -> Answer:
        match question:
            case Settle(settle_us):
                self.settle_us = settle_us
                return None
            case Sense(drives):
                return [self._sensed(drive) for drive in drives]
            case Voltage(a, b):
                self.readings += 1
                self.now_s += 0.022
                return self.scanner.voltage(a, b, self.now_s)
        return super()._answer(question)

    def _sensed(self, drive: int) -> int:
        self.driven.append(drive)
        low = self.scanner.sense(drive, self.now_s, self.settle_us * 1e-6)
        self.now_s += self.settle_us * 1e-6 + 3e-4
        return low


@dataclass(frozen=True)
class Case:
    """A loom with a source between two places, and whether one of them is where a source is looked for."""

    loom: Loom
    fault: str
    kind: str
    places: tuple[End, End]
    suspect: bool
    volts: float


def conductors(loom: Loom) -> list[tuple[End, ...]]:
    """Return the places that wires, and parts of no resistance, join."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(loom.cavities)
    graph.add_edges_from(wire.ends for wire in loom.wires)
    graph.add_edges_from(
        part.ends for part in loom.components if part.kind in ("link", "fuse") and len(part.ends) == 2
    )
    return [tuple(sorted(found)) for found in nx.connected_components(graph)]


def case_of(seed: int, number: int) -> Case:
    """Return a loom with one to three feeds, one or two earths, and a source."""
    rng = random.Random(f"voltage/{seed}/{number}")
    while True:
        drawn = loom_of(rng, 80)
        wires = list(drawn.wires)
        nets = [net for net in conductors(drawn) if any(set(w.ends) <= set(net) for w in wires)]
        if len(nets) >= 4:
            break
    rng.shuffle(nets)
    feeds, earths = nets[: rng.randint(1, 2)], nets[2 : 2 + rng.randint(1, 2)]
    marked = {end: "car-feed" for net in feeds for end in net} | {e: "car-earth" for n in earths for e in n}
    loom = replace(
        drawn,
        wires=tuple(replace(w, circuit=marked.get(w.a, w.circuit)) for w in wires),
        circuits=(
            *drawn.circuits,
            Circuit("car-feed", designation="30"),
            Circuit("car-earth", designation="31"),
        ),
    )
    kind = rng.choice(SOURCES)
    volts = rng.choice((1.0, 1.5, 3.0, 6.0, 9.0, 12.0, 12.6, 24.0))
    cavities = [end for end in loom.cavities if end in {e for net in conductors(loom) for e in net}]
    where = {end: net for net in conductors(loom) for end in net}
    pool = [end for net in (*feeds, *earths) for end in net if end in loom.cavities]
    while True:
        a = rng.choice(pool if rng.random() < 0.8 else cavities)
        b = rng.choice(pool if rng.random() < 0.5 else cavities)
        if where[a] != where[b]:
            break
    if rng.random() < 0.5:
        a, b = b, a
    text = f"voltage {volts:g} {a} {b}"
    if kind == "charged capacitor":
        text = f"charged {rng.choice((1000, 4700, 22000))}u {volts:g} {a} {b}"
    return Case(loom, text, kind, (a, b), bool({a, b} & set(pool)), volts)


def looked(case: Case, *, volts: bool) -> tuple[str, str, int]:
    """Look at the loom. Return what was driven before the source was told, by what it was told, readings."""
    loom = case.loom
    make = Make(points=len(loom.cavities), volt_max=30.0 if volts else None)
    bench = Direct(Scanner(loom, make, faults=[case.fault]))
    adapter = in_order(loom.cavities)
    expectation = expect(loom)
    given = conductors_of(expectation, scope_of(expectation, adapter.point_of, 250_000.0))
    meter_v: float | None = None
    if not volts:
        net_of = {end: k for k, net in enumerate(conductors(loom)) for end in net}
        # An ideal meter finds it where both of its conductors are among those that the person is sent to.
        sent = {net_of[end] for i in (*given.earths, *given.feeds) for end in _ends(given.nets[i], loom)}
        meter_v = case.volts if {net_of[end] for end in case.places} <= sent else 0.0
    found: SelfCheck = self_check(bench, cleared(loom, bench, adapter, meter_v=meter_v), given)
    most = max((drive.bit_count() for drive in bench.driven), default=0)
    before = ("nothing", "one point")[most] if most < 2 else "several"
    if found.passed:
        return before, "not told", bench.readings
    if meter_v is not None and abs(meter_v) > METER_LEAST_V:
        return before, "the person's meter", bench.readings
    return before, found.failures[0].name, bench.readings


def shows(case: Case) -> bool:
    """Whether a meter held to the source's two places shows nine tenths of it: nothing in the loom shorts
    it."""
    a, b = (1 << case.loom.cavities.index(end) for end in case.places)
    scanner = Scanner(case.loom, Make(points=len(case.loom.cavities)), faults=[case.fault])
    return abs(scanner.voltage(a, b, 0.0)) > 0.9 * case.volts


def _ends(points: int, loom: Loom) -> list[End]:
    return [end for i, end in enumerate(loom.cavities) if points >> i & 1]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the campaign; 0 where every source that must be found with no driver on was."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("--looms", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(arguments)
    count = 40 if given.short else given.looms
    began = time.monotonic()
    rows: Counter[tuple[str, str, str]] = Counter()
    missed, readings = [], []
    for number in range(given.first, given.first + count):
        case = case_of(given.seed, number)
        for name, volts in ((WITH, True), (WITHOUT, False)):
            before, by, asked = looked(case, volts=volts)
            where = "at a feed or an earth" if case.suspect else "between other conductors"
            if not shows(case):
                where = "shorted by the loom itself"
            rows[name, where, "not told" if by == "not told" else f"told, driven before: {before}"] += 1
            if volts:
                readings.append(asked)
                if case.suspect and shows(case) and (before != "nothing" or by == "not told"):
                    missed.append(f"{number}: {case.fault} ({before}, {by})")
    lines = ["| bench | source | outcome | looms |", "| --- | --- | --- | --- |"]
    lines += [f"| {a} | {b} | {c} | {rows[a, b, c]} |" for a, b, c in sorted(rows)]
    middle = sorted(readings)[len(readings) // 2]
    lines += ["", f"Readings of voltage a loom: {middle} (median), {max(readings)} at most."]
    lines += ["", f"Not found with no driver on though it had to be: {len(missed)}.", *missed[:20]]
    table_file("campaign", "voltage", lines, time.monotonic() - began, short=given.short)
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
