"""An hour in which nothing lets go and contacts are noisy all the same: the watch invents no event.

A loom of the campaign of intermittents is watched over the link for an hour of the simulator's own clock.
Twice a second a contact chosen by chance, worn or dirty, has 1 Ω to 1 kΩ for 10 to 200 ms, which is no break:
what is behind it reads low surely up to the scanner's stated ohms over the points there, some kilohms here.
That bursts reach the watch is shown with bursts of 10 MΩ, which it tells (`test_campaign_samples`).
Counted is what the watch tells, and what it says that it watched.

    python -m tests.campaign.quiet [--looms 5] [--seed 1] [--short]
"""

from __future__ import annotations

import argparse
import random
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.scanner import ScannerBench
from loomproof.electrics.expectation import expect
from loomproof.measuring.wiggle import WiggleLog, wiggle
from loomproof.planning.plan import plan_proof
from loomproof.results.wiggled import Wiggled
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.campaign.wiggled import Case, Handled, Ticking, case_of
from tests.cleared import cleared

RESULTS = Path(__file__).parent / "results" / "quiet.md"
LOOMS, SEED, HOUR_S = 5, 1, 3600.0
EVERY_S = 0.5
OHM = (1.0, 1000.0)
FOR_S = (0.01, 0.2)


@dataclass
class Noisy(Handled):
    """A line to a scanner whose contacts are noisy: one after another has more ohms for a while."""

    rng: random.Random = field(default_factory=random.Random)
    ohms: tuple[float, float] = OHM
    bursts: int = 0

    def _change(self, hz: float) -> None:
        """Begin a burst where ``hz`` is not 0, end it where it is."""
        self.scanner.mend()
        if hz:
            self.bursts += 1
            end = self.rng.choice(self.case.loom.cavities)
            ohm = self.ohms[0] * (self.ohms[1] / self.ohms[0]) ** self.rng.random()
            self.scanner.add(f"high {ohm:.3g} {end}")


@dataclass(frozen=True)
class Hour:
    """What a watch told of a loom, and how many bursts there were meanwhile."""

    watched: Wiggled
    bursts: int


def hour_of(seed: int, number: int, seconds: float = HOUR_S, ohms: tuple[float, float] = OHM) -> Hour:
    """Watch the loom of this number for so many simulated seconds of noise."""
    rng = random.Random(f"{seed} {number} noise")
    times: list[tuple[float, float]] = []
    for k in range(int(seconds / EVERY_S) - 1):
        begins = k * EVERY_S + rng.uniform(0.05, 0.25)
        times += [(begins, 1.0), (begins + rng.uniform(*FOR_S), 0.0)]
    case: Case = replace(case_of(seed, number), times=tuple(times))
    clock = Ticking()
    scanner = Scanner(case.loom, Make(max(16, len(case.loom.cavities))), seed=number)
    line = Noisy(Device(scanner), clock, scanner, case, rng=rng, ohms=ohms)
    bench = ScannerBench(lambda: line, "sim:", clock=clock)
    bench.connect()
    log = WiggleLog(seconds)
    with bench:
        adapter = in_order(case.loom.cavities)
        plan = plan_proof(expect(case.loom), adapter.point_of, bench.capabilities(), None, isolation_ohm=None)
        for event in wiggle(plan, bench, cleared(case.loom, bench, adapter, meter_v=0.0), log, clock):
            if type(event).__name__ == "WatchBegins":
                line.began_s = clock.now
    return Hour(log.result(), line.bursts)


def table(hours: Sequence[Hour], command: str) -> str:
    """Return the table that is kept."""
    watched = [hour.watched for hour in hours]
    shortest = [each.shortest_us for each in watched if each.shortest_us is not None]
    return "\n".join(
        [
            "# Noisy contacts of a loom in which nothing lets go",
            "",
            f"`{command}`, {datetime.now(UTC):%Y-%m-%d}.",
            "",
            "| | |",
            "|---|---|",
            f"| looms, each watched for | {len(hours)}, {watched[0].asked_s:g} s |",
            f"| bursts of {OHM[0]:g} Ω to {OHM[1]:g} Ω in a contact | {sum(hour.bursts for hour in hours)} |",
            f"| events told | {sum(len(each.seen) for each in watched)} |",
            f"| least that a net was watched for, s | {min(each.watched_s for each in watched):.1f} |",
            f"| shortest change surely seen, µs | {min(shortest)} to {max(shortest)} |",
            f"| events lost | {sum(each.lost for each in watched)} |",
            "",
        ]
    )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, write its table, and say whether nothing was invented."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=LOOMS)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--short", action="store_true")
    given = parser.parse_args(argv)
    seconds = 60.0 if given.short else HOUR_S
    hours = [hour_of(given.seed, number, seconds) for number in range(given.looms)]
    text = table(hours, f"python -m tests.campaign.quiet --looms {given.looms} --seed {given.seed}")
    print(text)
    if not given.short and (given.looms, given.seed) == (LOOMS, SEED):
        RESULTS.write_text(text, encoding="utf-8")
    return 1 if any(hour.watched.seen for hour in hours) else 0


if __name__ == "__main__":
    sys.exit(main())
