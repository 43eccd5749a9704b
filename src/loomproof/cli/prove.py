"""``prove`` and ``replay``: the main job."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.given import ends_given, metres_given
from loomproof.cli.kinds import PATH, FiniteNumber, Said
from loomproof.cli.options import (
    CAVITIES,
    RUNS,
    Clearing,
    adapter_option,
    answer_option,
    bench_option,
    certificate_options,
    clearing_options,
    grade_option,
    hook_up_options,
    insulation_options,
    loom_argument,
    out_option,
    refuse_limits,
    store_option,
)
from loomproof.cli.output import EXIT_CODES, found
from loomproof.errors import BrokenOffError, Do, Todo, UsageError

if TYPE_CHECKING:
    from loomproof.planning.hookup_search import Constraints
    from loomproof.planning.request import InsulationTest
    from loomproof.results.grade import Grade


MADE_ITSELF = "--hook-ups and --continue make adapter and plan themselves; --plugs names plugs that you have"


@click.command()
@loom_argument
@bench_option(
    "serial:/dev/ttyACM0?baud=115200, tcp:127.0.0.1:7000, visa:…, hand: for a multimeter, or sim: for a "
    "simulator; else what workshop.toml names."
)
@adapter_option
@out_option("certificate, results, record and journal go")
@click.option("--json", "json_file", metavar="FILE", help="Write the results there too; - is stdout.")
@answer_option
@click.option(
    "--waive",
    type=Said(),
    multiple=True,
    metavar="CAVITY",
    shell_complete=CAVITIES,
    help="Waive a cavity that has no point, by name.",
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
    "--no-locate", is_flag=True, help="Do not follow what fails with readings that say where along the wire."
)
@click.option("--place-within", metavar="LENGTH", help="Repeat what places a short until U is 5cm, or so.")
@click.option(
    "--learn-capacitance",
    is_flag=True,
    help="Of a loom that passes keep what each net has, so that a later break is placed by it.",
)
@click.option(
    "--watch",
    "watch_s",
    type=FiniteNumber(1, 3600),
    metavar="SECONDS",
    help="Watch for contacts that come and go while the loom is moved, 1 s or longer.",
)
@click.option(
    "--probe",
    is_flag=True,
    help="Read each end that has no point with a probe joined to the scanner's 0 V through its resistor.",
)
@insulation_options
@click.option("--hook-ups", is_flag=True, help="The bench has fewer points than the loom: plug by plug.")
@hook_up_options
@click.option("--stop-after", type=click.IntRange(1), metavar="K", help="Hook-ups: stop after so many.")
@click.option(
    "--continue",
    "stopped_run",
    metavar="RUN",
    shell_complete=RUNS,
    help="Hook-ups: go on with a stopped run.",
)
@click.option("--plan", "plan_file", type=PATH, metavar="FILE", help="Ask a saved plan.")
@grade_option
@clearing_options
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
    stated: dict[str, Any],
    inspected: tuple[str, ...],
    repeats: int,
    no_locate: bool,
    place_within: str | None,
    learn_capacitance: bool,
    watch_s: float | None,
    probe: bool,
    insulation: InsulationTest | None,
    hook_ups: bool,
    limits: Constraints,
    stop_after: int | None,
    stopped_run: str | None,
    plan_file: Path | None,
    grade: Grade | None,
    clearing: Clearing,
    store: str | None,
) -> int:
    """Prove LOOM (a folder or workbook) on a bench and keep a sealed certificate.

    Exit codes: 0 the loom passes, 1 it fails, 2 command, description or adapter is wrong, 3 the bench
    is in trouble or the run does not cover the loom, 4 undecided.
    """
    from loomproof.cli.cures import going_on
    from loomproof.cli.output import drawn, held_to_the_end
    from loomproof.jobs.files import json_of
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping
    from loomproof.jobs.plan import saved_plan
    from loomproof.judgement.inspection import ANSWERED
    from loomproof.loom.choices import answers_of
    from loomproof.loom.reading import load
    from loomproof.screens.printing import show
    from loomproof.screens.streams import writable, write_json

    writable(json_file)
    described = load(loom).loom
    if no_locate and place_within:
        raise UsageError(
            "--place-within asks for readings that --no-locate leaves out",
            cure="Give one of the two.",
        )
    plugging = hook_ups or stopped_run is not None
    if not plugging:
        refuse_limits(limits, stop_after)
    for wrong, why in (
        (probe, "--probe reads ends that no hook-up reaches; it does not go with --hook-ups"),
        (
            insulation,
            "--insulation wants the whole loom on the bench at once; it does not go with --hook-ups",
        ),
        (learn_capacitance, "--learn-capacitance wants the whole loom on the bench at once; not --hook-ups"),
        (adapter or plan_file, MADE_ITSELF),
    ):
        if plugging and wrong:
            raise UsageError(why)
    job = Job.in_workshop(
        described,
        address,
        clearing.operator(),
        loom_path=loom,
        adapter="in-order" if plugging else adapter,
        where=Keeping(out, store, held_to_the_end, Path(json_file) if json_file not in (None, "-") else None),
        assured=clearing.assured(described),
        probe=probe,
        answers=answers_of(described, answers),
        waived=ends_given(waive, "--waive"),
        person=person,
        place=place,
        stated=stated,
        inspection=(*inspected, *(ANSWERED + text for text in clearing.hazards)),
        repeats=repeats,
        locate=not no_locate,
        place_within_m=metres_given(place_within, "--place-within") if place_within else 0.0,
        learn_capacitance=learn_capacitance,
        watch_s=watch_s or 0.0,
        plan=None if plan_file is None else saved_plan(plan_file, described),
        insulation=insulation,
        grade=grade,
    )
    if stopped_run is not None:
        running = job.go_on(stopped_run, stop_after)
    else:
        running = job.hook_ups(limits, stop_after) if hook_ups else job.prove_and_keep()
    try:
        kept = drawn(running)
    except BrokenOffError as stopped:
        if stopped.do is not None and stopped.do.what is Todo.GO_ON:
            stopped.do = Do(Todo.GO_ON, going_on(stopped.do.on, click.get_current_context()))
        raise
    code = found(EXIT_CODES[kept.document.verdict])
    if json_file == "-":
        write_json(json_file, json_of(kept.document))
    show(kept, to_stderr=json_file == "-")
    return code


@click.command()
@click.argument("journal", type=PATH)
@loom_argument
@click.option(
    "--json",
    "json_file",
    metavar="FILE",
    default="-",
    show_default=True,
    help="Where the results document goes; - is standard output.",
)
@grade_option
def replay(journal: Path, loom: Path, json_file: str, grade: Grade | None) -> int:
    """Work a JOURNAL out again for LOOM, without a bench; the results are the same, byte for byte.

    With --grade another grade is demanded than the proof was asked for.
    """
    from loomproof.jobs.files import json_of
    from loomproof.jobs.job import Job
    from loomproof.loom.reading import load
    from loomproof.screens.streams import write_json

    proof = Job(load(loom).loom).replay(journal, grade)
    code = found(EXIT_CODES[proof.verdict])
    write_json(json_file, json_of(proof.document))
    return code
