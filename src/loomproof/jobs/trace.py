"""Tracing: find out what an unknown loom is, and write it down as a loom folder."""

from __future__ import annotations

from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.bench.adapter import Adapter
from loomproof.bench.address import HandAddress, parse_address
from loomproof.bench.interface import Bench
from loomproof.bench.seam import point_set
from loomproof.electrics.expectation import ROOM_TEMPERATURE_C
from loomproof.errors import Todo, UsageError
from loomproof.jobs.adapters import refuse_strangers
from loomproof.jobs.at_bench import BenchAt, journaled, reached, starts_its_own
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.files import now, rfc3339, run_name, write_file
from loomproof.jobs.gate import CAUTIONS, Assured, cleared
from loomproof.jobs.keep import begun, ended
from loomproof.jobs.merging import lay_over, shell
from loomproof.jobs.operator import Operator
from loomproof.loom.model import End, Hazard, Loom
from loomproof.loom.writing import write_folder
from loomproof.measuring import trace as tracing
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Finished
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.plausibility import temperature_of
from loomproof.measuring.preparing import checked, cleared_meter
from loomproof.measuring.reference_check import refuse_wrong_references
from loomproof.measuring.trace import Seen, Traced, together
from loomproof.measuring.traced_loom import fitted_loom, loom_of, questions_of
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.request import Request
from loomproof.planning.suspects import single_points
from loomproof.reports.words import plural

NOTHING_YET = Traced((), {}, (), True)


QUESTIONS = "questions.md"
"""The file of a traced loom's folder in which its questions stand."""


def asked_in_file(name: str, questions: Iterable[str]) -> bytes:
    """Return questions as a text to be answered in pencil or in an editor: a box before each."""
    lines = [f"# What the owner of {name} can tell", "", *(f"- [ ] {each}" for each in questions)]
    return ("\n".join(lines) + "\n").encode()


@dataclass(frozen=True)
class TracedLoom:
    """A loom as it was traced, what only its owner can know, and the journals of what was read."""

    loom: Loom
    found: Traced
    questions: tuple[str, ...]
    journals: tuple[Path, ...]

    @property
    def summary(self) -> str:
        """What was found and what was asked for it, in a sentence."""
        found = self.found
        joined = sum(len(net) > 1 for net in found.nets)
        single = len(found.nets) - joined
        cavities = plural(len(self.loom.cavities), "cavity", "cavities")
        return (
            f"{cavities}: {plural(joined, 'net')} of two or more, "
            f"{plural(single, 'single cavity', 'single cavities')}, {plural(len(found.parts), 'part')}; "
            f"{plural(found.sense_vectors, 'sense')}, {plural(found.resistance_readings, 'resistance')}."
        )


def refuse_a_hand(at: BenchAt) -> None:
    """Refuse a person with a meter before anything is asked of them. Raises `UsageError`."""
    if isinstance(at, str) and isinstance(parse_address(at), HandAddress):
        raise UsageError(
            "a multimeter traces no loom: a bench with points does",
            cure="With a meter alone, write down each wire that beeps from end to end, and prove that by "
            "hand: whatever else touches is found then.",
        )


def unknown_loom(adapter: Adapter, name: str, hazards: Mapping[str, Hazard] | None = None) -> Loom:
    """Return the connectors that an adapter table tells of, and no wires: all that is known beforehand."""
    order = {lead.end: lead.point for lead in adapter.entries}
    return loom_of(NOTHING_YET, name, order, hazards=hazards)


def trace(
    request: Request,
    bench: Bench,
    clearance: Clearance,
    hazards: Mapping[str, Hazard] | None = None,
    known: Loom | None = None,
) -> Generator[Event, None, tuple[Loom, Traced, tuple[str, ...]]]:
    """Find out what the unknown loom of this request is: the description, what was found, questions.

    ``known`` is laid over it (`loomproof.jobs.merging`), and where it differs is asked about.

    Raises `SafetyError` without a clearance for it, `UnfitError` where the bench's check fails.
    """
    leads = request.adapter
    looked = yield from looked_at(request, bench, clearance)
    found = together([looked.seen])
    loom, failing = fitted_loom(
        found,
        request.loom.name,
        {lead.end: lead.point for lead in leads.entries},
        clearance.capabilities,
        looked.meter,
        looked.ohmmeter.read if looked.ohmmeter else None,
        hazards=hazards or {},
        temperature_c=looked.temperature_c,
    )
    if looked.ohmmeter is not None:
        refuse_wrong_references(looked.ohmmeter, leads.references)
    bench.confirm()
    return told_of(request.run, found, loom, failing, known)


@dataclass(frozen=True)
class Looked:
    """What a hook-up saw, and by what: the meter, and the ohmmeter on this hook-up's points."""

    seen: Seen
    meter: Meter | None
    ohmmeter: Ohmmeter | None
    temperature_c: float


