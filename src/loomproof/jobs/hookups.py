"""Proving a loom hook-up by hook-up: prompts, journals that a stopped run goes on from, one result.

What a run needs to go on stands in the out folder: ``RUN.hook-ups.json`` (the plan and what the run was asked
for) and one journal for each finished hook-up. At the end the journals are joined to ``RUN.journal.jsonl``.
"""

from __future__ import annotations

import json
from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace
from itertools import count, takewhile
from pathlib import Path

from loomproof.bench.adapter import Adapter, Lead, in_order, table_of, write_adapter
from loomproof.diagnosis import explain
from loomproof.diagnosis.causes import Cause
from loomproof.electrics.expectation import expect
from loomproof.errors import BenchError, BrokenOffError, Do, InputError, Todo, UsageError
from loomproof.jobs import journal_header as headers
from loomproof.jobs.at_bench import Setup, journaled
from loomproof.jobs.at_hand import at_hand
from loomproof.jobs.breaking_off import told_when_stopped
from loomproof.jobs.files import folder_for, now, rfc3339, write_file
from loomproof.jobs.gate import CAUTIONS, cleared
from loomproof.jobs.keep import Keeping, Kept, begun, can_be_kept, keep
from loomproof.jobs.plugging import plugging
from loomproof.jobs.replay import replayed
from loomproof.jobs.teaching import with_learned
from loomproof.judgement.conclude import conclude, same_bench
from loomproof.judgement.inspection import ITEMS, looked_over
from loomproof.loom.model import Loom
from loomproof.measuring.events import Event, Progress, Prompt
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.measure import measure
from loomproof.measuring.merge_hookups import merged_measured, never_met
from loomproof.planning.hookup_follow_ups import with_follow_ups
from loomproof.planning.hookup_plan import HookUpPlan, hook_ups_plain, read_hook_ups
from loomproof.planning.hookup_search import Constraints, plan_hook_ups
from loomproof.planning.request import Request
from loomproof.records.queries import sealed_runs


def hook_ups_for(loom: Loom, setup: Setup, limits: Constraints) -> HookUpPlan:
    """Plan hook-ups of this loom for this bench; nothing is driven."""
    with setup.reached() as bench:
        points = bench.capabilities().points
    return plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], points, limits)


