"""``loomproof simulate``: a simulated scanner with a loom on it, on a real line."""

from __future__ import annotations

import os
import signal
import sys
from pathlib import Path
from typing import TYPE_CHECKING, TypedDict, Unpack

import click

from loomproof.cli.given import limits_of_error
from loomproof.cli.options import PATH, FiniteNumber, loom_argument
from loomproof.errors import UsageError
from loomproof.virtual.faults import GRAMMAR

if TYPE_CHECKING:
    from loomproof.virtual.serve import Server


_FAULTS = "\b\nFaults:\n" + "\n".join(f"  {family}" for family in GRAMMAR.splitlines())


class Asked(TypedDict):
    """What the options say of a simulated scanner, its line and the loom on it."""

    loom: Path
    faults: tuple[str, ...]
    use_pty: bool
    port: int | None
    paced: bool
    points: int | None
    acc: str
    no_ohms: bool
    no_diode: bool
    no_volts: bool
    no_watch: bool
    four_wire: str | None
    insulation: float
    driver: float
    pulls: int
    cap: str | None
    line: int | None
    adapter: Path | None
    seed: int
    temperature: float


@click.command(epilog=_FAULTS)
@loom_argument
@click.option("--fault", "faults", multiple=True, metavar="TEXT", help='A fault, like "open W12 at ECU:7".')
@click.option("--pty", "use_pty", is_flag=True, help="On a pseudo-terminal (the default but on Windows).")
@click.option("--tcp", "port", type=click.IntRange(0, 65535), metavar="PORT", help="On a TCP port; 0: any.")
@click.option("--paced", is_flag=True, help="Answer as slowly as a real scanner on a real line.")
@click.option(
    "--points",
    type=click.IntRange(1, 4096),
    metavar="N",
    help="Points; without it, as many as needed, 4096 at most.",
)
@click.option("--acc", default="0.1:0.01", metavar="OHM:RATIO", help="Limits of error, two-wire.")
@click.option("--no-ohms", is_flag=True, help="A scanner that only senses.")
@click.option("--no-diode", is_flag=True, help="A scanner without a diode test.")
@click.option("--no-volts", is_flag=True, help="A scanner that cannot look for voltage on the loom.")
@click.option("--no-watch", is_flag=True, help="A scanner that cannot watch.")
@click.option(
    "--four-wire",
    is_flag=False,
    flag_value="0.001:0.001",
    metavar="[OHM:RATIO]",
    help="Four-wire readings too; their limits of error.",
)
@click.option(
    "--insulation", type=FiniteNumber(0, 1000), default=0.0, metavar="VOLT", help="Insulation test."
)
@click.option(
    "--driver", type=FiniteNumber(0, 100_000), default=0.0, metavar="OHM", help="In series with each driver."
)
@click.option(
    "--pulls", type=click.IntRange(0, 4096), default=0, metavar="N", help="Points pulled up at once; 0: all."
)
@click.option(
    "--cap",
    is_flag=False,
    flag_value="3e-12:0.03",
    metavar="[FARAD:RATIO]",
    help="Capacitance readings too; their limits of error.",
)
@click.option("--line", type=click.IntRange(64, 65536), metavar="BYTES", help="Longest line.")
@click.option("--adapter", type=PATH, metavar="FILE", help="Points to cavities, as CSV.")
@click.option("--seed", type=int, default=0, metavar="N", help="Another loom of the same kind, other noise.")
@click.option("--temperature", type=FiniteNumber(-40, 125), default=20.0, metavar="C", help="On the bench.")
@click.option("--end-with-input", is_flag=True, help="Stop when standard input ends.")
@click.option("--quiet", is_flag=True, help="Say nothing but the address and answers.")
def simulate(end_with_input: bool, quiet: bool, **asked: Unpack[Asked]) -> None:
    """Run a simulated scanner with LOOM on it until Ctrl-C.

    The first line printed is its address. Lines on standard input change the loom under it: mend,
    mend W12, fault open W12, load OTHER, adapter FILE, unplug, seed 5, line cut; each is answered by one
    line.
    """
    # Its matrices are small; a linear algebra library that starts a thread per core only gets in the way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

    from loomproof.jobs.simulating import listen_to_stdin

    server = serving(asked)
    for name in ("SIGINT", "SIGTERM"):
        signal.signal(getattr(signal, name), lambda *_: server.order(None))
    _say(server.line.address)
    if not quiet:
        scanner = server.device.scanner
        faults = len(scanner.faults)
        untested = len(scanner.loom.cavities) - len(scanner.hookup.ends)
        click.echo(
            f"Simulated scanner: {scanner.make.points} points, {scanner.loom.name}, {faults} "
            + ("fault" if faults == 1 else "faults")
            + (f", {untested} cavities without a point" if untested > 0 else "")
            + ". Ctrl-C ends it.",
            err=True,
        )
    listen_to_stdin(server, stop_at_end=end_with_input)
    server.run(_say)


def serving(asked: Asked) -> Server:
    """Return a server on a line of its own, which nobody runs yet.

    A file or an option that cannot be meant raises `InputError` or `UsageError`; a line that this system
    does not give, `NoBenchError`.
    """
    from loomproof.jobs.simulating import Kind, simulated

    port, four_wire = asked["port"], asked["four_wire"]
    if asked["use_pty"] and port is not None:
        raise UsageError("--pty and --tcp exclude each other", cure="Leave one of them out.")
    kind = Kind(
        asked["points"],
        None if asked["no_ohms"] else limits_of_error("--acc", asked["acc"]),
        limits_of_error("--four-wire", four_wire) if four_wire else None,
        diode=not asked["no_diode"],
        volts=not asked["no_volts"],
        watch=not asked["no_watch"],
        insulation_v=asked["insulation"],
        line_bytes=asked["line"] or 0,
        driver_ohm=asked["driver"],
        pulled_at_once=asked["pulls"],
        capacitance=limits_of_error("--cap", asked["cap"], like="FARAD:RATIO, such as 1e-11:0.02")
        if asked["cap"]
        else None,
    )
    return simulated(
        asked["loom"],
        kind,
        port=0 if port is None and sys.platform == "win32" and not asked["use_pty"] else port,
        faults=asked["faults"],
        adapter=asked["adapter"],
        seed=asked["seed"],
        temperature_c=asked["temperature"],
        paced=asked["paced"],
    )


def _say(text: str) -> None:
    click.echo(text)
    sys.stdout.flush()
