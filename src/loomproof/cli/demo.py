"""``demo`` and ``info``: the whole job on the simulated bench, and what support needs to know."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.records import store_option

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.jobs.prove import Kept
    from loomproof.loom.model import Loom

FAULTS = (
    "open W45",
    "short ECU-A:21 ECU-A:22",
    "swap ECU-B:8 ECU-B:9",
    "high 4.7 W27 at BULK:4",
)
"""Hidden in the demo loom: an open, a short of neighbours, two crossed wires, a corroded joint."""


def demo_loom() -> Path:
    """Return the demo loom's folder: beside the package once installed, in the checkout before."""
    packaged = Path(str(resources.files("loomproof"))) / "fixtures" / "hillclimb_engine"
    checkout = Path(__file__).parents[3] / "fixtures" / "hillclimb_engine"
    return packaged if packaged.is_dir() else checkout


@click.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("out"),
    show_default=True,
    help="Where certificates, results, records and journals go.",
)
@store_option
def demo(out: Path, store: str | None) -> int:
    """Prove a loom with hidden faults on a simulated bench, mend it, prove again."""
    from loomproof.bench.simulation import Simulation
    from loomproof.cli.prove import caution, show
    from loomproof.jobs import prove as proving
    from loomproof.loom.reading import load

    path = demo_loom()
    loom = load(path).loom
    click.echo(f"The loom: {loom.name} ({len(loom.cavities)} cavities, {len(loom.wires)} wires).", err=True)
    caution()
    leads = _zeroed(loom)
    arguments = [word for fault in FAULTS for word in ("--fault", fault)]
    simulation = Simulation(path, arguments)
    try:
        address = str(simulation.address)
        click.echo(f"\nA simulated scanner, process {simulation.process_id}, answers at {address}.", err=True)
        click.echo("Four faults are hidden in the loom on it. First proof:", err=True)
        # Only while a proof is sealed and shown are orders to stop held back; the next one can be stopped.
        with click.Context(demo):
            first = _prove(loom, leads, path, address, out, store)
            show(first)
        click.echo(f"\nMending the simulated loom: {simulation.tell('mend')}", err=True)
        click.echo("Second proof:", err=True)
        second = _prove(loom, leads, path, address, out, store)
        show(second)
    finally:
        simulation.end()
    click.echo("\nOpen these first:")
    for proof, what in ((first, "what was wrong, and how to mend it"), (second, "the loom after the repair")):
        if "certificate" in proof.files:
            click.echo(f"  {proof.files['certificate']}   {what}")
    if "certificate" in second.files:
        click.echo(f"  loomproof verify {second.files['certificate']}   checks the seal")
    as_planned = (first.exit_code, second.exit_code) == (1, 0)
    return 0 if as_planned else proving.EXIT_CODES["incomplete"]


def _zeroed(loom: Loom) -> Adapter:
    """Return the in-order adapter, its leads learned with a shorting plug on, as before a real proof."""
    from datetime import UTC, datetime

    from loomproof.bench.adapter import in_order
    from loomproof.bench.opening import open_bench
    from loomproof.bench.seam import meter_name
    from loomproof.cli.asking import Terminal
    from loomproof.cli.plugged import plugged_in
    from loomproof.jobs import prove as proving
    from loomproof.measuring.zero import learn_leads, zeroed

    click.echo("First the leads are zeroed, a shorting plug over all ends of the adapter.", err=True)
    adapter = in_order(loom.cavities)
    points = adapter.points
    names = {lead.point: str(lead.end) for lead in adapter.entries}
    with (
        plugged_in("sim:", None, adapter, shorted=points) as (where, plug),
        open_bench(where, loom_path=plug) as opened,
    ):
        clearance = proving.cleared_empty(opened, Terminal())
        leads = learn_leads(opened, clearance, points, names=names)
        meter = meter_name(clearance.identity, clearance.capabilities)
    return zeroed(adapter, leads, f"{datetime.now(UTC):%Y-%m-%d}", meter)


def _prove(loom: Loom, leads: Adapter, path: Path, address: str, out: Path, store: str | None) -> Kept:
    from loomproof.cli.asking import Terminal
    from loomproof.jobs import prove as proving
    from loomproof.planning.request import Request

    started, now = proving.started_now()
    request = Request(
        loom=loom,
        adapter=leads,
        run=proving.run_name(now),
        started=started,
        person="the demo",
        place="a simulated bench",
    )
    return proving.prove_and_keep(
        request,
        address,
        loom_path=path,
        out=out,
        store=store,
        assured=proving.Assured(Terminal()),
    )


@click.command()
@click.argument("loom", type=click.Path(path_type=Path), required=False)
@store_option
def info(loom: Path | None, store: str | None) -> None:
    """Show versions, ports, records and workshop.toml.

    With LOOM: the one that holds for that loom.
    """
    import platform
    import sys
    from importlib import metadata

    import loomproof
    from loomproof.records.home import home

    click.echo(f"loomproof  {loomproof.__version__}")
    click.echo(f"Python     {sys.version.split()[0]} on {platform.platform()}")
    for name in ("pyserial", "pyvisa", "pyvisa-py", "numpy", "scipy", "pydantic", "typst", "sqlalchemy"):
        try:
            click.echo(f"{name:<10} {metadata.version(name)}")
        except metadata.PackageNotFoundError:
            click.echo(f"{name:<10} missing")
    click.echo(f"home       {home()}")
    click.echo(f"store      {_store(store)}")
    for line in _workshop(loom):
        click.echo(line)
    from serial.tools import list_ports

    ports = sorted(list_ports.comports())
    for port in ports:
        click.echo(f"port       {port.device}  {port.description}")
    if not ports:
        click.echo("port       no serial port found")


def _workshop(loom: Path | None) -> Iterator[str]:
    """Yield which workshop.toml holds, what it says, and where it was looked for."""
    from loomproof.jobs.workshop import find, places

    found = find(loom)
    looked = [str(path.parent) for path in places(loom)]
    if found.path is None:
        yield f"workshop   none; no workshop.toml in {', '.join(looked)}"
        return
    yield f"workshop   {found.path}"
    for table, keys in found.workshop.model_dump(mode="json", exclude_defaults=True).items():
        for key, said in keys.items() if isinstance(keys, dict) else [("", keys)]:
            yield f"           {' '.join(filter(None, (table, key)))}: {said}"


def _store(store: str | None) -> str:
    from loomproof.errors import StoreError
    from loomproof.records.store import open_store

    try:
        with open_store(store) as opened:
            return f"{opened.where} ({len(opened.runs(limit=None))} runs)"
    except StoreError as error:
        return f"{store or 'default'}: {error.message}"
