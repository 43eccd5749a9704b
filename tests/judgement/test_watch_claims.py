"""A watch on the sealed record: a claim with its figures, net by net, and never that there is nothing."""

from __future__ import annotations

import math
import tempfile
from dataclasses import replace
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Watch
from loomproof.bench.scanner import ScannerBench
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.jobs.at_bench import journaled
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.measuring.merge_hookups import merged_measured
from loomproof.planning.request import Request
from loomproof.reports.stated import facts
from loomproof.results.document import Verdict
from loomproof.results.measured import Decision, Measured
from loomproof.results.wiggled import NetWatched, Wiggled
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine, sim_bench
from tests.bench.torture import FIXTURES
from tests.cleared import cleared

LAMP = load(FIXTURES / "tail_lamp").loom
WATCH_US = 300
"""The simulator's shortest cycle, by its notes."""


def proved(raw: ScannerBench, clock: Clock, watch_s: float) -> Outcome:
    request = Request(LAMP, in_order(LAMP.cavities), "run", "2026-01-01T00:00:00Z", watch_s=watch_s)
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "journal.jsonl"
        with journaled(raw, path, {"run": "run"}, clock=clock) as bench:
            return finish(prove(request, bench, cleared(LAMP, bench, meter_v=0.0)))


def outcome(watch_s: float, *faults: str) -> Outcome:
    scanner, clock = Scanner(LAMP, Make(16), faults=faults, seed=1), Clock()
    with sim_bench(scanner, clock=clock) as bench:
        return proved(bench, clock, watch_s)


def test_a_quiet_watch_is_a_claim_with_its_figures() -> None:
    document = outcome(4.0).document
    assert document.verdict is Verdict.PASS
    watch = document.watch
    assert watch is not None
    assert {net.touches_s for net in watch.nets} == {4.0}
    assert {net.breaks_s for net in watch.nets if len(net.cavities) > 1} == {4.0}
    assert {net.breaks_s for net in watch.nets if len(net.cavities) == 1} <= {0.0}
    assert {frozenset(net.cavities) for net in watch.nets} == {
        frozenset(net.cavities) for net in expect(LAMP).nets
    }
    assert watch.shortest_us is not None
    assert watch.shortest_us >= WATCH_US
    assert (watch.lost, watch.unwatched_s) == (0, 0.0)
    (claim,) = [each for each in document.claims if each.subject == "all nets, while watched"]
    assert claim.decision is Decision.PASS
    assert f"what lasts {watch.shortest_us} µs is surely seen, what is shorter may not be" in claim.statement
    assert "parted in 4 s, and no two" in claim.statement
    assert "whether the loom was moved in that time the bench cannot see" in claim.statement
    assert not any("of being moved" in text for text in document.not_tested)
    assert any(f"less than {watch.shortest_us} µs, or more rarely" in text for text in document.not_tested)
    assert "no intermittent" not in str(document.plain()).lower()
    rows = {row[0]: row[1] for _, section in facts(document) for row in section}
    assert rows["watched"] == f"4 s of 4 s; shortest change surely seen {watch.shortest_us} µs"


def test_without_a_watch_nothing_of_one_is_written() -> None:
    document = outcome(0.0).document
    assert document.watch is None
    assert "watch" not in document.plain()
    assert all(each.subject != "all nets, while watched" for each in document.claims)
    assert any("nothing was watched" in text for text in document.not_tested)


def test_a_contact_that_comes_and_goes_fails_the_claim_with_its_cavities() -> None:
    document = outcome(4.0, "loose LAMP:2 4 Hz").document
    (claim,) = [each for each in document.claims if each.subject == "all nets, while watched"]
    assert claim.decision is Decision.FAIL
    assert "LAMP:2" in map(str, claim.cavities)
    assert "readings changed while it was watched" in claim.statement


class Narrow(ScannerBench):
    """A line that carries the heads and two sets: the others take their turn."""

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Watch) and len(question.sets) > 3:
            raise UnfitError("too long for one line")
        return super()._answer(question)


def test_what_takes_turns_is_claimed_for_its_turn_only() -> None:
    scanner, clock = Scanner(LAMP, Make(16), seed=1), Clock()
    line = SimLine(Device(scanner), clock, Noise(Harm()))
    narrow = Narrow(lambda: line, "sim:", clock=clock)
    narrow.connect()
    with narrow:
        found = proved(narrow, clock, 4.0)
    watch = found.document.watch
    assert watch is not None
    shares = math.ceil(len(found.plan.vectors) / 2)
    assert len(found.plan.vectors) > 2
    touches = {net.touches_s for net in watch.nets}
    assert touches == {4.0 / 2 ** math.ceil(math.log2(shares))}
    assert {net.breaks_s for net in watch.nets if len(net.cavities) > 1} == {4.0}


def test_of_hook_ups_each_claims_what_it_had_and_one_without_a_watch_takes_all() -> None:
    found = outcome(4.0)
    measured, watch = found.measured, found.measured.watch
    assert watch is not None
    worse = replace(watch, shortest_us=9_999, lost=2, unwatched_s=1.5, nets=(NetWatched((), 2.5, 2.5),))
    merged = _merged(found, measured, replace(measured, watch=worse))
    assert merged is not None
    assert (merged.shortest_us, merged.lost, merged.unwatched_s) == (9_999, 2, 1.5)
    assert len(merged.nets) == len(watch.nets) + 1
    assert _merged(found, measured, replace(measured, watch=None)) is None


def _merged(found: Outcome, one: Measured, other: Measured) -> Wiggled | None:
    return merged_measured(expect(LAMP), [one, other]).watch
