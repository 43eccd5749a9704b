"""Benches that seal for one server while it is killed and started again, and they with it.

Each bench is a process with a data folder, and so a station, of its own; it seals as the commands do, its
clock jumping by years between them. Benches are killed (SIGKILL) at random moments and started again, as a
person does who looks what is kept and goes on with what is not; the server is ended as by a power cut, and
comes back some runs later. At the end every run must be kept once, every chain be whole.

What keeps it cheap: a bench is one process until it is killed, which keeps the statements that it has
compiled; it opens its stores anew for every eight runs, of which each is sealed and handed over as a command
does it, and notes how far the stores have come at the end of them; looms have three wires.
"""

from __future__ import annotations

import argparse
import contextlib
import datetime
import functools
import os
import random
import select
import signal
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from unittest import mock

from loomproof.errors import StoreAwayError
from loomproof.jobs.at_hand import AtHand, at_hand
from loomproof.jobs.handing_over import check_all, hand_over_now
from loomproof.records import engine
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.outbox import AWAY, open_outbox, server_of
from loomproof.records.queries import sealed_records, sealed_runs
from loomproof.records.seal import verify
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from tests.records import postgres
from tests.reports.sample import document
from tests.results import table_file

AT_ONCE = 8
"""So many runs a bench seals before it opens its stores anew."""

NOON = datetime.datetime(2026, 1, 5, 12, tzinfo=datetime.UTC)


def names(bench: int, count: int) -> list[str]:
    """The runs of one bench."""
    return [f"b{bench}-{number:04}" for number in range(count)]


def be_bench(bench: int, address: str, count: int, seed: int, said: int) -> None:
    """Seal what of a bench's runs is not sealed yet; a line to the file ``said`` for each once it is."""
    rng = random.Random(f"{seed} {bench} {os.getpid()}")
    # An engine that was disposed of connects anew; what it keeps is how its statements are written.
    mock.patch.object(engine, "_engine", functools.cache(engine._engine)).start()
    runs = names(bench, count)
    for at in range(0, count, AT_ONCE):
        with at_hand(address, seals=True, measured=True) as hand:
            assert hand.own is not None
            there = sealed_runs(hand.own.store, runs[at : at + AT_ONCE])
            for run in runs[at : at + AT_ONCE]:
                if run not in there:
                    _seal(hand, run, rng)
                os.write(said, f"{run}\n".encode())
            try:
                hand.note(KeyFolder(home()).signer(NOON))
            except StoreAwayError as error:
                hand.leave(error)


def _seal(hand: AtHand, run: str, rng: random.Random) -> None:
    """Seal a run and hand it over; the bench's clock jumps by years from one to the next."""
    moment = NOON + datetime.timedelta(seconds=rng.uniform(-1, 1) * 3e8)
    verdict = rng.choice((Verdict.PASS, Verdict.FAIL))
    faults = rng.randint(1, 3) if verdict is Verdict.FAIL else 0
    made = document(run=run, verdict=verdict, findings=faults, started=moment.isoformat(), wires=3)
    hand.seal(made, KeyFolder(home()).signer(NOON))
    hand.hand_over()


@dataclass
class Process:
    """A bench as it runs, and the pipe by which it says what is sealed."""

    number: int
    pipe: int
    heard: bytes = b""


@dataclass
class Shop:
    """The benches as they run: their processes, and what they have said to be sealed."""

    folder: Path
    address: str
    count: int
    seed: int
    running: dict[int, Process] = field(default_factory=dict)
    sealed: set[str] = field(default_factory=set)

    def home(self, bench: int) -> Path:
        """The bench's data folder."""
        return self.folder / f"bench{bench}"

    def start(self, bench: int) -> None:
        """Start a bench as a process of its own; what is imported here need not be imported again."""
        pipe, said = os.pipe()
        number = os.fork()
        if number == 0:
            code = 1
            try:
                os.environ["LOOMPROOF_HOME"] = str(self.home(bench))
                be_bench(bench, self.address, self.count, self.seed, said)
                code = 0
            finally:
                if code:
                    traceback.print_exc()
                os._exit(code)
        os.close(said)
        self.running[bench] = Process(number, pipe)

    def hear(self) -> None:
        """Wait for the next word of any bench."""
        ready, _, _ = select.select([process.pipe for process in self.running.values()], [], [])
        for bench, process in list(self.running.items()):
            if process.pipe in ready:
                data = os.read(process.pipe, 4096)
                *lines, process.heard = (process.heard + data).split(b"\n")
                self.sealed |= {line.decode() for line in lines}
                if not data:
                    self._ended(bench, process)

    def _ended(self, bench: int, process: Process) -> None:
        del self.running[bench]
        os.close(process.pipe)
        _, status = os.waitpid(process.number, 0)
        if os.WIFSIGNALED(status):
            self.start(bench)
        elif os.WEXITSTATUS(status):
            raise RuntimeError(f"bench {bench} ended with {os.WEXITSTATUS(status)}")


