"""Commands of a loom that nobody knows: laid on a known one, or learned from known-good ones."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.cures import say_next
from loomproof.cli.given import ends_given
from loomproof.cli.kinds import PATH
from loomproof.cli.options import LOOMS, over_option
from loomproof.cli.output import found
from loomproof.errors import UsageError
from loomproof.screens.printing import paragraphs

if TYPE_CHECKING:
    from loomproof.loom.model import End

EVERY_SURE = "sure"


@click.command("match")
@click.argument("traced", type=PATH, shell_complete=LOOMS)
@click.argument("known", type=PATH, shell_complete=LOOMS)
@click.option(
    "--touched",
    multiple=True,
    metavar='"TRACED KNOWN"',
    help='An end of TRACED that answered when an end of KNOWN was touched: "P3:2 INJ1:1"; repeatable.',
)
@click.option(
    "--take",
    "taken",
    multiple=True,
    metavar="CONNECTOR",
    help='Take names and colours over for this connector of TRACED, or for all that are "sure"; repeatable.',
)
@click.option("--to", "target", type=PATH, help="The new folder, for what is taken over.")
@click.option("--cavities", is_flag=True, help="List which cavity is which as well.")
@over_option
def match_(
    traced: Path,
    known: Path,
    touched: tuple[str, ...],
    taken: tuple[str, ...],
    target: Path | None,
    cavities: bool,
    over: bool,
) -> None:
    """Say which connector and cavity of TRACED is which of KNOWN, what is sure, and what differs.

    Both are looms as any command takes them. Nothing is taken over but with --take, into a loom of its own.
    """
    from loomproof.jobs.matching import matched
    from loomproof.screens.matching import show_match

    if bool(taken) != (target is not None):
        raise UsageError("what is taken over goes into a new folder", cure="Give --take and --to together.")
    if target is not None and target.resolve() in (traced.resolve(), known.resolve()):
        raise UsageError(f"{target} is what is matched", cure="Name another folder: both stay as they are.")
    names = [name for name in taken if name != EVERY_SURE]
    pairs = [_pair(text) for text in touched]
    laid = matched(traced, known, pairs, names, target, every_sure=EVERY_SURE in taken, over=over)
    found(0)
    show_match(laid, "--cavities lists them", cavities=cavities)
    if target is not None:
        click.echo(f"Written to {target}: check it, and prove the loom against it.")
        say_next("check", target)


@click.command()
@click.argument("references", type=PATH, nargs=-1, required=True)
@click.option("--to", "target", required=True, type=PATH, help="The new folder.")
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@over_option
def learn(references: tuple[Path, ...], target: Path, name: str, over: bool) -> None:
    """Learn a description from REFERENCES, looms known to be good, each traced with the same adapter table.

    What all agree on is described, ohms with their spread as tolerance; what differs is asked. A proof
    against it says that the loom is equal to those, which is less than equal to its drawing.
    """
    from loomproof.loom.reading import load
    from loomproof.loom.writing import write_folder
    from loomproof.matching.learning import learn as learned

    found_out = learned([load(path).loom for path in references], name or target.name)
    write_folder(found_out.loom, target, over=over)
    found(0)
    paragraphs(found_out.questions, "  ? ", "    ")
    click.echo(f"Written to {target}.")
    say_next("check", target)


def _pair(text: str) -> tuple[End, End]:
    ends = ends_given((text,), "--touched")
    if len(ends) != 2:
        raise UsageError(
            f"--touched {text!r}: two ends are expected", cure='The traced one first: "P3:2 INJ1:1".'
        )
    return ends[0], ends[1]
