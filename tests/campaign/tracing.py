"""Random unknown looms traced over the link: nets exact, parts within the meter's uncertainty, questions few.

    python -m tests.campaign.tracing [--looms 500] [--seed 1] [--short]

Each is traced on a scanner of ±(0.1 Ω + 1 %), every second one on one that reads farads as well, ±(5 pF +
1 %). What is there follows from the description (`trace_looms`). A part is right where it lies between the
two nets, conducts the way it should, and reads what it is within the scanner's limits of error and the most
that wires add. A part may be found at the far end of another one that is less than the uncertainty of its own
reading, where that is asked about. Vectors are counted as they pass the seam: one for each point alone before
anything else (the safety drives), ceil(log2 N) to learn, the fewest whose subsets tell the nets apart
(E. Sperner 1928) and ceil(log2 N) more to confirm, and, where one of these says otherwise, as with a diode,
each point alone once more.
"""

from __future__ import annotations

import argparse
import math
import random
import re
import sys
from collections.abc import Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Sense
from loomproof.bench.scanner import ScannerBench
from loomproof.jobs.trace import looked_at, unknown_loom
from loomproof.loom.model import End, Loom
from loomproof.measuring.events import finish
from loomproof.measuring.trace import Traced, together
from loomproof.planning.request import Request
from loomproof.virtual.link import Device
from loomproof.virtual.meter import FaradLimits
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.campaign.trace_looms import Truth, loom_drawn, truth_of
from tests.cleared import cleared

RESULTS = Path(__file__).parent / "results" / "tracing.md"
LOOMS, SEED = 500, 1
OFFSET_OHM, RATIO = 0.1, 0.01
TEST_A, FORWARD_V = 0.01, 0.7
"""What the scanner puts on the loom, and what a diode drops: across less than 70 Ω it may not show, and need
not be found; the loom is then asked for it."""
Pair = frozenset[frozenset[End]]
FARAD = FaradLimits(5e-12, 0.01, 1e-12)


class Counting(ScannerBench):
    """A scanner bench that counts the drive sets which pass the seam."""

    drives = 0

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Sense):
            self.drives += len(question.drives)
        return super()._answer(question)


@dataclass(frozen=True)
class Row:
    """What came of one loom; ``wrong`` says each thing that is not as it is.

    ``vectors`` were asked by the trace, of ``most`` that it may take; ``alone``: each point was asked alone.
    ``before`` were driven before the trace, for safety and to check the bench.
    """

    number: int
    points: int
    parts: int
    wrong: tuple[str, ...]
    alone: bool
    vectors: int
    most: int
    before: int
    readings: int


def traced(loom: Loom, seed: int, *, farads: bool = False) -> tuple[Traced, int]:
    """Trace a loom over the link on a held clock; return what was found, and all sets that were driven."""
    clock = Clock()
    make = Make(len(loom.cavities), capacitance=FARAD if farads else None)
    line = SimLine(Device(Scanner(loom, make, seed=seed)), clock, Noise(Harm()))
    bench = Counting(lambda: line, "sim:", clock=clock)
    bench.connect()
    adapter = in_order(loom.cavities)
    unknown = unknown_loom(adapter, "unknown")
    with bench:
        request = Request(unknown, adapter, "traced", "2026-01-01T00:00:00Z")
        looked = finish(looked_at(request, bench, cleared(unknown, bench, adapter, meter_v=0.0)))
        return together([looked.seen]), bench.drives


def wrong_with(found: Traced, truth: Truth) -> list[str]:
    """Return what a trace says that is not so, and what it leaves out."""
    told = []
    nets = {frozenset(net) for net in found.nets}
    told += [f"no net {sorted(map(str, net))}" for net in nets - truth.nets]
    told += [f"missing net {sorted(map(str, net))}" for net in truth.nets - nets]
    if told:
        return told
    net_of = {end: net for net in nets for end in net}
    ohms = {frozenset((net_of[p.a], net_of[p.b])): p.ohm for p in found.parts if p.ohm is not None}
    farads = {frozenset((net_of[p.a], net_of[p.b])): p.farad for p in found.parts if p.farad is not None}
    diodes = {(net_of[p.a], net_of[p.b]) for p in found.parts if p.one_way}
    hidden = {way for way in truth.diodes if truth.ohms.get(frozenset(way), math.inf) * TEST_A < FORWARD_V}
    told += [f"diode {_short(way)}" for way in diodes ^ truth.diodes if way not in hidden]
    ohms = _at_the_end_asked_about(ohms, truth, found.questions)
    for pair in ohms.keys() | truth.ohms.keys():
        told += _value(pair, ohms.get(pair), truth.ohms.get(pair), "ohm", OFFSET_OHM, truth.wires_ohm)
    for pair in farads.keys() | truth.farads.keys():
        # Wires of some metres side by side have tenths of a nanofarad of their own.
        told += _value(pair, farads.get(pair), truth.farads.get(pair), "F", FARAD.farad, 2e-9)
    return told


