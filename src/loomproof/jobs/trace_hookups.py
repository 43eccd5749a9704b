"""Tracing a loom bigger than the bench, hook-up by hook-up: a state that a stopped run goes on from.

The state stands beside the folder to be written, as ``FOLDER.trace.json``: the plan, the bench, and what each
finished hook-up saw. It is written after each, and taken away once the loom is written.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import astuple, dataclass, replace
from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from loomproof.bench.adapter import write_adapter
from loomproof.bench.seam import Capabilities, Identity
from loomproof.errors import BrokenOffError, Do, InputError, LoomproofError, Todo, UnfitError, UsageError
from loomproof.jobs.at_bench import BenchAt, journaled, reached
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.files import now, rfc3339, run_name, write_file
from loomproof.jobs.gate import CAUTIONS, Assured, cleared
from loomproof.jobs.hookups import adapter_of, whole_adapter
from loomproof.jobs.keep import begun, ended
from loomproof.jobs.merging import shell
from loomproof.jobs.operator import Operator
from loomproof.jobs.plugging import plugging
from loomproof.jobs.trace import Looked, TracedLoom, looked_at, refuse_place, told_of, write_traced
from loomproof.loom.model import End, Hazard, Loom
from loomproof.measuring.events import Event, Finished, Progress, Prompt
from loomproof.measuring.reference_check import refuse_wrong_references
from loomproof.measuring.trace import Seen, contradictions, together
from loomproof.measuring.traced_loom import fitted_loom
from loomproof.measuring.traced_readings import reader
from loomproof.planning.hookup_plan import HookUp, HookUpPlan, hook_ups_plain, read_hook_ups
from loomproof.planning.hookup_search import Constraints
from loomproof.planning.request import Request
from loomproof.planning.trace_plan import hook_ups_to_trace, still_needed
from loomproof.results.codec import fault_of

STATE = ".trace.json"
"""How the state's file ends, behind the name of the folder."""

_SCHEMA = 1
_SEEN = TypeAdapter(tuple[Seen, ...])


@dataclass(frozen=True)
class _State:
    """How far a trace is: of which bench and which connectors, by which plan, and what was seen so far."""

    run: str
    connectors: str
    bench: tuple[str, ...]
    plan: HookUpPlan
    seen: tuple[Seen, ...] = ()

    def plain(self) -> dict[str, object]:
        return {
            "schema": _SCHEMA,
            "run": self.run,
            "connectors": self.connectors,
            "bench": list(self.bench),
            "plan": hook_ups_plain(self.plan),
            "seen": _SEEN.dump_python(self.seen, mode="json"),
        }


def state_file(folder: Path) -> Path:
    """Return where the state of a trace stands that is to be written to this folder."""
    return folder.with_name(f"{folder.name}{STATE}")


@dataclass(frozen=True)
class StoppedTrace:
    """A trace that waits to be gone on with: the name of the folder to be written, its run, what is done.

    ``done`` of ``of`` hook-ups are read; ``cavities`` are those of its plugs.
    """

    name: str
    run: str
    done: int
    of: int
    cavities: frozenset[End]


def stopped_traces(place: Path) -> tuple[StoppedTrace, ...]:
    """Return the traces that were stopped and wait among the looms of a place; unreadable ones are left out.

    One that runs now is among them.
    """
    found = []
    for path in sorted(place.glob(f"*{STATE}")):
        with suppress(LoomproofError):
            state = _state_at(path)
            hook_ups = state.plan.hook_ups
            cavities = frozenset(end for each in hook_ups for end in each.point_of)
            name = path.name.removesuffix(STATE)
            found.append(StoppedTrace(name, state.run, len(state.seen), len(hook_ups), cavities))
    return tuple(found)


