"""Proving a loom that is plugged whole: from an address, or an open bench, to a document, or a sealed record.

    description ─▶ expectation ─▶ plan ─▶ readings ─▶ measured loom ─▶ findings ─▶ document

The same journal gives the same document, byte for byte: times come from the request and the journal, nothing
from the wall clock or chance.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import replace
from pathlib import Path

from loomproof.bench.capability_report import MOST_POINTS
from loomproof.bench.interface import Bench, TimedBench
from loomproof.errors import AdapterError, Todo
from loomproof.jobs import journal_header as headers
from loomproof.jobs.at_bench import Setup, journaled, reached
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.by_hand import answered, clock_of, known_meter, written
from loomproof.jobs.gate import CAUTIONS, Assured, cleared, hand_for, touch_of
from loomproof.jobs.keep import Kept, begun, can_be_kept, keep
from loomproof.jobs.known_farads import with_known_farads
from loomproof.jobs.operator import Operator
from loomproof.jobs.teaching import with_learned
from loomproof.judgement.conclude import Outcome, conclude
from loomproof.judgement.inspection import ITEMS, looked_over
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Progress, Prompt
from loomproof.measuring.measure import measure
from loomproof.planning.request import Request


def prove(request: Request, bench: TimedBench, clearance: Clearance) -> Generator[Event, None, Outcome]:
    """Prove one loom on one bench, all of it plugged at once.

    Raises `SafetyError` without a clearance for this loom on this bench, `AdapterError` where adapter, loom
    and bench do not fit, `UnfitError` where the bench's own check fails, and the bench's errors. The caller's
    ``with bench`` releases every point.
    """
    part = yield from measure(request, bench, clearance)
    yield Progress("explaining what was found")
    return conclude(request, (part,))


def _by_hand(request: Request, bench: Bench, clearance: Clearance) -> Generator[Event, None, object]:
    """Measure on a person's bench, which keeps the time itself."""
    assert isinstance(bench, TimedBench)
    return measure(request, bench, clearance)


def prove_on(
    request: Request, bench: Bench, journal: Path, operator: Operator, assured: Assured, store: str | None
) -> Generator[Event, None, Outcome]:
    """Clear an open bench for this request, prove on it, and write the journal; the bench stays open.

    What the operator saw of a real loom comes before what the request says of it. ``store`` is the one that
    the run is noted for as begun. Raises as `prove` does, and `SafetyError` where it is not cleared.
    """
    fits(request, bench)
    clearance = yield from cleared(request, bench, operator, assured)
    hand = hand_for(bench, operator)
    if hand is not operator and request.probed:
        yield Prompt("The simulator itself holds the probe on each end without a point.")
    if not clearance.simulated and not looked_over(request.inspection):
        seen = operator.inspect(ITEMS).lines
        request = replace(request, inspection=(*seen, *request.inspection))
    request = yield from answered(
        bench, request, clearance, operator, "proof", lambda: _by_hand(request, bench, clearance)
    )
    request = with_known_farads(request, clearance, store)
    request = yield from with_learned(request, clearance, store)
    begun(request, journal, store)
    header = headers.run_header(request, clearance)
    with journaled(bench, journal, header, touch_of(request.loom, hand), clock_of(bench)) as noted:
        outcome = yield from prove(request, noted, clearance)
    written(bench)
    return outcome


def prove_and_keep(request: Request, setup: Setup) -> Generator[Event, None, Kept]:
    """Prove on this bench, seal the record into the store, and write the files.

    Raises `SafetyError` where the bench is not cleared for this loom, `BrokenOffError` where an order to
    stop came, and as `prove` does.
    """
    yield CAUTIONS
    where, operator = setup.where, setup.operator
    yield from can_be_kept(where, request)
    journal = where.out / f"{request.run}.journal.jsonl"
    with told_when_stopped(journal):
        with reached(known_meter(setup.at, operator), setup.loom_path) as bench:
            outcome = yield from prove_on(request, bench, journal, operator, setup.assured, where.store)
        if request.insulation is not None:
            yield Prompt("The insulation test has ended; no test voltage is on the loom any more.")
        return (yield from keep(outcome, journal, where))


def fits(request: Request, bench: Bench) -> None:
    """Refuse, with the way out, a loom that has more cavities than the bench points: `AdapterError`."""
    points, cavities = bench.capabilities().points, len(request.loom.cavities)
    if max(request.adapter.points) > points and cavities > points:
        raise AdapterError(
            f"the loom has {cavities} cavities and the bench {points} points"
            + (", as many as the scanner link goes up to" if points == MOST_POINTS else ""),
            cure="Prove it hook-up by hook-up, plug by plug.",
            do=Todo.HOOK_UPS,
        )
