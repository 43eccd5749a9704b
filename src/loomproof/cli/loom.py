"""Commands about a loom as it is described: written, checked, drawn, explained, planned for, fitted."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.cures import how, say_next
from loomproof.cli.kinds import (
    CAVITY,
    FILE,
    MOST_POINTS,
    PATH,
    RUN,
    FiniteNumber,
    ScannerPoints,
    limits_of_error,
    pair_given,
)
from loomproof.cli.options import (
    adapter_option,
    all_option,
    answer_option,
    archive_option,
    colour_code_option,
    hook_up_options,
    loom_argument,
    over_option,
    repeats_option,
)
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.plan import show_hook_ups, show_plan, show_split
from loomproof.screens.printing import line, patience, terminal
from loomproof.screens.streams import write_json

if TYPE_CHECKING:
    from rich.console import Console

    from loomproof.jobs.archive import Archive
    from loomproof.jobs.plan import Constraints, NotPossibleError
    from loomproof.loom.model import Loom


@click.command()
@loom_argument
@answer_option
@all_option("Show every warning, also those that look alike.")
def check(loom: Path, answers: Sequence[str], everything: bool) -> None:
    """Check the description LOOM (a folder or a workbook) and sum it up."""
    from loomproof.jobs.describing import checked
    from loomproof.screens.description import show_description

    described = checked(loom, answers)
    found(0)
    show_description(described, how, "--answer {}=…".format, everything=everything)


@click.command()
@click.argument("target", type=PATH)
@click.option("--name", default="", help="Name of the loom; the folder's name where it is not given.")
@click.option("--pattern", default="", help="Add the circuits that looms of a kind usually have: engine.")
@over_option
def new(target: Path, name: str, pattern: str, over: bool) -> None:
    """Write a commented example loom to the folder TARGET (or a workbook, where it ends in .xlsx)."""
    from loomproof.jobs.describing import write_starter

    write_starter(target, name, usual=pattern, over=over)
    click.echo(f"{target} holds an example to write over.", err=True)
    say_next("check", target)


@click.command()
@loom_argument
@click.option(
    "--format",
    "form",
    type=click.Choice(["text", "csv", "json"]),
    default="text",
    show_default=True,
    help="How to write them.",
)
def nets(loom: Path, form: str) -> None:
    """Print the expected netlist of LOOM: which cavities are one conductor, by which wires."""
    from loomproof.loom.reading import load
    from loomproof.screens.description import show_nets

    described = load(loom).loom
    found(0)
    show_nets(described, form)


@click.command()
@loom_argument
@click.option(
    "--to",
    "target",
    type=PATH,
    default=Path("drawings"),
    show_default=True,
    help="Folder for the drawings; made where it is missing.",
)
@click.option("--run", type=RUN, help="Draw under it where this run found faults.")
@archive_option
@over_option
def draw(loom: Path, target: Path, run: str | None, archive: Archive, over: bool) -> None:
    """Draw LOOM as SVG: the whole loom, and the face of each connector.

    loom.svg shows connectors, splices, wires and circuits (of a loom too big for one picture: index.html
    leads to wires_NAME.svg, what hangs on each connector); face_NAME.svg a connector seen from its mating
    face, with cavity numbers and wire colours. With --run (a run's name, last, or a results file) each wire
    on which it found a place stands under the loom as a ruler, to scale. SVG opens in any browser and
    prints at any size.
    """
    from loomproof.jobs.files import folder_or
    from loomproof.screens.description import show_drawn
    from loomproof.screens.kept import chosen

    folder_or(target)
    show_drawn(loom, target, over=over, run=archive.document(chosen(archive, run)) if run else None)


@click.command()
@loom_argument
@click.option("--folder", type=PATH, help="Write a loom folder (loom.toml and CSV).")
@click.option("--workbook", type=PATH, help="Write an XLSX workbook.")
@click.option("--kbl", type=PATH, help="Write KBL 2.5; lists what KBL cannot hold.")
@colour_code_option("Code of the wire colours.", "IEC 60757")
@over_option
def export(
    loom: Path, folder: Path | None, workbook: Path | None, kbl: Path | None, colour_code: str, over: bool
) -> None:
    """Write LOOM in another form. Folder and workbook hold all of it."""
    from loomproof.jobs.files import ends_in
    from loomproof.screens.description import show_exported

    if not (folder or workbook or kbl):
        raise UsageError("nothing to write to", cure="Say --folder DIR, --workbook FILE or --kbl FILE.")
    if workbook:
        ends_in(workbook, ".xlsx")
    if kbl:
        ends_in(kbl, ".kbl", ".xml")
    show_exported(loom, folder, workbook, kbl, colour_code, how, over=over)
    for written in filter(None, (folder, workbook, kbl)):
        say_next("check", written)


HOW_NAMED = (
    "Write CONNECTOR:CAVITY, such as ECU:12; a name with a space or colon in double quotes, "
    """and all of it in single ones for the shell: '"FUSE BOX":12'."""
)
"""How a person names a cavity at a shell."""


@click.command()
@loom_argument
@click.argument("a", metavar="CAVITY", type=CAVITY)
@click.argument("b", metavar="CAVITY", type=CAVITY)
@click.option("--temperature", "temperature_c", default=20.0, show_default=True, help="Of the loom, °C.")
@click.option(
    "--accuracy", default="0.1:0.01", show_default=True, metavar="OHM:RATIO",
    help="Limits of error of the bench: ±(ohm + ratio × reading).",
)  # fmt: skip
@click.option("--lead", "lead_ohm", default=0.0, help="Standard uncertainty of the lead correction, Ω.")
@click.option(
    "--repeatability", "repeatability_ohm", default=0.0, help="Standard deviation of one reading, Ω."
)
@click.option("--repeats", type=click.IntRange(1), default=1, show_default=True, help="Readings averaged.")
@click.option("--temperature-uncertainty", "temperature_u_k", default=0.0, help="Standard uncertainty, K.")
def explain(loom: Path, a: str, b: str, accuracy: str, **figures: Any) -> None:
    """Show what two cavities of LOOM should read, and how the limit comes about.

    For example: loomproof explain mine ECU:12 INJ1:1
    """
    from loomproof.jobs.explaining import explained
    from loomproof.loom.reading import load
    from loomproof.screens.explaining import show_explained

    limits = limits_of_error("--accuracy", accuracy, most_ratio=1.0)
    ends = pair_given(f"{a} {b}", "CAVITY", HOW_NAMED)
    said = explained(load(loom).loom, *ends, limits, **figures)
    found(0)
    show_explained(said, limits)


@click.command()
@loom_argument
@answer_option
@click.option("--run", help="Take this proof instead of the latest one.")
@click.option("--csv", "csv_file", type=FILE, help="Write it as CSV.")
@click.option("--pdf", "pdf_file", type=FILE, help="Write it as PDF.")
@click.option("--side-table", type=PATH, help="What a KBL or VEC file does not carry.")
@click.option("--ampacity", type=FILE, help="CSV: csa_mm2, ampacity_a, source, conditions.")
@click.option("--running", "running_c", type=FiniteNumber(-40, 200), help="Copper while running, °C.")
@archive_option
def fit(
    loom: Path,
    answers: tuple[str, ...],
    run: str | None,
    csv_file: Path | None,
    pdf_file: Path | None,
    side_table: Path | None,
    ampacity: Path | None,
    running_c: float | None,
    archive: Archive,
) -> None:
    """Say which ends of LOOM go where in the car, and which must be made safe.

    LOOM is a folder, a workbook, a KBL or a VEC file. Without a passing proof of this very description,
    kept in the store, the sheet carries a banner and says ready nowhere.
    """
    from loomproof.fitting.ampacity import read_ampacity
    from loomproof.fitting.sheet import fitting_sheet
    from loomproof.jobs.files import ends_in, write_file
    from loomproof.loom import reading
    from loomproof.loom.choices import answers_of
    from loomproof.reports import fitting_sheet as report

    if csv_file is not None:
        ends_in(csv_file, ".csv")
    if pdf_file is not None:
        ends_in(pdf_file, ".pdf")
    described = reading.load(loom, side_table).loom
    given = answers_of(described, answers)
    table = None if ampacity is None else read_ampacity(ampacity)
    proof = archive.proof_of(described, run)
    sheet = fitting_sheet(described, given, proof, running_c=running_c, ampacity=table)
    if csv_file is not None:
        write_file(csv_file, report.sheet_csv(sheet).encode("utf-8"))
    if pdf_file is not None:
        write_file(pdf_file, report.sheet_pdf(sheet))
    found(0)
    console = terminal()
    for part in report.views(sheet):
        console.print(part)
    for written in (csv_file, pdf_file):
        if written is not None:
            click.echo(f"Written: {written}", err=True)


@click.command()
@loom_argument
@click.option("--bench", "address", metavar="ADDRESS", help="Ask this bench what it can do; drives nothing.")
@click.option("--points", type=ScannerPoints(), metavar="N", help="Plan for a scanner of N points.")
@adapter_option
@hook_up_options
@repeats_option
@click.option("--json", "json_file", metavar="FILE", help="Write the plan there as well; - is stdout.")
def plan(
    loom: Path,
    address: str | None,
    points: int | None,
    adapter: str | None,
    limits: Constraints,
    repeats: int,
    json_file: str | None,
) -> int:
    """Show what a proof of LOOM will ask, what it will claim, and what it will not test.

    For a loom with more cavities than points: which connectors to plug, in which order.
    """
    from loomproof.jobs import plan as planning
    from loomproof.loom.reading import load

    if address and points:
        raise UsageError("--bench and --points exclude each other", cure="A bench says how many it has.")
    described = load(loom).loom
    bench = planning.bench_at(address, described, loom_path=loom, points=points)
    if len(described.cavities) > bench.able.points and adapter is None:
        if repeats > 1:
            raise UsageError("--repeats: a plan of hook-ups shows no readings", cure="Leave it out.")
        return _show_hook_ups(described, bench.able.points, limits, json_file)
    for option in ("split", "stay", "owned", "plugs"):
        if getattr(limits, option):
            raise UsageError(f"--{option}: the whole loom goes on {bench.able.points} points at once")
    made = planning.proof(described, bench, adapter, repeats)
    console = _written(json_file, made.saved.plain)
    show_plan(console, made, bench, how)
    if address is None and bench.able.points > MOST_POINTS:
        line(
            f"No scanner on the link has {bench.able.points} points, {MOST_POINTS} are the most: "
            f"--points {MOST_POINTS} plans this loom in hook-ups, plug by plug.",
            on=console,
        )
    return 0


def _written(json_file: str | None, plain: Callable[[], object]) -> Console:
    """Write a plan where that is asked for; return where the words go, which is not among the JSON."""
    if json_file:
        write_json(json_file, (json.dumps(plain(), indent=2, ensure_ascii=False) + "\n").encode())
    found(0)
    return terminal(err=json_file == "-")


def _show_hook_ups(loom: Loom, points: int, limits: Constraints, json_file: str | None) -> int:
    from loomproof.jobs.plan import hook_ups_or_split
    from loomproof.planning.hookup_plan import hook_ups_plain

    asked = f"with the leads of {', '.join(limits.split)} split " if limits.split else ""

    def told(error: NotPossibleError) -> None:
        line(f"Not possible {asked}as it was asked: {error.message}.", err=True)

    with patience("still looking for the fewest hook-ups …"):
        made, bound, refused = hook_ups_or_split(loom, points, limits, told)
    console = _written(json_file, lambda: hook_ups_plain(made))
    code = found(0 if refused is None else 2)
    if refused is not None:
        more = tuple(name for name in bound.split if name not in limits.split)
        show_split(console, more, besides=bool(limits.split))
    show_hook_ups(console, made)
    return code
