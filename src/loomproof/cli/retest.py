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
from loomproof.cli.output import EXIT_CODES
from loomproof.cli.records import store_option
from loomproof.errors import UsageError

if TYPE_CHECKING:
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
    from loomproof.cli.progress import drawn
    from loomproof.cli.terminal_operator import TerminalOperator
    from loomproof.jobs.gate import Assured
    from loomproof.jobs.job import Job
    from loomproof.jobs.keep import Keeping
    from loomproof.loom.reading import load
    from loomproof.reports.words import headline, plural
    from loomproof.results.grade import Grade

    described = load(loom).loom
    before = document_of(run, store)
    job = Job.in_workshop(
        described,
        address,
        TerminalOperator(made_safe),
        loom_path=loom,
        adapter=adapter,
        where=Keeping(out, store),
        assured=Assured(hazards_given(hazards, described), meter_v, selftest_max_age),
        grade=Grade(grade) if grade else None,
    )
    found = drawn(job.retest_after(before, ends_given(also, "--also")))
    measured, said = found.measured, found.judgement
    click.echo(
        f"Retest after {before.run}: {found.nets} of {found.of_nets} nets, "
        f"{plural(measured.sense_vectors, 'sense')}, {plural(measured.resistance_readings, 'resistance')}."
    )
    for finding in found.findings:
        click.echo(f"  {finding.severity}: {finding.title}")
    titles = {finding.title for finding in found.findings}
    for reason in said.reasons:
        if reason not in titles:
            click.echo(f"  {reason}")
    word = headline(said.verdict, said.grade, said.grade_text)
    click.echo(f"{word}: {', '.join(str(end) for end in found.reached)}")
    click.echo(
        "This is no certificate. Prove the whole loom for one: what a repair did elsewhere is not seen here."
    )
    return EXIT_CODES[said.verdict]


def document_of(run: str, store: str | None) -> Document:
    """Return a run's results from a results file or from the store."""
    from loomproof.cli.records import chosen
    from loomproof.jobs.certificate import of_this_run
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
