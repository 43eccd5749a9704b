"""What a proof claims, each with the threshold or the uncertainty and the decision rule behind it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from functools import partial

from loomproof.bench.seam import Capabilities
from loomproof.electrics.expectation import Expectation
from loomproof.judgement.beeped import beeped
from loomproof.judgement.covered import Covered
from loomproof.judgement.joined import joined_claim
from loomproof.loom.model import End
from loomproof.planning.plan import Plan
from loomproof.results.document import BUT_CONDUCTORS, BUT_JOINED, ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, SensedPart
from loomproof.results.wiggled import Wiggled

GUARD_RULE = (
    "guard band w = U, k = 2 (JCGM 106, ILAC-G8): within the limit where reading + U is, outside where "
    "reading - U is, else not decided"
)
LOW_RULE = "a low reading: a path under the bench's upper threshold; how many ohms it has is not measured"
HIGH_RULE = (
    "a high reading, asked both ways round with at most {volts} V: no path of ohms, taken alone, under the "
    "bench's lower threshold over the cavities behind it; what conducts one way, or only above a voltage of "
    "its own, may read as none"
)


def claims_of(
    plan: Plan,
    measured: Measured,
    capabilities: Capabilities,
    expectation: Expectation,
    *,
    with_bounds: bool = True,
) -> tuple[ClaimEntry, ...]:
    """Return every claim of a run with the wires it covers, net by net, then reading by reading.

    Without ``with_bounds`` a diode's claim leaves out what it was held to, as in runs of earlier versions.
    """
    covered = Covered(expectation, plan)
    volts = {each.part.component: each.part.forward_v for each in plan.parts}
    diode = partial(_diode, covered=covered, volts=volts) if with_bounds else partial(_bare_diode, covered)
    return (
        *_sensed(plan, measured, capabilities, covered),
        *beeped(plan, measured, capabilities, covered),
        *(_conductor(reading, covered) for reading in measured.judged if not reading.component),
        *(_part(reading, covered) for reading in measured.judged if reading.component),
        *map(diode, measured.diodes),
        *(_sensed_part(part, capabilities.clear_ohm, covered) for part in measured.sensed_parts),
        *_isolation(plan, measured, capabilities, covered),
        *(_stability(plan, measured) if plan.vectors else ()),
    )


def _in_order(plan: Plan, ends: Iterable[End]) -> tuple[End, ...]:
    """Return cavities in the description's order."""
    return tuple(sorted(ends, key=plan.scope.place_of.__getitem__))


def _sensed(
    plan: Plan, measured: Measured, capabilities: Capabilities, covered: Covered
) -> Iterator[ClaimEntry]:
    """Say by sense: a low proves a path under CLEAR, a high that none under SENSE/m is there."""
    if not plan.vectors or capabilities.clear_ohm is None or capabilities.sense_ohm is None:
        return
    clear_ohm = capabilities.clear_ohm
    # By their ends: thousands of sets are too many to go through for each of thousands of nets.
    whole_at, expected_at = _by_end(measured.groups), _by_end(measured.expected)
    bundles: dict[int, frozenset[End]] = {}
    for k, group in zip(plan.scope.bundle_of, plan.scope.groups, strict=True):
        ends = plan.scope.ends(group.points)
        bundles[k] = bundles.get(k, frozenset()).union(ends, *_meeting(ends, expected_at))
    ways = [(path.a, path.b) for path in measured.leaks]
    ways += [(way.source, way.sink) for way in measured.one_way]
    crossed = {end for way in ways for end in way}
    high_rule = HIGH_RULE.format(volts=f"{capabilities.test_voltage_v:g}")
    # What parts join to a net carries on to whatever that is joined to, where it should not be.
    leading_out = {
        k
        for k, inside in bundles.items()
        if any(found - inside for found in _meeting(inside, whole_at))
        or any((a in inside) != (b in inside) for a, b in ways)
    }
    for k, group in enumerate(plan.scope.groups):
        ends = plan.scope.ends(group.points)
        names = _in_order(plan, ends)
        coupled = plan.scope.behind[k] > group.size
        if group.size > 1:
            yield joined_claim(
                names,
                whole_at.get(names[0], ()),
                covered,
                under_ohm=clear_ohm,
                rule=LOW_RULE,
                through="; it may lead through parts" if coupled else "",
            )
        bound = plan.scope.none_under_ohm(k, capabilities)
        if bound is None:
            continue
        # With ends of the same net that have no point and were read with the probe.
        mine = ends.union(*_meeting(ends, expected_at))
        apart = all(found <= mine for found in _meeting(ends, whole_at)) and not ends & crossed
        apart = apart and plan.scope.bundle_of[k] not in leading_out
        but = f" {BUT_JOINED}" if coupled else ""
        yield ClaimEntry(
            kind="isolation",
            subject=str(names[0]),
            statement=(
                f"no path under {ohms(bound)} to any other net{but}"
                if apart
                else "a path to another net was found"
            ),
            decision=Decision.PASS if apart else Decision.FAIL,
            rule=high_rule,
            cavities=names,
            wires=covered.apart(ends),
            threshold_ohm=bound,
        )


