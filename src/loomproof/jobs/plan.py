"""What a proof will ask, before anything is plugged; nothing is driven."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path

from loomproof.bench import opening
from loomproof.bench.adapter import Adapter, in_order, read_adapter
from loomproof.bench.adapter_fit import check_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, Identity
from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, Expectation, expect
from loomproof.errors import InputError, Problem, Todo, UsageError
from loomproof.jobs.gate import selftests
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.measuring import selftests_kept
from loomproof.measuring.plausibility import temperature_of
from loomproof.measuring.preparing import meter_as_proved
from loomproof.notebook import Shown
from loomproof.planning.hookup_plan import HookUpPlan
from loomproof.planning.hookup_search import Constraints, NotPossibleError, plan_hook_ups
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.plan_json import SavedPlan, read_saved
from loomproof.planning.reach import Advice, reach_of
from loomproof.planning.request import Request
from loomproof.reports.words import duration, plural
from loomproof.results.document import Verdict
from loomproof.results.figures import ohms
from loomproof.results.grade import Grade

__all__ = [
    "BenchToPlanFor",
    "Constraints",
    "HookUpPlan",
    "NotPossibleError",
    "Plan",
    "PlannedProof",
    "bench_at",
    "bench_to_plan_for",
    "for_more",
    "hook_ups",
    "hook_ups_or_split",
    "proof",
    "saved_plan",
]


@dataclass(frozen=True)
class BenchToPlanFor:
    """What a bench says of itself; ``temperature_c`` is ``None`` where nothing measures it."""

    able: Capabilities
    temperature_c: float | None = None
    simulated: bool = False
    identity: Identity | None = None
    """Who it is; ``None`` where none was asked."""

    def expect(self, loom: Loom) -> Expectation:
        """Return what the loom should be, at this bench's temperature."""
        return expect(loom, ROOM_TEMPERATURE_C if self.temperature_c is None else self.temperature_c)


_SUPPOSED = "No bench was asked, so this is the plan of a scanner that only senses: name yours for its ohms."


