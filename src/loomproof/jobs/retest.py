"""A retest: what a repair can have touched, proved again and judged as a proof is; no certificate."""

from __future__ import annotations

import json
from collections.abc import Collection, Generator, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from loomproof.bench.adapter import write_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.journal import ReplayBench
from loomproof.electrics.expectation import Expectation, expect
from loomproof.errors import (
    AdapterError,
    BrokenOffError,
    JournalError,
    LinkError,
    ReplayError,
    Todo,
    UnfitError,
    UsageError,
    suggestion,
)
from loomproof.jobs import journal_header as headers
from loomproof.jobs.at_bench import Setup, journaled
from loomproof.jobs.at_bench import reached as reached_bench
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.by_hand import answered, clock_of, known_meter, written
from loomproof.jobs.files import folder_for
from loomproof.jobs.gate import CAUTIONS, cleared
from loomproof.jobs.hookups import adapter_of
from loomproof.jobs.keep import begun, ended
from loomproof.jobs.known_farads import with_known_farads
from loomproof.jobs.plugging import plugging
from loomproof.judgement.claims import claims_of
from loomproof.judgement.conclude import found_in, judged
from loomproof.judgement.verdict import Judgement
from loomproof.loom.model import End, Loom
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Finished, Prompt, finish
from loomproof.measuring.merge_hookups import merged_measured, merged_plan
from loomproof.measuring.placing import followed
from loomproof.measuring.preparing import prepare
from loomproof.measuring.run import run_plan
from loomproof.planning.hookup_search import Constraints, plan_hook_ups
from loomproof.planning.plan import Plan
from loomproof.planning.request import Request
from loomproof.planning.retest_plan import plan_retest, touched_ends, touched_nets
from loomproof.reports.words import plural
from loomproof.results.codec import fault_of
from loomproof.results.document import Document
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from loomproof.results.places import KnownFarads


@dataclass(frozen=True, slots=True)
class Retested:
    """What a retest says of the ``reached`` cavities, those of ``nets`` of the loom's ``of_nets`` nets.

    ``simulated``: the bench was, so it says nothing of a real loom.
    """

    judgement: Judgement
    findings: tuple[Finding, ...]
    measured: Measured
    reached: tuple[End, ...]
    nets: int
    of_nets: int
    simulated: bool

    @property
    def other_reasons(self) -> tuple[str, ...]:
        """Why the verdict is what it is, besides the findings."""
        titles = {finding.title for finding in self.findings}
        return tuple(reason for reason in self.judgement.reasons if reason not in titles)


@dataclass(frozen=True)
class _Part:
    """What was asked again with one hook-up, and what was found."""

    clearance: Clearance
    expectation: Expectation
    plan: Plan
    measured: Measured
    known: KnownFarads | None


def retest(
    request: Request, touched: Iterable[End], bench: Bench, clearance: Clearance
) -> Generator[Event, None, Retested]:
    """Prove again the nets of the touched cavities; ``request`` holds the answers of the run before.

    Raises `AdapterError` where no point goes to a cavity that the repair can have touched, and as
    `loomproof.jobs.prove.prove` does.
    """
    ends = tuple(touched)
    reached = _reached(request, expect(request.loom), ends)
    part = yield from _asked_again(request, ends, bench, clearance)
    return _judged(request, ends, [part], reached)


def _asked_again(
    request: Request, ends: tuple[End, ...], bench: Bench, clearance: Clearance
) -> Generator[Event, None, _Part]:
    """Ask again what the request's adapter reaches of the nets of these cavities."""
    ready = yield from prepare(request, bench, clearance)
    expectation = ready.expectation
    nets = touched_nets(expectation, ends)
    plan = plan_retest(ready.plan, expectation, nets)
    measured = yield from run_plan(
        plan,
        expectation,
        bench,
        clearance,
        untouched=frozenset(range(len(expectation.nets))) - nets,
        references=request.adapter.references,
    )
    measured = yield from followed(request, plan, expectation, bench, clearance, measured)
    bench.confirm()
    return _Part(clearance, expectation, plan, measured, request.known_farads)


def _judged(
    request: Request, ends: tuple[End, ...], parts: Sequence[_Part], reached: tuple[End, ...]
) -> Retested:
    """Judge one or several hook-ups as one, of which only these nets were asked."""
    last = parts[-1]
    expectation, able = last.expectation, last.clearance.capabilities
    nets = touched_nets(expectation, ends)
    plan = merged_plan(expectation, [part.plan for part in parts], able.clear_ohm)
    measured = merged_measured(expectation, [part.measured for part in parts])
    asked = {end for net in nets for end in expectation.nets[net].cavities}
    # What has no point was not asked for here: the rest of the loom rests on the proof before.
    unmet = tuple(pair for pair in measured.unmet if asked & set(pair))
    measured = replace(measured, untested=(), unmet=unmet)
    findings = found_in(request, expectation, plan, measured, last.known)
    claims = claims_of(plan, measured, able, expectation)
    said = judged(request, plan, measured, findings, claims, last.clearance)
    simulated = last.clearance.simulated
    return Retested(said, findings, measured, reached, len(nets), len(expectation.nets), simulated)


