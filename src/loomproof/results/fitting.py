"""The fitting sheet as values: which end goes where, what must be made safe, and what to watch for.

`loomproof.fitting` makes it; terminal, CSV and PDF only show it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.loom.ends import End
from loomproof.notebook import Shown


class Job(StrEnum):
    """What an end is for; the order is the order of connecting.

    Common practice: feeds late, and the computer when 12 V and polarity were seen at its plug.
    """

    EARTH = "earths"
    SENSOR = "sensors and signals"
    LAMP = "lamps"
    LOAD = "valves, injectors and motors"
    COIL = "ignition coils and rev counter"
    PUMP = "fuel pump"
    START = "starter"
    IGNITION = "ignition-sensed feed"
    PERMANENT = "permanent feed, with its fuse out"
    COMPUTER = "engine computer, last of all: when the first power-up has shown 12 V and polarity at its plug"


class Action(StrEnum):
    """What to do with an end that is not connected, or with a place of the loom's own parts."""

    CAP = "cap and insulate"
    TAKE_OUT = (
        "take its contact out and insulate the wire, or leave it in where the other half's cavity is empty"
    )
    REMOVE_FUSE = "remove its fuse, then cap and insulate"
    SHORTEN = "may be shortened at the splice"
    LEAVE = "leave alone"
    FIT = "fit its part"
    LEAVE_OUT = "leave its part out and cover the place"


class Level(StrEnum):
    """How much a warning weighs: a danger stands on top of everything."""

    DANGER = "danger"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class SheetEnd:
    """What both lists say of one end. ``live`` holds each way in which it can be live, as a sentence."""

    end: End
    colour: str = ""
    csa_mm2: float | None = None
    circuit: str = ""
    purpose: str = ""
    designation: str = ""
    meaning: str = ""
    fuse: str = ""
    load_a: float | None = None
    live: tuple[str, ...] = ()


class Fault(StrEnum):
    """What a meter check is there to find."""

    NOT_JOINED = "not joined"
    WIRE_OPEN = "wire open"
    SHORTED = "shorted to earth"
    BAD_EARTH = "bad earth"


class Spot(StrEnum):
    """Where a lead of the meter goes: a cavity of the loom, what it meets in the car, the negative clamp that
    hangs free, or that clamp and bare metal of body and block one after the other."""

    LOOM = "loom"
    CAR = "car"
    CLAMP = "clamp"
    EARTH = "earth"


@dataclass(frozen=True, slots=True)
class MeterCheck:
    """One check of an end, battery clamps off: in words, and as what is measured where the eye is not enough.

    ``a`` and ``b`` are the leads (spot, cavity); ``off`` the connectors that are unplugged, ``out`` the fuses
    and relays that are out. The reading, leads taken off, is to lie between ``least_ohm`` and ``most_ohm``.
    """

    finds: Fault
    text: str
    a: tuple[Spot, str] | None = None
    b: tuple[Spot, str] | None = None
    off: tuple[str, ...] = ()
    out: tuple[str, ...] = ()
    most_ohm: float | None = None
    least_ohm: float | None = None


@dataclass(frozen=True, slots=True)
class ConnectRow:
    """An end that must meet the car; ``order`` counts from 1."""

    facts: SheetEnd
    job: Job
    order: int
    goes_to: str
    checks: tuple[MeterCheck, ...] = ()

    @property
    def check(self) -> str:
        """All checks of the end in words, in their order; several are lettered."""
        if len(self.checks) == 1:
            return self.checks[0].text
        return " ".join(f"({letter}) {check.text}" for letter, check in zip("abc", self.checks, strict=False))


@dataclass(frozen=True, slots=True)
class SafeRow:
    """An end to be made safe or left; ``optional``: this conversion may connect it all the same."""

    facts: SheetEnd
    action: Action
    why: str
    optional: bool = False


@dataclass(frozen=True, slots=True)
class Warn:
    """Something to know before the battery goes on, with the ends and parts that it is about."""

    level: Level
    text: str
    ends: tuple[End, ...] = ()
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class DropRow:
    """The voltage that a circuit loses at its load, feed or return side.

    ``basis`` is measured, computed or part measured. ``decision`` is pass, fail or can't tell.
    ``uncertainty_v`` is expanded, k = 2.
    """

    circuit: str
    side: str
    path: str
    current_a: float
    resistance_ohm: float
    drop_v: float
    uncertainty_v: float
    limit_v: float
    limit_source: str
    basis: str
    decision: str
    remark: str = ""


@dataclass(frozen=True, slots=True)
class FuseRow:
    """One wire behind one fuse: continuous load and short circuit, and how bad they are together.

    ``near_a`` and ``far_a`` are what a fault to earth draws at most and at least along the wire.
    """

    wire: str
    fuse: str
    rating_a: float
    csa_mm2: float
    load_a: float | None
    continuous: str
    near_a: float
    far_a: float
    withstand_s: float
    opening_s: float | None
    short_circuit: str
    level: Level | None = None


@dataclass(frozen=True, slots=True)
class EarthRow:
    """An earth point and the sum of what returns through it."""

    end: str
    current_a: float
    circuits: tuple[str, ...]
    remark: str = ""


@dataclass(frozen=True)
class Sheet(Shown):
    """The whole fitting sheet. ``ready`` only with a passing proof of this very description and no danger.

    ``left_out`` names loads without a voltage drop, and why; ``questions`` are what the description is silent
    about; ``power_up`` the steps of the first power-up.
    """

    loom: str
    serial: str
    digest: str
    answers: tuple[tuple[str, str], ...]
    banner: str
    ready: bool
    proof: str
    connect: tuple[ConnectRow, ...] = ()
    safe: tuple[SafeRow, ...] = ()
    places: tuple[SafeRow, ...] = ()
    warnings: tuple[Warn, ...] = ()
    drops: tuple[DropRow, ...] = ()
    fuses: tuple[FuseRow, ...] = ()
    earths: tuple[EarthRow, ...] = ()
    left_out: tuple[str, ...] = ()
    questions: tuple[str, ...] = ()
    power_up: tuple[str, ...] = ()
    experienced: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    not_checked: tuple[str, ...] = field(default=())
