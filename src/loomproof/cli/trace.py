"""``trace``: find out what an unknown loom is, and write it down as a loom folder."""

from __future__ import annotations

from pathlib import Path

import click

from loomproof.cli.options import (
    hazard_option,
    hazards_given,
    made_safe_option,
    meter_volts_option,
    selftest_age_option,
)
from loomproof.cli.workshop import bench_of
from loomproof.errors import UsageError


@click.command()
@click.option("--adapter", required=True, type=click.Path(path_type=Path), metavar="FILE", help="What is on.")
@click.option("--bench", "address", callback=bench_of, metavar="ADDRESS", help="serial:…, tcp:… or visa:….")
@click.option(
    "--to",
    "folder",
    required=True,
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="The new folder.",
)
@click.option("--name", default="", help="What to call the loom; else the folder's name.")
@hazard_option
@meter_volts_option
@selftest_age_option
@made_safe_option
@click.option("--over", is_flag=True, help="Write over a folder that is there.")
def trace(
    adapter: Path,
    address: str,
    folder: Path,
    name: str,
    hazards: tuple[str, ...],
    meter_v: float | None,
    selftest_max_age: float | None,
    made_safe: bool,
    over: bool,
) -> int:
    """Learn an unknown loom and write what was found as a loom folder, with questions for its owner.

    The adapter table says which connectors and cavities there are. Nothing may be plugged into the loom.
    """
    from loomproof.bench.adapter import read_adapter
    from loomproof.bench.address import starts_simulator
    from loomproof.bench.journal import JournaledBench
    from loomproof.bench.opening import open_bench
    from loomproof.bench.seam import point_set
    from loomproof.cli.asking import Terminal
    from loomproof.cli.prove import caution
    from loomproof.electrics.expectation import ROOM_TEMPERATURE_C
    from loomproof.jobs import prove as proving
    from loomproof.loom.writing import write_folder
    from loomproof.measuring.counting_bench import Asker
    from loomproof.measuring.ohmmeter import Ohmmeter
    from loomproof.measuring.plausibility import temperature_of
    from loomproof.measuring.preparing import checked, cleared_meter
    from loomproof.measuring.trace import Traced
    from loomproof.measuring.trace import trace as traced_steps
    from loomproof.measuring.traced_loom import fitted_loom, loom_of, questions_of
    from loomproof.planning.net_access import Scope
    from loomproof.planning.request import Request
    from loomproof.planning.suspects import single_points
    from loomproof.reports.words import plural

    if starts_simulator(address):
        raise UsageError(
            "a simulated bench of its own has no unknown loom on it",
            cure="Start one with loomproof simulate, and give the address that it prints.",
        )
    if folder.exists() and not over:
        raise UsageError(f"{folder} exists already", cure="Name another place, or say --over.")
    leads = read_adapter(adapter)
    order = {lead.end: lead.point for lead in leads.entries}
    title = name or folder.name
    answers = hazards_given(hazards, loom_of(Traced((), {}, (), True), title, order))
    empty = loom_of(Traced((), {}, (), True), title, order, hazards=answers)
    caution()
    started, now = proving.started_now()
    run = f"{folder.name}.{proving.run_name(now)}"
    journal = folder.with_name(f"{run}.journal.jsonl")
    journal.parent.mkdir(parents=True, exist_ok=True)
    request = Request(loom=empty, adapter=leads, run=run, started=started)
    assured = proving.Assured(Terminal(made_safe), meter_v=meter_v, selftest_max_age_days=selftest_max_age)
    with proving.stopping(journal), open_bench(address) as raw:
        clearance = proving.cleared(request, raw, assured)
        proving.begun(request, journal, None)
        with JournaledBench(raw, journal, {"trace": title}) as bench:
            temperature_c = temperature_of(bench)
            checked(bench, clearance, single_points(order))
            meter = cleared_meter(clearance, request, temperature_c)
            found = proving.shown(traced_steps(bench, clearance, leads.end_of, meter))
            scope = Scope((), (), (), order, dict(leads.end_of), ())
            ohmmeter = (
                Ohmmeter(Asker(bench, clearance, point_set(order.values())), meter, scope) if meter else None
            )
            loom, failing = fitted_loom(
                found,
                title,
                order,
                clearance.capabilities,
                meter,
                ohmmeter.read if ohmmeter else None,
                hazards=answers,
                temperature_c=ROOM_TEMPERATURE_C if temperature_c is None else temperature_c,
            )
            bench.confirm()
    proving.ended(request)
    write_folder(loom, folder, over=over)
    joined = sum(len(net) > 1 for net in found.nets)
    single = len(found.nets) - joined
    click.echo(
        f"{plural(len(order), 'cavity', 'cavities')}: {plural(joined, 'net')} of two or more, "
        f"{plural(single, 'single cavity', 'single cavities')}, {plural(len(found.parts), 'part')}; "
        f"{plural(found.sense_vectors, 'sense')}, {plural(found.resistance_readings, 'resistance')}."
    )
    for question in (*failing, *questions_of(found, loom)):
        click.echo(f"  ? {question}")
    click.echo(f"Written to {folder}; raw readings in {journal}.")
    return 0
