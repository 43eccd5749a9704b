"""``prove``, ``replay`` and ``plan``: the main job."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.options import (
    FiniteNumber,
    Said,
    ends_given,
    grade_option,
    hazard_option,
    hazards_given,
    made_safe_option,
    meter_volts_option,
    selftest_age_option,
)
from loomproof.cli.records import store_option
from loomproof.cli.stating import certificate_options
from loomproof.cli.workshop import bench_of, workshop_of
from loomproof.errors import JournalError, LinkError, ReplayError, UsageError
from loomproof.jobs import journal_header as headers

if TYPE_CHECKING:
    from loomproof.judgement.conclude import Outcome
    from loomproof.loom.model import End, Loom
    from loomproof.planning.plan import Plan
    from loomproof.planning.request import Request


@click.command()
@click.argument("loom", type=click.Path(path_type=Path))
@click.option(
    "--bench",
    "address",
    callback=bench_of,
    metavar="ADDRESS",
    help="serial:/dev/ttyACM0?baud=115200, tcp:127.0.0.1:7000, visa:…, or sim: for a simulator; else what "
    "workshop.toml names.",
)
@click.option("--adapter", metavar="FILE|in-order", help="Which point goes to which cavity.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("out"),
    show_default=True,
    help="Where certificate, results, record and journal go.",
)
@click.option("--json", "json_file", metavar="FILE", help="Write the results there too; - is stdout.")
@click.option("--answer", "answers", multiple=True, metavar="CHOICE=ANSWER", help="Answer a choice.")
@click.option(
    "--waive", type=Said(), multiple=True, metavar="CAVITY", help="Waive a cavity that has no point, by name."
)
@click.option("--person", default="", help="Who proves it; stands on the certificate.")
@click.option("--place", default="", help="Where; stands on the certificate.")
@certificate_options
@click.option(
    "--inspected", type=Said(), multiple=True, metavar="NOTE", help="What was seen when it was looked over."
)
@click.option(
    "--repeats",
    type=click.IntRange(1, 100),
    default=1,
    show_default=True,
    help="How often each resistance is read; fixed beforehand.",
)
@click.option(
    "--watch",
    "watch_s",
    type=FiniteNumber(1, 3600),
    metavar="SECONDS",
    help="Watch for contacts that come and go while the loom is moved, 1 s or longer.",
)
@meter_volts_option
@hazard_option
@selftest_age_option
@click.option(
    "--probe",
    is_flag=True,
    help="Read each end that has no point with a probe joined to the scanner's 0 V through its resistor.",
)
@click.option(
    "--insulation",
    "insulation_v",
    type=FiniteNumber(0, min_open=True),
    metavar="VOLT",
    help="Where all else passes, test insulation at this voltage; you are asked to type it.",
)
@click.option(
    "--insulation-ms",
    type=click.IntRange(1, 60_000),
    metavar="MS",
    help="How long the voltage stands before each reading; 1000 unless given.",
)
@click.option("--hook-ups", is_flag=True, help="The bench has fewer points than the loom: plug by plug.")
@click.option("--split", multiple=True, metavar="CONNECTOR", help="Hook-ups: its leads may go in groups.")
@click.option("--stay", multiple=True, metavar="CONNECTOR", help="Hook-ups: it stays plugged.")
@click.option("--owned", multiple=True, metavar="HOUSING=N", help="Hook-ups: so many adapter plugs of it.")
@click.option("--stop-after", type=click.IntRange(1), metavar="K", help="Hook-ups: stop after so many.")
@click.option("--continue", "stopped_run", metavar="RUN", help="Hook-ups: go on with a stopped run.")
@click.option(
    "--plan", "plan_file", type=click.Path(path_type=Path), metavar="FILE", help="Ask a saved plan."
)
@grade_option
@made_safe_option
@store_option
def prove(
    loom: Path,
    address: str,
    adapter: str | None,
    out: Path,
    json_file: str | None,
    answers: tuple[str, ...],
    waive: tuple[str, ...],
    person: str,
    place: str,
    inspected: tuple[str, ...],
    repeats: int,
    watch_s: float | None,
    meter_v: float | None,
    hazards: tuple[str, ...],
    selftest_max_age: float | None,
    probe: bool,
    insulation_v: float | None,
    insulation_ms: int | None,
    hook_ups: bool,
    split: tuple[str, ...],
    stay: tuple[str, ...],
    owned: tuple[str, ...],
    stop_after: int | None,
    stopped_run: str | None,
    plan_file: Path | None,
    grade: str | None,
    made_safe: bool,
    store: str | None,
    stated: dict[str, Any],
) -> int:
    """Prove LOOM (a folder or workbook) on a bench and keep a sealed certificate.

    Exit codes: 0 the loom passes, 1 it fails, 2 command, description or adapter is wrong, 3 the bench
    is in trouble or the run does not cover the loom, 4 undecided.
    """
    from loomproof.bench.adapter import in_order
    from loomproof.bench.address import starts_simulator
    from loomproof.cli.asking import Terminal, looked_over, probe_held
    from loomproof.cli.plan import housings_of
    from loomproof.jobs import hookups as hooking
    from loomproof.jobs import prove as proving
    from loomproof.judgement.inspection import ANSWERED
    from loomproof.loom.choices import answers_of
    from loomproof.loom.reading import load
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.request import InsulationTest, Request
    from loomproof.results.grade import Grade

    writable(json_file)
    loaded = load(loom)
    shop = workshop_of(loom)
    started, now = proving.started_now()
    plugging = hook_ups or stopped_run is not None
    if plugging and probe:
        raise UsageError("--probe reads ends that no hook-up reaches; it does not go with --hook-ups")
    if plugging and insulation_v is not None:
        raise UsageError(
            "--insulation wants the whole loom on the bench at once; it does not go with --hook-ups"
        )
    if insulation_ms is not None and insulation_v is None:
        raise UsageError("--insulation-ms goes with --insulation VOLT: which voltage?")
    _refuse_mixed(
        plugging, adapter, plan_file, (*split, *stay, *owned, *([stop_after] if stop_after else []))
    )
    request = Request(
        loom=loaded.loom,
        adapter=in_order(loaded.loom.cavities)
        if plugging
        else proving.adapter_for(loaded.loom, address, adapter or shop.adapter(address)),
        run=proving.run_name(now),
        started=started,
        answers=answers_of(loaded.loom, answers),
        waived=ends_given(waive, "--waive"),
        person=person or shop.workshop.person,
        place=place or shop.workshop.place,
        inspection=(*inspected, *(ANSWERED + text for text in hazards)),
        repeats=repeats,
        watch_s=watch_s or 0.0,
        plan=_saved_plan(plan_file, loaded.loom),
        insulation=None if insulation_v is None else InsulationTest(insulation_v, insulation_ms or 1000),
        serial=stated.pop("serial", ""),
        entered=shop.workshop.entered(address, stated),
        grade=Grade(grade) if grade else None,
    )
    assured = proving.Assured(
        Terminal(made_safe),
        hazards_given(hazards, loaded.loom),
        meter_v,
        selftest_max_age,
        shop.workshop.require_calibration,
    )
    if probe:
        request = replace(request, probed=without_point(request))
    caution()
    seen = tuple(inspected)

    def look() -> tuple[str, ...]:
        return () if seen else looked_over()

    if not plugging:
        kept = proving.prove_and_keep(
            request,
            address,
            loom_path=loom,
            out=out,
            store=store,
            assured=assured,
            hold=probe_held,
            look=look,
        )
    else:
        if stopped_run is not None:
            request, plan = hooking.go_on(stopped_run, loaded.loom, out)
        else:
            if not starts_simulator(address):
                request = replace(request, inspection=(*look(), *request.inspection))
            limits = Constraints(split, stay, housings_of(owned))
            plan = hooking.hook_ups_for(loaded.loom, address, loom, limits)
            hooking.begin(request, plan, out)
        kept = hooking.prove_hook_ups(
            request,
            plan,
            address,
            loom_path=loom,
            out=out,
            store=store,
            assured=assured,
            stop_after=stop_after,
        )
    if json_file == "-":
        write_json(json_file, proving.json_of(kept.document))
    elif json_file:
        proving.written(Path(json_file), lambda: proving.json_of(kept.document), kept.run)
    show(kept, to_stderr=json_file == "-")
    return kept.exit_code


@click.command()
@click.argument("journal", type=click.Path(path_type=Path))
@click.argument("loom", type=click.Path(path_type=Path))
@click.option(
    "--json",
    "json_file",
    metavar="FILE",
    default="-",
    show_default=True,
    help="Where the results document goes; - is standard output.",
)
@grade_option
def replay(journal: Path, loom: Path, json_file: str, grade: str | None) -> int:
    """Work a JOURNAL out again for LOOM, without a bench; the results are the same, byte for byte.

    With --grade another grade is demanded than the proof was asked for.
    """
    from loomproof.bench.journal import ReplayBench
    from loomproof.jobs import hookups as hooking
    from loomproof.jobs.prove import prove as flow_prove
    from loomproof.loom.reading import load
    from loomproof.measuring.events import finish
    from loomproof.results.grade import Grade

    described = load(loom).loom
    joined = hooking.replay_joined(journal, described, Grade(grade) if grade else None)
    if joined is not None:
        return _replayed(joined, journal, json_file)
    bench = ReplayBench(journal)
    request = headers.request_from(bench.run, described)
    if grade:
        request = replace(request, grade=Grade(grade))
    steps = flow_prove(request, bench, headers.replayed_clearance(bench, request))
    try:
        outcome = finish(steps)
    except LinkError as error:
        # The journal keeps what went wrong as well: here it is history, not a port to plug in.
        raise JournalError(
            f"{journal} holds a run that was broken off: {error.message}",
            cure="Nothing is claimed from it. Prove again.",
        ) from None
    if not bench.finished:
        raise ReplayError(
            f"{journal} goes on after the run's last question",
            cure="It was changed since it was written, or two were joined; take it from a backup.",
        )
    return _replayed(outcome, journal, json_file)


def _replayed(outcome: Outcome, journal: Path, json_file: str) -> int:
    from loomproof.jobs import prove as proving
    from loomproof.records.canonical import sha256_hex

    digest = sha256_hex(journal.read_bytes())
    document = outcome.document.model_copy(update={"journal_digest": digest})
    write_json(json_file, proving.json_of(document))
    return proving.EXIT_CODES[document.verdict]


def without_point(request: Request) -> tuple[End, ...]:
    """Return the ends that no point goes to and that nobody waives, in the description's order."""
    known = {*request.adapter.point_of, *request.waived}
    return tuple(end for end in request.loom.cavities if end not in known)


