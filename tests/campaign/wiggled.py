"""Intermittents while a simulated person moves one named place after another, watched over the link.

A loom of three or four plugs is drawn, wires between them, some through a splice or two in one cavity, and
one wire or contact of it that comes and goes. The person moves every plug and every bundle (the wires between
two plugs) for six seconds each. While its own place is moved it comes and goes for 1 to 5.6 s; at a place
beside it (a plug at the end of the wire, the bundle at the contact) with a chance of one half for 0.1 to 0.5
of that time; elsewhere with a chance of one in ten for 0.1 to 0.3 of it. It stays open for 2 to 6 times the
shortest event that a quiet watch of the same loom states. These are assumptions of this script, none a figure
of the program.

Counted is: openings that lay whole within a time in which the fault was there and that no event tells (worked
out from the simulator's own clock); events of another net than the fault's; looms whose wire or contact
is among the first two suspects of what was seen most; and events in ten minutes of simulated quiet.

``python -m tests.campaign.wiggled [--short] [--seed N]``
"""

from __future__ import annotations

import argparse
import math
import os
import random
import sys
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.scanner import ScannerBench
from loomproof.diagnosis.moved import troubles_of
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.measuring.wiggle import Moving, WiggleLog, wiggle
from loomproof.planning.plan import plan_proof
from loomproof.results.wiggled import Place
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.cleared import cleared

EACH_S = 6.0
DUTY = 0.1
"""The share of each period for which the simulator's loose contact is open (its NOTES)."""


@dataclass(frozen=True)
class Case:
    """A loom, what comes and goes in it, where the person moves, and from when at how many hertz."""

    loom: Loom
    wire: str
    contact: End | None
    places: tuple[Place, ...]
    times: tuple[tuple[float, float], ...]

    @property
    def fault(self) -> str:
        return f"loose {self.contact or self.wire}"


def loom_drawn(rng: random.Random) -> Loom:
    """Return a loom of three or four plugs with wires between them; some nets have three ends or more."""
    plugs = "ABCD"[: rng.choice((3, 4))]
    free = {plug: [str(k) for k in range(1, 9)] for plug in plugs}
    wires: list[Wire] = []
    splices: list[Connector] = []

    def end(plug: str) -> End:
        return End(plug, free[plug].pop(0))

    def run(a: End, b: End) -> None:
        wires.append(Wire(f"W{len(wires) + 1}", a, b, csa_mm2=0.5, length_m=1.0))

    for _ in range(rng.randint(4, 7)):
        some = rng.sample([plug for plug in plugs if len(free[plug]) > 1], 2)
        kind = rng.random()
        if kind < 0.6:
            run(end(some[0]), end(some[1]))
        elif kind < 0.8:  # two wires in one cavity
            middle = end(some[0])
            for _ in range(2):
                run(middle, end(rng.choice([plug for plug in plugs if plug != some[0] and free[plug]])))
        else:
            splices.append(Connector(f"S{len(splices) + 1}", ConnectorKind.SPLICE, hazard=Hazard.NONE))
            joint = End(splices[-1].name, "")
            for plug in (*some, rng.choice([plug for plug in plugs if free[plug]])):
                run(joint, end(plug))
    used = {plug: [each for each in map(str, range(1, 9)) if each not in free[plug]] for plug in plugs}
    housings = [
        Connector(plug, ConnectorKind.PLUG, (tuple(cavities or ["1"]),), hazard=Hazard.NONE)
        for plug, cavities in used.items()
    ]
    return Loom("moved", connectors=(*housings, *splices), wires=tuple(wires))


def places_drawn(loom: Loom) -> tuple[Place, ...]:
    """Return every plug, and as bundles the wires that run between the same two, nine places at most."""
    plugs = [each.name for each in loom.connectors if each.kind is ConnectorKind.PLUG]
    bundles: dict[tuple[str, ...], list[str]] = {}
    for wire in loom.wires:
        bundles.setdefault(tuple(sorted(end.connector for end in wire.ends)), []).append(wire.name)
    found = [Place(f"plug {name}", frozenset({name})) for name in plugs]
    found += [Place(f"bundle {'-'.join(k)}", wires=frozenset(names)) for k, names in bundles.items()]
    return tuple(found)