def _at_the_end_asked_about(
    ohms: Mapping[Pair, float], truth: Truth, questions: Iterable[str]
) -> dict[Pair, float]:
    """Return what was found, a part at its true end where a question names that end beside the one found."""
    named = [set(re.findall(r"\w+:\w+", text)) for text in questions if "reads the same to" in text]
    moved = dict(ohms)
    for pair in ohms.keys() - truth.ohms.keys():
        for true in truth.ohms.keys() - ohms.keys():
            nets = pair | true
            if len(pair & true) == 1 and any(all(_any_of(net, ends) for net in nets) for ends in named):
                moved[true] = moved.pop(pair)
                break
    return moved


def _any_of(net: Iterable[End], names: set[str]) -> bool:
    return any(str(end) in names for end in net)


def _value(
    pair: Iterable[Iterable[End]],
    found: float | None,
    true: float | None,
    unit: str,
    offset: float,
    besides: float,
) -> list[str]:
    if found is not None and true is not None:
        off = offset + RATIO * found
        if true - off <= found <= true + besides + off:
            return []
    return [f"{_short(pair)}: {found} {unit} found, {true} there"]


def _short(nets: Iterable[Iterable[End]]) -> str:
    return " to ".join(str(min(net)) for net in nets)


def result_of(seed: int, number: int) -> Row:
    """Trace the loom of this number; all of it follows from seed and number."""
    rng = random.Random(f"{seed} {number}")
    farads = number % 2 == 1
    loom = loom_drawn(rng, rng.randint(10, 160), farads=farads)
    found, drives = traced(loom, number, farads=farads)
    truth, points = truth_of(loom), len(loom.cavities)
    learn = math.ceil(math.log2(points))
    # Parts may join nets for sense, which makes groups fewer and never more.
    confirm = next(v for v in range(64) if math.comb(v, v // 2) >= len(truth.nets))
    most = 2 * learn + confirm + (0 if found.confirmed else points)
    vectors = found.sense_vectors
    return Row(
        number,
        points,
        len(loom.components),
        tuple(wrong_with(found, truth)),
        not found.confirmed,
        vectors,
        most,
        drives - vectors,
        found.resistance_readings,
    )


def table(rows: Sequence[Row], command: str) -> str:
    """Return the table that is kept."""
    wrong = [row for row in rows if row.wrong]
    nets = sum(any("net" in text for text in row.wrong) for row in wrong)
    over = sum(row.vectors > row.most for row in rows)
    lines = [
        "# Unknown looms traced over the link",
        "",
        f"`{command}`, {datetime.now(UTC):%Y-%m-%d}: {len(rows)} looms of {min(r.points for r in rows)} to "
        f"{max(r.points for r in rows)} cavities.",
        "",
        "| | |",
        "|---|---|",
        f"| looms with a net that is not as it is | {nets} |",
        f"| parts described | {sum(row.parts for row in rows)} |",
        f"| looms with a part that is not as it is | {len(wrong) - nets} |",
        f"| looms in which each point was asked alone once more | {sum(row.alone for row in rows)} |",
        f"| looms that took more vectors than learning, confirming and that take | {over} |",
        f"| vectors a point driven before, for safety and to check the bench, mean | "
        f"{sum(row.before for row in rows) / sum(row.points for row in rows):.2f} |",
        f"| readings a cavity, mean | {sum(r.readings for r in rows) / sum(r.points for r in rows):.1f} |",
        "",
    ]
    lines += (f"    {row.number}: {'; '.join(row.wrong)}" for row in wrong)
    return "\n".join(lines) + "\n"


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign; keep its table where it ran in full."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=LOOMS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(argv)
    count = 20 if given.short else given.looms
    with ProcessPoolExecutor(given.jobs) as pool:
        numbers = range(given.first, given.first + count)
        rows = list(pool.map(partial(result_of, given.seed), numbers, chunksize=4))
    text = table(rows, f"python -m tests.campaign.tracing --looms {count} --seed {given.seed}")
    print(text)
    if (count, given.seed, given.first) == (LOOMS, SEED, 0):
        RESULTS.write_text(text, encoding="utf-8")
    return 1 if any(row.wrong or row.vectors > row.most for row in rows) else 0


if __name__ == "__main__":
    sys.exit(main())