def trace_hook_ups(
    loom: Loom,
    folder: Path,
    at: BenchAt,
    operator: Operator,
    hazards: Mapping[str, Hazard],
    known: Loom | None,
    assured: Assured,
    limits: Constraints,
    go_on: bool = False,
    over: bool = False,
    stop_after: int | None = None,
    store: str | None = None,
) -> Generator[Event, None, TracedLoom]:
    """Trace a loom plug by plug, and write it as a folder, the journals beside it.

    Of ``loom`` the connectors count, with the ``hazards`` at them; ``known`` is laid over what was found.
    ``go_on`` goes on with a run that stopped before, by its plan. Hook-ups that what was found
    makes needless are left out. Among the runs of ``store`` it is listed where it is broken off.

    Raises `UsageError` for a folder or a state that is there, or not there to go on with, `BrokenOffError`
    where it stops before the last hook-up or one contradicts the others, `NotPossibleError` where no plan
    lets every two plugs meet, and as `loomproof.jobs.trace.trace_to` does.
    """
    refuse_place(folder, at, over=over)
    yield CAUTIONS
    bare = shell(loom, {})
    plugs = (replace(each, hazard=hazards.get(each.name, each.hazard)) for each in bare.connectors)
    unknown = replace(bare, connectors=tuple(plugs))
    path = state_file(folder)
    path.parent.mkdir(parents=True, exist_ok=True)
    if go_on:
        state = _read(path, unknown)
    elif path.exists() and not over:
        raise UsageError(f"{path} is of a trace that was stopped", cure="Go on with it.", do=Todo.GO_ON_TRACE)
    else:
        yield Progress("looking for the fewest hook-ups")
        with reached(at) as bench:
            able, who = bench.capabilities(), bench.identify()
        plan = hook_ups_to_trace(unknown, able.points, limits)
        state = _State(
            f"{folder.name}.{run_name(now())}", unknown.digest, tuple(map(str, astuple(who))), plan
        )
        _write(path, state)
    yield Prompt(_plan_told(state.plan))
    job = _Tracing(folder, unknown, at, operator, assured, state, store)
    last, able = yield from job.hook_ups(stop_after)
    seen, plan = job.state.seen, job.state.plan
    found = together(seen, unknown.cavities)
    loom, failing = fitted_loom(
        found,
        unknown.name,
        {end: number for number, end in enumerate(unknown.cavities, start=1)},
        able,
        last.meter,
        None if last.meter is None else reader(seen),
        hazards=hazards,
        temperature_c=last.temperature_c,
    )
    failing = (*_alike_told(plan.hook_ups, seen), *failing)
    loom, found, questions = told_of(state.run, found, loom, failing, known)
    ended(Request(unknown, whole_adapter(plan), state.run, rfc3339(now())))
    write_traced(folder, loom, questions, over=over)
    path.unlink()
    yield Finished(state.run)
    journals = (job.journal(k) for k in range(len(plan.hook_ups)))
    return TracedLoom(loom, found, questions, tuple(each for each in journals if each.exists()))


def reads_as_before(hook_ups: Sequence[HookUp], seen: Sequence[Seen]) -> bool:
    """Whether the last of these hook-ups reads as the one before it, point for point, with other plugs on.

    Where nothing is joined in either, nothing tells.
    """
    if len(seen) < 2 or hook_ups[-1].point_of == hook_ups[-2].point_of:
        return False
    before, now = (_by_points(one.point_of, each) for one, each in zip(hook_ups[-2:], seen[-2:], strict=True))
    return any(before) and before == now


def _by_points(
    point_of: Mapping[End, int], seen: Seen
) -> tuple[frozenset[frozenset[int]], frozenset[frozenset[int]]]:
    """Return the points that are one conductor, and the pairs of points with a part between."""
    nets = (frozenset(point_of[end] for end in net) for net in seen.conductors if len(net) > 1)
    ways = ((each.a, each.b) for each in seen.between if each.value is not None)
    parts = (frozenset((point_of[a], point_of[b])) for a, b in (*ways, *seen.one_way))
    return frozenset(nets), frozenset(parts)