def case_of(seed: int, number: int, shortest_us: int | None = None) -> Case:
    """Return the case of this number; all of it follows from seed, number and the shortest event."""
    rng = random.Random(f"{seed} {number}")
    loom = loom_drawn(rng)
    wire = rng.choice(loom.wires)
    ends = [end for end in wire.ends if end.cavity]
    contact = rng.choice(ends) if rng.random() < 0.5 else None
    places = places_drawn(loom)
    hz = DUTY / ((shortest_us or 4000) * 1e-6 * rng.uniform(2.0, 6.0))
    shown_s = rng.uniform(1.0, EACH_S - 0.4)
    times: list[tuple[float, float]] = []
    for k, place in enumerate(places):
        own = contact.connector in place.connectors if contact else wire.name in place.wires
        beside = (
            any(each.name in place.wires for each in loom.wires_at[contact])
            if contact
            else any(end.connector in place.connectors for end in ends)
        )
        begins = k * EACH_S + 0.2
        if own:
            times += [(begins, hz), (begins + shown_s, 0.0)]
        elif rng.random() < (0.5 if beside else 0.1):
            times += [(begins, hz), (begins + shown_s * rng.uniform(0.1, 0.5 if beside else 0.3), 0.0)]
    return Case(loom, wire.name, contact, places, tuple(times))


class Ticking(Clock):
    """A held clock that moves a little when it is read: what waits for less than a float tells apart ends."""

    def __call__(self) -> float:
        self.now += 1e-9
        return self.now


@dataclass
class Handled(SimLine):
    """A line to a scanner whose loom a person moves: the fault comes and goes at its times."""

    device: Device
    clock: Clock
    scanner: Scanner
    case: Case
    began_s: float | None = None
    openings: int = 0
    _since: tuple[float, float] | None = None
    _next: int = 0
    stretches: list[int] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(self.device, self.clock, Noise(Harm()))

    def _work(self) -> None:
        times = self.case.times
        while (
            self.began_s is not None
            and self._next < len(times)
            and self.clock.now - self.began_s >= times[self._next][0]
        ):
            super()._work()  # what was before the change is seen as it was
            self._change(times[self._next][1])
            self._next += 1
        super()._work()

    def receive(self, timeout_s: float) -> bytes:
        """Receive, and wake for each change as it is due."""
        if self.began_s is not None and self._next < len(self.case.times):
            left = self.began_s + self.case.times[self._next][0] - self.clock.now
            timeout_s = min(timeout_s, max(left, 0.0) + 1e-6)
        return super().receive(timeout_s)

    def _change(self, hz: float) -> None:
        watch = self.device.commands.watch
        assert watch is not None
        # The loom's clock stands still between the cycles that something happens in; the watch's own runs on.
        now = watch.loom_s + self.clock.now - watch.began_s
        if self._since is not None:
            self.stretches.append(self._whole(self._since[0], now))
        self.scanner.mend()
        self._since = None
        if hz:
            self.scanner.add(f"{self.case.fault} {hz:.3f} Hz")
            self._since = (now, hz)

    def _whole(self, begun_s: float, ended_s: float) -> int:
        """Return how many openings lay whole within, by the simulator's own phase, whatever watched it."""
        loose = self.scanner.network.loose[0]
        first = math.ceil(begun_s * loose.hz + loose.phase)
        last = math.floor(ended_s * loose.hz + loose.phase - loose.duty)
        return max(0, last - first + 1)


@dataclass(frozen=True)
class Result:
    """What came of one: openings that lay whole within, events, whether the net and the suspect are right."""

    number: int
    openings: int
    events: int
    missed: int
    strays: int
    rank: int
    """Place of the right suspect, from 1; 0: not there."""
    lost: int


