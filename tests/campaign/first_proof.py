"""Random looms with random opens, shorts and crossed wires, proved over the real link.

An oracle of its own (networkx on the faulted graph) says which fault sets change the nets. Those must all
fail. The rest must pass, or be undecided where this bench read a conductor above its limit by less than its
uncertainty: the graph has no ohms. How often that happens is counted, and bounded by the test of it.
"""

from __future__ import annotations

import argparse
import random
import tempfile
import time
from collections import Counter
from dataclasses import replace
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.interface import Bench
from loomproof.bench.journal import JournaledBench
from loomproof.bench.opening import open_bench
from loomproof.bench.references import Reference
from loomproof.bench.simulation import Simulation
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.loom.writing import write_folder
from loomproof.planning.request import Request
from loomproof.results.grade import Grade
from tests.cleared import cleared
from tests.looms import nets_with, random_faults, random_loom
from tests.results import table_file

POINTS = 128


def prove_once(
    loom: Loom,
    bench: Bench,
    folder: Path,
    *,
    watch_s: float = 0.0,
    grade: Grade | None = None,
    references: tuple[Reference, ...] = (),
) -> Outcome:
    """Run one proof on an open bench and return what came of it."""
    path = folder / "journal.jsonl"
    path.unlink(missing_ok=True)
    journaled = JournaledBench(bench, path, {})
    try:
        adapter = replace(in_order(loom.cavities), references=references)
        request = Request(
            loom,
            adapter,
            "campaign",
            "2026-01-01T00:00:00Z",
            watch_s=watch_s,
            grade=grade,
        )
        steps = prove(request, journaled, cleared(loom, journaled, adapter))
        while True:
            try:
                next(steps)
            except StopIteration as stop:
                outcome = stop.value
                assert isinstance(outcome, Outcome)
                return outcome
    finally:
        journaled.detach()  # the bench stays open for the next proof


def run(looms: int, seed: int) -> tuple[Counter[tuple[str, str]], list[str]]:
    """Return counts by (what the oracle says, verdict), and the misses."""
    rng = random.Random(seed)
    counts: Counter[tuple[str, str]] = Counter()
    misses: list[str] = []
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place)
        first = random_loom(random.Random(seed), 4)
        write_folder(first, folder / "loom-0")
        simulation = Simulation(folder / "loom-0", ["--points", str(POINTS), "--seed", str(seed)])
        try:
            with open_bench(str(simulation.address)) as bench:
                for number in range(1, looms + 1):
                    loom = random_loom(rng, rng.randint(4, POINTS))
                    faults = random_faults(rng, loom, rng.choice([0, 1, 1, 2, 3, 5]))
                    path = folder / f"loom-{number}"
                    write_folder(loom, path)
                    answer = simulation.tell(f"load {path}")
                    assert answer.startswith("ok"), answer
                    for fault in faults:
                        answer = simulation.tell(f"fault {fault.text}")
                        assert answer.startswith("ok"), answer
                    outcome = prove_once(loom, bench, folder)
                    changed = nets_with(loom, faults) != nets_with(loom)
                    expected = "fail" if changed else "pass"
                    verdict = str(outcome.document.verdict)
                    counts["nets changed" if changed else "nets unchanged", verdict] += 1
                    close = any(c.beyond and c.decision == "undecided" for c in outcome.document.claims)
                    if verdict != expected and not (not changed and verdict == "undecided" and close):
                        told = ", ".join(fault.text for fault in faults) or "no fault"
                        misses.append(f"seed {seed} loom {number}: {told}: {verdict}, not {expected}")
        finally:
            simulation.end()
    return counts, misses


def main(argv: list[str] | None = None) -> int:
    """Run the campaign and write its table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--looms", type=int)
    options = parser.parse_args(argv)
    looms = options.looms or (40 if options.short else 500)
    begun = time.monotonic()
    counts, misses = run(looms, options.seed)
    rows = ["| oracle (networkx) | verdict | looms |", "| --- | --- | --- |"]
    rows += [f"| {oracle} | {verdict} | {count} |" for (oracle, verdict), count in sorted(counts.items())]
    rows += ["", f"Wrong verdicts: {len(misses)} of {looms}; seed {options.seed}.", *misses]
    table_file("campaign", "first_proof", rows, time.monotonic() - begun, short=options.short)
    return 1 if misses else 0


if __name__ == "__main__":
    raise SystemExit(main())
