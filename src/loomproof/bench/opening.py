"""Opens the bench at an address, whatever stands there."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.bench.address import (
    Address,
    HandAddress,
    OtherAddress,
    SerialAddress,
    SimAddress,
    TcpAddress,
    VisaAddress,
    parse_address,
)
from loomproof.bench.interface import Bench
from loomproof.bench.link import PATIENCE_S, Clock, Line
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import tell_end
from loomproof.errors import Todo, UsageError

if TYPE_CHECKING:
    from loomproof.bench.simulation import Simulation

FIRST_PATIENCE_S = 5.0
"""How long to wait for a first sign of life."""


def open_bench(
    address: str | Address,
    *,
    loom_path: Path | None = None,
    clock: Clock = time.monotonic,
    patience_s: float = PATIENCE_S,
) -> Bench:
    """Open the bench at this address and identify it.

    ``loom_path`` is the loom that ``sim:`` puts on the simulated scanner; the simulator ends when the
    bench is closed. Raises `UsageError` for an address that cannot be meant, `NoBenchError` where nothing
    answers, `UnfitError` for a device outside the scanner link.
    """
    where = parse_address(address) if isinstance(address, str) else address
    try:
        return _opened(where, loom_path, clock, patience_s)
    except BaseException as error:
        tell_end(error, released=None)
        raise


def _opened(where: Address, loom_path: Path | None, clock: Clock, patience_s: float) -> Bench:
    if isinstance(where, SimAddress):
        return _simulated(where, loom_path, clock, patience_s)
    if isinstance(where, HandAddress):
        from loomproof.bench.by_hand import HandBench

        return HandBench(where)
    if isinstance(where, OtherAddress):
        from loomproof.bench.drivers import open_other

        return open_other(where)
    if isinstance(where, VisaAddress):
        if where.profile:
            return _matrix(where)
        from loomproof.bench.visa import VisaLine

        resource, backend = where.resource, where.backend
        scanner = ScannerBench(
            lambda: VisaLine(resource, backend), str(where), clock=clock, patience_s=patience_s
        )
        return scanner.connect(patience_s=min(FIRST_PATIENCE_S, patience_s))

    def reach() -> Line:
        return open_line(where)

    bench = ScannerBench(reach, str(where), clock=clock, patience_s=patience_s)
    bench.connect(patience_s=min(FIRST_PATIENCE_S, patience_s))
    if isinstance(where, SerialAddress) and where.switch is not None:
        bench.switch_rate(where.switch)
    return bench


def _matrix(where: VisaAddress) -> Bench:
    from loomproof.bench.matrix import MatrixBench
    from loomproof.bench.profile import read_profile
    from loomproof.bench.visa import Instrument

    profile = read_profile(where.profile)
    if where.lcr and not profile.rows_farads:
        raise UsageError(
            f"bench address {str(where)!r} names an LCR meter, and {where.profile} no rows that lead to it",
            cure="Give measure_farads and rows_farads in the profile; two meters on the same rows read each "
            "other.",
            do=Todo.PROFILES,
        )
    opened = [Instrument(where.resource, where.backend)]
    try:
        for resource in (where.meter, where.lcr):
            opened.append(Instrument(resource, where.backend) if resource else opened[-1])
    except BaseException:
        for instrument in opened:
            instrument.close()
        raise
    matrix, meter, lcr = opened
    return MatrixBench(matrix, meter, profile, str(where), lcr=lcr)


def open_line(where: SerialAddress | TcpAddress) -> Line:
    """Open the byte stream at a serial or TCP address."""
    if isinstance(where, TcpAddress):
        from loomproof.bench.tcp import TcpLine

        return TcpLine(where.host, where.port)
    from loomproof.bench.serial_port import SerialLine

    return SerialLine(where.port, where.baud)


class SimulatedBench(ScannerBench):
    """A scanner whose simulator this process started: its loom can be changed while it is measured."""

    simulation: Simulation
    started_here = True


def _simulated(where: SimAddress, loom_path: Path | None, clock: Clock, patience_s: float) -> ScannerBench:
    from loomproof.bench.simulation import Simulation

    if loom_path is None:
        raise UsageError(
            "the simulated bench needs a loom to put on it",
            cure="Name the loom.",
            do=Todo.LOOM,
        )
    try:
        simulation = Simulation(loom_path, where.arguments)
    except UsageError as error:
        if not any("+" in fault for fault in where.faults):
            raise
        cure = "A space is written %20 in an address; a + is a plus sign: sim:?fault=open%20W2."
        raise UsageError(error.message, cure=cure) from error
    found = simulation.address
    assert isinstance(found, SerialAddress | TcpAddress)
    bench = SimulatedBench(
        lambda: open_line(found), str(where), clock=clock, patience_s=patience_s, on_close=simulation.end
    )
    bench.simulation = simulation
    return bench.connect()  # it lives: it gave its address