def _by_end(sets: Iterable[frozenset[End]]) -> dict[End, list[frozenset[End]]]:
    """Return the sets that each end is in."""
    found: dict[End, list[frozenset[End]]] = {}
    for ends in sets:
        for end in ends:
            found.setdefault(end, []).append(ends)
    return found


def _meeting(ends: Iterable[End], sets_at: Mapping[End, list[frozenset[End]]]) -> set[frozenset[End]]:
    """Return the sets that have any of these ends."""
    return {found for end in ends for found in sets_at.get(end, ())}


def _finite(ohm: float) -> float | None:
    return ohm if math.isfinite(ohm) else None


def _conductor(reading: Judged, covered: Covered) -> ClaimEntry:
    limit = ohms(reading.limit_ohm)
    said = {
        Decision.PASS: f"under its limit {limit}",
        Decision.UNDECIDED: f"reads above its limit {limit}, by less than the uncertainty"
        if reading.beyond
        else f"under {ohms(reading.bound_ohm)}; its limit {limit} is beyond this bench",
        Decision.FAIL: f"above its limit {limit}",
    }
    return ClaimEntry(
        kind="resistance",
        subject=f"{reading.a} to {reading.b}",
        statement=said[reading.decision],
        decision=reading.decision,
        rule=GUARD_RULE,
        cavities=(reading.a, reading.b),
        wires=covered.seen(reading.wires),
        measured_ohm=_finite(reading.measured_ohm),
        open=math.isinf(reading.measured_ohm),
        uncertainty_ohm=reading.uncertainty_ohm,
        expected_ohm=reading.expected_ohm,
        limit_ohm=reading.limit_ohm,
        bound_ohm=_finite(reading.bound_ohm),
        meter_wires=reading.meter_wires,
    )


def _across(reading: Judged) -> ClaimEntry:
    """Say what lies across a part that no reading tells: nothing of less than a sound one has."""
    least, ohm = ohms(reading.lower_ohm), ohms(reading.measured_ohm)
    said = {
        Decision.PASS: f"no path under {least}; whether {reading.component} is there is not told",
        Decision.UNDECIDED: f"{ohm}, where a sound one reads {least} or more: the uncertainty leaves it open",
        Decision.FAIL: f"a path under {least}, which no sound part is",
    }
    return ClaimEntry(
        kind="isolation",
        subject=f"across {reading.component}",
        statement=said[reading.decision],
        decision=reading.decision,
        rule=GUARD_RULE,
        cavities=(reading.a, reading.b),
        threshold_ohm=reading.lower_ohm,
        measured_ohm=_finite(reading.measured_ohm),
        open=math.isinf(reading.measured_ohm),
        uncertainty_ohm=reading.uncertainty_ohm,
    )


