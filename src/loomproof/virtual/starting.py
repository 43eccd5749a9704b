"""A simulated scanner with a loom on it, on a line that other programs reach, until it is stopped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from loomproof.errors import NoBenchError, UsageError
from loomproof.loom.reading import load
from loomproof.virtual.adapters import read_hookup
from loomproof.virtual.console import Control
from loomproof.virtual.constants import DRIVER_OHM
from loomproof.virtual.link import Device
from loomproof.virtual.meter import FaradLimits, Limits
from loomproof.virtual.noise import Noise
from loomproof.virtual.scanner import VOLT_MAX, WATCH_US, Make, Scanner
from loomproof.virtual.serve import Line, PtyLine, Server, TcpLine

SPREAD_F = 1e-12
"""Standard deviation of a simulated capacitance reading, F: what timing on a common controller gives, phases
averaged (assumption)."""


MOST_POINTS = 4096
"""So many points a simulated scanner has at most: what the scanner link goes up to."""


@dataclass(frozen=True)
class Kind:
    """What kind of scanner to simulate: limits of error as (Ω, ratio), what it lacks, its points and line.

    ``points`` ``None``: as many as the loom or the adapter needs, and no more than `MOST_POINTS`.
    ``accuracy`` ``None``: it only senses.
    ``driver_ohm`` 0 and ``pulled_at_once`` 0: as usual, which is next to nothing, and all points;
    ``capacitance`` in F and as a ratio, ``None``: it measures none. Raises `UsageError` for a figure that no
    scanner has.
    """

    points: int | None = None
    accuracy: tuple[float, float] | None = (0.1, 0.01)
    four_wire: tuple[float, float] | None = None
    diode: bool = True
    volts: bool = True
    watch: bool = True
    insulation_v: float = 0.0
    line_bytes: int = 0
    driver_ohm: float = 0.0
    pulled_at_once: int = 0
    capacitance: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        within("points", 1 if self.points is None else self.points, 1, MOST_POINTS)
        within("points pulled up at once", self.pulled_at_once, 0, MOST_POINTS)
        within("bytes in a line", self.line_bytes or 65_536, 64, 65_536)
        within("V of insulation test", self.insulation_v, 0, 1000)
        within("ohm in series with a driver", self.driver_ohm, 0, 100_000)


def within(what: str, value: float, least: float, most: float) -> None:
    """Refuse a figure that no simulated scanner has. Raises `UsageError`."""
    if not least <= value <= most:
        raise UsageError(
            f"a simulated scanner has no {value:g} {what}", cure=f"From {least:g} to {most:g} can be."
        )


def simulated(
    loom: Path,
    kind: Kind,
    *,
    port: int | None = None,
    pty: bool = False,
    faults: Sequence[str] = (),
    adapter: Path | None = None,
    seed: int = 0,
    temperature_c: float = 20.0,
    paced: bool = False,
) -> Server:
    """Return a simulated scanner, not yet served: on a TCP port (0: any), or, without one, a pseudo-terminal.

    Where the system has no pseudo-terminals it is on any free TCP port, unless it must be ``pty``.

    Raises `DescriptionError` for the loom, `AdapterError` for the table, `UsageError` for a fault that the
    loom cannot have, `NoBenchError` where there is no such line on this system.
    """
    within("degrees Celsius", temperature_c, -40, 125)
    described = load(loom).loom
    hookup = read_hookup(adapter, described, kind.points) if adapter else None
    ohms = kind.accuracy is not None
    make = Make(
        points=hookup.points if hookup else kind.points or min(max(len(described.cavities), 1), MOST_POINTS),
        line=kind.line_bytes,
        accuracy=Limits(*kind.accuracy) if kind.accuracy else None,
        four_wire=Limits(*kind.four_wire) if kind.four_wire and ohms else None,
        diode=kind.diode and ohms,
        volt_max=VOLT_MAX if kind.volts else None,
        watch_us=WATCH_US if kind.watch else None,
        insulation_v=kind.insulation_v,
        driver_ohm=kind.driver_ohm or DRIVER_OHM,
        pulled_at_once=kind.pulled_at_once,
        capacitance=FaradLimits(*kind.capacitance, SPREAD_F) if kind.capacitance else None,
    )
    scanner = Scanner(described, make, hookup=hookup, faults=faults, seed=seed, temperature_c=temperature_c)
    device = Device(scanner)
    return Server(
        device, _line(port, pty), Control(device, Noise(seed), lambda place: load(place).loom), paced=paced
    )


def _line(port: int | None, pty: bool) -> Line:
    if port is not None:
        return TcpLine(port)
    try:
        return PtyLine()
    except NoBenchError:
        if pty:
            raise
        return TcpLine(0)


def told_of(scanner: Scanner) -> str:
    """Return what is simulated, in words."""
    faults, untested = len(scanner.faults), len(scanner.loom.cavities) - len(scanner.hookup.ends)
    return (
        f"Simulated scanner: {scanner.make.points} points, {scanner.loom.name}, {faults} "
        + ("fault" if faults == 1 else "faults")
        + (
            f", {untested} cavities without a point (type adapter FILE here to hook up others)"
            if untested > 0
            else ""
        )
    )
