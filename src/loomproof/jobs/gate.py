"""The gate as a job passes it: what a person is told first, then the checks that make a clearance."""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from loomproof.bench.adapter import Adapter, in_order, read_adapter
from loomproof.bench.address import is_by_hand, starts_simulator
from loomproof.bench.interface import Bench
from loomproof.bench.opening import SimulatedBench
from loomproof.cautions import BEFORE_A_PROOF, BEFORE_AN_INSULATION_TEST, WITH_A_METER, WITHOUT_A_LOOM
from loomproof.electrics.expectation import expect
from loomproof.errors import AdapterError, Do, Todo, UnfitError
from loomproof.jobs.files import now
from loomproof.jobs.operator import Operator, SimulatorOperator
from loomproof.jobs.workshop import uncalibrated
from loomproof.loom.model import Hazard, Loom
from loomproof.measuring import selftests_kept
from loomproof.measuring.clearance import Clearance, Person, clear, clear_empty
from loomproof.measuring.events import Event, Prompt
from loomproof.measuring.undriven import meter_words
from loomproof.planning.net_access import scope_of
from loomproof.planning.request import Request
from loomproof.planning.suspects import conductors_of, single_points
from loomproof.records.data_folder import SELFTEST_LINES, ZERO_LINES, home

CAUTIONS = Prompt("Before a proof:", BEFORE_A_PROOF)
"""What is told before a loom is driven."""


@dataclass(frozen=True)
class Assured:
    """What a job was told beforehand that a clearance asks for; the operator is asked for the rest.

    ``hazards`` is what is at connectors, ``meter_v`` what a meter showed on the loom, V. With
    ``require_calibration`` no real bench with ohms is read unless its meter's calibration holds.
    """

    hazards: Mapping[str, Hazard] = field(default_factory=dict)
    meter_v: float | None = None
    selftest_max_age_days: float | None = None
    require_calibration: bool = False


def selftests() -> Path:
    """Return the file of self-tests of the person's data folder."""
    return home() / SELFTEST_LINES


def zeros() -> Path:
    """Return the file of zeros of the person's data folder."""
    return home() / ZERO_LINES


def adapter_for(loom: Loom, address: str, adapter: str | None) -> Adapter:
    """Return the adapter that was named, or the in-order one where that may be taken.

    ``adapter`` is a file, ``in-order`` for the description's own order, or ``None`` for none named, which a
    simulator of our own, and a person with a meter, need none of. Raises `AdapterError`.
    """
    if adapter == "in-order" or (adapter is None and (starts_simulator(address) or is_by_hand(address))):
        return in_order(loom.cavities)
    if adapter is None:
        raise AdapterError(
            f"{address}: a real bench wants an adapter table that says which point goes to which cavity",
            cure="Make one, or take the description's own order.",
            do=Todo.ADAPTER,
        )
    return read_adapter(Path(adapter))


def cleared(
    request: Request, bench: Bench, operator: Person, assured: Assured
) -> Generator[Event, None, Clearance]:
    """Return the clearance for this request on this bench, by the self-tests of the person's data folder.

    Raises as `loomproof.measuring.clearance.clear` does, and `UnfitError` for a watch on a bench without.
    """
    if request.watch_s and bench.capabilities().watch_us is None:
        raise UnfitError(
            f"this bench cannot watch a loom while it is moved; {request.watch_s:g} s of that were asked for",
            cure="Contacts that come and go are then left untested, and the certificate says so.",
            do=Todo.NO_WATCH,
        )
    yield from _told_first(request, bench, assured)
    asked = request.insulation
    return clear(
        request.loom,
        bench,
        request.adapter,
        operator,
        selftests=selftests(),
        now=now(),
        hazards=assured.hazards,
        meter_v=assured.meter_v,
        insulation=None if asked is None else (asked.volts, asked.dwell_ms),
        selftest_max_age_days=assured.selftest_max_age_days,
    )


def cleared_empty(bench: Bench, operator: Person) -> Generator[Event, None, Clearance]:
    """Return the clearance to drive a bench with no loom on it, of a real bench the cautions told first."""
    if not bench.opening.simulated:
        yield Prompt("Before the bench is driven without a loom:", WITHOUT_A_LOOM)
    return clear_empty(bench, operator)


def hand_for(bench: Bench, operator: Operator) -> Operator:
    """Return who holds the probe: the operator, or the simulator itself where this process started it."""
    return SimulatorOperator(bench.simulation, operator) if isinstance(bench, SimulatedBench) else operator


def touch_of(loom: Loom, hand: Operator) -> Callable[[str | None], bool]:
    """Return what a journal asks to have the probe held: by the end's name, as it is written down."""
    ends = {str(end): end for end in loom.cavities}
    return lambda named: hand.hold_probe(None if named is None else ends[named])


def _told_first(request: Request, bench: Bench, assured: Assured) -> Iterator[Prompt]:
    """Tell of a real bench what a person does before it drives."""
    if bench.opening.simulated:
        return
    able = bench.capabilities()
    by_hand = able.beep_ohm is not None
    if by_hand:
        yield Prompt("With the meter:", WITH_A_METER)
    if able.ohms is not None and not request.adapter.zeroed and not by_hand:
        yield Prompt(
            "The adapter's leads were never zeroed on this bench: what they have is read as the loom's, and "
            "may be taken for bad joints. With the loom off, join all ends of the adapter in one plug and "
            "zero the leads.",
            do=Do(Todo.ZERO, str(request.adapter.file or "")),
        )
    if assured.meter_v is None and able.volt_max is None:
        yield Prompt(f"Battery off, then {ends_to_read(request.loom, request.adapter)}")
    if able.ohms is not None:
        yield from _calibration_told(request, assured)
    if able.ohms is not None and not by_hand and not _ohms_shown(request, bench):
        yield Prompt(
            "Nothing shows that the meter reads ohms at all: the loom has no part of known resistance, and "
            "no self-test with a resistor is kept. A pass will say: meter not checked. To check it first, "
            "stop here, take the loom off, and put a resistor on two points.",
            do=Do(Todo.RESISTOR),
        )
    if request.insulation is not None:
        yield Prompt("Before an insulation test:", BEFORE_AN_INSULATION_TEST)


def _calibration_told(request: Request, assured: Assured) -> Iterator[Prompt]:
    """Tell, before the first reading of a real bench with ohms, that its meter's calibration has run out.

    Raises `UnfitError` where a calibration is required and none that holds is entered.
    """
    meter, day = request.entered.meter, datetime.fromisoformat(request.started).date()
    trouble = uncalibrated(meter, day)
    if trouble and assured.require_calibration:
        raise UnfitError(
            f"{trouble}, and require_calibration = true asks for one; nothing was read",
            cure="Have the meter calibrated and enter the certificate under [meter] in workshop.toml.",
        )
    if meter.calibration and meter.expired(day):
        yield Prompt(f"{trouble[0].upper()}{trouble[1:]}. The certificate will say so.")


def _ohms_shown(request: Request, bench: Bench) -> bool:
    """Whether something of known resistance will show, or has shown, that the meter reads."""
    if any(part.fitted and part.resistance_ohm for part in request.loom.components):
        return True
    found = selftests_kept.standing(selftests(), bench.identify(), request.adapter.wiring)
    return found is not None and bool(found.references)


def ends_to_read(loom: Loom, adapter: Adapter) -> str:
    """Return between which ends of a loom a person reads voltage, and what can be a source there."""
    if not loom.wires:
        return meter_words(single_points(adapter.point_of))
    expectation = expect(loom)
    return meter_words(conductors_of(expectation, scope_of(expectation, adapter.point_of)))
