"""``demo`` and ``info``: the whole job on the simulated bench, and what support needs to know."""

from __future__ import annotations

from collections.abc import Iterator
from importlib import resources
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.cli.output import EXIT_CODES
from loomproof.cli.records import store_option

if TYPE_CHECKING:
    from loomproof.jobs.adapters import Adapter
    from loomproof.jobs.keep import Kept
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
    from loomproof.cli.output import show
    from loomproof.cli.progress import drawn
    from loomproof.jobs.adapters import in_order
    from loomproof.jobs.bench_tests import zero
    from loomproof.jobs.demo import faulty_bench
    from loomproof.jobs.events import Unattended
    from loomproof.loom.reading import load

    path = demo_loom()
    loom = load(path).loom
    click.echo(f"The loom: {loom.name} ({len(loom.cavities)} cavities, {len(loom.wires)} wires).", err=True)
    click.echo("First the leads are zeroed, a shorting plug over all ends of the adapter.", err=True)
    leads = drawn(zero(in_order(loom.cavities), "sim:", Unattended())).adapter
    with faulty_bench(path, FAULTS) as bench:
        click.echo(
            f"\nA simulated scanner, process {bench.process_id}, answers at {bench.address}.", err=True
        )
        click.echo("Four faults are hidden in the loom on it. First proof:", err=True)
        # Only while a proof is sealed and shown are orders to stop held back; the next one can be stopped.
        with click.Context(demo):
            first = _prove(loom, leads, path, bench.address, out, store)
            show(first)
        click.echo(f"\nMending the simulated loom: {bench.mend()}", err=True)
        click.echo("Second proof:", err=True)
        second = _prove(loom, leads, path, bench.address, out, store)
        show(second)
    click.echo("\nOpen these first:")
    for proof, what in ((first, "what was wrong, and how to mend it"), (second, "the loom after the repair")):
        if "certificate" in proof.files:
            click.echo(f"  {proof.files['certificate']}   {what}")
    if "certificate" in second.files:
        click.echo(f"  loomproof verify {second.files['certificate']}   checks the seal")
    as_planned = (first.document.verdict, second.document.verdict) == ("fail", "pass")
    return 0 if as_planned else EXIT_CODES["incomplete"]


def _prove(loom: Loom, leads: Adapter, path: Path, address: str, out: Path, store: str | None) -> Kept:
    from loomproof.cli.ending import held_to_the_end
    from loomproof.cli.progress import drawn
    from loomproof.jobs.events import Unattended
    from loomproof.jobs.files import now, rfc3339, run_name
    from loomproof.jobs.keep import Keeping
    from loomproof.jobs.prove import prove_and_keep
    from loomproof.planning.request import Request

    moment = now()
    request = Request(
        loom=loom,
        adapter=leads,
        run=run_name(moment),
        started=rfc3339(moment),
        person="the demo",
        place="a simulated bench",
    )
    where = Keeping(out, store, held_to_the_end)
    return drawn(prove_and_keep(request, address, Unattended(), where, loom_path=path))


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

    from loomproof.records.data_folder import home
    from loomproof.version import VERSION

    click.echo(f"loomproof  {VERSION}")
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