def watched(case: Case, seconds: float, *, moving: bool) -> tuple[WiggleLog, Handled]:
    """Watch a loom over the link on a held clock, the person moving it or not."""
    clock = Ticking()
    scanner = Scanner(case.loom, Make(max(16, len(case.loom.cavities))), seed=1)
    line = Handled(Device(scanner), clock, scanner, case)
    bench = ScannerBench(lambda: line, "sim:", clock=clock)
    bench.connect()

    def now() -> str:
        at = 0.0 if line.began_s is None else clock.now - line.began_s
        return case.places[min(int(at / EACH_S), len(case.places) - 1)].name

    log = WiggleLog(seconds, Moving(now, lambda: {place.name: EACH_S for place in case.places}))
    with bench:
        adapter = in_order(case.loom.cavities)
        plan = plan_proof(expect(case.loom), adapter.point_of, bench.capabilities(), None, isolation_ohm=None)
        job = wiggle(plan, bench, cleared(case.loom, bench, adapter, meter_v=0.0), log, clock)
        for event in job:
            if type(event).__name__ == "WatchBegins" and moving:
                line.began_s = clock.now
    return log, line


def result_of(seed: int, number: int) -> Result:
    """Watch a quiet loom for its figure, then the same with the fault, and rank."""
    quiet, _ = watched(case_of(seed, number), 2.0, moving=False)
    case = case_of(seed, number, quiet.result().shortest_us)
    log, line = watched(case, EACH_S * len(case.places), moving=True)
    said = log.result()
    end = case.contact or next(e for e in case.loom.wire_by_name[case.wire].ends if e.cavity)
    right = [each for each in said.seen if any(end in log.nets[net] for net in each.nets)]
    troubles = troubles_of(case.loom, said, case.places)
    suspects = troubles[0].suspects if troubles else ()
    ranks = [
        k
        for k, each in enumerate(suspects, start=1)
        if (each.contact == case.contact if case.contact else not each.contact and case.wire in each.wires)
    ]
    openings = sum(line.stretches)
    missed = max(0, openings - len(right))
    return Result(
        number, openings, len(right), missed, len(said.seen) - len(right), min(ranks, default=0), said.lost
    )


def run(count: int, seed: int) -> list[Result]:
    """Return the results of the first ``count`` cases."""
    return [result_of(seed, number) for number in range(count)]


def main(argv: Sequence[str] | None = None) -> int:
    """Run the campaign, write its table, and say whether it reaches what it must."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    options = parser.parse_args(argv)
    results = run(20 if options.short else 200, options.seed)
    quiet_s = 60.0 if options.short else 600.0
    quiet, _ = watched(case_of(options.seed, 0), quiet_s, moving=False)
    firsts = [sum(r.rank == k for r in results) for k in (1, 2)]
    share = 100.0 * sum(firsts) / len(results)
    wrong = [r for r in results if r.missed or r.strays or not 1 <= r.rank <= 2]
    text = "\n".join(
        [
            "# Intermittents of a loom that is moved, over the link",
            "",
            f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.wiggled --seed {options.seed}`, "
            f"{len(results)} looms, {os.cpu_count()} cores.",
            "",
            "| | |",
            "|---|---|",
            f"| openings that lay whole within a time of moving | {sum(r.openings for r in results)} |",
            f"| of them not told | {sum(r.missed for r in results)} |",
            f"| events of another net | {sum(r.strays for r in results)} |",
            f"| events lost on the line | {sum(r.lost for r in results)} |",
            f"| right wire or contact first; second | {firsts[0]}; {firsts[1]} |",
            f"| among the first two | {share:.1f} % |",
            f"| events in {quiet_s:.0f} s of simulated quiet | {len(quiet.result().seen)} |",
            "",
            *(f"    {each}" for each in wrong),
            "",
        ]
    )
    print(text)
    if not options.short:
        (Path(__file__).parent / "results" / "wiggled.md").write_text(text, encoding="utf-8")
    told = all(not r.missed and not r.strays for r in results)
    return 0 if told and share >= 95.0 and not quiet.result().seen else 1


if __name__ == "__main__":
    sys.exit(main())
