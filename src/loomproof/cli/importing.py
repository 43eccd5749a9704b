"""The command ``import``: make a loom of a list that people have, or of a KBL or VEC file."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.cures import how, say_next
from loomproof.cli.kinds import PATH
from loomproof.cli.options import all_option, colour_code_option, over_option, together
from loomproof.errors import UsageError
from loomproof.screens.list_reading import asked, confirmed
from loomproof.screens.notes import show_notes

if TYPE_CHECKING:
    from loomproof.loom.lists.questions import Answers


def _answers(
    columns: Sequence[str],
    said: Sequence[str],
    sheets: tuple[str, ...],
    heading_row: int | None,
    separator: str,
    decimal: str | None,
    colour_code: str | None,
    **connectors: str,
) -> Answers:
    """Return how a list is to be read. Raises `UsageError`."""
    from loomproof.loom.lists.questions import Answers

    return Answers(
        _pairs(columns, "role=heading", 'Like --column from="From Pin".'),
        {side.removesuffix("_connector"): name for side, name in connectors.items() if name},
        _pairs(said, "question=answer", "Like --answer ranges=expand."),
        sheets,
        heading_row or 0,
        separator,
        decimal or "",
        colour_code or "",
    )


list_options = together(
    "given",
    _answers,
    click.option(
        "--column",
        "columns",
        multiple=True,
        metavar="ROLE=HEADING",
        help='Say what a column of a list is: --column from="From Pin"; Pin#2 is the second of two headings, '
        "a letter or a number names a column as well; repeatable. Roles: from, from_connector, from_cavity, "
        "from_label, the same with to, place, connector, cavity, net, wire, colour, csa_mm2, awg, section, "
        "length_m, length_mm, length, circuit, twisted, screen, note.",
    ),
    click.option("--from-connector", default="", metavar="NAME", help="Connector that all wires start at."),
    click.option("--to-connector", default="", metavar="NAME", help="Connector that all wires end at."),
    click.option(
        "--connector",
        "one_connector",
        default="",
        metavar="NAME",
        help="Connector of a list of one connector's pins.",
    ),
    click.option("--separator", default="", help="What parts connector from cavity in one cell of a list."),
    click.option(
        "--decimal", type=click.Choice([".", ","]), default=None, help="What parts decimals in a list."
    ),
    click.option(
        "--sheet",
        "sheets",
        multiple=True,
        help="Sheet of a workbook or table of a text; repeatable. Else all with the same headings.",
    ),
    click.option(
        "--heading-row", type=click.IntRange(1), default=None, help="Row of the headings of a list."
    ),
    click.option(
        "--answer", "said", multiple=True, metavar="QUESTION=ANSWER", help="Answer a question; repeatable."
    ),
    colour_code_option("Code of the wire colours; else the one that reads them all."),
)
"""Options of what a list's columns, rows and cells are, as ``given``."""


@click.command("import")
@click.argument("source", type=PATH)
@click.option("--to", "target", required=True, type=PATH, help="Folder or .xlsx to write.")
@click.option("--name", default="", help="Name of the loom; the file's name where it is not given.")
@list_options
@click.option("--yes", is_flag=True, help="Take the list as it is understood without asking.")
@click.option("--harness", default=None, help="Harness of a VEC file that describes several.")
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
    given: Answers,
    yes: bool,
    everything: bool,
    over: bool,
    **of_harness: Any,
) -> None:
    """Make a loom of SOURCE.

    It is a list of wires, of ends by nets, or of pins (CSV, Markdown or XLSX, with headings of your own), a
    netlist of electronics design, or a KBL or VEC file.
    """
    from loomproof.jobs.files import folder_or
    from loomproof.jobs.importing import Form, form_of, import_whole, read_list
    from loomproof.loom.lists.questions import Answers

    folder_or(target, ".xlsx", ".xlsm")
    form = form_of(source)
    if form is Form.HARNESS and replace(given, colour_code="") != Answers():
        of_list = "--column, --connector, --separator, --sheet and --answer"
        raise UsageError(f"{of_list} are for lists, not for KBL and VEC")
    if form is Form.LIST and any(of_harness.values()):
        of_files = "--harness, --configuration, --length-type and --side-table"
        raise UsageError(f"{of_files} are for KBL and VEC, not for lists")
    if form is Form.LIST:
        read = asked(read_list(source, target, given, name), how, everything=everything)
        cure = "Say --yes to take them so, or --column ROLE=HEADING for each that is wrong."
        made = confirmed(read, how, cure, yes=yes, everything=everything, over=over)
    else:
        made = import_whole(source, target, name=name, over=over, **of_harness)
    if made.notes:
        show_notes(made.notes, how, everything=everything)
    wires = "1 wire" if len(made.loom.wires) == 1 else f"{len(made.loom.wires)} wires"
    click.echo(f"{target} holds {wires}.", err=True)
    say_next("check", target)


def _pairs(texts: Sequence[str], form: str, cure: str) -> dict[str, str]:
    given: dict[str, str] = {}
    for text in texts:
        role, equals, heading = text.partition("=")
        if not equals or not heading.strip():
            raise UsageError(f"{text!r} is not of the form {form}", cure=cure)
        given[role.strip()] = heading.strip()
    return given