def begin(request: Request, plan: HookUpPlan, out: Path) -> Path:
    """Write the state that the run goes on from."""
    folder_for(out)
    state = out / f"{request.run}.hook-ups.json"
    header = headers.run_header(replace(request, adapter=whole_adapter(plan)))
    value = {"header": header, "plan": hook_ups_plain(plan)}
    write_file(state, (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode())
    return state


def go_on(run: str, loom: Loom, out: Path) -> tuple[Request, HookUpPlan]:
    """Read the state of a stopped run. Raises `UsageError` where there is none."""
    state = out / f"{run}.hook-ups.json"
    try:
        value = json.loads(state.read_text(encoding="utf-8"))
        header = dict(value["header"])
        plan = read_hook_ups(value["plan"], state.name)
    except OSError:
        raise UsageError(
            f"there is no stopped run {run} in {out}", cure="The run's name stands before .hook-ups.json."
        ) from None
    except (ValueError, KeyError, TypeError) as error:
        raise InputError(f"{state} can't be read: {error}") from None
    # The whole adapter has points twice, which no table may; the header needs any table that reads.
    header["adapter_table"] = table_of(in_order(loom.cavities))
    return replace(headers.request_from(header, loom), adapter=whole_adapter(plan)), plan


def whole_adapter(plan: HookUpPlan) -> Adapter:
    """Return the leads of all hook-ups, one after the other, as they stand on the certificate."""
    leads = [lead for k in range(len(plan.hook_ups)) for lead in adapter_of(plan, k).entries]
    name = f"{len(plan.hook_ups)} hook-ups on {plan.points} points"
    return Adapter(name, tuple(leads), references=plan.references)


def adapter_of(plan: HookUpPlan, k: int) -> Adapter:
    """Return hook-up k (from 0) as an adapter: leads of plugs as they were learned, and all references."""
    own = plan.leads
    leads = [own.get(end) or Lead(point, end) for end, point in plan.hook_ups[k].point_of.items()]
    leads.sort(key=lambda lead: lead.point)
    name = f"hook-up {k + 1} of {len(plan.hook_ups)}"
    return Adapter(name, tuple(leads), references=plan.references)


_PLUGGING = (
    Cause.WRONG_LOOM,
    Cause.NOTHING_PLUGGED,
    Cause.NOT_PLUGGED,
    Cause.EXCHANGED,
    Cause.MIRRORED,
    Cause.ROTATED,
    Cause.SHIFTED,
    Cause.ADAPTER,
    Cause.ADAPTER_BOARD,
)
"""What a plug in the wrong place, or none at all, reads as."""


def misplugged(part: HookUpResult) -> tuple[str, ...]:
    """Return what one hook-up reads like that a wrongly put plug would explain; nothing where none would."""
    found = explain(part.request.loom, part.measured, part.request.answers)
    return tuple(finding.title for finding in found if finding.cause in _PLUGGING)


def prove_hook_ups(
    request: Request, plan: HookUpPlan, setup: Setup, stop_after: int | None = None
) -> Generator[Event, None, Kept]:
    """Prove what is not yet proved of a run, hook-up by hook-up, then conclude and keep it as one.

    Raises `BrokenOffError` where it stops before the last hook-up; what is finished stays.
    """
    where = setup.where
    yield from can_be_kept(where, request)
    parts: list[HookUpResult] = []
    journals: list[bytes] = []
    k, planned, again = 0, len(plan.hook_ups), -1
    while k < len(plan.hook_ups):
        done = _finished(request, plan, k, where.out)
        if done is not None:
            part, journal = done
            yield Prompt(f"Hook-up {k + 1} of {len(plan.hook_ups)} is finished.")
        else:
            if stop_after is not None and k >= stop_after:
                raise _stopped(request, k, plan)
            yield Prompt(f"\nHook-up {k + 1} of {len(plan.hook_ups)}:", tuple(plugging(plan.hook_ups[k])))
            # A simulator that this process starts is plugged by the adapter that it is started with.
            if setup.by_person:
                table = _table(request, k, where.out)
                write_adapter(adapter_of(plan, k), table)
                yield Prompt(f"The same as an adapter table: {table}")
                if not setup.operator.plug(plan.hook_ups[k], k + 1):
                    raise _stopped(request, k, plan)
            earlier = parts[0] if parts else None
            part, journal = yield from _measured(request, plan, k, setup, earlier)
            if again != k and setup.by_person and (seems := misplugged(part)):
                # Once: where it reads so again, it is the loom.
                again = k
                _set_aside(request, k, where.out)
                yield Prompt(
                    "A plug in the wrong place reads like this; look at the plugs. It is measured once more, "
                    "and what it reads like then counts.",
                    seems,
                )
                continue
        parts.append(part)
        journals.append(journal)
        k += 1
        if k == planned:
            plan = _followed(plan, parts)
            if len(plan.hook_ups) > planned:
                yield Prompt("Faults were found; more hook-ups tell where the loose ends go.")
    outcome = conclude(replace(parts[0].request, adapter=whole_adapter(plan)), parts)
    path = where.out / f"{request.run}.journal.jsonl"
    write_file(path, b"".join(journals))
    return (yield from keep(outcome, path, where))


def begin_hook_ups(
    request: Request, setup: Setup, limits: Constraints, stop_after: int | None = None
) -> Generator[Event, None, Kept]:
    """Have a real loom looked over, plan its hook-ups for this bench, and prove them.

    Raises as `prove_hook_ups` does, and `NotPossibleError` where no plan reaches the whole loom.
    """
    yield CAUTIONS
    if setup.by_person and not looked_over(request.inspection):
        seen = setup.operator.inspect(ITEMS).lines
        request = replace(request, inspection=(*seen, *request.inspection))
    yield Progress("looking for the fewest hook-ups")
    plan = hook_ups_for(request.loom, setup, limits)
    begin(request, plan, setup.where.out)
    return (yield from prove_hook_ups(request, plan, setup, stop_after))


def continue_hook_ups(
    run: str, loom: Loom, setup: Setup, stop_after: int | None = None
) -> Generator[Event, None, Kept]:
    """Go on with a stopped run, as it was asked for then.

    Raises `UsageError` for a run that is finished and kept, and as `go_on` and `prove_hook_ups` do.
    """
    _refuse_kept(run, setup.where)
    yield CAUTIONS
    request, plan = go_on(run, loom, setup.where.out)
    return (yield from prove_hook_ups(request, plan, setup, stop_after))


def _refuse_kept(run: str, where: Keeping) -> None:
    """Refuse a run that has its record already: sealed again it would be two runs of one name.

    What is measured and could not be sealed has no record, and is gone on with. Where the record is in
    another store, the results beside the journals tell: they are written once it is sealed.
    """
    with at_hand(where.store, seals=True) as hand:
        opened = hand.store
        if sealed_runs(opened, [run]):
            raise UsageError(
                f"the run {run} is finished and kept; there is nothing to go on with",
                cure="Begin a new run to prove the loom again.",
                do=Do(Todo.CERTIFICATE, run),
            )
        here = opened.where
    results = where.out / f"{run}.results.json"
    if results.exists():
        raise UsageError(
            f"the run {run} is finished: {results} has what it found; its record is not in {here}",
            cure="Name the store that it was kept in for its certificate, or begin a new run.",
        )


def _followed(plan: HookUpPlan, parts: Sequence[HookUpResult]) -> HookUpPlan:
    """After a failure, add hook-ups in which broken conductors meet that never did, so that all is known."""
    measured = [part.measured for part in parts]
    merged = merged_measured(parts[-1].expectation, measured)
    return with_follow_ups(plan, never_met(merged.expected, merged.groups, measured))


def _journals(run: str, k: int, out: Path) -> Iterator[Path]:
    """Yield the names that the journal of a hook-up may have: a broken-off one is never written over."""
    for attempt in range(1, 1000):
        again = "" if attempt == 1 else f".{attempt}"
        yield out / f"{run}.hook-up-{k + 1}{again}.journal.jsonl"


def _set_aside(request: Request, k: int, out: Path) -> None:
    """Put the last journal of a hook-up where no run looks for it: its plugs were in doubt."""
    last = list(takewhile(Path.exists, _journals(request.run, k, out)))[-1]
    numbers = (last.with_name(f"{request.run}.hook-up-{k + 1}.plugs-{n}.jsonl") for n in count(1))
    last.rename(next(path for path in numbers if not path.exists()))


def _table(request: Request, k: int, out: Path) -> Path:
    return out / f"{request.run}.hook-up-{k + 1}.adapter.csv"


def _finished(request: Request, plan: HookUpPlan, k: int, out: Path) -> tuple[HookUpResult, bytes] | None:
    """Work a finished hook-up out again from its journal; ``None`` where there is no whole one."""
    for path in _journals(request.run, k, out):
        if not path.exists():
            return None
        try:
            part = replayed(path, request.loom)
        except BenchError:
            continue  # it ended so then: a voltage on the loom, a lost line, a journal cut short
        mine = part.request.run == request.run
        if mine and part.request.adapter.point_of == adapter_of(plan, k).point_of:
            return part, path.read_bytes()
    return None


def _stopped(request: Request, k: int, plan: HookUpPlan) -> BrokenOffError:
    return BrokenOffError(
        f"the run {request.run} stopped before hook-up {k + 1} of {len(plan.hook_ups)}; "
        "nothing is claimed yet",
        cure="Go on with it, with the same loom, bench and folder.",
        do=Do(Todo.GO_ON, request.run),
    )


def _measured(
    request: Request, plan: HookUpPlan, k: int, setup: Setup, earlier: HookUpResult | None
) -> Generator[Event, None, tuple[HookUpResult, bytes]]:
    out = setup.where.out
    path = next(path for path in _journals(request.run, k, out) if not path.exists())
    adapter = adapter_of(plan, k)
    table = _table(request, k, out)
    write_adapter(adapter, table)
    mine = replace(request, adapter=adapter, started=request.started if k == 0 else rfc3339(now()))
    plugged = "confirmed" if setup.by_person else "by the simulator"
    with told_when_stopped(path), setup.reached(table) as raw:
        clearance = yield from cleared(mine, raw, setup.operator, setup.assured)
        if earlier is not None:
            same_bench(earlier, clearance.identity, clearance.capabilities)
        else:  # the first stands for all of them
            mine = yield from with_learned(mine, clearance, setup.where.store)
        begun(mine, path, setup.where.store)
        header = {**headers.run_header(mine, clearance), "hook_up": k + 1, "plugged": plugged}
        with journaled(raw, path, header) as bench:
            part = yield from measure(mine, bench, clearance)
    return part, path.read_bytes()