def run_shop(shop: Shop, server: postgres.Server, plan: Plan, rng: random.Random) -> Counter[str]:
    """Let all benches come to their end, killing as planned; return how often what was killed."""
    killed: Counter[str] = Counter()
    benches = list(range(plan.benches))
    for bench in benches:
        shop.start(bench)
    moments = sorted(rng.sample(range(1, plan.runs), plan.bench_kills))
    every = plan.runs // (plan.server_kills + 1)
    begins = [every * (n + 1) + rng.randint(0, every // 3) for n in range(plan.server_kills)]
    outages = [(at, at + rng.randint(1, max(every // 2, 1))) for at in begins]
    told = 0
    up = True
    while shop.running:
        shop.hear()
        said = len(shop.sealed)
        if said >= told + 100:
            told = said
            print(f"{said} sealed, killed {dict(killed)}", flush=True)
        if up and outages and said >= outages[0][0]:
            server.kill()
            killed["server"] += 1
            up = False
        elif not up and said >= outages[0][1]:
            server.start()
            outages.pop(0)
            up = True
        if moments and said >= moments[0] and shop.running:
            time.sleep(rng.uniform(0, 0.2))
            os.kill(rng.choice(list(shop.running.values())).number, signal.SIGKILL)
            killed["bench"] += 1
            moments.pop(0)
    if not up:
        server.start()
    return killed


@dataclass(frozen=True)
class Plan:
    """How many of what."""

    benches: int
    runs: int
    server_kills: int
    bench_kills: int


def judged(shop: Shop, plan: Plan) -> tuple[list[str], list[str]]:
    """Hand over what is left, and return rows of what is kept, and what is wrong."""
    wrong: list[str] = []
    own: dict[str, bytes] = {}
    waited = 0
    for bench in range(plan.benches):
        with at_home(shop.home(bench)):
            hand_over_now(shop.address)
            handed = hand_over_now(shop.address)
            if handed.waiting or handed.refused or handed.trouble:
                wrong.append(f"bench {bench}: {handed}")
            with open_outbox(server_of(shop.address), home()) as outbox:
                own |= {run.run: record for run, record in sealed_records(outbox.store)}
    with open_store(shop.address) as store:
        kept = [(run, record) for run, record in sealed_records(store)]
    by_name = Counter(run.run for run, _ in kept)
    chains = {run.bench for run, _ in kept}
    wanted = {run for bench in range(plan.benches) for run in names(bench, shop.count)}
    lost, doubled = wanted - set(by_name), [run for run, times in by_name.items() if times > 1]
    changed = [run.run for run, record in kept if own.get(run.run) != record]
    for run, record in kept:
        said = verify(record, name=run.run).extras.get("remarks", [])
        waited += isinstance(said, list) and AWAY in said
    for bench in range(plan.benches):
        with at_home(shop.home(bench)):
            wrong += [f"bench {bench}: {trouble}" for trouble in check_all(shop.address, []).troubles]
    rows = [
        "| of | figure |",
        "| --- | --- |",
        f"| runs sealed by {plan.benches} benches | {len(wanted)} |",
        f"| kept on the server once | {sum(times == 1 for run, times in by_name.items() if run in wanted)} |",
        f"| lost; doubled; other bytes than were sealed | {len(lost)}; {len(doubled)}; {len(changed)} |",
        f"| chains; of which begun anew | {len(chains)}; {len(chains) - plan.benches} |",
        f"| sealed while the server was away | {waited} |",
        f"| troubles that the check of any bench names | {len(wrong)} |",
    ]
    wrong += [f"lost: {run}" for run in sorted(lost)] + [f"doubled: {run}" for run in doubled]
    wrong += [f"changed: {run}" for run in changed]
    if len(chains) != plan.benches:
        wrong.append(f"{len(chains)} chains of {plan.benches} benches")
    return rows, wrong


@contextlib.contextmanager
def at_home(folder: Path) -> Iterator[None]:
    """Have a data folder in use."""
    os.environ["LOOMPROOF_HOME"] = str(folder)
    yield


def main(argv: list[str] | None = None) -> int:
    """Run the campaign and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=20261129)
    parser.add_argument("--runs", type=int, default=2000)
    options = parser.parse_args(argv)
    plan = Plan(2, 40, 2, 4) if options.short else Plan(5, options.runs, 20, 50)
    rng = random.Random(options.seed)
    begun = time.monotonic()
    with tempfile.TemporaryDirectory() as name, postgres.running("-c fsync=off") as server:
        shop = Shop(Path(name), server.database(), plan.runs // plan.benches, options.seed)
        killed = run_shop(shop, server, plan, rng)
        rows, wrong = judged(shop, plan)
    rows += [f"| server killed; benches killed | {killed['server']}; {killed['bench']} |"]
    rows += ["", f"Seed {options.seed}.", *wrong]
    command = f"python -m tests.campaign.outbox --seed {options.seed} --runs {plan.runs}"
    table_file("campaign", "outbox", rows, time.monotonic() - begun, short=options.short, command=command)
    return 1 if wrong else 0


if __name__ == "__main__":
    raise SystemExit(main())
