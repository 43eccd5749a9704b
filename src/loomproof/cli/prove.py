"""Commands that drive a loom that is known, or work a journal of it out again."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli import options
from loomproof.cli.cures import how
from loomproof.cli.driving import AtBench, driving_options
from loomproof.cli.kinds import CAVITY, LENGTH, PATH, READ, RUN, TIME, FiniteNumber, Said, ends_given
from loomproof.cli.output import EXIT_CODES, drawn, found, held_to_the_end
from loomproof.errors import UsageError
from loomproof.screens.kept import chosen
from loomproof.screens.printing import line

if TYPE_CHECKING:
    from loomproof.planning.hookup_search import Constraints
    from loomproof.results.grade import Grade


@click.command()
@options.loom_argument
@options.bench_option(
    "serial:/dev/ttyACM0?baud=115200, tcp:127.0.0.1:7000, visa:…, hand: for a multimeter, or sim: for a "
    "simulator; else what workshop.toml names."
)
@options.adapter_option
@options.out_option("certificate, results, record and journal go")
@click.option("--json", "json_file", metavar="FILE", help="Write the results there too; - is stdout.")
@options.answer_option
@click.option("--waive", type=CAVITY, multiple=True, help="Waive a cavity that has no point, by name.")
@click.option("--person", default="", help="Who proves it; stands on the certificate.")
@click.option("--place", default="", help="Where; stands on the certificate.")
@options.certificate_options
@click.option(
    "--inspected", type=Said(), multiple=True, metavar="NOTE", help="What was seen when it was looked over."
)
@options.repeats_option
@click.option(
    "--no-locate",
    "locate",
    is_flag=True,
    flag_value=False,
    default=True,
    help="Do not follow what fails with readings that say where along the wire.",
)
@click.option(
    "--place-within", "place_within_m", type=LENGTH, help="Repeat what places a short until U is 5cm, or so."
)
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
@options.insulation_options
@click.option("--hook-ups", is_flag=True, help="The bench has fewer points than the loom: plug by plug.")
@options.hook_up_options
@click.option("--stop-after", type=click.IntRange(1), metavar="K", help="Hook-ups: stop after so many.")
@click.option("--continue", "stopped_run", type=RUN, help="Hook-ups: go on with a stopped run.")
@click.option("--plan", "plan_file", type=READ, help="Ask a saved plan.")
@options.grade_option
@driving_options
@options.store_option
def prove(
    json_file: str | None,
    answers: tuple[str, ...],
    waive: tuple[str, ...],
    inspected: tuple[str, ...],
    locate: bool,
    place_within_m: float | None,
    hook_ups: bool,
    limits: Constraints,
    stop_after: int | None,
    stopped_run: str | None,
    plan_file: Path | None,
    at: AtBench,
    **asked: Any,
) -> int:
    """Prove LOOM (a folder, workbook, KBL or VEC file) on a bench and keep a sealed certificate.

    Exit codes: 0 the loom passes, 1 it fails, 2 command, description or adapter is wrong, 3 the bench
    is in trouble or the run does not cover the loom, 4 undecided.
    """
    from loomproof.jobs.files import json_of
    from loomproof.jobs.keep import Keeping
    from loomproof.jobs.plan import saved_plan
    from loomproof.judgement.inspection import ANSWERED
    from loomproof.loom.choices import answers_of
    from loomproof.screens.printing import show
    from loomproof.screens.streams import writable, write_json

    writable(json_file)
    plugging = hook_ups or stopped_run is not None
    if place_within_m and not locate:
        raise UsageError("--place-within asks for what --no-locate leaves out", cure="Give one of the two.")
    if not plugging:
        options.refuse_limits(limits, stop_after)
    elif at.adapter:
        raise UsageError("--hook-ups and --continue make the adapter; --plugs names plugs that you have")
    written = Path(json_file) if json_file not in (None, "-") else None
    job = at.job(
        adapter="in-order" if plugging else at.adapter,
        where=Keeping(at.out, at.store, held_to_the_end, written),
        answers=answers_of(at.described, answers),
        waived=ends_given(waive, "--waive"),
        inspection=(*inspected, *(ANSWERED + text for text in at.hazards)),
        locate=locate,
        place_within_m=place_within_m,
        plan=None if plan_file is None else saved_plan(plan_file, at.described),
        **asked,
    )
    if stopped_run is not None:
        running = job.go_on(stopped_run, stop_after)
    else:
        running = job.hook_ups(limits, stop_after) if hook_ups else job.prove_and_keep()
    kept = drawn(running)
    code = found(EXIT_CODES[kept.document.verdict])
    if json_file == "-":
        write_json(json_file, json_of(kept.document))
    show(kept, how, to_stderr=json_file == "-")
    return code


@click.command()
@options.loom_argument
@options.bench_option()
@options.adapter_option
@click.option("--for", "seconds", type=TIME, default="5min", show_default=True, help="How long.")
@click.option(
    "--place",
    "places",
    multiple=True,
    metavar="NAME=PARTS",
    help="What a digit stands for: plugs and wires that move together, by commas. Else each connector.",
)
@click.option("--picture", type=READ, help="An .svg of what was seen, over time and place.")
@click.option("--json", "json_file", metavar="FILE", help="Write all its figures there too; - is stdout.")
@driving_options
def wiggle(
    seconds: float, places: tuple[str, ...], picture: Path | None, json_file: str | None, at: AtBench
) -> int:
    """Watch all nets of LOOM while you move it, and tell each break and touch at once.

    Press 1 to 9 for what you move now, 0 for nothing named: the wire or contact is found by it. Ctrl-C ends
    it, and what was seen is shown. Exit codes: 0 nothing was seen in the whole time, 1 something was, 3 part
    of the time was not watched and nothing was seen.
    """
    from loomproof.cli.cures import how
    from loomproof.jobs.files import ends_in
    from loomproof.jobs.wiggle import Hands, places_of, places_said
    from loomproof.screens.streams import writable
    from loomproof.screens.wiggle import told_and_kept, watch

    writable(json_file)
    if picture is not None:
        ends_in(picture, ".svg")
    hands = Hands(places_of(at.described, places_said(places)))
    job = at.job()
    try:
        watch(job.wiggle(seconds, hands), hands, how)
    except BaseException:
        if job.wiggled is not None:
            line("Broken off. What was seen until then:", err=json_file == "-")
            told_and_kept(job.wiggled, at.described, picture, json_file)
        raise
    assert job.wiggled is not None
    code = found(1 if job.wiggled.troubles else 0 if job.wiggled.whole else 3)
    told_and_kept(job.wiggled, at.described, picture, json_file)
    return code


@click.command()
@click.argument("run", type=RUN)
@options.loom_argument
@options.bench_option()
@options.adapter_option
@click.option(
    "--finding", "numbers", multiple=True, type=click.IntRange(1), metavar="N", help="Only what was mended."
)
@click.option("--also", multiple=True, type=CAVITY, help="A cavity that was worked at besides.")
@click.option("--hook-ups", is_flag=True, help="The bench has too few points: plug by plug.")
@options.hook_up_options
@options.out_option("the journal goes")
@options.grade_option
@driving_options
@options.store_option
def retest(
    run: str,
    numbers: tuple[int, ...],
    also: tuple[str, ...],
    hook_ups: bool,
    limits: Constraints,
    grade: Grade | None,
    at: AtBench,
) -> int:
    """Prove again what the repairs of RUN can have touched: quick, and no certificate.

    RUN is a run's name, last, or a results file. Exit codes as with prove.
    """
    from loomproof.screens.retest import show_retest

    if not hook_ups:
        options.refuse_limits(limits)
    before = at.archive.document(chosen(at.archive, run))
    job = at.job(adapter="in-order" if hook_ups else at.adapter, grade=grade)
    again = drawn(job.retest_after(before, ends_given(also, "--also"), numbers, limits if hook_ups else None))
    code = found(EXIT_CODES[again.judgement.verdict])
    show_retest(before, again, numbers, "sweep" if at.address.startswith("hand:") else "sense")
    return code


@click.command()
@click.argument("run", type=RUN)
@options.loom_argument
@options.bench_option()
@options.adapter_option
@click.option("--finding", "numbers", multiple=True, type=click.IntRange(1), metavar="N", help="Only that.")
@options.out_option("the journal goes")
@driving_options
@options.store_option
def locate(run: str, numbers: tuple[int, ...], at: AtBench) -> int:
    """Say where along its wires each finding of RUN lies, with readings taken now.

    RUN is a run's name, last, or a results file. What is gone or is otherwise now is told. No certificate;
    exit codes as with prove.
    """
    from loomproof.screens.retest import show_places

    before = at.archive.document(chosen(at.archive, run))
    again = drawn(at.job().retest_after(before, numbers=numbers, locate=True))
    code = found(EXIT_CODES[again.judgement.verdict])
    show_places(before, again, numbers)
    return code


@click.command()
@click.argument("journal", type=PATH)
@options.loom_argument
@click.option(
    "--json",
    "json_file",
    metavar="FILE",
    default="-",
    show_default=True,
    help="Where the results document goes; - is standard output.",
)
@options.grade_option
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