def looked_at(request: Request, bench: Bench, clearance: Clearance) -> Generator[Event, None, Looked]:
    """Have the bench check itself, and read all that this hook-up shows. Raises as `trace` does."""
    leads = request.adapter
    order: dict[End, int] = {lead.end: lead.point for lead in leads.entries}
    temperature_c = temperature_of(bench)
    checked(bench, clearance, single_points(order))
    meter = cleared_meter(clearance, request, temperature_c)
    scope = Scope((), (), (), order, dict(leads.end_of), ())
    ohmmeter = Ohmmeter(Asker(bench, clearance, point_set(order.values())), meter, scope) if meter else None
    if ohmmeter is not None:
        refuse_wrong_references(ohmmeter, leads.references)
    seen = yield from tracing.look(bench, clearance, leads.end_of, meter)
    return Looked(seen, meter, ohmmeter, ROOM_TEMPERATURE_C if temperature_c is None else temperature_c)


def told_of(
    run: str, found: Traced, loom: Loom, failing: Sequence[str], known: Loom | None
) -> tuple[Loom, Traced, tuple[str, ...]]:
    """Return the description with its run, what is ``known`` laid over it; what was found; what is asked."""
    loom = replace(loom, traced_in=(run,))
    differs: tuple[str, ...] = ()
    if known is not None:
        laid = lay_over(loom, known)
        loom, differs = laid.loom, laid.told
    return loom, found, (*failing, *differs, *questions_of(found, loom, known))


def refuse_place(folder: Path, at: BenchAt, *, over: bool) -> None:
    """Refuse a folder that is there (unless ``over``), and a simulator of its own, which knows its loom.

    Raises `UsageError`.
    """
    if starts_its_own(at):
        raise UsageError(
            "a simulated bench of its own has no unknown loom on it",
            cure="Start one by itself.",
            do=Todo.SIMULATE,
        )
    if folder.exists() and not over:
        raise UsageError(f"{folder} exists already", cure="Name another place.", do=Todo.OVER)


def write_traced(folder: Path, loom: Loom, questions: Iterable[str], *, over: bool) -> None:
    """Write a loom as it was traced, its questions beside it as `QUESTIONS`."""
    write_folder(loom, folder, over=over)
    write_file(folder / QUESTIONS, asked_in_file(loom.name, questions))


def hazards_of(loom: Loom, said: Mapping[str, Hazard]) -> dict[str, Hazard]:
    """Return what is at each connector: what the description says, else what was said beforehand."""
    return {
        each.name: said.get(each.name, each.hazard) if each.hazard is Hazard.UNKNOWN else each.hazard
        for each in loom.connectors
    }


def trace_to(
    adapter: Adapter,
    folder: Path,
    at: BenchAt,
    operator: Operator,
    hazards: Mapping[str, Hazard],
    known: Loom | None = None,
    assured: Assured | None = None,
    *,
    name: str = "",
    over: bool = False,
    store: str | None = None,
) -> Generator[Event, None, TracedLoom]:
    """Trace what is on this bench and write it as a loom folder, the journal beside it.

    ``known`` is what was described of it before, of which nothing gets lost. What only the owner can know
    stands in the folder as `QUESTIONS`. Among the runs of ``store`` it is listed where it is broken off.

    Raises `UsageError` where the folder is there (unless ``over``) or the bench is a simulator of its own,
    which knows its loom; `SafetyError` where the bench is not cleared; and as `trace` does.
    """
    refuse_place(folder, at, over=over)
    title = name or folder.name
    yield CAUTIONS
    moment = now()
    run = f"{folder.name}.{run_name(moment)}"
    journal = folder.with_name(f"{run}.journal.jsonl")
    journal.parent.mkdir(parents=True, exist_ok=True)
    unknown = unknown_loom(adapter, title, hazards)
    if known is not None:
        refuse_strangers(
            [lead.end.connector for lead in adapter.entries],
            [c.name for c in known.connectors],
            f"the description of {known.name}",
        )
        # What is known of hazards counts whether or not a lead goes there.
        unknown = shell(known, unknown.by_name)
    request = Request(unknown, adapter, run, rfc3339(moment))
    with told_when_stopped(journal, "Trace it again."), reached(at) as raw:
        clearance = yield from cleared(request, raw, operator, assured or Assured())
        begun(request, journal, store)
        with journaled(raw, journal, {"trace": title}) as bench:
            loom, found, questions = yield from trace(request, bench, clearance, hazards, known)
    ended(request)
    write_traced(folder, loom, questions, over=over)
    yield Finished(run)
    return TracedLoom(loom, found, questions, (journal,))