def _part(reading: Judged, covered: Covered) -> ClaimEntry:
    if math.isinf(reading.limit_ohm):
        return _across(reading)
    limits = f"{ohms(reading.lower_ohm)} to {ohms(reading.limit_ohm)}"
    ohm, u_ohm = reading.measured_ohm, reading.uncertainty_ohm
    said = {
        Decision.PASS: f"within its limits, {limits}",
        Decision.UNDECIDED: f"reads outside its limits, {limits}, by less than the uncertainty"
        if reading.beyond
        else f"between {ohms(max(ohm - u_ohm, 0.0))} and {ohms(reading.bound_ohm)}; its limits, {limits}, "
        "are beyond this bench",
        Decision.FAIL: f"outside its limits, {limits}",
    }
    return ClaimEntry(
        kind="component",
        subject=reading.component,
        statement=said[reading.decision],
        decision=reading.decision,
        rule=GUARD_RULE,
        cavities=(reading.a, reading.b),
        wires=covered.leading_to(reading.component, reading.a, reading.b),
        measured_ohm=_finite(reading.measured_ohm),
        open=math.isinf(reading.measured_ohm),
        uncertainty_ohm=reading.uncertainty_ohm,
        expected_ohm=_finite(reading.expected_ohm),
        limit_ohm=_finite(reading.limit_ohm),
        lower_limit_ohm=reading.lower_ohm,
        bound_ohm=_finite(reading.bound_ohm),
        meter_wires=reading.meter_wires,
    )


def _sensed_part(part: SensedPart, clear_ohm: float | None, covered: Covered) -> ClaimEntry:
    under = "a path" if clear_ohm is None else f"a path under {ohms(clear_ohm)}"
    return ClaimEntry(
        kind="component",
        subject=part.component,
        statement=f"{under} from {part.a} to {part.b}; its value is not measured"
        if part.conducts
        else f"nothing conducts from {part.a} to {part.b}",
        decision=Decision.PASS if part.conducts else Decision.FAIL,
        rule=LOW_RULE,
        cavities=(part.a, part.b),
        wires=covered.leading_to(part.component, part.a, part.b),
        threshold_ohm=clear_ohm,
    )


def _bare_diode(covered: Covered, reading: JudgedDiode) -> ClaimEntry:
    """Say what a diode read, as it was said before its bounds were."""
    ways = f"{_figure(reading, reading.forward)}, back {_figure(reading, reading.backward)}"
    return ClaimEntry(
        kind="component",
        subject=reading.component,
        statement=f"conducts from {reading.anode} to {reading.cathode} only: {ways}",
        decision=reading.decision,
        rule="forward reading within its bounds, none backward; the bench's diode or ohms range",
        cavities=(reading.anode, reading.cathode),
        wires=covered.leading_to(reading.component, reading.anode, reading.cathode),
    )


def _figure(reading: JudgedDiode, value: float) -> str:
    if not math.isfinite(value):
        return "no current"
    return f"{value:.3g} V" if reading.unit == "V" else ohms(value)


def _diode(
    reading: JudgedDiode, covered: Covered, volts: Mapping[str, tuple[float, float] | None]
) -> ClaimEntry:
    """Say what a diode read and what it was held to."""
    forward, backward = (_figure(reading, value) for value in (reading.forward, reading.backward))
    bounds = volts.get(reading.component)
    if reading.unit == "V" and bounds is not None:
        drops = f"{bounds[0]:.3g} V to {bounds[1]:.3g} V"
        rule = f"a sound one drops {drops} forward, and passes no current backward"
    elif reading.unit == "V":
        rule = "a sound one drops some volts forward, and passes no current backward"
    else:
        rule = "a sound one passes more current forward than backward; read in ohms, its voltage is not read"
    only = f"conducts from {reading.anode} to {reading.cathode} only: {forward}, back {backward}"
    other = f"{forward} from {reading.anode} to {reading.cathode}, {backward} back: not as a sound one"
    statement = only if reading.decision is Decision.PASS else other
    return _bare_diode(covered, reading).model_copy(update={"statement": statement, "rule": rule})


