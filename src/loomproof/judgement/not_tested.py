"""What a proof says nothing about, in plain words: the small print that a certificate owes its reader."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TYPE_CHECKING

from loomproof.cautions import LIMITS_OF_THE_TEST
from loomproof.electrics.component_kinds import resting_contacts
from loomproof.electrics.expectation import ROOM_TEMPERATURE_C
from loomproof.judgement.inspection import ITEMS, looked_over
from loomproof.loom.model import ConnectorKind
from loomproof.results.figures import ohms

if TYPE_CHECKING:
    from loomproof.bench.seam import Capabilities
    from loomproof.loom.model import End, Loom
    from loomproof.measuring.hookup_result import HookUpResult
    from loomproof.planning.plan import Plan
    from loomproof.planning.request import Request
    from loomproof.results.measured import Measured


def not_tested(
    request: Request, plan: Plan, measured: Measured, part: HookUpResult, left_in: Collection[str] = ()
) -> Iterator[str]:
    """Yield what this proof says nothing about, in plain words; ``part`` is its last hook-up.

    ``left_in`` are parts that the description says are out and the proof saw in.
    """
    capabilities = part.capabilities
    yield from measured.notes
    if not part.clearance.simulated and not looked_over(request.inspection):
        yield f"What an eye sees: nobody looked the loom over ({', '.join(name for name, _ in ITEMS)})."
    if not part.clearance.simulated and not part.clearance.last_selftest and not plan.by_beep:
        yield (
            "The bench itself: no self-test of it is kept. A short or an open of an adapter lead reads like "
            "one of the loom: take the loom off and run the bench's self-test."
        )
    if request.insulation is not None and part.insulation is None:
        volts = request.insulation.volts
        yield f"Insulation at {volts:g} V: left out, because the loom does not pass without it."
    for end in measured.untested:
        by = " (waived)" if end in request.waived else ""
        yield f"Cavity {end}: no point went to it{by}."
    yield from _of_the_description(request.loom)
    out = [part.name for part in request.loom.components if not part.fitted and part.name not in left_in]
    if out:
        yield f"By the description these parts are out for the test, and not tested: {', '.join(out)}."
    if plan.unmeasured_parts:
        yield f"Parts that this bench or hook-up could not measure: {', '.join(plan.unmeasured_parts)}."
    by_probe = [
        name
        for end in part.touched
        for name in [wire.name for wire in request.loom.wires_at.get(end, ())]
        if name in plan.hidden
    ]
    if by_probe:
        yield f"Resistance of wires that only the probe has seen: {', '.join(by_probe)}."
    pointless = [
        name
        for name in plan.hidden
        if name not in by_probe
        and not set(measured.untested).isdisjoint(request.loom.wire_by_name[name].ends)
    ]
    if pointless:
        yield f"Wires whose open would not show, because an end of them has no point: {', '.join(pointless)}."
    hidden = [name for name in plan.hidden if name not in by_probe and name not in pointless]
    if hidden:
        yield (
            "Wires whose open would not show, because others run beside them or the limit is too wide: "
            f"{', '.join(hidden)}."
        )
    if plan.meter is None and capabilities.clear_ohm is not None:
        yield (
            f"Resistance: this bench only senses. A bad joint under {ohms(capabilities.clear_ohm)} passes; "
            "a short, a part and a leak read alike."
        )
    if plan.by_beep:
        yield from _by_beep(plan, measured, capabilities)
    ohms_only = [diode.component for diode in measured.diodes if diode.unit == "ohm"]
    if ohms_only:
        yield f"Forward voltage of {', '.join(ohms_only)}: read in ohms both ways round only."
    if request.repeats == 1 and not plan.vectors:
        yield "Steadiness: no reading was taken twice."
    if part.temperature_c is None:
        yield f"Temperature: this bench has no thermometer; limits are for {ROOM_TEMPERATURE_C:g} °C."
    if any(reading.defaults_used for reading in plan.conductors):
        yield (
            "Some lengths or sections are not in the description; limits of those conductors are defaults."
        )
    yield from _one_way(plan, capabilities)
    bridgeable = [c.name for c in request.loom.components if resting_contacts(c)]
    if bridgeable:
        yield (
            f"What lies across {', '.join(bridgeable)}: closed, each joins its two ends anyway, so a bridged "
            "fuse and a contact that is welded or shorted read as sound ones. Pull it and prove again: what "
            "is across it joins the ends still."
        )
    yield from () if plan.by_beep else _spare_leads(plan, part)
    wanted_ohm = request.loom.settings.isolation_ohm
    if plan.by_beep:
        yield f"Isolation above the beep: not measured against {ohms(wanted_ohm)}."
    elif plan.isolation_ohm is None and plan.vectors:
        yield f"Isolation above the sense thresholds: not measured against {ohms(wanted_ohm)}."
    elif plan.isolation_ohm is None:
        yield "Isolation: not asked. Shorts between conductors would not show."
    elif plan.isolation_ohm < wanted_ohm:
        yield (
            f"Isolation between {ohms(plan.isolation_ohm)} and {ohms(wanted_ohm)}: out of this meter's range."
        )
    between = dict.fromkeys(c.component for c in part.expectation.couplings)
    if between:
        yield (
            f"Isolation between conductors that parts join ({', '.join(between)}): "
            + ("only as far as the readings across them show." if plan.parts or plan.bounds else "not asked.")
        )
    if not watched_s(request, plan, part):
        yield "Contacts that come and go: nothing was watched while the loom was moved."
    elif measured.watch is not None:
        shortest = measured.watch.shortest_us
        shorter = "" if shortest is None else f" that are open or touch for less than {shortest} µs, or"
        yield (
            f"Contacts that come and go{shorter} more rarely than once in {measured.watch.watched_s:g} s; "
            "whether the loom was moved in that time the bench cannot see."
        )
    if any(connector.kind is ConnectorKind.RING for connector in request.loom.connectors):
        yield "The way from earth rings through body or engine block to the battery."
    yield from LIMITS_OF_THE_TEST


def _by_beep(plan: Plan, measured: Measured, capabilities: Capabilities) -> Iterator[str]:
    """Say what a person with a meter cannot tell, and name the pairs that nobody swept."""
    low_ohm, high_ohm = capabilities.beep_ohm or (0.0, 0.0)
    if not plan.conductors:
        yield (
            f"Resistance of wires and joints: the meter is said to beep surely under {ohms(low_ohm)}, and "
            f"surely not over {ohms(high_ohm)}. A bad joint under {ohms(high_ohm)} passes."
        )
    if measured.unswept:
        named = "; ".join(f"{a} and {b}" for a, b in measured.unswept)
        yield f"Whether these touch, which nobody swept: {named}."


def _one_way(plan: Plan, capabilities: Capabilities) -> Iterator[str]:
    """Say which paths with a voltage drop of their own would not show."""
    if plan.isolation_ohm is not None:
        yield (
            "Paths that conduct only above a voltage of their own: nothing over "
            f"{capabilities.test_voltage_v:g} V was put on the loom, and one that reads over "
            f"{ohms(plan.isolation_ohm)} at that passes."
        )
    elif plan.vectors or plan.by_beep:
        yield (
            "Paths that conduct one way only, and need a voltage for it (a diode, a lamp that is one): "
            f"{'a beep' if plan.by_beep else 'sense'} promises ohms and no volts, and may not see them."
        )


def unseen(plan: Plan, part: HookUpResult) -> tuple[End, ...]:
    """Return the cavities that hold nothing and whose lead nobody saw whole: they count as not tested."""
    return () if plan.by_beep else tuple(end for end, day in _spare(plan, part) if not day)


def _spare(plan: Plan, part: HookUpResult) -> Iterator[tuple[End, str]]:
    """Yield cavities that hold nothing, so that no reading shows their lead whole, and when it was zeroed."""
    loom, scope = part.request.loom, plan.scope
    held = {end for wire in loom.wires for end in wire.ends} | {e for p in loom.components for e in p.ends}
    zeroed = {lead.end: lead.zeroed for lead in part.request.adapter.entries}
    for group in scope.groups:
        if group.size == 1:
            for end in scope.ends(group.points):
                if end not in held and end not in part.touched:
                    yield end, zeroed.get(end) or ""


def _spare_leads(plan: Plan, part: HookUpResult) -> Iterator[str]:
    """Name spare cavities, whose adapter leads nothing in this proof shows to be whole."""
    unknown = unseen(plan, part)
    whole: dict[str, list[End]] = {}
    for end, day in _spare(plan, part):
        if day:
            whole.setdefault(day, []).append(end)
    if unknown:
        yield (
            f"Leads of cavities that hold nothing: {', '.join(map(str, unknown))}. An open lead reads as an "
            "empty cavity does, and hides a short onto it; zero the leads with the shorting plug, or touch "
            "the cavity."
        )
    told = [
        f"{', '.join(map(str, ends))}: {'its lead was' if len(ends) == 1 else 'their leads were'} "
        f"last seen whole when zeroed on {day}"
        for day, ends in sorted(whole.items())
    ]
    if told:
        yield f"Leads of cavities that hold nothing: {'; '.join(told)}."


def watched_s(request: Request, plan: Plan, part: HookUpResult) -> float:
    """Return for how long contacts that come and go were watched for, s; 0 where bench or plan allow none."""
    able = bool(plan.vectors) and part.capabilities.watch_us is not None
    return request.watch_s if able else 0.0


def _of_the_description(loom: Loom) -> Iterator[str]:
    if loom.left_out:
        yield f"What the file of the description holds and the loom leaves out: {'; '.join(loom.left_out)}."
    if loom.learned_from:
        yield (
            f"Whether the loom is as drawn: its description was learned from {', '.join(loom.learned_from)}. "
            "A pass says that it is equal to what those have in common."
        )
    if loom.traced_in:
        yield (
            "Whether the loom is right: its description is what was traced on it, or on another one, in "
            f"{', '.join(loom.traced_in)}. A pass against that says that nothing has changed since, or that "
            "both are alike; what was wrong when it was traced is wrong in the description as well."
        )
