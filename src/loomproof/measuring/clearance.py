"""That this bench may drive this loom: the one value without which nothing is driven.

`clear` and `clear_empty` make it, once every check has passed and a person has confirmed what only a person
can see; `clear_replay` makes one for a journal, where nothing is driven. Everything that drives a bench asks
for a clearance and refuses one for another loom, another bench, or another opening of the same bench.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import InitVar, dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, Identity, Opening
from loomproof.errors import SafetyError, Todo
from loomproof.measuring.safety import check_insulation, check_stimulus, refuse_hazards

if TYPE_CHECKING:
    from loomproof.bench.adapter import Adapter
    from loomproof.bench.journal import ReplayBench
    from loomproof.loom.model import Hazard, Loom

_CHECKED = object()
"""Known to the functions of this module only: a clearance is made by none but them."""


class Person(Protocol):
    """Who answers for what no bench can see. Asked on a real bench only; nobody there answers no."""

    def confirm(self, statement: str) -> bool:
        """Whether this holds; the cautions that it speaks of were shown."""
        ...

    def type_voltage(self, volts: float) -> bool:
        """Whether a person typed this test voltage, V, to put it on the loom."""
        ...

    def read_meter(self) -> float | None:
        """What a meter shows between the loom's ends, V; ``None`` where nobody has measured."""
        ...


@dataclass(frozen=True, slots=True)
class Clearance:
    """What was checked before a bench was driven, and for what. Made by `clear` and its like only.

    ``loom_digest`` is "" where no loom is on the bench. ``meter_v`` is what a person read on the loom, V;
    ``insulation_v`` the test voltage that a person typed, 0 for none. ``last_selftest`` (RFC 3339),
    ``selftest_failures``, ``repeatability_ohm`` (a standard deviation, Ω) and ``reference_selftest`` (when
    resistors were last read right, in words; "" for never, and of a simulator) are the bench's self-tests'.
    ``reference_u_ohm``: to so many ohms those resistors show what the meter reads, inf for unknown.
    ``reproducibility_ohm`` is the standard deviation that a change of operator adds to a reading, Ω, by the
    ``reproducibility_study`` that the words name; 0 and "" for none.
    Without ``controls`` the meter's control readings are not asked: journals from before them answer none;
    nor without ``beside`` what tells a path beside a part from the part.
    """

    opening: Opening
    identity: Identity
    capabilities: Capabilities
    loom_digest: str
    adapter_digest: str = ""
    meter_v: float | None = None
    insulation_v: float = 0.0
    last_selftest: str = ""
    selftest_failures: str = ""
    reference_selftest: str = ""
    reference_u_ohm: float = math.inf
    repeatability_ohm: float = 0.0
    controls: bool = True
    beside: bool = True
    reproducibility_ohm: float = 0.0
    reproducibility_study: str = ""
    checked: InitVar[object] = None

    def __post_init__(self, checked: object) -> None:
        """Refuse a clearance that no check has made: `SafetyError`."""
        if checked is not _CHECKED:
            raise SafetyError("a clearance is made by its checks and by nothing else; nothing was driven")

    @property
    def simulated(self) -> bool:
        """Whether nothing real hangs on the bench."""
        return self.opening.simulated


def require(clearance: Clearance, bench: Bench, loom: Loom | None = None) -> None:
    """Refuse to drive a bench without a clearance for it, and for this loom where one is given.

    Raises `SafetyError`.
    """
    if not isinstance(clearance, Clearance):
        raise SafetyError("a bench is driven by clearance only, and none was given; nothing was driven")
    if clearance.opening is not bench.opening:
        raise SafetyError(
            "the clearance is for another bench, or for this one as it was opened before; nothing was driven",
            cure="Clear the bench again each time that it is opened.",
        )
    if loom is not None and clearance.loom_digest != loom.digest:
        raise SafetyError(
            f"the clearance is for another loom than {loom.name}, or for none; nothing was driven",
            cure="Clear this loom on this bench.",
        )


def require_loom(clearance: Clearance, bench: Bench) -> None:
    """Refuse to drive an unknown loom by a clearance that says that there is none: `SafetyError`."""
    require(clearance, bench)
    if not clearance.loom_digest:
        raise SafetyError(
            "the clearance is for a bench without a loom; nothing was driven",
            cure="Clear the loom that is on it.",
        )


def require_empty(clearance: Clearance, bench: Bench) -> None:
    """Refuse to test a bench by itself without a clearance that says that no loom is on it: `SafetyError`."""
    require(clearance, bench)
    if clearance.loom_digest:
        raise SafetyError(
            "the clearance is for a loom, and here no loom may be on the bench; nothing was driven",
            cure="Take the loom off, and clear the bench without one.",
        )


