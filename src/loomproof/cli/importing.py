"""The command ``import``: make a loom of a list that people have, or of a KBL or VEC file."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.loom import show_notes
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.errors import Problem
    from loomproof.loom.lists.questions import Answers, Question
    from loomproof.loom.lists.reading import Reading
    from loomproof.loom.model import Loom
    from loomproof.loom.reading import LoadedLoom

MOST_SHOWN = 12
"""So many rows that are left out, and changes, are shown unless all are asked for."""


@click.command("import")
@click.argument("source", type=click.Path(path_type=Path))
@click.option(
    "--to", "target", required=True, type=click.Path(path_type=Path), help="Folder or .xlsx to write."
)
@click.option("--name", default="", help="Name of the loom; the file's name where it is not given.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="ROLE=HEADING",
    help='Say what a column of a list is: --column from="From Pin"; Pin#2 is the second of two headings, a '
    "letter or a number names a column as well; repeatable. Roles: from, from_connector, from_cavity, "
    "from_label, the same with to, place, connector, cavity, net, wire, colour, csa_mm2, awg, section, "
    "length_m, length_mm, length, circuit, twisted, screen, note.",
)
@click.option("--from-connector", default="", metavar="NAME", help="Connector that all wires start at.")
@click.option("--to-connector", default="", metavar="NAME", help="Connector that all wires end at.")
@click.option("--connector", default="", metavar="NAME", help="Connector of a list of one connector's pins.")
@click.option("--separator", default="", help="What parts connector from cavity in one cell of a list.")
@click.option("--decimal", type=click.Choice([".", ","]), default=None, help="What parts decimals in a list.")
@click.option(
    "--sheet",
    "sheets",
    multiple=True,
    help="Sheet of a workbook or table of a text; repeatable. Else all with the same headings.",
)
@click.option("--heading-row", type=click.IntRange(1), default=None, help="Row of the headings of a list.")
@click.option(
    "--answer", "said", multiple=True, metavar="QUESTION=ANSWER", help="Answer a question; repeatable."
)
@click.option("--yes", is_flag=True, help="Take the list as it is understood without asking.")
@click.option(
    "--colour-code",
    type=click.Choice(["IEC 60757", "BS AU 7", "German", "US", "Japanese"], case_sensitive=False),
    default=None,
    help="Code of the wire colours; else the one that reads them all.",
)
@click.option("--configuration", default=None, help="Configuration of a KBL or VEC file.")
@click.option(
    "--length-type", default=None, help="Which length counts where wires of a KBL or VEC file have several."
)
@click.option(
    "--side-table",
    type=click.Path(path_type=Path),
    default=None,
    help="Components (a table like components.csv) that add what a KBL or VEC file does not carry.",
)
@click.option("--all", "everything", is_flag=True, help="Show every warning with every name that it lists.")
@click.option("--over", is_flag=True, help="Write over what is there.")
def import_(
    source: Path,
    target: Path,
    name: str,
    columns: Sequence[str],
    from_connector: str,
    to_connector: str,
    connector: str,
    separator: str,
    decimal: str | None,
    sheets: Sequence[str],
    heading_row: int | None,
    said: Sequence[str],
    yes: bool,
    colour_code: str | None,
    configuration: str | None,
    length_type: str | None,
    side_table: Path | None,
    everything: bool,
    over: bool,
) -> None:
    """Make a loom of SOURCE.

    It is a list of wires, of ends by nets, or of pins (CSV, Markdown or XLSX, with headings of your own), a
    netlist of electronics design, or a KBL or VEC file.
    """
    from loomproof.loom import harness_file, importers
    from loomproof.loom.lists.questions import Answers
    from loomproof.loom.lists.sheets import ENDINGS

    suffix = source.suffix.casefold()
    connectors = {"from": from_connector, "to": to_connector, "one": connector}
    if harness_file.is_one(source):
        if columns or separator or sheets or said or any(connectors.values()):
            raise UsageError(
                "--column, --connector, --separator, --sheet and --answer are for lists, not for KBL and VEC"
            )
        _kbl(source, target, name, configuration, length_type, side_table, everything=everything, over=over)
        return
    if suffix not in (*ENDINGS, ".net"):
        if importers.reads(source):
            _other(source, target, name, everything=everything, over=over)
            return
        others = "".join(f", {ending}" for ending in importers.endings())
        cure = f"Read are lists (.csv, .tsv, .md, .xlsx), netlists (.net), KBL (.kbl), VEC (.vec){others}."
        if suffix in (".ods", ".xls"):
            cure = "Save the table as an Excel workbook (.xlsx) or as 'CSV UTF-8'."
        raise UsageError(f"{source}: what kind of file this is is not known", cure=cure)
    if configuration or side_table or length_type:
        raise UsageError("--configuration, --length-type and --side-table are for KBL and VEC, not for lists")
    given = Answers(
        _pairs(columns, "role=heading", 'Like --column from="From Pin".'),
        {side: text for side, text in connectors.items() if text},
        _answers(said),
        tuple(sheets),
        heading_row or 0,
        separator,
        decimal or "",
        colour_code or "",
    )
    _list(source, target, name, given, yes=yes, everything=everything, over=over)


def _pairs(texts: Sequence[str], form: str, cure: str) -> dict[str, str]:
    given: dict[str, str] = {}
    for text in texts:
        role, equals, heading = text.partition("=")
        if not equals or not heading.strip():
            raise UsageError(f"{text!r} is not of the form {form}", cure=cure)
        given[role.strip()] = heading.strip()
    return given


def _answers(said: Sequence[str]) -> dict[str, str]:
    from loomproof.errors import suggestion
    from loomproof.loom.lists.questions import CHOICES

    given = _pairs(said, "question=answer", "Like --answer ranges=expand.")
    for question, answer in given.items():
        if question not in CHOICES:
            cure = suggestion(question, CHOICES) or f"Known: {', '.join(CHOICES)}."
            raise UsageError(f"--answer {question}: there is no such question", cure=cure)
        if answer not in CHOICES[question]:
            raise UsageError(
                f"--answer {question}={answer}: that is no answer",
                cure=f"Known: {', '.join(CHOICES[question])}.",
            )
    return given


def _written(loom: Loom, target: Path, *, over: bool) -> None:
    from loomproof.loom import writing
    from loomproof.loom.reading import WORKBOOKS

    if target.suffix.casefold() in WORKBOOKS:
        writing.write_workbook(loom, target, over=over)
    else:
        writing.write_folder(loom, target, over=over)


def _done(loom: Loom, target: Path) -> None:
    wires = "1 wire" if len(loom.wires) == 1 else f"{len(loom.wires)} wires"
    click.echo(f"{target} holds {wires}. Next: loomproof check {target}", err=True)


def _kbl(
    source: Path,
    target: Path,
    name: str,
    configuration: str | None,
    length_type: str | None,
    side_table: Path | None,
    *,
    everything: bool,
    over: bool,
) -> None:
    from loomproof.loom import harness_file

    loaded = harness_file.read(
        source, configuration=configuration, side_table=side_table, length_type=length_type
    )
    _taken(loaded, target, name, everything=everything, over=over)


def _other(source: Path, target: Path, name: str, *, everything: bool, over: bool) -> None:
    from loomproof.loom.importers import read_other

    if not source.is_file():
        raise UsageError(f"{source}: there is no such file")
    _taken(read_other(source), target, name, everything=everything, over=over)


def _taken(loaded: LoadedLoom, target: Path, name: str, *, everything: bool, over: bool) -> None:
    loom = replace(loaded.loom, name=name) if name else loaded.loom
    _written(loom, target, over=over)
    if loaded.warnings:
        show_notes(loaded.warnings, everything=everything)
    _done(loom, target)


def _list(
    source: Path, target: Path, name: str, given: Answers, *, yes: bool, everything: bool, over: bool
) -> None:
    from loomproof.cli.cures import to_answer
    from loomproof.errors import DescriptionError, Problem
    from loomproof.loom import writing
    from loomproof.loom.lists import questions
    from loomproof.loom.lists.reading import understand
    from loomproof.loom.tables import read_bytes

    data, problem = read_bytes(source)
    if data is None:
        raise UsageError(str(problem or f"{source}: there is no such file"))
    kept, old = _kept(target)
    name = name or (old.name if old and kept else "") or source.stem
    answers, reading, is_known = given, None, False
    if kept:
        reading = _as_before(data, source.name, name, given.over(kept))
        if reading and reading.answers.headings == kept.headings:
            answers, is_known = given.over(kept), True
        else:
            # Another list's columns are no answers to this one's.
            click.echo(
                f"The headings are not those that {questions.FILE} speaks of; it is not used.", err=True
            )
            reading = None
    reading = reading or understand(data, source.name, name, answers)
    show_reading(reading, everything=everything)
    while reading.questions and sys.stdin.isatty():
        answers = _asked(reading.questions[0], answers)
        reading = understand(data, source.name, name, answers)
        show_reading(reading, everything=everything)
    if reading.open:
        lines = [f"{question.text} Say {to_answer(question)}." for question in reading.open]
        raise DescriptionError(
            f"{source.name}: the list leaves {len(lines)} question{'s' * (len(lines) > 1)} open",
            problems=[Problem(line, source.name) for line in lines],
        )
    if reading.loom is None:
        raise DescriptionError(f"{source.name}: the list does not make a loom", problems=reading.problems)
    if (reading.guessed or reading.left_out) and not yes and not is_known:
        if not sys.stdin.isatty():
            cure = "Say --yes to take them so, or --column ROLE=HEADING for each that is wrong."
            raise UsageError("nobody has confirmed these columns", cure=cure)
        click.confirm("Is this right?", abort=True, err=True)
    loom = _compared(reading.loom, old, kept, target, everything=everything, over=over)
    again = over or kept is not None
    _written(loom, target, over=again)
    kept_now = replace(reading.answers, digest=loom.digest)
    writing.write_file(_answers_file(target), questions.write(kept_now), over=True)
    if reading.notes:
        show_notes(reading.notes, everything=everything)
    _done(loom, target)


def _as_before(data: bytes, file: str, name: str, answers: Answers) -> Reading | None:
    """Return a list read under kept answers; `None` where it has no such columns or sheets."""
    from loomproof.loom.lists.reading import understand

    try:
        return understand(data, file, name, answers)
    except UsageError:
        return None


def _answers_file(target: Path) -> Path:
    from loomproof.loom.lists.questions import FILE
    from loomproof.loom.reading import WORKBOOKS

    if target.suffix.casefold() in WORKBOOKS:
        return target.with_name(f"{target.stem}.{FILE}")
    return target / FILE


def _kept(target: Path) -> tuple[Answers | None, Loom | None]:
    """Return the answers kept beside a loom, and the loom, where an earlier issue was imported there."""
    from loomproof.errors import LoomproofError
    from loomproof.loom.lists import questions
    from loomproof.loom.reading import load
    from loomproof.loom.tables import read_bytes

    file = _answers_file(target)
    data, problem = read_bytes(file)
    if problem:
        raise UsageError(str(problem))
    if data is None:
        return None, None
    kept = questions.parse(data, file.name)
    try:
        return kept, load(target).loom
    except LoomproofError as error:
        raise UsageError(
            f"{target} holds {file.name} and no loom that can be read ({error})",
            cure=f"Mend it (loomproof check {target}), or take {file.name} away and say --over.",
        ) from error


def _compared(
    loom: Loom, old: Loom | None, kept: Answers | None, target: Path, *, everything: bool, over: bool
) -> Loom:
    """Say what changed since the last issue, and carry over what a person had added."""
    from loomproof.loom.lists.changes import carried, changes
    from loomproof.reports.words import clean

    if old is None or kept is None:
        return loom
    new = carried(old, loom)
    found = changes(old, new)
    head = f"Changed since {target} was written:" if found else "Nothing changed since the last issue."
    click.echo(head, err=True)
    shown = found if everything or len(found) <= MOST_SHOWN + 1 else found[:MOST_SHOWN]
    for text in shown:
        click.echo(f"  {clean(text)}", err=True)
    if len(found) > len(shown):
        click.echo(f"  {len(found) - len(shown)} more (--all shows them).", err=True)
    edited = [text for text in found if text.startswith("wire ")]
    if old.digest != kept.digest and edited and not over:
        raise UsageError(
            f"{target} was edited since it was imported, and these wires would be written over",
            cure="Say --over to take the list's wires, or keep the loom and write the changes into it.",
        )
    return new


def _asked(question: Question, answers: Answers) -> Answers:
    """Ask a question on the terminal, and return the answers with what was said."""
    click.echo(f"{question.text[:1].upper()}{question.text[1:]}", err=True)
    name, _, rest = question.name.partition(" ")
    skip = () if question.must else ("leave it",)
    if name == "column":
        text = click.prompt("  Column (heading, letter or number)", err=True)
        return replace(answers, columns={**answers.columns, rest: text})
    if name == "connector":
        text = click.prompt("  Connector", err=True)
        return replace(answers, connectors={**answers.connectors, rest: text})
    kind = click.Choice([*question.answers, *skip], case_sensitive=False)
    text = click.prompt("  Answer", type=kind, err=True)
    if name == "separator":
        return replace(answers, separator=text)
    if name == "colour_code":
        return replace(answers, colour_code=text)
    return replace(answers, said={**answers.said, name: text})


_KINDS = {
    "wires": "a wire in each row",
    "nets": "an end in each row, joined by what they have in common",
    "pins": "pins of connectors, nothing joined",
}


def show_reading(reading: Reading, *, everything: bool = False) -> None:
    """Show what was understood of a list, before anything is written."""
    from loomproof.reports.words import clean

    click.echo(f"{reading.file}: {_KINDS[reading.kind]}.", err=True)
    loom = reading.loom
    lines: list[tuple[str, str]] = []
    if reading.sheets:
        lines.append(("sheets", ", ".join(reading.sheets)))
    if reading.heading_row:
        lines.append(("headings", f"row {reading.heading_row}"))
    lines += [(role, f"column {heading}") for role, heading in reading.columns]
    lines += [(f"{side}_connector", name) for side, name in reading.named]
    if reading.columns_left:
        lines.append(("not used", ", ".join(reading.columns_left)))
    if reading.separator:
        lines.append(("parted by", repr(reading.separator)))
    if any(role == "colour" for role, _ in reading.columns):
        lines.append(("colour code", f"{reading.units.code}: {reading.code_why}"))
    lines.append(("rows", f"{reading.rows}, {len(reading.left_out)} of them left out"))
    if loom is not None:
        lines.append(("makes", f"{len(loom.wires)} wires, {len(loom.connectors)} connectors and splices"))
    for head, text in lines:
        click.echo(f"  {head:<15} {clean(text)}", err=True)
    if reading.sample:
        click.echo("  as read:", err=True)
        for row, text in reading.sample:
            click.echo(f"    row {row:<5} {clean(text)}", err=True)
    _show_left_out(reading.left_out, everything=everything)


def _show_left_out(left_out: Sequence[Problem], *, everything: bool) -> None:
    from loomproof.reports.words import clean

    shown = left_out if everything or len(left_out) <= MOST_SHOWN + 1 else left_out[:MOST_SHOWN]
    for problem in shown:
        click.echo(f"  {clean(str(problem))}", err=True)
    if len(left_out) > len(shown):
        click.echo(f"  {len(left_out) - len(shown)} more rows are left out (--all shows them).", err=True)
