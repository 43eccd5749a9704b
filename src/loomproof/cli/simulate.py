"""``loomproof simulate``: a simulated scanner with a loom on it, on a real line."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.kinds import READ, FiniteNumber, limits_of_error
from loomproof.cli.options import loom_argument, together
from loomproof.errors import UsageError
from loomproof.virtual.faults import GRAMMAR

if TYPE_CHECKING:
    from loomproof.virtual.starting import Kind


_FAULTS = "\b\nFaults:\n" + "\n".join(f"  {family}" for family in GRAMMAR.splitlines())


def _kind(
    points: int | None,
    acc: str,
    four_wire: str | None,
    insulation: float,
    driver: float,
    pulls: int,
    cap: str | None,
    line: int | None,
    **lacks: bool,
) -> Kind:
    """Return the kind of scanner that is asked for. Raises `UsageError`."""
    # Its matrices are small; a linear algebra library that starts a thread per core only gets in the way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from loomproof.virtual.starting import Kind

    return Kind(
        points,
        None if lacks["no_ohms"] else limits_of_error("--acc", acc),
        limits_of_error("--four-wire", four_wire) if four_wire else None,
        diode=not lacks["no_diode"],
        volts=not lacks["no_volts"],
        watch=not lacks["no_watch"],
        insulation_v=insulation,
        line_bytes=line or 0,
        driver_ohm=driver,
        pulled_at_once=pulls,
        capacitance=limits_of_error("--cap", cap, like="FARAD:RATIO, such as 1e-11:0.02") if cap else None,
    )


kind_options = together(
    "kind",
    _kind,
    click.option("--points", type=int, metavar="N", help="Points, 4096 at most; else as many as needed."),
    click.option("--acc", default="0.1:0.01", metavar="OHM:RATIO", help="Limits of error, two-wire."),
    click.option("--no-ohms", is_flag=True, help="A scanner that only senses."),
    click.option("--no-diode", is_flag=True, help="A scanner without a diode test."),
    click.option("--no-volts", is_flag=True, help="A scanner that cannot look for voltage on the loom."),
    click.option("--no-watch", is_flag=True, help="A scanner that cannot watch."),
    click.option(
        "--four-wire",
        is_flag=False,
        flag_value="0.001:0.001",
        metavar="[OHM:RATIO]",
        help="Four-wire readings too; their limits of error.",
    ),
    click.option("--insulation", type=FiniteNumber(), default=0.0, metavar="VOLT", help="Insulation test."),
    click.option("--driver", type=FiniteNumber(), default=0.0, metavar="OHM", help="In series with drivers."),
    click.option("--pulls", type=int, default=0, metavar="N", help="Points pulled up at once; 0: all."),
    click.option(
        "--cap",
        is_flag=False,
        flag_value="3e-12:0.03",
        metavar="[FARAD:RATIO]",
        help="Capacitance readings too; their limits of error.",
    ),
    click.option("--line", type=int, metavar="BYTES", help="Longest line."),
)


@click.command(epilog=_FAULTS)
@loom_argument
@click.option("--fault", "faults", multiple=True, metavar="TEXT", help='A fault, like "open W12 at ECU:7".')
@click.option(
    "--pty", "use_pty", is_flag=True, help="On a pseudo-terminal (the default where there are any)."
)
@click.option("--tcp", "port", type=click.IntRange(0, 65535), metavar="PORT", help="On a TCP port; 0: any.")
@click.option("--paced", is_flag=True, help="Answer as slowly as a real scanner on a real line.")
@kind_options
@click.option("--adapter", type=READ, help="Points to cavities, as CSV.")
@click.option("--seed", type=int, default=0, metavar="N", help="Another loom of the same kind, other noise.")
@click.option(
    "--temperature", "temperature_c", type=FiniteNumber(), default=20.0, metavar="C", help="On the bench."
)
@click.option("--end-with-input", is_flag=True, help="Stop when standard input ends.")
@click.option("--quiet", is_flag=True, help="Say nothing but the address and answers.")
def simulate(
    loom: Path, use_pty: bool, port: int | None, kind: Kind, end_with_input: bool, quiet: bool, **more: Any
) -> None:
    """Run a simulated scanner with LOOM on it until Ctrl-C.

    The first line printed is its address. Lines on standard input change the loom under it: mend,
    mend W12, fault open W12, load OTHER, adapter FILE, unplug, seed 5, line cut; each is answered by one
    line.
    """
    from loomproof.virtual.serve import listen_to_stdin
    from loomproof.virtual.starting import simulated, told_of

    if use_pty and port is not None:
        raise UsageError("--pty and --tcp exclude each other", cure="Leave one of them out.")
    server = simulated(loom, kind, port=port, pty=use_pty, **more)
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda *_: server.order(None))
    _say(server.line.address)
    if not quiet:
        click.echo(f"{told_of(server.device.scanner)}. Ctrl-C ends it.", err=True)
    listen_to_stdin(server, stop_at_end=end_with_input)
    server.run(_say)


def _say(text: str) -> None:
    click.echo(text)
    sys.stdout.flush()