def clear(
    loom: Loom,
    bench: Bench,
    adapter: Adapter,
    person: Person,
    *,
    selftests: Path,
    now: datetime,
    hazards: Mapping[str, Hazard] | None = None,
    meter_v: float | None = None,
    insulation: tuple[float, int] | None = None,
    selftest_max_age_days: float | None = None,
) -> Clearance:
    """Return the clearance to drive this loom through this adapter on this bench, as it is open now.

    Refused first, asked after. ``selftests`` is the file of the bench's self-tests, ``hazards`` what a person
    said is at connectors, ``meter_v`` what a meter showed (asked for where the bench reads no volts),
    ``insulation`` a test voltage, V, and how long it stands, ms. Of a simulator, self-tests
    count only where an age of them is demanded: the next one is another, under the same serial.

    Raises `SafetyError` for a hazard, a stimulus that the loom may not see and what nobody confirmed,
    `AdapterError` for an adapter that does not fit, `UnfitError` for a bench that failed its self-test, whose
    last one is older than so many days, or that cannot test insulation so.
    """
    from loomproof.bench.adapter_fit import check_adapter
    from loomproof.measuring import selftests_kept as kept

    identity, able, simulated = bench.identify(), bench.capabilities(), bench.opening.simulated
    # The whole loom, not only what has a point: current goes on through the wires, described or crossed.
    refuse_hazards(loom.connectors, simulated=simulated, answers=hazards)
    check_stimulus(able, loom.settings)
    if insulation is not None:
        check_insulation(able, loom.settings, *insulation)
    check_adapter(adapter, loom.cavities, able.points)
    standing = None
    if not simulated or selftest_max_age_days is not None:
        standing = kept.standing(selftests, identity, adapter.wiring)
        kept.refuse_stale(standing, now, selftest_max_age_days)
    if not simulated and not person.confirm("Is all of that done?"):
        raise SafetyError(
            "nobody has confirmed the cautions; nothing was driven",
            cure="Confirm them once all of them hold.",
            do=Todo.CONFIRM,
        )
    if insulation is not None and not simulated and not person.type_voltage(insulation[0]):
        raise SafetyError(
            f"nobody has confirmed an insulation test at {insulation[0]:g} V; nothing was driven",
            cure="Whoever stands at the bench types the voltage; nothing stands in for that.",
        )
    if meter_v is None and not simulated and able.volt_max is None:
        meter_v = person.read_meter()
    return Clearance(
        bench.opening,
        identity,
        able,
        loom.digest,
        adapter.digest,
        meter_v,
        0.0 if insulation is None else insulation[0],
        last_selftest="" if standing is None else standing.date,
        selftest_failures="" if standing is None else standing.failures,
        reference_selftest="" if simulated or standing is None else standing.references,
        reference_u_ohm=math.inf if simulated or standing is None else standing.references_ohm,
        repeatability_ohm=0.0 if standing is None else standing.repeatability_ohm or 0.0,
        reproducibility_ohm=0.0 if standing is None else standing.reproducibility_ohm,
        reproducibility_study="" if standing is None else standing.study,
        checked=_CHECKED,
    )


def clear_empty(bench: Bench, person: Person) -> Clearance:
    """Return the clearance to drive this bench by itself, once somebody has said that no loom is on it.

    What drives a bench without a loom knows none, and so cannot know what must not be energised. Raises
    `SafetyError`.
    """
    if not bench.opening.simulated and not person.confirm("Is it so?"):
        raise SafetyError(
            "nobody has confirmed that no loom is on the bench; nothing was driven",
            cure="Take the loom off, and confirm it.",
            do=Todo.CONFIRM,
        )
    return Clearance(bench.opening, bench.identify(), bench.capabilities(), "", checked=_CHECKED)


def clear_replay(
    loom: Loom,
    journal: ReplayBench,
    adapter: Adapter,
    *,
    meter_v: float | None = None,
    insulation_v: float = 0.0,
    last_selftest: str = "",
    selftest_failures: str = "",
    reference_selftest: str = "",
    reference_u_ohm: float = 0.0,
    repeatability_ohm: float = 0.0,
    controls: bool = True,
    beside: bool = True,
    reproducibility_ohm: float = 0.0,
    reproducibility_study: str = "",
) -> Clearance:
    """Return what stands for a run's clearance where its journal is worked out again: nothing is driven.

    The values are those of the journal's header. Raises `SafetyError` for anything but a journal.
    """
    from loomproof.bench.journal import ReplayBench

    if not isinstance(journal, ReplayBench):
        raise SafetyError("only a journal is worked out again without its checks; nothing was driven")
    return Clearance(
        journal.opening,
        journal.identify(),
        journal.capabilities(),
        loom.digest,
        adapter.digest,
        meter_v,
        insulation_v,
        last_selftest,
        selftest_failures,
        reference_selftest,
        reference_u_ohm,
        repeatability_ohm,
        controls,
        beside,
        reproducibility_ohm,
        reproducibility_study,
        checked=_CHECKED,
    )
