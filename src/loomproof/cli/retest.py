"""``retest``: after a repair, prove again what it can have touched. It gives no certificate."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import (
    address_option,
    ends_given,
    grade_option,
    hazard_option,
    hazards_given,
    made_safe_option,
    meter_volts_option,
    selftest_age_option,
)
from loomproof.cli.records import store_option
from loomproof.cli.workshop import workshop_of
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.loom.model import End, Loom
    from loomproof.results.document import Document


@click.command()
@click.argument("run")
@click.argument("loom", type=click.Path(path_type=Path))
@address_option
@click.option("--adapter", metavar="FILE|in-order", help="Which point goes to which cavity.")
@click.option("--also", multiple=True, metavar="CAVITY", help="A cavity that was worked at besides.")
@meter_volts_option
@hazard_option
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("out"),
    show_default=True,
    help="Where the journal goes.",
)
@selftest_age_option
@grade_option
@made_safe_option
@store_option
def retest(
    run: str,
    loom: Path,
    address: str,
    adapter: str | None,
    also: tuple[str, ...],
    meter_v: float | None,
    hazards: tuple[str, ...],
    out: Path,
    selftest_max_age: float | None,
    grade: str | None,
    made_safe: bool,
    store: str | None,
) -> int:
    """Prove again what the repairs of RUN can have touched: quick, and no certificate.

    RUN is a run's name, last, or a results file. Exit codes as with prove.
    """
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.cli.asking import Terminal
    from loomproof.cli.prove import caution
    from loomproof.jobs import prove as proving
    from loomproof.jobs.retest import retest as retest_steps
    from loomproof.loom.reading import load
    from loomproof.planning.request import Request
    from loomproof.planning.retest_plan import touched_ends
    from loomproof.reports.words import headline, plural
    from loomproof.results.grade import Grade

    described = load(loom).loom
    before = document_of(run, store)
    if before.loom.digest != described.digest:
        raise UsageError(
            f"the run {before.run} was proved against another description of {before.loom.name}",
            cure="Prove the whole loom against this one.",
        )
    ends = touched_ends(described, *worked_at(before, described, also))
    if not ends:
        raise UsageError(
            f"the run {before.run} found nothing to repair", cure="Name with --also what was worked at."
        )
    shop = workshop_of(loom)
    leads = proving.adapter_for(described, address, adapter or shop.adapter(address))
    caution()
    started, now = proving.started_now()
    proving.folder_for(out)
    name = f"{proving.run_name(now)}.retest"
    journal = out / f"{name}.journal.jsonl"
    header = {
        "retest": before.run,
        "started": started,
        "loom_digest": described.digest,
        "adapter": leads.name,
    }
    request = Request(
        loom=described,
        adapter=leads,
        run=name,
        started=started,
        answers=before.loom.answers,
        serial=before.loom.serial,
        entered=shop.workshop.entered(address, {}),
        grade=Grade(grade) if grade else None,
    )
    assured = proving.Assured(
        Terminal(made_safe),
        hazards_given(hazards, described),
        meter_v,
        selftest_max_age,
        shop.workshop.require_calibration,
    )
    with proving.stopping(journal), open_bench(address, loom_path=loom) as raw:
        clearance = proving.cleared(request, raw, assured)
        proving.begun(request, journal, store)
        with JournaledBench(raw, journal, header) as bench:
            found = proving.shown(retest_steps(request, ends, bench, clearance))
    proving.ended(request)
    measured = found.measured
    click.echo(
        f"Retest after {before.run}: {found.nets} of {found.of_nets} nets, "
        f"{plural(measured.sense_vectors, 'sense')}, {plural(measured.resistance_readings, 'resistance')}."
    )
    for finding in found.findings:
        click.echo(f"  {finding.severity}: {finding.title}")
    titles = {finding.title for finding in found.findings}
    for reason in found.judgement.reasons:
        if reason not in titles:
            click.echo(f"  {reason}")
    said = found.judgement
    word = headline(said.verdict, said.grade, said.grade_text)
    click.echo(f"{word}: {', '.join(str(end) for end in found.reached)}")
    click.echo(
        "This is no certificate. Prove the whole loom for one: what a repair did elsewhere is not seen here."
    )
    return proving.EXIT_CODES[said.verdict]


def document_of(run: str, store: str | None) -> Document:
    """Return a run's results from a results file or from the store."""
    from loomproof.cli.records import chosen, of_this_run
    from loomproof.records.seal import verify
    from loomproof.records.store import open_store
    from loomproof.results.document import Document

    path = Path(run)
    if path.suffix == ".json":
        try:
            return Document.model_validate(json.loads(path.read_text(encoding="utf-8")))
        except (OSError, ValueError) as error:
            raise UsageError(f"{path} holds no results: {str(error).splitlines()[0]}") from None
    with open_store(store) as kept:
        found = chosen(kept, run)
        verified = verify(kept.record(found.hash), name=f"run {found.run}")
    of_this_run(verified, found, "the sealed record")
    return verified.document()


def worked_at(before: Document, loom: Loom, also: tuple[str, ...]) -> tuple[list[End], list[str]]:
    """Return the cavities and wires of a run's faults, and what was named besides."""

    named = ends_given(also, "--also")
    strangers = [end for end in named if end not in loom.cavities]
    if strangers:
        raise UsageError(f"--also {strangers[0]}: the loom has no such cavity")
    faults = [finding for finding in before.findings if finding.severity.value == "fault"]
    cavities = [end for finding in faults for end in finding.cavities]
    parts = [loom.component_by_name[n] for f in faults for n in f.components if n in loom.component_by_name]
    cavities += [end for part in parts for end in part.ends]
    return [*cavities, *named], [wire for finding in faults for wire in finding.wires]
