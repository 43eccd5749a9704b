"""``prove`` and ``replay``: the main job."""

from __future__ import annotations

import json
from collections.abc import Sequence
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
from loomproof.cli.output import EXIT_CODES
from loomproof.cli.records import store_option
from loomproof.cli.stating import certificate_options
from loomproof.cli.workshop import bench_of
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.loom.model import Loom
    from loomproof.planning.plan import Plan


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
    from loomproof.cli.ending import held_to_the_end
    from loomproof.cli.output import show, writable, write_kept
    from loomproof.cli.plan import housings_of
    from loomproof.cli.progress import drawn
    from loomproof.cli.terminal_operator import TerminalOperator
    from loomproof.jobs.gate import Assured
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping
    from loomproof.judgement.inspection import ANSWERED
    from loomproof.loom.choices import answers_of
    from loomproof.loom.reading import load
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.request import InsulationTest
    from loomproof.results.grade import Grade

    writable(json_file)
    described = load(loom).loom
    plugging = hook_ups or stopped_run is not None
    _refuse_mixed(
        plugging,
        probe=probe,
        insulation=(insulation_v, insulation_ms),
        made_itself=adapter or plan_file,
        only_hook_ups=(*split, *stay, *owned, *([stop_after] if stop_after else [])),
    )
    job = Job.in_workshop(
        described,
        address,
        TerminalOperator(made_safe),
        loom_path=loom,
        adapter="in-order" if plugging else adapter,
        where=Keeping(out, store, held_to_the_end),
        assured=Assured(hazards_given(hazards, described), meter_v, selftest_max_age),
        probe=probe,
        answers=answers_of(described, answers),
        waived=ends_given(waive, "--waive"),
        person=person,
        place=place,
        stated=stated,
        inspection=(*inspected, *(ANSWERED + text for text in hazards)),
        repeats=repeats,
        watch_s=watch_s or 0.0,
        plan=_saved_plan(plan_file, described),
        insulation=None if insulation_v is None else InsulationTest(insulation_v, insulation_ms or 1000),
        grade=Grade(grade) if grade else None,
    )
    if stopped_run is not None:
        running = job.go_on(stopped_run, stop_after)
    elif hook_ups:
        running = job.hook_ups(Constraints(split, stay, housings_of(owned)), stop_after)
    else:
        running = job.prove_and_keep()
    kept = drawn(running)
    if json_file:
        write_kept(json_file, kept)
    show(kept, to_stderr=json_file == "-")
    return EXIT_CODES[kept.document.verdict]


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
    from loomproof.cli.output import write_json
    from loomproof.jobs.files import json_of
    from loomproof.jobs.job import Job
    from loomproof.loom.reading import load
    from loomproof.results.grade import Grade

    document = Job(load(loom).loom).replay(journal, Grade(grade) if grade else None).document
    write_json(json_file, json_of(document))
    return EXIT_CODES[document.verdict]


def _refuse_mixed(
    plugging: bool,
    *,
    probe: bool,
    insulation: tuple[float | None, int | None],
    made_itself: object,
    only_hook_ups: Sequence[object],
) -> None:
    """Refuse options that do not go together."""
    insulation_v, insulation_ms = insulation
    if plugging and probe:
        raise UsageError("--probe reads ends that no hook-up reaches; it does not go with --hook-ups")
    if plugging and insulation_v is not None:
        raise UsageError(
            "--insulation wants the whole loom on the bench at once; it does not go with --hook-ups"
        )
    if insulation_ms is not None and insulation_v is None:
        raise UsageError("--insulation-ms goes with --insulation VOLT: which voltage?")
    if plugging and made_itself:
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
