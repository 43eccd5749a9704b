"""Commands that speak of what was found: a run's findings again, and what a repair changed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

from loomproof.cli.records import store_option, terminal
from loomproof.jobs.files import now

if TYPE_CHECKING:
    from rich.console import RenderableType

    from loomproof.results.document import Document, LoomEntry


@click.command()
@click.argument("run", default="last")
@click.option(
    "--saw",
    multiple=True,
    metavar="WHAT",
    help='What one more look showed: "W12 sound", "C5 bad", "ECU:12 sound", "adapter ECU:12 bad".',
)
@click.option("--forget", is_flag=True, help="Take back what --saw was told of this run before.")
@click.option("--details", is_flag=True, help="Show the reasoning: causes, and what each explanation costs.")
@store_option
def findings(run: str, saw: tuple[str, ...], forget: bool, details: bool, store: str | None) -> None:
    """Show a RUN's findings again (a run's name, or a results file).

    --saw takes the answer to what a finding asks for, and leaves the explanations that still fit. Answers are
    kept with the run in the store, beside its sealed record; those about a results file are not kept.
    """
    from loomproof.cli.retest import document_of
    from loomproof.reports.terminal import findings_view

    document = document_of(run, store)
    document, told = _narrowed(document, run, saw, forget, store)
    terminal().print(findings_view(document))
    for line in told:
        click.echo(line)
    if details:
        terminal().print(_details(document))


def _narrowed(
    document: Document, run: str, saw: Sequence[str], forget: bool, store: str | None
) -> tuple[Document, list[str]]:
    """Return the findings with kept and new answers taken, and what became of each; keeps the new ones."""
    from loomproof.diagnosis import Effect, named, narrow, read_observation
    from loomproof.records.store import open_store
    from loomproof.reports.words import clean

    known = named(document.findings)
    new = [read_observation(text, known) for text in saw]
    in_store = not run.endswith(".json")
    kept: tuple[str, ...] = ()
    if in_store:
        with open_store(store) as records:
            if forget:
                records.add_answer(run, "", now().isoformat(timespec="seconds"))
            kept = records.answers(run)
    before = [read_observation(text, known) for text in kept]
    if not (before or new):
        return document, []
    closed, taken = narrow(document.findings, [*before, *new])
    keep = [t.answer for t in taken if t.answer in new and t.effect in (Effect.NARROWS, Effect.NOTHING)]
    told = [clean(str(each)) for each in taken]
    if in_store and keep:
        with open_store(store) as records:
            for answer in keep:
                records.add_answer(run, str(answer), now().isoformat(timespec="seconds"))
    elif keep:
        told.append("Not kept: answers are kept with a run of the store, not with a results file.")
    colours = {
        wire: colour for f in document.findings for wire, colour in zip(f.wires, f.wire_colours, strict=False)
    }
    entries = tuple(finding.stated(colours) for finding in closed)
    return document.model_copy(update={"findings": entries}), told


def _details(document: Document) -> RenderableType:
    """Return the reasoning: what was explained by what, and the table of costs with reasons."""
    from rich import box
    from rich.console import Group
    from rich.table import Table
    from rich.text import Text

    from loomproof.diagnosis import weight_table
    from loomproof.reports.words import clean

    causes = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    causes.add_column("", justify="right")
    causes.add_column("cost", justify="right")
    causes.add_column("kind")
    causes.add_column("cause")
    causes.add_column("explains", overflow="fold")
    causes.add_column("equals", justify="right")
    causes.add_column("smallest")
    for number, entry in enumerate(document.findings, 1):
        causes.add_row(
            str(number),
            "" if entry.cost is None else f"{entry.cost:.2f}",
            entry.kind.value,
            clean(entry.cause),
            clean("; ".join(shown.text for shown in entry.evidence[:4])),
            str(len(entry.alternatives)),
            "proved" if entry.proved else "not proved",
        )
    known = [entry.cost for entry in document.findings if entry.cost is not None]
    total = f" Here it is {math.fsum(known):.2f}." if known else ""
    costs = Table(box=box.SIMPLE_HEAD, pad_edge=False, padding=(0, 1, 0, 0))
    costs.add_column("explanation", no_wrap=True)
    costs.add_column("cost", justify="right")
    costs.add_column("reason", overflow="fold")
    for row in weight_table():
        if row.name.startswith("bound_"):
            continue
        costs.add_row(row.name, f"{row.cost / 1000:.2f}", row.reason)
    return Group(
        Text(
            "\nThe explanation of the smallest total cost is reported, one broken wire being 1; equal ones "
            f"stand beside it.{total}"
        ),
        causes,
        costs,
    )


def _two_looms(before: LoomEntry, after: LoomEntry) -> str:
    """Say that two proofs are of two looms, or of one whose description changed; "" where neither is so."""
    from loomproof.reports.words import clean

    names = [clean(" ".join(filter(None, (loom.name, loom.serial)))) for loom in (before, after)]
    if (before.name, before.serial) == (after.name, after.serial):
        if before.digest == after.digest:
            return ""
        return (
            f"The description of {names[0]} changed between the two proofs: a finding can be gone because "
            "nothing looks for it any more."
        )
    return (
        f"These are proofs of two looms, {names[0]} and {names[1]}: what is gone or new below is no repair. "
        "loomproof log LOOM lists the proofs of one loom."
    )


@click.command()
@click.argument("before")
@click.argument("after")
@store_option
def compare(before: str, after: str, store: str | None) -> None:
    """Show what changed from one proof to a later one.

    Findings that are gone, still there or new, and the readings that changed by more than their uncertainty.
    """
    from loomproof.cli.retest import document_of
    from loomproof.diagnosis import changes
    from loomproof.reports.words import VERDICTS, clean, when
    from loomproof.results.figures import ohms

    first, second = document_of(before, store), document_of(after, store)
    found = changes(first, second)
    if told := _two_looms(first.loom, second.loom):
        click.echo(told, err=True)
    for word, run in (("before", first), ("after", second)):
        click.echo(f"{word}: {run.run}, {when(run.ended)}: {VERDICTS[run.verdict.value]}")
    for word, entries in (("gone", found.gone), ("still there", found.standing), ("new", found.new)):
        for entry in entries:
            note = " (note)" if entry.severity.value == "note" else ""
            click.echo(f"{word}: {clean(entry.title)}{note}")
    if not (found.gone or found.standing or found.new):
        click.echo("No findings before or after.")
    for moved in found.moved:
        figures = (ohms(math.inf if ohm is None else ohm) for ohm in (moved.before_ohm, moved.after_ohm))
        click.echo(f"reading: {clean(moved.subject)}: {' -> '.join(figures)}")
