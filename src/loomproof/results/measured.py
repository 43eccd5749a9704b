"""The loom as found: which cavities are one conductor, what readings gave, what was not tested."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

from loomproof.loom.model import End
from loomproof.results.wiggled import Wiggled

ONE_WAY_RATIO = 2.0
"""A path that reads so many times more one way round than the other conducts one way."""


class Decision(StrEnum):
    """The outcome of judging one claim."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Judged:
    """One reading between two cavities, judged.

    ``measured_ohm`` is corrected for adapter leads (inf is open); ``uncertainty_ohm`` is expanded, k = 2.
    ``expected_ohm`` is what a sound conductor reads; ``limit_ohm`` is what wire, contacts or part allow,
    whatever the bench. ``lower_ohm`` is the lower limit where there is one (a resistor), else 0.
    ``component`` names the part that the reading judges, "" for a conductor. ``wires`` are those the reading
    sees. ``most_ohm`` is known where a reading lies below the meter's range: the resistance is below that.
    ``meter_wires``: read with two wires or four.
    """

    a: End
    b: End
    measured_ohm: float
    uncertainty_ohm: float
    expected_ohm: float
    limit_ohm: float
    decision: Decision
    lower_ohm: float = 0.0
    component: str = ""
    wires: tuple[str, ...] = ()
    most_ohm: float | None = None
    meter_wires: Literal[2, 4] = 2

    @property
    def bound_ohm(self) -> float:
        """What the reading shows the resistance to be below: measured + U, unless more is known."""
        return self.measured_ohm + self.uncertainty_ohm if self.most_ohm is None else self.most_ohm

    @property
    def beyond(self) -> bool:
        """Whether the reading itself lies outside its limits, by however little: it stands in no pass."""
        return not (self.lower_ohm or -self.uncertainty_ohm) <= self.measured_ohm <= self.limit_ohm

    @property
    def within(self) -> bool:
        """Whether it may stand in a pass: decided for it, or undecided and within its limits as read."""
        return self.decision is Decision.PASS or (self.decision is Decision.UNDECIDED and not self.beyond)


@dataclass(frozen=True, slots=True)
class JudgedDiode:
    """A diode read both ways; ``unit`` is V, or ohm where the bench has no diode test (inf: no current)."""

    component: str
    anode: End
    cathode: End
    forward: float
    backward: float
    unit: str
    decision: Decision
    reversed: bool


@dataclass(frozen=True, slots=True)
class SensedPart:
    """A part that a bench without ohms sensed between two cavities: whether it ``conducts`` at all."""

    component: str
    a: End
    b: End
    conducts: bool


@dataclass(frozen=True, slots=True)
class OneWay:
    """A path that conducts from ``source`` to ``sink`` only, or that reads differently both ways.

    ``stray``: no built-in part can be it, though parts couple the two.
    """

    source: End
    sink: End
    stray: bool = False


@dataclass(frozen=True, slots=True)
class Path:
    """A resistive path found where none should be, or in place of a conductor (Ω, k = 2).

    ``volts`` is the test voltage at which it showed, 0 for the few volts of an ordinary reading.
    """

    a: End
    b: End
    ohm: float
    uncertainty_ohm: float
    volts: float = 0.0
    stray: bool = False
    """No built-in part can be it, though parts couple the two."""


@dataclass(frozen=True, slots=True)
class ShorterWay:
    """A reading within a net below ``copper_ohm``, the least that copper as described has there (Ω, k = 2).

    The meter read other nets right and this one the same again: the net has a shorter way than described.
    """

    a: End
    b: End
    ohm: float
    uncertainty_ohm: float
    copper_ohm: float


@dataclass(frozen=True, slots=True)
class PieceFarads:
    """The capacitance of a piece of a broken net against all else at 0 V, leads taken off, F.

    ``u_f`` is its standard uncertainty; what the meter's gain leaves open is the same for all pieces, and not
    in it. ``leads_f`` is what was taken off for its leads.
    """

    ends: frozenset[End]
    farad: float
    u_f: float
    leads_f: float = 0.0


