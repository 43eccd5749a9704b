"""What is kept, on a screen: runs, what was noted of them, a record that was checked, and what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import Do, LoomproofError, Problem, Todo
from loomproof.screens.notes import How, told
from loomproof.screens.printing import line, paragraphs, table, terminal

if TYPE_CHECKING:
    from loomproof.jobs.archive import Archive, Shelf
    from loomproof.jobs.checking import Checked
    from loomproof.jobs.handing_over import HandedOver
    from loomproof.records.integrity import Integrity
    from loomproof.records.store import Repair
    from loomproof.records.taking_in import Taken
    from loomproof.results.document import Document


def show_told(problems: Iterable[Problem], how: How) -> None:
    """Say what a person should know of the store: that it is away, what was handed over to it."""
    for problem in problems:
        click.echo(told(problem, how), err=True)


def show_waiting(result: HandedOver, how: How) -> None:
    """Print what was handed over, and what still waits in this account's outboxes, server by server."""
    from loomproof.reports.words import plural

    show_told(result.told, how)
    for server, waiting in result.waiting.items():
        parts = [plural(len(waiting.runs), "proof")] if waiting.runs else []
        parts += [plural(waiting.notes, "note")] if waiting.notes else []
        parts += [plural(waiting.certificates, "certificate")] if waiting.certificates else []
        line(f"for {server}: {', '.join(parts)}")
        for run in waiting.runs:
            line(f"  {run}")
    if not result.waiting:
        click.echo("Nothing waits.")


def show_shelf(shelf: Shelf, how: How) -> None:
    """Print the runs that were kept, then those that were broken off; tell troubles."""
    from loomproof.jobs.archive import BROKEN_OFF_HEADS, RUN_HEADS

    try:
        for number, (head, part) in enumerate(shelf.apart):
            if head:
                click.echo(f"\n{head}" if number else head)
            table(RUN_HEADS, part.run_texts, whole=("verdict",))
        if shelf.runs and shelf.broken_off:
            click.echo("")
        if shelf.broken_off:
            table(BROKEN_OFF_HEADS, shelf.broken_off_texts, whole=("ended",))
        if shelf.lost_told:
            line(shelf.lost_told)
    finally:  # a reader that has gone away does not keep troubles from being told
        tell_troubles(shelf, how)


def show_repairs(archive: Archive, run: str) -> None:
    """Print what was noted for a run, one line each; what was withdrawn or nobody vouches for is told."""
    from loomproof.jobs.teaching import found_text
    from loomproof.records.store import Standing
    from loomproof.reports.words import clean, when

    heads = {Standing.STANDS: "repaired, ", Standing.WITHDRAWN: "withdrawn, ", Standing.WITHDRAWS: ""}
    for _, each in archive.repairs(run):
        what = f"finding {each.finding}" if each.finding else "the whole run"
        told = f"{each.words} ({each.person}, {when(each.done)[:16]})"
        line(clean(f"{heads[each.standing]}{what}: {told}"))
    for one in archive.confirmed(run):
        told = f"{found_text(one)} ({one.person}, {when(one.said)[:16]})"
        line(clean(f"found, finding {one.finding}: {told}"))
    tell_of_records(archive.not_vouched_for())


def show_noted(archive: Archive, noted: Repair, found: str | None) -> None:
    """Print that a repair is kept, and where its cause was none of those that its finding had left open."""
    from loomproof.jobs.teaching import beside_all
    from loomproof.reports.words import clean

    click.echo(f"run {noted.run}: kept")
    for one in archive.confirmed(noted.run) if found is not None else ():
        if one.finding == noted.finding and (said := beside_all(one)):
            line(clean(said))


def tell_left_out(shelf: Shelf, how: How) -> None:
    """Say which records were not counted because nobody here knows who sealed them."""
    from loomproof.reports.words import clean

    for problem in shelf.left_out:
        line(clean(told(problem, how)), err=True)


def tell_of_records(troubles: Iterable[str]) -> None:
    """Tell what is wrong with records that were kept."""
    for trouble in troubles:
        click.echo(f"loomproof: record: {trouble}", err=True)


def tell_troubles(shelf: Shelf, how: How) -> None:
    """Tell what is wrong with what was shown."""
    tell_of_records(shelf.troubles)
    if shelf.troubles:
        click.echo(f"  {how(Do(Todo.CHECK_RECORDS))}", err=True)


