"""Control charts of benches: false alarms in a year of daily tests, and drift of 0.5 mΩ a month.

    python -m tests.figures bench_health [--short] [--seed 1]

False alarms: benches that stay as they are, `BASELINE` days and then 365, each day one self-test. Of a bench
five quantities are charted: two references and a zero (mean of several readings, each with the simulated
meter's own noise) and two repeatabilities (of 25 readings). Counted is each rule's first reading outside.

Drift: the simulated meter with a drift put into it is asked by the real self-test, day by day, until the
charts tell it. Exits with 1 where false alarms reach 1 a year, or a drift passes a third of U untold.
"""

from __future__ import annotations

import argparse
import math
import random
import time
from collections.abc import Sequence
from typing import NamedTuple

from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.references import Reference
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.uncertainty import reading_budget
from loomproof.measuring.selftest import REFERENCE_REPEATS, REPEATS, try_references
from loomproof.upkeep.charts import BASELINE, TESTS_A_YEAR, Point, chance_of, chart, evened
from loomproof.virtual.meter import Limits, MeterError
from tests.cleared import cleared_empty
from tests.memory_bench import MemoryBench
from tests.results import table_file

BENCH = 5
"""Quantities of one bench."""
MONTH_D = 365.25 / 12.0
DRIFT_OHM = 0.5e-3
REFERENCE = Reference(1, 2, 0.47, 0.0)
METERS = (Limits(0.1, 0.01), Limits(0.005, 0.002), Limits(0.002, 0.005))


class Alarms(NamedTuple):
    """How many charts were watched together, for how many years, and how many false alarms there were."""

    charts: int
    years: int
    alarms: int


class Told(NamedTuple):
    """Drift that had come up when it was told, as shares of U, smallest first; how many were never told."""

    u_ohm: float
    shares: Sequence[float]
    days: Sequence[int]


class Drifting(MemoryBench):
    """A bench whose simulated meter reads ``shift_ohm`` more than it did."""

    def __init__(self, limits: Limits, rng: random.Random) -> None:
        super().__init__(able=Capabilities(8, ohms=(1e-4, 1e6), accuracy=Accuracy(limits.ohm, limits.ratio)))
        self.meter = MeterError(limits, rng)
        self.shift_ohm = 0.0

    def _answer(self, question: Question) -> Answer:
        assert isinstance(question, Resistance)
        return self.meter.read(REFERENCE.ohm + self.shift_ohm)


def steady(kind: int, days: int, rng: random.Random) -> list[float]:
    """Return what one quantity of a bench reads that stays as it is."""
    if kind >= 3:
        freedom = REPEATS - 1
        spreads = (math.sqrt(rng.gammavariate(freedom / 2.0, 2.0 / freedom)) for _ in range(days))
        return [evened(0.008 * spread) for spread in spreads]
    meter = MeterError(METERS[0], rng)
    reads = ([meter.read(0.47) for _ in range(REFERENCE_REPEATS)] for _ in range(days))
    return [sum(read) / len(read) for read in reads]


def points(values: Sequence[float]) -> list[Point]:
    return [Point("", value) for value in values]


def false_alarms(benches: int, years: int, seed: int) -> Alarms:
    rng = random.Random(f"{seed}/false/{benches}")
    chance, alarms = chance_of(benches * BENCH), 0
    for _ in range(years):
        for number in range(benches * BENCH):
            made = chart(points(steady(number % BENCH, BASELINE + TESTS_A_YEAR, rng)), chance)
            alarms += 0 if made is None else len(made.alarms)
    return Alarms(benches * BENCH, years, alarms)


def drift(limits: Limits, begins: int, benches: int, seed: int) -> Told:
    rng = random.Random(f"{seed}/drift/{limits}/{begins}")
    u_ohm = reading_budget(limits.ohm, limits.ratio, REFERENCE.ohm).expanded_ohm
    last = begins + math.ceil(u_ohm / 3.0 / DRIFT_OHM * MONTH_D)
    shares, days = [], []
    for _ in range(benches):
        bench = Drifting(limits, rng)
        clearance = cleared_empty(bench)
        values: list[float] = []
        shifts = [DRIFT_OHM * max(day - begins, 0) / MONTH_D for day in range(last + 1)]
        for shift in shifts:
            bench.shift_ohm = shift
            (read,) = try_references(bench, clearance, [REFERENCE], {})[1]
            assert read.error_ohm is not None
            values.append(read.error_ohm)
        made = chart(points(values), chance_of(BENCH))
        assert made is not None
        at = min((alarm.at for alarm in made.alarms if alarm.at >= begins), default=None)
        shares.append(math.inf if at is None else shifts[at] / u_ohm)
        days.append(last if at is None else at - begins)
    return Told(u_ohm, sorted(shares), sorted(days))


def main(argv: Sequence[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args(argv)
    begun = time.monotonic()
    years, benches = (40, 4) if given.short else (600, 40)
    lines = [
        f"Seed {given.seed}. Rules of `loomproof.upkeep.charts`.",
        "",
        "| charts watched together | years of daily tests | false alarms | in a year | must be under |",
        "| ---: | ---: | ---: | ---: | ---: |",
    ]
    missed = False
    for shop, share in ((1, 1), (10, 10)):
        found = false_alarms(shop, max(years // share, 4), given.seed)
        rate = found.alarms / found.years
        missed |= rate >= 1.0
        lines.append(f"| {found.charts} | {found.years} | {found.alarms} | {rate:.3f} | 1 |")
    lines += [
        "",
        f"Drift of {DRIFT_OHM * 1e3:g} mΩ a month, reference of {REFERENCE.ohm:g} Ω, one self-test a day, "
        f"{BENCH} charts.",
        "",
        "| limits of error of the meter | U (k = 2) | drift begins | benches | told at a share of U: half | "
        "most | after days: half | most | share must be under |",
        "| --- | ---: | --- | ---: | ---: | ---: | ---: | ---: | ---: |",
    ]
    for limits in METERS:
        for begins in (0, BASELINE + 40):
            told = drift(limits, begins, benches, given.seed)
            missed |= told.shares[-1] >= 1.0 / 3.0
            half = len(told.shares) // 2
            when = "on the first day" if begins == 0 else f"after {begins} days"
            lines.append(
                f"| ±({limits.ohm * 1e3:g} mΩ + {limits.ratio:.1%}) | {told.u_ohm * 1e3:.1f} mΩ | {when} | "
                f"{len(told.shares)} | {told.shares[half]:.3f} | {told.shares[-1]:.3f} | "
                f"{told.days[half]} | {told.days[-1]} | 0.333 |"
            )
    table_file("figures", "bench_health", lines, time.monotonic() - begun, short=given.short)
    return 1 if missed else 0
