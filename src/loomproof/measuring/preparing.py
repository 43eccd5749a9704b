"""What stands between a clearance and the first question about the loom, the same for whatever is asked.

A proof, each of its hook-ups, a retest and a trace come through here: the bench looks at itself, what should
be there is worked out, and a bench that only measures shows that it can read open.
"""

from __future__ import annotations

import math
from collections.abc import Generator
from dataclasses import dataclass

from loomproof.bench.adapter import Adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, Identity, meter_name
from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, Expectation, expect
from loomproof.electrics.uncertainty import rectangular
from loomproof.errors import AdapterError, SafetyError
from loomproof.measuring.clearance import Clearance, require
from loomproof.measuring.events import Event, Progress
from loomproof.measuring.plausibility import see_open, temperature_of
from loomproof.measuring.selfcheck import SelfCheck, refuse_unfit, self_check
from loomproof.planning.conductors import Conductors
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.request import Request
from loomproof.planning.suspects import conductors_of


@dataclass(frozen=True, slots=True)
class Prepared:
    """A bench that has looked at itself with the loom on, and the whole plan for what the adapter reaches."""

    temperature_c: float | None
    expectation: Expectation
    check: SelfCheck
    plan: Plan


def prepare(request: Request, bench: Bench, clearance: Clearance) -> Generator[Event, None, Prepared]:
    """Prepare what the request's adapter reaches. The bench is driven here for the first time.

    Raises `SafetyError` without a clearance for this loom, adapter and bench, `UnfitError` where the bench's
    check fails, `AdapterError` where a saved plan asks otherwise, and the bench's errors.
    """
    loom, point_of = request.loom, request.adapter.point_of
    require(clearance, bench, loom)
    if clearance.adapter_digest != request.adapter.digest:
        raise SafetyError(
            f"the clearance is for another adapter than {request.adapter.name}; nothing was driven",
            cure="Clear the loom as it is plugged now.",
        )
    capabilities = clearance.capabilities
    temperature_c = temperature_of(bench)
    yield Progress("working out what should be there")
    expectation = expect(loom, ROOM_TEMPERATURE_C if temperature_c is None else temperature_c)
    meter = cleared_meter(clearance, request, temperature_c)
    yield Progress("checking the bench")
    scope = scope_of(expectation, point_of, capabilities.clear_ohm)
    check = checked(bench, clearance, conductors_of(expectation, scope))
    plan = plan_proof(expectation, point_of, capabilities, meter, isolation_ohm=loom.settings.isolation_ohm)
    if request.plan is not None:
        from loomproof.planning.plan_json import questions_of

        if questions_of(request.plan) != questions_of(plan):
            raise AdapterError(
                "this loom, adapter and bench make other questions than the saved plan has",
                cure="Take the adapter and the bench that the plan was made for, or make the plan again.",
            )
    if not plan.vectors and len(scope.groups) == 1 and capabilities.beep_ohm is None:
        see_open(bench, clearance, scope.points, capabilities.points)
    return Prepared(temperature_c, expectation, check, plan)


def checked(bench: Bench, clearance: Clearance, given: Conductors) -> SelfCheck:
    """Return the bench's check of itself with the loom on.

    Raises `SafetyError` for a voltage on the loom, `UnfitError` for another check that fails.
    """
    check = self_check(bench, clearance, given)
    refuse_unfit(check, "Nothing was measured. Put the bench or the hook-up right and begin again.")
    return check


def meter_of(
    capabilities: Capabilities,
    adapter: Adapter,
    *,
    measured_temperature: bool,
    simulated: bool = False,
    repeatability_ohm: float = 0.0,
    reproducibility_ohm: float = 0.0,
    zero_spread_ohm: float | None = None,
    plug_contact_ohm: float = 0.0,
    repeats: int = 1,
) -> Meter | None:
    """Return what a bench's ohms are worth, or ``None`` where it has none or does not say.

    ``repeatability_ohm`` is the standard deviation of one reading that a self-test found, Ω, 0 for unknown;
    ``reproducibility_ohm`` what a study found that a change of operator adds, 0 for none or unknown;
    ``zero_spread_ohm`` that of the zeroing, where the leads were learned with this meter
    (`Adapter.offset_spread_ohm`). ``plug_contact_ohm`` is the most that a contact of the zeroing plug can
    have: it was learned with the lead, and is not the loom's.
    """
    if capabilities.ohms is None or capabilities.accuracy is None:
        return None
    # A lead that was never zeroed is half a metre or so of thin wire: common practice, no source.
    unknown_u_ohm = 0.0 if simulated else 0.03
    lead_u_ohm = max((lead.standard_u_ohm(unknown_u_ohm) for lead in adapter.entries), default=0.0)
    if zero_spread_ohm is not None:
        lead_u_ohm = math.hypot(lead_u_ohm, rectangular(plug_contact_ohm))
    return Meter(
        two_wire=capabilities.accuracy,
        four_wire=capabilities.four_wire_accuracy if capabilities.four_wire else None,
        range_ohm=capabilities.ohms,
        lead_ohm={lead.point: lead.lead_ohm for lead in adapter.entries},
        lead_u_ohm=lead_u_ohm,
        repeatability_ohm=max(repeatability_ohm, zero_spread_ohm or 0.0),
        reproducibility_ohm=reproducibility_ohm,
        repeats=repeats,
        temperature_u_k=2.0 if measured_temperature else 6.0,
        test_current_a=capabilities.test_current_a,
        test_voltage_v=capabilities.test_voltage_v,
        zeroed=zero_spread_ohm is not None,
    )


def cleared_meter(clearance: Clearance, request: Request, temperature_c: float | None) -> Meter | None:
    """Return what the ohms of a cleared bench are worth, by its self-tests, zeroing and thermometer."""
    return meter_as_proved(
        clearance.identity,
        clearance.capabilities,
        request,
        temperature_c,
        simulated=clearance.simulated,
        repeatability_ohm=clearance.repeatability_ohm,
        reproducibility_ohm=clearance.reproducibility_ohm,
    )


def meter_as_proved(
    identity: Identity,
    capabilities: Capabilities,
    request: Request,
    temperature_c: float | None,
    *,
    simulated: bool,
    repeatability_ohm: float,
    reproducibility_ohm: float,
) -> Meter | None:
    """Return what the ohms of a bench are worth to a proof, cleared or only planned (`meter_of`)."""
    meter = meter_name(identity, capabilities)
    return meter_of(
        capabilities,
        request.adapter,
        measured_temperature=temperature_c is not None,
        simulated=simulated,
        repeatability_ohm=repeatability_ohm,
        reproducibility_ohm=reproducibility_ohm,
        zero_spread_ohm=request.adapter.offset_spread_ohm(meter, request.started),
        plug_contact_ohm=request.loom.settings.contact_ohm,
        repeats=request.repeats,
    )
