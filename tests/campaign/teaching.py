"""What confirmed repairs teach, over simulated shops with habits of their own: log loss of the cause.

Faults are worked into the looms of the fixtures and found; each finding leaves some candidates. A shop has
its own frequencies: the shipped ones (read here from the table anew), times habits that are drawn for each
cause, for each cause in each loom and at each connector (log-normal, their spread drawn for each shop). Of
these causes are drawn, "confirmed" one after the other, and taught. After 0 to 500 of them the shares of
held-out findings are compared: as shipped, as learned, and the shop's true ones, by the expected log loss
under the true ones (cross entropy, nats). How often the first look is right is beside it.

    python -m tests.campaign.teaching [--short] [--seed N] [--shops N]
"""

from __future__ import annotations

import argparse
import itertools
import math
import random
import statistics
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from loomproof.diagnosis import explain
from loomproof.diagnosis.candidates import Candidate, candidates
from loomproof.diagnosis.learned import Case, learn, weighed
from loomproof.loom.reading import load
from loomproof.results.learned import Learned
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, random_fault

ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results" / "teaching.md"
TABLE = ROOT / "src" / "loomproof" / "diagnosis" / "data" / "weights.toml"
LOOMS = ("hillclimb_engine", "tail_lamp")
SHOPS, SEED = 200, 1
AFTER = (0, 1, 2, 5, 10, 50, 100, 500)
FAULTS, HELD_OUT = 400, 150
"""Faults worked into each loom, and findings that the shares are compared on, for each shop."""

CAUSE_SPREAD, LOOM_SPREAD, CONNECTOR_SPREAD = (0.3, 1.2), (0.0, 0.6), (0.0, 1.0)
"""Between these the spread (standard deviation of the logarithm) of a shop's habits is drawn."""


@dataclass(frozen=True)
class Told:
    """A finding of a loom by what it leaves open."""

    loom: str
    among: tuple[Candidate, ...]


@dataclass
class Shop:
    """A shop's habits, drawn as they are asked for."""

    rng: random.Random
    step: float
    habits: dict[tuple[str, ...], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.spreads = [self.rng.uniform(*each) for each in (CAUSE_SPREAD, LOOM_SPREAD, CONNECTOR_SPREAD)]

    def _habit(self, level: int, *name: str) -> float:
        key = (str(level), *name)
        if key not in self.habits:
            self.habits[key] = self.rng.gauss(0.0, self.spreads[level])
        return self.habits[key]

    def shares(self, told: Told) -> list[float]:
        """Return the true share of each candidate."""
        logs, order = [], list[tuple[str, str]]()
        behind = 0
        for one in told.among:
            what = (one.cause, one.things[0].what.value if one.things else "")
            if what not in order:
                order.append(what)
            behind = max(behind, order.index(what))
            log = -self.step * behind + self._habit(0, *what) + self._habit(1, *what, told.loom)
            homes = {thing.end.connector for thing in one.things if thing.end.connector}
            if len(homes) == 1:
                log += self._habit(2, *what, told.loom, *homes)
            logs.append(log)
        top = max(logs)
        whole = sum(math.exp(log - top) for log in logs)
        return [math.exp(log - top) / whole for log in logs]


def pool(seed: int, faults: int) -> list[Told]:
    """Return findings of faults in the fixtures' looms that leave something open."""
    found = []
    for name in LOOMS:
        loom = load(ROOT / "fixtures" / name).loom
        bench, rng = Bench(loom), random.Random(f"{seed} {name}")
        sound = bench.build()
        for _ in range(faults):
            fault = random_fault(rng, loom)
            if fault is None:
                continue
            measured = Measured(sound, bench.build([fault]), complete=True)
            found += [Told(loom.name, candidates(finding)) for finding in explain(loom, measured)]
    return [each for each in found if len(each.among) > 1]


def loss(true: Sequence[float], said: Sequence[float]) -> float:
    """Return the expected log loss of shares, nats."""
    return -math.fsum(share * math.log(each) for share, each in zip(true, said, strict=True))


@dataclass(frozen=True)
class Row:
    """What a shop came to after some cases, mean over held-out findings: losses, and first looks right."""

    shipped: float
    learned: float
    truth: float
    first_shipped: float
    first_learned: float
    first_truth: float


def _row(held: Sequence[tuple[Told, list[float]]], learned: Learned | None) -> Row:
    losses: list[tuple[float, ...]] = []
    for told, true in held:
        shares = weighed(told.among, learned, told.loom)
        before, now = [each.before for each in shares], [each.now for each in shares]
        firsts = (true[side.index(max(side))] for side in (before, now, true))
        losses.append((loss(true, before), loss(true, now), loss(true, true), *firsts))
    return Row(*(statistics.fmean(column) for column in zip(*losses, strict=True)))


def shop(number: int, seed: int, findings: Sequence[Told]) -> list[Row]:
    """Return what one shop comes to after each count of `AFTER`."""
    table = tomllib.loads(TABLE.read_text(encoding="utf-8"))
    step = table["bound_learn_kind"]["cost"] / table["bound_learn_scale"]["cost"]
    rng = random.Random(f"{seed} shop {number}")
    own = Shop(rng, step)
    held = [(told, own.shares(told)) for told in rng.choices(findings, k=HELD_OUT)]
    cases = []
    for told in rng.choices(findings, k=max(AFTER)):
        (cause,) = rng.choices(told.among, own.shares(told))
        cases.append(Case(told.loom, cause, told.among))
    return [_row(held, learn(cases[:count])) for count in AFTER]


def main(argv: Sequence[str] | None = None) -> int:
    """Let the shops learn, keep the table where it ran in full, and say whether both figures hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--shops", type=int)
    options = parser.parse_args(argv)
    shops = options.shops or (8 if options.short else SHOPS)
    findings = pool(options.seed, FAULTS)
    told = [shop(number, options.seed, findings) for number in range(shops)]
    lines = [
        "# What confirmed repairs teach",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.teaching --shops {shops} --seed "
        f"{options.seed}`; {len(findings)} findings of {len(LOOMS)} looms. Log loss in nats, mean over "
        f"{shops} shops.",
        "",
        "| confirmed | shipped | learned | shop's own | gap closed | shops worse | first look right: shipped "
        "| learned | own |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    closed, gains = 0.0, []
    for after, rows in zip(AFTER, zip(*told, strict=True), strict=True):
        shipped, learned, truth = (
            statistics.fmean(getattr(row, name) for row in rows) for name in ("shipped", "learned", "truth")
        )
        firsts = [
            f"{100 * statistics.fmean(getattr(row, name) for row in rows):.0f} %"
            for name in ("first_shipped", "first_learned", "first_truth")
        ]
        closed = (shipped - learned) / (shipped - truth)
        gains.append((after, shipped - learned))
        worse = sum(row.learned > row.shipped for row in rows)
        lines.append(
            f"| {after} | {shipped:.3f} | {learned:.3f} | {truth:.3f} | {100 * closed:.0f} % | {worse} | "
            f"{' | '.join(firsts)} |"
        )
    text = "\n".join(lines) + "\n"
    print(text)
    if not options.short:
        RESULTS.write_text(text, encoding="utf-8")
    never_worse = all(gain >= -1e-12 for after, gain in itertools.takewhile(lambda g: g[0] <= 10, gains))
    return 0 if closed >= 0.5 and never_worse else 1


if __name__ == "__main__":
    sys.exit(main())
