"""``retest``: after a repair, prove again what it can have touched. It gives no certificate."""

from __future__ import annotations

import json
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.options import (
    ends_given,
    grade_option,
    hazard_option,
    hazards_given,
    made_safe_option,
    meter_volts_option,
    selftest_age_option,
)
from loomproof.cli.records import store_option
from loomproof.errors import AdapterError, UsageError

if TYPE_CHECKING:
    from loomproof.loom.model import End, Loom
    from loomproof.results.document import Document


@click.command()
@click.argument("run")
@click.argument("loom", type=click.Path(path_type=Path))
@click.option("--bench", "address", required=True, metavar="ADDRESS", help="As with prove.")
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
    from loomproof.bench.adapter import check_adapter
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.bench.selfcheck import refuse_unfit, self_check
    from loomproof.bench.sensible import temperature_of
    from loomproof.cli import proving
    from loomproof.cli.prove import caution, confirmed
    from loomproof.diagnosis import explain
    from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, expect
    from loomproof.flow import Request, meter_of
    from loomproof.loom.reading import load
    from loomproof.proof.claims import claims_of
    from loomproof.proof.plan import plan_proof
    from loomproof.proof.retest import plan_retest, touched_ends, touched_nets
    from loomproof.proof.run import run_plan
    from loomproof.proof.suspects import conductors_of
    from loomproof.reports.words import headline, plural
    from loomproof.results.findings import Severity
    from loomproof.results.grade import Grade
    from loomproof.verdict import Demand, judgement_of

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
    leads = proving.adapter_for(described, address, adapter)
    caution()
    started, now = proving.started_now()
    proving.folder_for(out)
    journal = out / f"{proving.run_name(now)}.retest.journal.jsonl"
    header = {
        "retest": before.run,
        "started": started,
        "loom_digest": described.digest,
        "adapter": leads.name,
    }
    request = Request(
        loom=described,
        adapter=leads,
        run="",
        started="",
        hazards=hazards_given(hazards, described),
        meter_v=meter_v,
    )
    with ExitStack() as held:
        held.enter_context(proving.stopping(journal))
        raw = held.enter_context(open_bench(address, loom_path=loom))
        request = proving.made_ready(
            request,
            raw,
            address,
            made_safe=made_safe,
            confirm=confirmed,
            selftest_max_age=selftest_max_age,
        )
        bench = held.enter_context(JournaledBench(raw, journal, header))
        able = bench.capabilities()
        check_adapter(leads, described.cavities, able.points)
        temperature_c = temperature_of(bench)
        expectation = expect(described, ROOM_TEMPERATURE_C if temperature_c is None else temperature_c)
        meter = meter_of(able, request, measured_temperature=temperature_c is not None)
        limit_ohm = described.settings.isolation_ohm
        full = plan_proof(expectation, leads.point_of, able, meter, isolation_ohm=limit_ohm)
        nets = touched_nets(expectation, ends)
        reached = {end for net in nets for end in expectation.nets[net].cavities}
        missing = [end for end in described.cavities if end in reached - set(leads.point_of)]
        if missing:
            raise AdapterError(f"no point goes to {missing[0]}, which the repair can have touched")
        check = self_check(bench, conductors_of(expectation, full.scope), meter_v=request.meter_v)
        refuse_unfit(check, "Nothing was tested.")
        plan = plan_retest(full, expectation, nets)
        untouched = frozenset(range(len(expectation.nets))) - nets
        measured = proving.shown(run_plan(plan, expectation, bench, untouched=untouched))
    measured = replace(measured, untested=())
    findings = explain(described, measured, before.loom.answers)
    faults = [finding for finding in findings if finding.severity is Severity.FAULT]
    demand = Demand(plan.meter is not None, Grade(grade) if grade else None, answers=before.loom.answers)
    said = judgement_of(described, measured, findings, claims_of(plan, measured, able), demand)
    click.echo(
        f"Retest after {before.run}: {len(nets)} of {len(expectation.nets)} nets, "
        f"{plural(measured.sense_vectors, 'sense')}, {plural(measured.resistance_readings, 'resistance')}."
    )
    for fault in faults:
        click.echo(f"  fault: {fault.title}")
    for reason in said.reasons if not faults else ():
        click.echo(f"  {reason}")
    word = headline(said.verdict, said.grade, said.grade_text)
    click.echo(f"{word}: {', '.join(str(end) for end in described.cavities if end in reached)}")
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
    from loomproof.loom.model import end_of

    named = ends_given(also, "--also")
    strangers = [end for end in named if end not in loom.cavities]
    if strangers:
        raise UsageError(f"--also {strangers[0]}: the loom has no such cavity")
    faults = [finding for finding in before.findings if finding.severity.value == "fault"]
    cavities = [end_of(text) for finding in faults for text in finding.cavities]
    parts = [loom.component_by_name[n] for f in faults for n in f.components if n in loom.component_by_name]
    cavities += [end for part in parts for end in part.ends]
    return [*cavities, *named], [wire for finding in faults for wire in finding.wires]