@dataclass(frozen=True)
class PlannedProof(Shown):
    """A plan, as it is saved, and what of the loom it leaves out."""

    plan: Plan
    saved: SavedPlan
    warnings: tuple[Problem, ...]
    reading_ms: float | None = None
    """What the bench takes for a reading, ms; ``None`` where a person reads, or no bench was asked."""
    supposed: bool = False
    """No bench was asked: a scanner that senses and measures nothing is planned for."""

    @property
    def vectors(self) -> Iterator[tuple[str, ...]]:
        """A row of counts for each vector: its number, points driven, to read low, high, and either."""
        for number, vector in enumerate(self.plan.vectors):
            either = self.plan.scope.points & ~vector.must_low & ~vector.must_high
            masks = (vector.drive, vector.must_low, vector.must_high, either)
            yield str(number), *(str(mask.bit_count()) for mask in masks)

    @property
    def readings(self) -> Iterator[tuple[str, ...]]:
        """A row of texts for each resistance asked: from, to, what is expected, its limit, the wires seen."""
        for reading in self.plan.conductors:
            wider = "" if reading.decided else f", shown under {ohms(reading.shown_ohm)}"
            limit = f"{ohms(reading.limit_ohm)}{wider}"
            yield str(reading.a), str(reading.b), ohms(reading.expected_ohm), limit, " ".join(reading.seen)
        for part in self.plan.parts:
            limits = f"{ohms(part.lower_ohm)} to {ohms(part.upper_ohm)}"
            limits = "one way only" if part.part.forward_v else limits
            yield str(part.part.a), str(part.part.b), part.part.component, limits, ""

    @property
    def isolation(self) -> Iterator[str]:
        """What is read between conductors, and what this bench can't be asked, in sentences."""
        made = self.plan
        if made.by_beep:
            yield (
                "Asked by the beep of a meter, net against net. Not asked: isolation above the beep, and "
                "contacts that come and go."
            )
            if made.meter is not None and made.meter.repeats > 1 and (made.conductors or made.parts):
                yield f"Each value in ohms is asked for {made.meter.repeats} times."
            return
        if made.meter is None:
            yield (
                f"{_SUPPOSED if self.supposed else 'This bench has no ohms.'} Not asked: resistance of wires "
                "and joints, values of parts, isolation above the sense thresholds. A short, a part and a "
                "leak read alike."
            )
            return
        if not made.vectors:
            yield (
                "This bench has no sense: which cavities are one conductor is told by ohms alone. Not asked: "
                "contacts that come and go, and whether readings stay the same."
            )
        both = "" if made.vectors else ", with the current both ways round"
        readings = plural(made.isolation_readings, "reading")
        if made.isolation_ohm is not None:
            yield f"Isolation: every conductor above {ohms(made.isolation_ohm)}, {readings} in all{both}."
        else:
            yield "Isolation is not measured in ohms: this meter does not reach it."
        controls = plural(made.control_readings, "reading")
        known = f"up to {controls} of pairs that are known by then"
        yield f"Controls: {known}, to see that the meter reads them so."
        yield self._effort(made.meter.repeats)

    def _effort(self, repeats: int) -> str:
        """Return how many readings a sound loom takes, and how long they take by the bench's own time."""
        made = self.plan
        # Of four wires two are read once besides: an open sense lead would read anything.
        count = sum(repeats + (reading.wires == 4) for reading in made.conductors)
        count += repeats * len(made.parts) + made.isolation_readings + made.control_readings
        often = "once" if repeats == 1 else f"{repeats} times"
        more = ", some more for parts" if made.parts else ""
        said = f"Each resistance is read {often}: about {plural(count, 'reading')} of a sound loom{more}"
        if self.reading_ms is None:
            return f"{said}."
        each = f"{self.reading_ms:g} ms each"
        takes_s = count * self.reading_ms / 1000
        takes = duration(takes_s) if takes_s >= 1.0 else "under 1 s"
        return f"{said}, {takes} at {each}; senses and the line add to it."

    @property
    def reached(self) -> tuple[str, tuple[Advice, ...]]:
        """Which grade a sound loom reaches on this bench, as a sentence, and what would reach the next."""
        reach = reach_of(self.plan)
        said = ""
        if reach.total:
            said = f": {reach.decided} of {reach.total} limits are decided for every sound joint and part"
            if reach.decided < reach.total:
                said += f", each sound joint is shown to be under {ohms(reach.shown_ohm)}"
        advice = () if reach.grade is Grade.WIRE else reach.advice
        bench = "such a bench" if self.supposed else "this bench"
        return f"A sound loom reaches grade {reach.grade} on {bench}{said}.", advice


def for_more(outcome: Outcome) -> tuple[Advice, ...]:
    """Return what would have brought a pass a better grade: of this loom, on this bench, as it was asked.

    Nothing for the best grade, and for what is no pass: its reasons say what there is to do.
    """
    document = outcome.document
    if document.verdict is not Verdict.PASS or document.grade in (None, Grade.WIRE):
        return ()
    advice = list(reach_of(outcome.plan).advice)
    measured = outcome.measured
    if unswept := len(measured.unswept):
        advice.insert(0, Advice(f"Sweep the {plural(unswept, 'pair')} of nets that were left out."))
    if untold := [name for name in measured.untold_parts if name not in outcome.plan.unmeasured_parts]:
        them = "it" if len(untold) == 1 else "each"
        advice.insert(0, Advice(f"Take {', '.join(untold)} out and meter {them} alone: no reading told."))
    return tuple(advice)


def bench_at(
    address: str | None, loom: Loom, *, loom_path: Path, points: int | None = None
) -> BenchToPlanFor:
    """Ask the bench at this address what it can do; without one it is a scanner of so many points."""
    if address is None:
        return BenchToPlanFor(Capabilities(points or max(1, len(loom.cavities))))
    with opening.open_bench(address, loom_path=loom_path) as bench:
        return bench_to_plan_for(bench)


def bench_to_plan_for(bench: Bench) -> BenchToPlanFor:
    """Ask an open bench what it can do; nothing is driven."""
    return BenchToPlanFor(
        bench.capabilities(), temperature_of(bench), bench.opening.simulated, bench.identify()
    )