def _alike_told(hook_ups: Sequence[HookUp], seen: Sequence[Seen]) -> Iterator[str]:
    for k in range(2, len(seen) + 1):
        if reads_as_before(hook_ups[:k], seen[:k]):
            yield (
                f"Hook-ups {k - 1} and {k} read alike, point for point, with other plugs on: do these plugs "
                "carry the same, or were they not changed?"
            )


def _plan_told(plan: HookUpPlan) -> str:
    fewer = (
        f"every two plugs meet, and no plan has fewer hook-ups ({plan.by})"
        if plan.optimal
        else f"every two plugs meet; no plan has fewer than {plan.bound} ({plan.by})"
    )
    count = len(plan.hook_ups)
    return (
        f"{count} hook-ups on {plan.points} points: {fewer}. What is found may make some of them needless."
        if count > 1
        else f"One hook-up on {plan.points} points has all plugs."
    )


class _Tracing:
    """A run of hook-ups: what is done of it stands in the state file at any moment."""

    def __init__(
        self,
        folder: Path,
        unknown: Loom,
        at: BenchAt,
        operator: Operator,
        assured: Assured,
        state: _State,
        store: str | None,
    ) -> None:
        self.folder, self.unknown, self.at, self.store = folder, unknown, at, store
        self.operator, self.assured, self.state = operator, assured, state

    def journal(self, k: int) -> Path:
        return self.folder.with_name(f"{self.state.run}.hook-up-{k + 1}.journal.jsonl")

    def hook_ups(self, stop_after: int | None) -> Generator[Event, None, tuple[Looked, Capabilities]]:
        """Look at what is not yet seen. Raises `BrokenOffError` where it stops before the end."""
        state = self.state
        if len(state.seen) == len(state.plan.hook_ups):  # it stopped while it wrote: the meter is asked again
            state = self.state = replace(state, seen=state.seen[:-1])
        again: set[tuple[int, str]] = set()
        last: tuple[Looked, Capabilities] | None = None
        while (k := len(self.state.seen)) < len(self.state.plan.hook_ups):
            plan = self.state.plan
            if stop_after is not None and k >= stop_after:
                raise self._stopped(k)
            hook_up = plan.hook_ups[k]
            yield Prompt(f"\nHook-up {k + 1} of {len(plan.hook_ups)}:", tuple(plugging(hook_up)))
            table = self.folder.with_name(f"{self.state.run}.hook-up-{k + 1}.adapter.csv")
            write_adapter(adapter_of(plan, k), table)
            yield Prompt(f"The same as an adapter table: {table}")
            try:
                plugged = self.operator.plug(hook_up, k + 1)
            except KeyboardInterrupt:
                raise self._stopped(k) from None
            if not plugged:
                raise self._stopped(k)
            last = yield from self._looked(k)
            seen = (*self.state.seen, last[0].seen)
            odd = contradictions(seen)
            differ = len(odd) > len(contradictions(self.state.seen))
            same = reads_as_before(plan.hook_ups[: k + 1], seen)
            odd_ways = {(k, why) for why, holds in (("differs", differ), ("same", same)) if holds}
            if odd_ways - again:
                # Once for each: what is the loom reads so again.
                again |= odd_ways
                yield Prompt(
                    "This hook-up contradicts those before it; look at the plugs. It is read once more."
                    if differ
                    else f"This hook-up reads like hook-up {k}, point for point, though other plugs should "
                    "be on. Is it plugged so? It is asked again and read once more; what it reads like then "
                    "counts.",
                    tuple(odd),
                )
                continue
            if apart := contradictions(seen, open_only=True):
                raise self._contradicted(k, apart)
            left = still_needed(plan, k + 1, together(seen).nets)
            if (spared := len(plan.hook_ups) - len(left.hook_ups)) > 0:
                yield Prompt(f"By what was found, {spared} fewer hook-ups are needed than were planned.")
            self.state = replace(self.state, plan=left, seen=seen)
            _write(state_file(self.folder), self.state)
        assert last is not None
        return last

    def _looked(self, k: int) -> Generator[Event, None, tuple[Looked, Capabilities]]:
        request = Request(self.unknown, adapter_of(self.state.plan, k), self.state.run, rfc3339(now()))
        path = self.journal(k)
        path.unlink(missing_ok=True)  # of a hook-up that came to nothing
        try:
            with told_when_stopped(path, ""), reached(self.at) as raw:
                clearance = yield from cleared(request, raw, self.operator, self.assured)
                self._same(clearance.identity)
                begun(request, path, self.store)
                with journaled(raw, path, {"trace": self.unknown.name, "hook_up": k + 1}) as bench:
                    looked = yield from looked_at(request, bench, clearance)
                    if looked.ohmmeter is not None:
                        refuse_wrong_references(looked.ohmmeter, request.adapter.references)
                    bench.confirm()
        except BrokenOffError as stopped:
            stopped.do = stopped.do or Do(Todo.GO_ON_TRACE)
            raise
        return looked, clearance.capabilities

    def _same(self, identity: Identity) -> None:
        if tuple(map(str, astuple(identity))) != self.state.bench:
            raise UnfitError(
                f"the trace was begun on {' '.join(self.state.bench[:3])}; this is {identity.maker} "
                f"{identity.model} {identity.serial}",
                cure="Go on with the bench that it was begun on, or begin anew.",
            )

    def _contradicted(self, k: int, apart: Sequence[str]) -> BrokenOffError:
        return BrokenOffError(
            f"hook-up {k + 1} contradicts those before it, twice, so no loom is written: {apart[0]}"
            + (f" So do {len(apart) - 1} more nets." if len(apart) > 1 else ""),
            cure=f"Look at the plugs and at these cavities, and go on: hook-up {k + 1} is read anew. Where "
            "one before it was plugged wrong, begin anew.",
            do=Todo.GO_ON_TRACE,
        )

    def _stopped(self, k: int) -> BrokenOffError:
        return BrokenOffError(
            f"the trace stopped before hook-up {k + 1} of {len(self.state.plan.hook_ups)}; what was seen so "
            f"far is in {state_file(self.folder)}",
            cure="Go on with it, with the same bench and folder.",
            do=Todo.GO_ON_TRACE,
        )