def _reached(request: Request, expectation: Expectation, ends: tuple[End, ...]) -> tuple[End, ...]:
    """Return the cavities that a retest says something about, before anything is driven."""
    reached = _asked(request.loom, expectation, ends)
    for end in reached:
        if end not in request.adapter.point_of:
            raise AdapterError(
                f"no point goes to {end}, which the repair can have touched",
                cure="Take an adapter that reaches it, or go plug by plug.",
                do=Todo.HOOK_UPS,
            )
    return reached


def _asked(loom: Loom, expectation: Expectation, ends: tuple[End, ...]) -> tuple[End, ...]:
    """Return the cavities on the nets of these, in the order of the loom."""
    asked = {end for net in touched_nets(expectation, ends) for end in expectation.nets[net].cavities}
    return tuple(end for end in loom.cavities if end in asked)


def retest_after(
    before: Document,
    request: Request,
    setup: Setup,
    also: Iterable[End] = (),
    numbers: Collection[int] = (),
    limits: Constraints | None = None,
) -> Generator[Event, None, Retested]:
    """Prove again, on this bench, what the repairs of a run can have touched.

    ``request`` is asked for as a proof is; its answers and serial are those of the run, and so is what
    repairs had taught: a finding that is still there looks first where the run did. ``numbers`` are the
    findings that were mended (from 1), all where none is named; ``also`` are cavities that were worked at
    besides. With ``limits`` it goes plug by plug, with no more hook-ups than the touched nets want, and the
    request's adapter is not used. Only journals are kept. Raises `UsageError` where the run was proved
    against another description or there is nothing to retest, `SafetyError` where the bench is not cleared
    for this loom, and as `retest` does.
    """
    loom = request.loom
    if before.loom.digest != loom.digest and before.loom.name != loom.name:
        raise UsageError(
            f"the run {before.run} is of {before.loom.name}, and this description is that of {loom.name}",
            cure="Name a run of this loom.",
        )
    if before.loom.digest != loom.digest:
        raise UsageError(
            f"the run {before.run} was proved against another description of {before.loom.name}",
            cure="Prove the whole loom against this one.",
        )
    ends = tuple(sorted(touched_ends(loom, *worked_at(before, loom, also, numbers))))
    if not ends:
        raise UsageError(
            f"the run {before.run} found nothing to repair", cure="Name the cavities that were worked at."
        )
    yield CAUTIONS
    out = setup.where.out
    folder_for(out)
    name = f"{request.run}.retest"
    request = replace(
        request,
        run=name,
        answers=before.loom.answers,
        serial=before.loom.serial,
        learned=before.learned,
    )
    asking = _Asking(before.run, setup)
    if limits is None:
        reached = _reached(request, expect(loom), ends)
        parts = [(yield from asking.part(request, ends, out / f"{name}.journal.jsonl"))]
    else:
        expectation = expect(loom)
        reached = _asked(loom, expectation, ends)
        parts = yield from asking.plug_by_plug(request, ends, expectation, limits)
    found = _judged(request, ends, parts, reached)
    ended(request)
    yield Finished(name, found.judgement.verdict)
    return found