def proof(
    loom: Loom, bench: BenchToPlanFor, adapter: Adapter | str | None = None, repeats: int = 1
) -> PlannedProof:
    """Plan a proof of this loom, all of it plugged at once, through an adapter, its table, or in order.

    Each resistance is read ``repeats`` times. Raises `AdapterError` where the adapter fits neither loom nor
    bench, `UsageError` for repeats on a bench that measures no ohms, or on none.
    """
    leads = (
        adapter
        if isinstance(adapter, Adapter)
        else in_order(loom.cavities)
        if adapter in (None, "in-order")
        else read_adapter(Path(str(adapter)))
    )
    meter = None if bench.identity is None else _meter(loom, bench, bench.identity, leads, repeats)
    if meter is None and repeats > 1:
        raise UsageError(
            f"{repeats} repeats of no reading: "
            f"{'no bench was asked' if bench.identity is None else 'this bench measures no ohms'}",
            cure="Plan for a bench that measures ohms.",
        )
    warnings = check_adapter(leads, loom.cavities, bench.able.points)
    isolation_ohm = loom.settings.isolation_ohm
    made = plan_proof(bench.expect(loom), leads.point_of, bench.able, meter, isolation_ohm=isolation_ohm)
    saved = SavedPlan(plan=made, loom=loom.name, loom_digest=loom.digest, adapter_digest=leads.digest)
    by_person = bench.able.beep_ohm is not None or meter is None
    supposed = bench.identity is None
    return PlannedProof(made, saved, warnings, None if by_person else bench.able.reading_ms, supposed)


def _meter(
    loom: Loom, bench: BenchToPlanFor, identity: Identity, leads: Adapter, repeats: int
) -> Meter | None:
    """Return what this bench's ohms are worth to a proof today, self-tests and zeroing counted."""
    standing = None if bench.simulated else selftests_kept.standing(selftests(), identity, leads.wiring)
    return meter_as_proved(
        identity,
        bench.able,
        Request(
            loom,
            leads,
            run="",
            started=datetime.now(UTC).isoformat(timespec="milliseconds"),
            repeats=repeats,
        ),
        bench.temperature_c,
        simulated=bench.simulated,
        repeatability_ohm=0.0 if standing is None else standing.repeatability_ohm or 0.0,
        reproducibility_ohm=0.0 if standing is None else standing.reproducibility_ohm,
    )


def hook_ups(loom: Loom, points: int, limits: Constraints) -> HookUpPlan:
    """Plan hook-ups of this loom on so many points. Raises `NotPossibleError`."""
    return plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], points, limits)


def hook_ups_or_split(
    loom: Loom,
    points: int,
    limits: Constraints,
    refused: Callable[[NotPossibleError], object] = lambda _: None,
) -> tuple[HookUpPlan, Constraints, NotPossibleError | None]:
    """Plan hook-ups; where there are none, with the leads of the connector to blame split in groups.

    ``refused`` is told at once why there is none as it was asked for. Returns the plan, what it is bound to,
    and that reason. Raises `NotPossibleError` where splitting that connector does not help either.
    """
    try:
        return hook_ups(loom, points, limits), limits, None
    except NotPossibleError as error:
        if not error.connector or error.connector in limits.split:
            raise
        refused(error)
        freed = replace(limits, split=(*limits.split, error.connector))
        try:
            return hook_ups(loom, points, freed), freed, error
        except NotPossibleError:
            raise error from None


def saved_plan(path: Path, loom: Loom) -> Plan:
    """Read a saved plan. Raises `InputError` for what is none, or was made for another description."""
    try:
        text = path.read_bytes()
    except OSError as error:
        raise InputError(f"the plan {path} can't be read: {error.strerror}", do=Todo.PLAN) from None
    saved = read_saved(text, str(path))
    if saved.loom_digest != loom.digest:
        raise InputError(
            f"the plan {path} was made for another description of {saved.loom}",
            cure="Make the plan again.",
            do=Todo.PLAN,
        )
    return saved.plan