def show_integrity(checked: Integrity, how: How) -> None:
    """Print how much of a store was checked, and what is wrong with it or can't be told."""
    from loomproof.reports.words import clean, plural

    records = plural(checked.records + checked.gone, "record")
    there = f"{checked.records} of {records}" if checked.gone else records
    click.echo(
        f"{there} in {plural(checked.chains, 'chain')}, "
        f"{plural(checked.journals, 'journal')}, {plural(checked.certificates, 'certificate')}"
    )
    for count, words in checked.deleted:
        line(f"{plural(count, 'record')}: {words}")
    for each in (*checked.times, *checked.others):
        line(clean(each), "  ")
    for each in (*checked.troubles, *(told(problem, how) for problem in checked.untold)):
        line(each, "  ", err=True)
    here = " that is here" if checked.missing else ""
    unchanged = f"nothing{' else' if checked.deleted else ''}{here} was changed"
    said = plural(len(checked.troubles), "trouble") if checked.troubles else unchanged
    if others := len(checked.untold) - checked.missing:
        said += f", {others} that can't be told"
    click.echo(f"{said}; whether anything is missing can't be told" if checked.missing else said)


def show_taken(taken: Taken) -> None:
    """Print what was taken in of another bench's records, and what could not be."""
    confirmed = f"{taken.confirmed} confirmed causes, " if taken.confirmed else ""
    click.echo(
        f"{taken.added} new, {taken.already} there already, {taken.repairs} repairs, "
        f"{taken.answers} answers, {confirmed}{taken.certificates} certificates, {taken.selftests} self-tests"
    )
    for conflict in taken.conflicts:
        click.echo(f"  {conflict}", err=True)


def show_verified(one: Checked, name: str, how: How) -> None:
    """Print how one record stands, and what it claims."""
    from loomproof.reports.terminal import findings_view, summary_view
    from loomproof.reports.words import clean

    assert one.verified is not None
    document = one.verified.document()
    for each in one.lines:
        line(clean(each))
    click.echo("\nIt claims:")
    terminal().print(summary_view(document))
    terminal().print(findings_view(document))
    if not one.verified.signer:
        said = "Anybody can make a key. Compare the fingerprint with the signer."
        click.echo(f"{said} {how(Do(Todo.KNOW_SIGNER, name))}", err=True)


def show_checked(
    results: Sequence[Checked], said: str, lines_of: Callable[[LoomproofError], Iterable[str]]
) -> None:
    """Print how each of several files stands; ``lines_of`` says what stands below an error."""
    from loomproof.jobs.checking import CHECKED_HEADS
    from loomproof.reports.words import clean

    table(CHECKED_HEADS, (one.texts for one in results), whole=CHECKED_HEADS[1:3])
    line(said)
    for one in results:
        if one.trouble is not None:
            if not one.paper:
                line(clean(f"{one.name}: no certificate: a page that was never signed"), err=True)
                continue
            line(clean(one.trouble.message), err=True)
            for each in lines_of(one.trouble):
                line(clean(each), "  ", err=True)


def chosen(archive: Archive, run: str) -> str:
    """Return what names the run of a command; say which one ``last`` is, and what corrects it."""
    from loomproof.reports.words import clean, when

    if run != "last":
        by = "" if Path(run).suffix else archive.corrected_by(run)
        if by:
            line(clean(f"Run {run} was corrected: what holds is {by}."), err=True)
        return run
    found = archive.run(run)
    loom = f"{found.loom}, {found.serial}" if found.serial else found.loom
    said = f"The last proof is run {found.run} of {loom}, {when(found.started)[:16]}."
    line(clean(said), err=True)
    return found.hash


def show_reasoning(document: Document, archive: Archive | None = None) -> None:
    """Print the reasoning: what was explained by what, the table of costs, and what repairs have taught.

    Of a run in the store of ``archive`` that was judged before anything was confirmed: what is taught by now.
    """
    from loomproof.jobs.answering import CAUSE_HEADS, COST_HEADS, cause_texts, cost_texts, reasoning
    from loomproof.reports.words import clean, place_text

    for number, finding in enumerate(document.findings, 1):
        if finding.place is not None and finding.place.answer != "none":
            click.echo("")
            paragraphs([clean(f"Place of finding {number}: {place_text(finding.place)}.")])
    click.echo("")
    paragraphs([reasoning(document)])
    click.echo("")
    table(CAUSE_HEADS, cause_texts(document), figures=("", "cost", "equals"))
    click.echo("")
    table(COST_HEADS, cost_texts(), figures=("cost",), whole=("explanation",))
    learned = document.learned
    if learned is None and archive is not None:
        learned = archive.learned(document)
    if learned is not None:
        from loomproof.jobs.teaching import TAUGHT_HEADS, learning, taught_texts

        click.echo("")
        paragraphs([learning(learned, as_judged=document.learned is not None)])
        click.echo("")
        table(TAUGHT_HEADS, taught_texts(document, learned), figures=("", "before", "now"), whole=("place",))