def _isolation(
    plan: Plan, measured: Measured, capabilities: Capabilities, covered: Covered
) -> Iterator[ClaimEntry]:
    """Say what readings between joined conductors prove: each pair is at least what all in parallel read."""
    if plan.isolation_ohm is None or measured.isolation_ohm is None:
        return
    limit_ohm, u_ohm = plan.isolation_ohm, plan.isolation_u_ohm
    # A whole net with something else joined to it is a short; crossed contacts join nothing.
    nets = set(measured.expected)
    odd = [group for group in measured.groups if group not in nets]
    joined = any(net < group for group in odd for net in nets)
    paths = bool(measured.leaks or measured.one_way or joined)
    each = "each conductor as found is" if odd else "each"
    clear = measured.isolation_ohm > limit_ohm + u_ohm
    # What conducts only above a voltage of its own can't show under it.
    volts = "" if plan.meter is None else f" with up to {plan.meter.test_voltage_v:g} V"
    both = f", read both ways round{volts}"
    apart = f", {BUT_CONDUCTORS[0]}" if any(plan.scope.reach) else ""
    yield ClaimEntry(
        kind="isolation",
        subject="all conductors",
        statement=(
            "paths between conductors were found"
            if paths
            else f"{each} above {ohms(limit_ohm)} from every other{apart}{both}"
            if clear
            else f"all pairs in parallel read {ohms(measured.isolation_ohm)}, limit {ohms(limit_ohm)}, and "
            "no pair alone is surely under it"
        ),
        decision=Decision.FAIL if paths else Decision.PASS if clear else Decision.UNDECIDED,
        rule=f"every pair lies across at least one reading, with at most {capabilities.test_voltage_v:g} V; "
        "pass above limit + U, k = 2",
        wires=covered.all_apart,
        threshold_ohm=limit_ohm,
        uncertainty_ohm=u_ohm,
        measured_ohm=_finite(measured.isolation_ohm),
        open=math.isinf(measured.isolation_ohm),
    )


def _stability(plan: Plan, measured: Measured) -> Iterator[ClaimEntry]:
    yield ClaimEntry(
        kind="stability",
        subject="all cavities",
        statement=(
            "every sense reading was the same when asked again"
            if not measured.unstable
            else "readings changed while nothing was touched, or do not fit together"
        ),
        decision=Decision.FAIL if measured.unstable else Decision.PASS,
        rule="the same questions asked twice",
        cavities=_in_order(plan, measured.unstable),
    )
    if measured.watch is not None:
        yield _watched(plan, measured, measured.watch)


def _watched(plan: Plan, measured: Measured, watch: Wiggled) -> ClaimEntry:
    """Say of a watch what it saw, with its figures; never that there is nothing to see."""
    many = sum(len(net.cavities) > 1 for net in watch.nets)
    apart = f", and no two of {len(watch.nets)} touched in {watch.touches_s:g} s" if watch.touches_s else ""
    least = (
        "how short a change it surely sees is not known"
        if watch.shortest_us is None
        else f"what lasts {watch.shortest_us} µs is surely seen, what is shorter may not be"
    )
    lost = f"; {watch.lost} events were lost, and the {watch.unwatched_s:g} s that they cover are not counted"
    quiet = (
        f"no net of {many} parted in {watch.watched_s:g} s{apart}; whether the loom was moved in that time "
        f"the bench cannot see; {least}"
    )
    moved = f"readings changed while it was watched; {least}"
    return ClaimEntry(
        kind="stability",
        subject="all nets, while watched",
        statement=(moved if measured.unstable else quiet) + (lost if watch.lost else ""),
        decision=Decision.FAIL if measured.unstable else Decision.PASS,
        rule="every set of the watch read over and over",
        cavities=_in_order(plan, measured.unstable),
    )