@dataclass(frozen=True, slots=True)
class Across:
    """Ohms between two cavities of conductors that touch, leads taken off.

    ``u_ohm`` is the standard uncertainty of what differs from reading to reading, ``lead_u_ohm`` that of one
    lead; what all readings share is in neither, but for the meter's gain, ``gain_ratio``. ``said`` is what is
    told of how often it was read, "" where nothing was asked; ``repeats`` is how often. ``scatter_ohm`` is
    the standard deviation of a single reading, ``scatter_assumed`` where no self-test or zeroing found it.
    """

    a: End
    b: End
    ohm: float
    u_ohm: float
    lead_u_ohm: float = 0.0
    said: str = ""
    repeats: int = 1
    gain_ratio: float = 0.0
    scatter_ohm: float = 0.0
    scatter_assumed: bool = False


@dataclass(frozen=True, slots=True)
class Measured:
    """The loom as found.

    ``expected`` are the nets that should be, ``groups`` the nets as found; both partition the tested
    cavities. ``complete`` says whether the partition is proved (a failing proof was followed until it
    was). ``paths`` are measured resistances between or inside groups beyond the judged ones, ``leaks``
    resistive paths between conductors that should be apart. ``isolation_ohm`` is the lowest resistance
    read between conductors, where isolation was measured (inf: over range).
    """

    expected: tuple[frozenset[End], ...]
    groups: tuple[frozenset[End], ...]
    complete: bool
    judged: tuple[Judged, ...] = ()
    diodes: tuple[JudgedDiode, ...] = ()
    one_way: tuple[OneWay, ...] = ()
    paths: tuple[Path, ...] = ()
    leaks: tuple[Path, ...] = ()
    unstable: tuple[End, ...] = ()
    untested: tuple[End, ...] = ()
    notes: tuple[str, ...] = field(default=())
    isolation_ohm: float | None = None
    sense_vectors: int = 0
    resistance_readings: int = 0
    capacitance_readings: int = 0
    points: tuple[tuple[End, int], ...] = ()
    """Which scanner point each tested cavity was on, where known: all faults on one board are the board."""
    isolation_pass_ohm: float | None = None
    """What ``isolation_ohm`` must be above to pass: the limit measured against, and its guard band."""
    sensed_parts: tuple[SensedPart, ...] = ()
    unsteady: tuple[frozenset[End], ...] = ()
    """Of the unstable cavities, those of one net that changed together in one question, each set once."""
    unmet: tuple[tuple[End, End], ...] = ()
    """Pairs of nets, by one end of each, that no hook-up had on the bench together: whether they touch is not
    known."""
    meter_check: str = ""
    """Which reading of a known resistance shows that the meter reads ohms at all; "" for none."""
    shorter: tuple[ShorterWay, ...] = ()
    beside: tuple[Path, ...] = ()
    """Between all nets that parts couple with a part that conducts too well; current from ``a`` to ``b``."""
    untold_parts: tuple[str, ...] = ()
    unswept: tuple[tuple[End, End], ...] = ()
    """Pairs of conductors that a person left out, by a cavity of each: whether they touch is not known."""
    """Parts of which the readings don't say all: whether they are there, sound, with nothing across them."""

    farads: tuple[PieceFarads, ...] = ()
    across: tuple[tuple[Across, ...], ...] = ()
    """What was read besides so that places can be told: of pieces, and across each touch of conductors."""
    unplaced: tuple[tuple[End, str], ...] = ()
    """Nets, by one cavity, whose places were not read for, and why."""
    sound_farads: tuple[PieceFarads, ...] = ()
    learned_farads: tuple[PieceFarads, ...] = ()
    """Sound wires that were read because a piece of a broken one beside them gave no capacitance."""

    watch: Wiggled | None = None
    """What was watched while the loom was moved, and for how long; ``None``: nothing was."""

    @property
    def sound(self) -> bool:
        """Whether nets are as expected and nothing one-way, leaking, unstable or missing was seen."""
        return (
            self.complete
            and set(self.expected) == set(self.groups)
            and not (self.one_way or self.leaks or self.unstable)
            and all(part.conducts for part in self.sensed_parts)
        )
