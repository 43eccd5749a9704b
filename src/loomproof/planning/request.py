"""What a proof is asked for with, besides the bench."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from loomproof.bench.adapter import Adapter
from loomproof.loom.model import End, Loom
from loomproof.planning.plan import Plan
from loomproof.results.entered import Entered
from loomproof.results.grade import Grade
from loomproof.results.learned import Learned
from loomproof.results.places import KnownFarads


@dataclass(frozen=True, slots=True)
class InsulationTest:
    """What is asked for: test voltage, V; dwell of each reading, ms."""

    volts: float
    dwell_ms: int = 1000


@dataclass(frozen=True)
class Request:
    """Everything that a proof is asked for with, besides the bench. ``started`` is RFC 3339, UTC."""

    loom: Loom
    adapter: Adapter
    run: str
    started: str
    answers: Mapping[str, str] = field(default_factory=dict)
    waived: tuple[End, ...] = ()
    person: str = ""
    place: str = ""
    inspection: tuple[str, ...] = ()
    repeats: int = 1
    watch_s: float = 0.0
    plan: Plan | None = None
    """A saved plan: the run must ask what it asks, whatever the limits are at today's temperature."""
    probed: tuple[End, ...] = ()
    """Ends without a point that a person touches with the probe, one at a time."""
    insulation: InsulationTest | None = None
    """An insulation test to be made at the end, where all else passes; the clearance holds its voltage."""
    serial: str = ""
    """The item's own serial, where it is not the description's: many looms are made by one design."""
    entered: Entered = field(default_factory=Entered)
    """What a person entered for the certificate: order, laboratory, meter."""
    locate: bool = True
    """Whether what fails is followed by readings that place it, where the bench can."""
    place_within_m: float = 0.0
    """The U (k = 2) that a short's place is to have, m; 0: as close as it gets by a few repeats."""
    steady_places: bool = True
    """Whether ohms that place a short are repeated against scatter; not in runs of earlier versions."""
    with_bounds: bool = True
    """Whether a diode's claim says what it was held to; not in runs of earlier versions."""
    learn_capacitance: bool = False
    """Whether each net of a loom without a fault is read for its capacitance, to be kept in the record."""
    known_farads: KnownFarads | None = None
    """What this very loom's nets had when it passed, from its record; places rest on it."""
    learned: Learned | None = None
    """What confirmed causes had taught when it was asked; findings are told in that order."""
    grade: Grade | None = None
    """The grade that a pass must reach; ``None``: ``bench`` where ohms are measured, else ``connections``."""


def without_point(request: Request) -> tuple[End, ...]:
    """Return the ends that no point goes to and that nobody waives, in the description's order."""
    known = {*request.adapter.point_of, *request.waived}
    return tuple(end for end in request.loom.cavities if end not in known)
