"""Proving a loom hook-up by hook-up: prompts, journals that a stopped run goes on from, one result.

What a run needs to go on stands in the out folder: ``RUN.hook-ups.json`` (the plan and what the run was asked
for) and one journal for each finished hook-up. At the end the journals are joined to ``RUN.journal.jsonl``.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.asking import confirmed
from loomproof.errors import BenchError, BrokenOffError, InputError, ReplayError, UsageError
from loomproof.jobs import journal_header as headers

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.jobs.prove import Assured, Kept
    from loomproof.judgement.conclude import Outcome
    from loomproof.loom.model import Loom
    from loomproof.measuring.hookup_result import HookUpResult
    from loomproof.planning.hookup_plan import HookUp, HookUpPlan
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.request import Request
    from loomproof.results.grade import Grade

Ask = Callable[[str], bool]


def hook_ups_for(loom: Loom, address: str, loom_path: Path, limits: Constraints) -> HookUpPlan:
    """Plan hook-ups of this loom for the bench at this address; nothing is driven."""
    from loomproof.bench.opening import open_bench
    from loomproof.electrics.expectation import expect
    from loomproof.planning.hookup_search import plan_hook_ups

    with open_bench(address, loom_path=loom_path) as bench:
        points = bench.capabilities().points
    return plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], points, limits)


def begin(request: Request, plan: HookUpPlan, out: Path) -> Path:
    """Write the state that the run goes on from."""
    from loomproof.cli.records import write_file
    from loomproof.jobs import prove as proving
    from loomproof.planning.hookup_plan import hook_ups_plain

    proving.folder_for(out)
    state = out / f"{request.run}.hook-ups.json"
    header = headers.run_header(replace(request, adapter=whole_adapter(plan)))
    value = {"header": header, "plan": hook_ups_plain(plan)}
    write_file(state, (json.dumps(value, indent=1, ensure_ascii=False) + "\n").encode())
    return state


def go_on(run: str, loom: Loom, out: Path) -> tuple[Request, HookUpPlan]:
    """Read the state of a stopped run. Raises `UsageError` where there is none."""
    from loomproof.bench.adapter import in_order, table_of
    from loomproof.planning.hookup_plan import read_hook_ups

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
    from loomproof.bench.adapter import Adapter

    leads = [lead for k in range(len(plan.hook_ups)) for lead in adapter_of(plan, k).entries]
    return Adapter(f"{len(plan.hook_ups)} hook-ups on {plan.points} points", tuple(leads))


def adapter_of(plan: HookUpPlan, k: int) -> Adapter:
    """Return hook-up k (from 0) as an adapter."""
    from loomproof.bench.adapter import Adapter, Lead

    leads = sorted(
        (Lead(point, end) for end, point in plan.hook_ups[k].point_of.items()), key=lambda lead: lead.point
    )
    return Adapter(f"hook-up {k + 1} of {len(plan.hook_ups)}", tuple(leads))


def prove_hook_ups(
    request: Request,
    plan: HookUpPlan,
    address: str,
    *,
    loom_path: Path,
    out: Path,
    store: str | None,
    assured: Assured,
    plugged: Ask = confirmed,
    stop_after: int | None = None,
) -> Kept:
    """Prove what is not yet proved of a run, hook-up by hook-up, then conclude and keep it as one.

    Raises `BrokenOffError` where it stops before the last hook-up; what is finished stays.
    """
    from loomproof.cli.records import write_file
    from loomproof.jobs import prove as proving
    from loomproof.judgement.conclude import conclude
    from loomproof.records.canonical import sha256_hex

    proving.can_be_kept(out, store)
    parts: list[HookUpResult] = []
    journals: list[bytes] = []
    k, planned = 0, len(plan.hook_ups)
    while k < len(plan.hook_ups):
        hook_up = plan.hook_ups[k]
        done = _finished(request, plan, k, out)
        if done is not None:
            part, journal = done
            click.echo(f"Hook-up {k + 1} of {len(plan.hook_ups)} is finished.", err=True)
        else:
            _ready(hook_up, k, plan, address, request, plugged, stop_after)
            part, journal = _measured(
                request,
                plan,
                k,
                address,
                loom_path=loom_path,
                out=out,
                assured=assured,
                store=store,
                begun=parts[0] if parts else None,
            )
        parts.append(part)
        journals.append(journal)
        k += 1
        if k == planned:
            plan = _followed(plan, parts)
    outcome = conclude(replace(parts[0].request, adapter=whole_adapter(plan)), parts)
    whole = b"".join(journals)
    path = out / f"{request.run}.journal.jsonl"
    write_file(path, whole)
    document = outcome.document.model_copy(update={"journal_digest": sha256_hex(whole)})
    return proving.keep(replace(outcome, document=document), whole, path, out, store)


def _followed(plan: HookUpPlan, parts: Sequence[HookUpResult]) -> HookUpPlan:
    """After a failure, add hook-ups in which broken conductors meet that never did, so that all is known."""
    from loomproof.measuring.merge_hookups import merged_measured, never_met
    from loomproof.planning.hookup_search import with_follow_ups

    measured = [part.measured for part in parts]
    merged = merged_measured(parts[-1].expectation, measured)
    longer = with_follow_ups(plan, never_met(merged.expected, merged.groups, measured))
    if len(longer.hook_ups) > len(plan.hook_ups):
        click.echo("Faults were found; more hook-ups tell where the loose ends go.", err=True)
    return longer


def _journals(run: str, k: int, out: Path) -> Iterator[Path]:
    """Yield the names that the journal of a hook-up may have: a broken-off one is never written over."""
    for attempt in range(1, 1000):
        again = "" if attempt == 1 else f".{attempt}"
        yield out / f"{run}.hook-up-{k + 1}{again}.journal.jsonl"


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


def replayed(path: Path, loom: Loom) -> HookUpResult:
    """Work one hook-up out again from its journal. Raises `JournalError` where it is not whole."""
    from loomproof.bench.journal import ReplayBench
    from loomproof.measuring.events import finish
    from loomproof.measuring.measure import measure

    bench = ReplayBench(path)
    request = headers.request_from(bench.run, loom)
    part = finish(measure(request, bench, headers.replayed_clearance(bench, request)))
    if not bench.finished:
        raise ReplayError(
            f"{path} goes on after the run's last question",
            cure="It was changed since it was written; take it from a backup.",
        )
    return part


def replay_joined(joined: Path, loom: Loom, grade: Grade | None = None) -> Outcome | None:
    """Work a run of several hook-ups out again from its joined journals; ``None`` where it is one journal.

    Raises `ReplayError` where a hook-up is missing, stands twice or is another run's.
    """
    from loomproof.judgement.conclude import conclude

    try:
        journal = joined.read_bytes()
    except OSError as error:
        raise ReplayError(f"the journal {joined} cannot be read: {error.strerror}") from error
    pieces: list[list[bytes]] = []
    for line in journal.splitlines(keepends=True):
        if line.startswith(b'{"schema":'):
            pieces.append([])
        if pieces:
            pieces[-1].append(line)
    _all_there([piece[0] for piece in pieces], joined)
    if len(pieces) < 2:
        return None
    parts = []
    with tempfile.TemporaryDirectory() as folder:
        for k, piece in enumerate(pieces):
            path = Path(folder) / f"hook-up-{k + 1}.journal.jsonl"
            path.write_bytes(b"".join(piece))
            try:
                parts.append(replayed(path, loom))
            except BenchError as error:
                error.message = error.message.replace(str(path), f"hook-up {k + 1} in {joined}")
                raise
    from loomproof.bench.adapter import Adapter

    points = parts[-1].capabilities.points
    whole = Adapter(
        f"{len(parts)} hook-ups on {points} points",
        tuple(lead for part in parts for lead in part.request.adapter.entries),
    )
    first = parts[0].request
    return conclude(replace(first, adapter=whole, grade=grade or first.grade), parts)


def _all_there(heads: Sequence[bytes], joined: Path) -> None:
    """Refuse joined journals whose headers do not say hook-up 1, 2 and so on of one run."""
    told: list[tuple[object, object]] = []
    for head in heads:
        try:
            run = dict(json.loads(head)["run"])
        except (ValueError, KeyError, TypeError):
            return  # no header that can be read: that is told by line, where it is read
        told.append((run.get("run"), run.get("hook_up")))
    if told in ([(told[0][0], k) for k in range(1, len(told) + 1)], [(told[0][0], None)]):
        return
    listed = ", ".join(f"hook-up {k} of {run}" for run, k in told)
    raise ReplayError(
        f"{joined} holds {listed}; all hook-ups of one run, in their order, are expected",
        cure="Pieces were taken out, put in or exchanged; take it from a backup.",
    )


def _ready(
    hook_up: HookUp,
    k: int,
    plan: HookUpPlan,
    address: str,
    request: Request,
    confirm: Ask,
    stop_after: int | None,
) -> None:
    """Say what to plug, and wait until it is."""
    from loomproof.bench.address import starts_simulator
    from loomproof.cli.plan import runs

    if stop_after is not None and k >= stop_after:
        raise _stopped(request, k, plan)
    lines = [f"\nHook-up {k + 1} of {len(plan.hook_ups)}:"]
    if hook_up.off:
        lines.append(f"  take off: {', '.join(hook_up.off)}")
    for unit in hook_up.units:
        word = "put on" if unit.name in hook_up.new else "leave"
        lines.append(f"  {word:<7} {unit.name}: points {runs([hook_up.point_of[end] for end in unit.ends])}")
    click.echo("\n".join(lines), err=True)
    if not starts_simulator(address) and not confirm("Is it plugged so?"):
        raise _stopped(request, k, plan)


def _stopped(request: Request, k: int, plan: HookUpPlan) -> BrokenOffError:
    return BrokenOffError(
        f"the run {request.run} stopped before hook-up {k + 1} of {len(plan.hook_ups)}; "
        "nothing is claimed yet",
        cure=f"Go on with --continue {request.run} and the same LOOM, bench and out folder.",
    )


def _measured(
    request: Request,
    plan: HookUpPlan,
    k: int,
    address: str,
    *,
    loom_path: Path,
    out: Path,
    assured: Assured,
    store: str | None,
    begun: HookUpResult | None,
) -> tuple[HookUpResult, bytes]:
    from loomproof.bench.adapter import write_adapter
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.jobs import prove as proving
    from loomproof.judgement.conclude import same_bench
    from loomproof.measuring.measure import measure

    path = next(path for path in _journals(request.run, k, out) if not path.exists())
    adapter = adapter_of(plan, k)
    table = out / f"{request.run}.hook-up-{k + 1}.adapter.csv"
    write_adapter(adapter, table)
    started = request.started if k == 0 else proving.started_now()[0]
    mine = replace(request, adapter=adapter, started=started)
    with proving.stopping(path), open_bench(_replugged(address, table), loom_path=loom_path) as raw:
        clearance = proving.cleared(mine, raw, assured)
        if begun is not None:
            same_bench(begun, clearance.identity, clearance.capabilities)
        proving.begun(mine, path, store)
        with JournaledBench(raw, path, {**headers.run_header(mine, clearance), "hook_up": k + 1}) as bench:
            part = proving.shown(measure(mine, bench, clearance))
    return part, path.read_bytes()


def _replugged(address: str, table: Path) -> str:
    """Return the address; that of a simulator with this adapter table, which plugs its loom so."""
    from loomproof.bench.address import SimAddress, parse_address

    where = parse_address(address)
    if not isinstance(where, SimAddress):
        return address
    others: Sequence[tuple[str, str]] = [option for option in where.options if option[0] != "adapter"]
    return str(SimAddress(where.faults, (*others, ("adapter", str(table)))))