def _write(path: Path, state: _State) -> None:
    write_file(path, (json.dumps(state.plain(), indent=1, ensure_ascii=False) + "\n").encode())


def _read(path: Path, unknown: Loom) -> _State:
    """Read the state of a stopped trace. Raises `UsageError` where there is none, or of other connectors."""
    state = _state_at(path)
    if state.connectors != unknown.digest or len(state.seen) > len(state.plan.hook_ups):
        raise UsageError(
            f"{path} is of other connectors, or of others at them, than are given now",
            cure="Say the same as when it was begun, or begin anew.",
        )
    return state


def _state_at(path: Path) -> _State:
    """Read the state of a stopped trace. Raises `UsageError` where there is none, `InputError`."""
    try:
        value = json.loads(path.read_text(encoding="utf-8"))
        if value["schema"] != _SCHEMA:
            raise ValueError("another schema")
        plan = read_hook_ups(value["plan"], path.name)
        seen = _SEEN.validate_python(value["seen"])
        return _State(
            str(value["run"]), str(value["connectors"]), tuple(map(str, value["bench"])), plan, seen
        )
    except OSError:
        raise UsageError(f"there is no stopped trace at {path}", cure="Begin one.") from None
    except ValidationError as error:
        raise InputError(f"{path} can't be read: {fault_of(error)}", cure="Begin anew.") from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{path} can't be read: {error}", cure="Begin anew.") from None