@dataclass(frozen=True)
class _Asking:
    """Where a retest is asked, and who plugs."""

    before: str
    setup: Setup

    def part(
        self, request: Request, ends: tuple[End, ...], journal: Path, table: Path | None = None
    ) -> Generator[Event, None, _Part]:
        """Ask again what one adapter reaches; ``table`` is its file, for a simulator of our own."""
        setup, operator = self.setup, self.setup.operator
        at = known_meter(setup.at, operator)
        with told_when_stopped(journal), reached_bench(at, setup.loom_path, table) as raw:
            clearance = yield from cleared(request, raw, operator, setup.assured)
            request = yield from answered(
                raw,
                request,
                clearance,
                operator,
                f"retest of {self.before}",
                lambda: _asked_again(request, ends, raw, clearance),
            )
            request = with_known_farads(request, clearance, setup.where.store)
            begun(request, journal, setup.where.store)
            said = {"retest": self.before, "touched": [str(end) for end in ends]}
            header = {**headers.run_header(request, clearance), **said}
            with journaled(raw, journal, header, clock=clock_of(raw)) as bench:
                part = yield from _asked_again(request, ends, bench, clearance)
            written(raw)
            return part

    def plug_by_plug(
        self, request: Request, ends: tuple[End, ...], expectation: Expectation, limits: Constraints
    ) -> Generator[Event, None, list[_Part]]:
        """Ask again over as many hook-ups as the nets of these cavities want. Raises `BrokenOffError`."""
        setup, out = self.setup, self.setup.where.out
        with setup.reached() as bench:
            points = bench.capabilities().points
        nets = [net.cavities for net in expectation.nets]
        plan = plan_hook_ups(request.loom, nets, points, limits, only=touched_nets(expectation, ends))
        parts: list[_Part] = []
        for k, hook_up in enumerate(plan.hook_ups):
            adapter = adapter_of(plan, k)
            table = out / f"{request.run}.hook-up-{k + 1}.adapter.csv"
            write_adapter(adapter, table)
            lines = (*plugging(hook_up), f"The same as an adapter table: {table}")
            yield Prompt(f"\nHook-up {k + 1} of {len(plan.hook_ups)}:", lines)
            if setup.by_person and not setup.operator.plug(hook_up, k + 1):
                raise BrokenOffError(
                    f"the retest stopped before hook-up {k + 1} of {len(plan.hook_ups)}; nothing is claimed",
                    cure="Start it again.",
                )
            journal = out / f"{request.run}.hook-up-{k + 1}.journal.jsonl"
            mine = replace(request, adapter=adapter)
            part = yield from self.part(mine, ends, journal, table)
            first = (parts or [part])[0].clearance
            now = part.clearance
            if (first.identity, first.capabilities) != (now.identity, now.capabilities):
                raise UnfitError("this is another bench than the retest was begun on", cure="Start it again.")
            parts.append(part)
        return parts


def retests_in(out: Path, run: str) -> Iterator[Path]:
    """Yield the journals of the retests after a run in a folder of results, the last first.

    Those plug by plug are left out: none of their journals holds all of a retest.
    """
    for path in sorted(out.glob("*.retest.journal.jsonl"), reverse=True):
        with suppress(OSError, ValueError, KeyError, TypeError), path.open("rb") as file:
            if json.loads(file.readline())["run"]["retest"] == run:
                yield path


def replayed(journal: Path, loom: Loom) -> Retested:
    """Work a retest out again from its journal, without a bench; the same, finding by finding.

    Raises `ReplayError` for a journal of another description, or whose header says too little of what was
    asked, `JournalError` where it ends before the retest did.
    """
    bench = ReplayBench(journal)
    header = {name: said for name, said in bench.run.items() if name != "retest"}
    request = headers.request_from(header, loom)
    try:
        ends = _TOUCHED.validate_python(header.get("touched"))
        part = finish(_asked_again(request, ends, bench, headers.replayed_clearance(bench, request)))
    except ValidationError as error:
        raise ReplayError(f"{journal}: its header can't be used: {fault_of(error)}") from None
    except LinkError as error:
        raise JournalError(f"{journal} holds a retest that was broken off: {error.message}") from None
    return _judged(request, ends, [part], _asked(loom, expect(loom), ends))


_TOUCHED: TypeAdapter[tuple[End, ...]] = TypeAdapter(tuple[End, ...])


def worked_at(
    before: Document, loom: Loom, also: Iterable[End], numbers: Collection[int] = ()
) -> tuple[list[End], list[str]]:
    """Return the cavities and wires of a run's faults, and what was named besides. Raises `UsageError`.

    ``numbers`` are the findings that are meant, from 1; without any, all faults are.
    """
    named = list(also)
    strangers = [end for end in named if end not in loom.cavities]
    if strangers:
        raise UsageError(
            f"{strangers[0]} is said to have been worked at: the loom has no such cavity",
            cure=suggestion(str(strangers[0]), map(str, loom.cavities)),
        )
    for number in numbers:
        if not 1 <= number <= len(before.findings):
            raise UsageError(
                f"the run {before.run} has {plural(len(before.findings), 'finding')}, there is no finding "
                f"{number}",
                cure="Give the number that the run's findings show.",
            )
    faults = [finding for finding in before.findings if finding.severity.value == "fault"]
    if numbers:
        faults = [before.findings[number - 1] for number in numbers]
    cavities = [end for finding in faults for end in finding.cavities]
    parts = [loom.component_by_name[n] for f in faults for n in f.components if n in loom.component_by_name]
    cavities += [end for part in parts for end in part.ends]
    return [*cavities, *named], [wire for finding in faults for wire in finding.wires]