def _refuse_mixed(
    plugging: bool, adapter: str | None, plan_file: Path | None, only_hook_ups: Sequence[object]
) -> None:
    from loomproof.errors import UsageError

    if plugging and (adapter or plan_file):
        raise UsageError("--hook-ups and --continue make adapter and plan themselves")
    if only_hook_ups and not plugging:
        raise UsageError("--split, --stay, --owned and --stop-after go with --hook-ups")


def _saved_plan(plan_file: Path | None, loom: Loom) -> Plan | None:
    """Read a saved plan and refuse one that was made for another description."""
    from loomproof.errors import InputError
    from loomproof.planning.plan_json import read_saved

    if plan_file is None:
        return None
    try:
        value = json.loads(plan_file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        why = error.strerror if isinstance(error, OSError) else "it holds no plan"
        raise InputError(
            f"the plan {plan_file} can't be read: {why}", cure="loomproof plan LOOM --json FILE writes one."
        ) from None
    saved = read_saved(value, str(plan_file))
    if saved.loom_digest != loom.digest:
        raise InputError(
            f"the plan {plan_file} was made for another description of {saved.loom}",
            cure="Make the plan again: loomproof plan.",
        )
    return saved.plan


def caution() -> None:
    """Show the cautions before a proof."""
    from loomproof.cautions import BEFORE_A_PROOF

    click.echo("Before a proof:", err=True)
    for text in BEFORE_A_PROOF:
        click.echo(f"  - {text}", err=True)


def writable(file: str | None) -> None:
    """Refuse a file that has no folder to go to before any work is done for it."""
    if file and file != "-" and not Path(file).absolute().parent.is_dir():
        raise UsageError(f"{file}: there is no folder {Path(file).parent}", cure="Make it, or name another.")


def write_json(file: str, data: bytes) -> None:
    """Write to a file, or to standard output for ``-``."""
    from loomproof.cli.records import write_file

    if file == "-":
        sys.stdout.buffer.write(data)
        sys.stdout.buffer.flush()
    else:
        write_file(Path(file), data)


def show(kept: object, *, to_stderr: bool = False) -> None:
    """Show findings, summary and where the files are."""
    from rich.console import Console

    from loomproof.jobs.prove import Kept
    from loomproof.reports.terminal import findings_view, summary_view

    assert isinstance(kept, Kept)
    console = Console(stderr=to_stderr, highlight=False)
    if kept.document.findings:
        console.print(findings_view(kept.document))
    console.print(summary_view(kept.document))
    for what, path in kept.files.items():
        console.print(f"  {what:<12} {path}", soft_wrap=True)
