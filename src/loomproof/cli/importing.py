"""The command ``import``: make a loom of a list that people have, or of a KBL or VEC file."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

import click

from loomproof.cli.loom import show_notes
from loomproof.cli.options import PATH, all_option, colour_code_option, over_option
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.importing import Imported, ListImport
    from loomproof.loom.lists.questions import Question
    from loomproof.loom.lists.reading import Reading

T = TypeVar("T")

MOST_SHOWN = 12
"""So many rows that are left out, and changes, are shown unless all are asked for."""


@click.command("import")
@click.argument("source", type=PATH)
@click.option("--to", "target", required=True, type=PATH, help="Folder or .xlsx to write.")
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
@colour_code_option("Code of the wire colours; else the one that reads them all.")
@click.option("--configuration", default=None, help="Configuration of a KBL or VEC file.")
@click.option(
    "--length-type", default=None, help="Which length counts where wires of a KBL or VEC file have several."
)
@click.option(
    "--side-table",
    type=PATH,
    help="Components (a table like components.csv) that add what a KBL or VEC file does not carry.",
)
@all_option("Show every warning with every name that it lists.")
@over_option
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
    from loomproof.jobs.importing import Form, form_of, import_harness, import_other, read_list
    from loomproof.loom.lists.questions import Answers

    connectors = {"from": from_connector, "to": to_connector, "one": connector}
    of_list = columns or separator or sheets or said or any(connectors.values())
    form = form_of(source)
    if form is Form.OTHER:
        made = import_other(source, target, name=name, over=over)
    elif form is Form.HARNESS:
        if of_list:
            raise UsageError(
                "--column, --connector, --separator, --sheet and --answer are for lists, not for KBL and VEC"
            )
        made = import_harness(
            source,
            target,
            name=name,
            configuration=configuration,
            length_type=length_type,
            side_table=side_table,
            over=over,
        )
    else:
        if configuration or side_table or length_type:
            raise UsageError(
                "--configuration, --length-type and --side-table are for KBL and VEC, not for lists"
            )
        given = Answers(
            _pairs(columns, "role=heading", 'Like --column from="From Pin".'),
            {side: text for side, text in connectors.items() if text},
            _pairs(said, "question=answer", "Like --answer ranges=expand."),
            tuple(sheets),
            heading_row or 0,
            separator,
            decimal or "",
            colour_code or "",
        )
        read = _asked(read_list(source, target, given, name), everything=everything)
        made = _confirmed(read, yes=yes, everything=everything, over=over)
    if made.notes:
        show_notes(made.notes, everything=everything)
    wires = "1 wire" if len(made.loom.wires) == 1 else f"{len(made.loom.wires)} wires"
    click.echo(f"{target} holds {wires}. Next: loomproof check {target}", err=True)


def _pairs(texts: Sequence[str], form: str, cure: str) -> dict[str, str]:
    given: dict[str, str] = {}
    for text in texts:
        role, equals, heading = text.partition("=")
        if not equals or not heading.strip():
            raise UsageError(f"{text!r} is not of the form {form}", cure=cure)
        given[role.strip()] = heading.strip()
    return given


def _asked(read: ListImport, *, everything: bool) -> ListImport:
    """Show what is understood of a list, and ask on the terminal what it leaves open."""
    from loomproof.loom.lists.questions import FILE

    if read.strange:
        click.echo(f"The headings are not those that {FILE} speaks of; it is not used.", err=True)
    show_reading(read.reading, everything=everything)
    while read.reading.questions and sys.stdin.isatty():
        question = read.reading.questions[0]
        read = read.answered(question, _ask(question))
        show_reading(read.reading, everything=everything)
    return read


def _ask(question: Question) -> str:
    from loomproof.jobs.importing import LEAVE

    click.echo(f"{question.text[:1].upper()}{question.text[1:]}", err=True)
    name = question.name.partition(" ")[0]
    if name in ("column", "connector"):
        free = "  Column (heading, letter or number)" if name == "column" else "  Connector"
        return str(click.prompt(free, err=True))
    kind = click.Choice([*question.answers, *(() if question.must else (LEAVE,))], case_sensitive=False)
    return str(click.prompt("  Answer", type=kind, err=True))


def _confirmed(read: ListImport, *, yes: bool, everything: bool, over: bool) -> Imported:
    """Have the list confirmed where nobody has, say what changed since the last issue, and write the loom."""
    from loomproof.reports.words import clean

    read.made()
    if read.unsure and not yes:
        if not sys.stdin.isatty():
            cure = "Say --yes to take them so, or --column ROLE=HEADING for each that is wrong."
            raise UsageError("nobody has confirmed these columns", cure=cure)
        click.confirm("Is this right?", abort=True, err=True)
    changed = read.changes()
    if changed is not None:
        head = (
            f"Changed since {read.target} was written:"
            if changed
            else "Nothing changed since the last issue."
        )
        click.echo(head, err=True)
        _some(changed, clean, "more", everything=everything)
    return read.write(over=over)


def _some(items: Sequence[T], said: Callable[[T], str], more: str, *, everything: bool) -> None:
    """Show items, one a line; of a long list the first and how many more there are."""
    # One line in the place of one line would save nothing.
    shown = items if everything or len(items) <= MOST_SHOWN + 1 else items[:MOST_SHOWN]
    for each in shown:
        click.echo(f"  {said(each)}", err=True)
    if len(items) > len(shown):
        click.echo(f"  {len(items) - len(shown)} {more} (--all shows them).", err=True)


_KINDS = {
    "wires": "a wire in each row",
    "nets": "an end in each row, joined by what they have in common",
    "pins": "pins of connectors, nothing joined",
}


def show_reading(reading: Reading, *, everything: bool = False) -> None:
    """Show what was understood of a list, before anything is written."""
    from loomproof.cli.cures import told
    from loomproof.reports.words import clean

    click.echo(f"{reading.file}: {_KINDS[reading.kind]}.", err=True)
    coloured = any(role == "colour" for role, _ in reading.columns)
    loom = reading.loom
    lines = [
        ("sheets", ", ".join(reading.sheets)),
        ("headings", f"row {reading.heading_row}" if reading.heading_row else ""),
        *((role, f"column {heading}") for role, heading in reading.columns),
        *((f"{side}_connector", name) for side, name in reading.named),
        ("not used", ", ".join(reading.columns_left)),
        ("parted by", repr(reading.separator) if reading.separator else ""),
        ("colour code", f"{reading.units.code}: {reading.code_why}" if coloured else ""),
        ("rows", f"{reading.rows}, {len(reading.left_out)} of them left out"),
        ("makes", f"{len(loom.wires)} wires, {len(loom.connectors)} connectors and splices" if loom else ""),
    ]
    for head, text in lines:
        if text:
            click.echo(f"  {head:<15} {clean(text)}", err=True)
    if reading.sample:
        click.echo("  as read:", err=True)
        for row, text in reading.sample:
            click.echo(f"    row {row:<5} {clean(text)}", err=True)
    _some(reading.left_out, lambda each: clean(told(each)), "more rows are left out", everything=everything)
