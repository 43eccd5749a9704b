"""Running a plan on a bench: the one place where questions become answers.

`run_plan` is a generator: it yields a `Progress` before each stretch of work and returns a `Measured` (with
`yield from`, or by `loomproof.measuring.events.finish`). Whatever ends it, the caller's ``with bench``
releases every point.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable, Iterator, Sequence

from loomproof.bench.interface import Bench
from loomproof.bench.references import Reference
from loomproof.bench.seam import singles
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import DisjointSets
from loomproof.loom.model import End
from loomproof.measuring.believing import checked_by, shorter_ways
from loomproof.measuring.bench_first import refuse_faults_of_the_bench
from loomproof.measuring.by_hand import run_by_hand
from loomproof.measuring.clearance import Clearance, require
from loomproof.measuring.component_presence import joined_across, sensed_parts
from loomproof.measuring.controls import refuse_late_answers, refuse_moved, refuse_unrepeatable
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.coupled import across_parts, beside_parts, coupled_paths, one_place, undisturbed
from loomproof.measuring.doubting import refuse_contradictions, refuse_one_cause, refuse_silence
from loomproof.measuring.events import Event, NetsFound, Progress
from loomproof.measuring.isolation_search import LEAST_OHM, measure_isolation
from loomproof.measuring.localise import pairs_of, pinpoint, read_inside
from loomproof.measuring.ohmmeter import (
    IMPOSSIBLE_U,
    Ohmmeter,
    is_diode,
    judge_conductor,
    judge_diode,
    judge_part,
)
from loomproof.measuring.one_way import lowest_first, one_a_pair, told_apart
from loomproof.measuring.reference_check import (
    checked_by_reference,
    refuse_noisy_references,
    refuse_wrong_references,
)
from loomproof.measuring.resolve_nets import complete
from loomproof.measuring.separate_nets import (
    Groups,
    by_description,
    rejoined,
    resistive_joined,
    split_bypassed,
    told_by_ohms,
    told_without_sense,
)
from loomproof.measuring.steadiness import unsteady_nets
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import PartReading, Plan, conductor_reading
from loomproof.results.measured import (
    ONE_WAY_RATIO,
    Decision,
    Judged,
    JudgedDiode,
    Measured,
    OneWay,
    Path,
    ShorterWay,
)

Steps = Generator[Event, None, Measured]


def run_plan(
    plan: Plan,
    expectation: Expectation,
    bench: Bench,
    clearance: Clearance,
    *,
    watch_s: float = 0.0,
    untouched: frozenset[int] = frozenset(),
    references: Sequence[Reference] = (),
) -> Steps:
    """Ask everything that the plan holds, follow failures until the picture is complete, and measure.

    ``watch_s``: watch for that long for contacts that come and go, where the bench can. ``untouched``:
    nets whose isolation from each other rests on the proof before. ``references`` stay on the bench beside
    the loom. Raises `SafetyError` without a clearance for this loom on this bench, and the bench's errors.
    """
    require(clearance, bench, expectation.loom)
    if clearance.capabilities.beep_ohm is not None:
        return (yield from run_by_hand(plan, expectation, bench, clearance, untouched=untouched))
    scope = plan.scope
    asker = Asker(bench, clearance, scope.points)
    yield Progress("sensing")
    lows = asker.sense([vector.drive for vector in plan.vectors])
    groups, one_way = _nets(plan, asker, lows)
    yield from asker.told(scope.end_of)
    sensed = groups
    expected = tuple(scope.ends(group.points) for group in scope.groups)
    yield NetsFound(groups, as_described=set(groups) == set(expected))
    judged: list[Judged] = []
    diodes: list[JudgedDiode] = []
    leaks: list[Path] = []
    paths: list[Path] = []
    stray_ways: list[OneWay] = []
    beside: list[Path] = []
    untold = list(plan.unmeasured_parts)
    isolation_ohm: float | None = None
    if plan.meter is None:
        groups = joined_across(plan, expectation, asker, by_description(plan, groups))
    else:
        own = {c.component: (c.a, c.b) for c in expectation.couplings if {c.a, c.b} <= scope.point_of.keys()}
        ohmmeter = Ohmmeter(asker, plan.meter, scope, own if clearance.beside else {})
        if clearance.controls:
            refuse_late_answers(plan, ohmmeter, sensed)
        refuse_wrong_references(ohmmeter, references)
        if plan.vectors:
            groups, joined_paths, ways = told_by_ohms(plan, ohmmeter, groups)
            leaks += joined_paths
            one_way += ways
        total = len(plan.conductors) + len(plan.parts)
        # About what it takes: a reading each, by the bench's own time for one.
        reading_s = plan.meter.repeats * asker.capabilities().reading_ms / 1000
        done = 0
        for done, reading in enumerate(plan.conductors):
            if done % 10 == 0:
                yield Progress("measuring", done, total, (total - done) * reading_s)
            judged.append(judge_conductor(ohmmeter, reading))
            yield from asker.told(scope.end_of)
            yield judged[-1]
        refuse_one_cause(judged, expectation.net_of)
        for more, part in enumerate(plan.parts):
            yield Progress("measuring", done + more, total, (total - done - more) * reading_s)
            said = _judged_part(ohmmeter, part)
            yield from asker.told(scope.end_of)
            if said is None:
                untold.append(part.part.component)
                continue
            yield said
            if isinstance(said, Judged):
                judged.append(said)
            else:
                diodes.append(said)
        bounds = across_parts(plan, ohmmeter)
        if plan.vectors:
            groups = split_bypassed(plan, ohmmeter, groups, judged)
            groups = rejoined(plan, ohmmeter, groups, judged, diodes)
        else:
            yield Progress("telling conductors apart")
            groups, joined_paths, ways = told_without_sense(plan, ohmmeter, judged, diodes)
            leaks += joined_paths
            one_way += ways
        groups = resistive_joined(plan, groups, judged)
        yield Progress("looking closer")
        closer: list[Judged] = []
        for again in _closer(plan, expectation, ohmmeter, groups, judged, apart=clearance.beside):
            yield again
            closer.append(again)
        judged += closer
        one_way, resistive = told_apart(ohmmeter, one_way)
        paths += resistive
        paths += read_inside(plan, ohmmeter, groups, {frozenset((r.a, r.b)) for r in judged})
        if plan.isolation_ohm is not None:
            yield Progress("isolation")
            found, turned, isolation_ohm = _isolation(plan, ohmmeter, groups, leaks, untouched)
            leaks += found
            one_way += turned
            if turned and clearance.beside:
                one_way = lowest_first(ohmmeter, one_way)
        yield from asker.told(scope.end_of)
        if plan.vectors:
            inside = paths if clearance.beside else []
            refuse_contradictions(plan, expectation, ohmmeter, sensed, judged, [*leaks, *inside])
        refuse_silence(judged, expectation.net_of, groups, leaks)
        if clearance.controls:
            refuse_faults_of_the_bench(plan, ohmmeter, groups, judged, diodes, leaks, one_way)
        if clearance.beside:
            beside = beside_parts(plan, ohmmeter, groups, judged, diodes)
        sound = undisturbed(plan, groups, judged, diodes)
        across, strays = one_place(plan, ohmmeter, bounds, coupled_paths(plan, ohmmeter, sound), sound)
        judged += across
        leaks += [stray.path for stray in strays if isinstance(stray.path, Path)]
        stray_ways = [stray.path for stray in strays if isinstance(stray.path, OneWay)]
    parts = sensed_parts(plan, expectation, asker, groups)
    yield Progress("sensing again")
    unsteady, watch = yield from unsteady_nets(plan, asker, lows, groups, watch_s)
    yield from asker.told(scope.end_of)
    unstable = _in_order(scope, sum({p for points in unsteady for p in singles(points)}))
    if plan.meter is not None and clearance.controls:
        ohmmeter = Ohmmeter(asker, plan.meter, scope)
        refuse_wrong_references(ohmmeter, references)
        refuse_unrepeatable(plan, ohmmeter, judged, frozenset(unstable))
        refuse_moved(plan, ohmmeter, sensed, judged, frozenset(unstable))
        yield from asker.told(scope.end_of)
    outside = any(not reading.within for reading in judged)
    outside |= any(diode.decision is not Decision.PASS for diode in diodes)
    odd = one_way or stray_ways or leaks or paths or outside
    if not odd and not unstable and set(groups) == set(expected):
        # Never a pass on readings that nothing accounts for: what read wrongly before reads right now.
        unstable = _in_order(scope, _wrong(plan, lows))
    told = ""
    shorter: tuple[ShorterWay, ...] = ()
    if plan.meter is not None:
        as_described = set(groups) & set(expected)
        shorter = shorter_ways(
            expectation,
            judged,
            as_described,
            leaks,
            plan.meter.temperature_u_k,
            lambda reading: ohmmeter.read(reading.a, reading.b, reading.meter_wires),
        )
        if odd or unstable or set(groups) != set(expected):
            refuse_noisy_references(ohmmeter, references)
        told = checked_by(judged) or checked_by_reference(ohmmeter, references, judged)
    return Measured(
        expected=expected,
        groups=groups,
        meter_check=told,
        complete=bool(plan.vectors) or isolation_ohm is not None,
        judged=tuple(judged),
        diodes=tuple(diodes),
        one_way=(*one_a_pair(plan, groups, one_way), *stray_ways),
        paths=tuple(paths),
        leaks=tuple(leaks),
        beside=tuple(beside),
        unstable=unstable,
        unsteady=tuple(scope.ends(points) for points in unsteady),
        watch=watch,
        untested=scope.untested,
        sensed_parts=parts,
        shorter=shorter,
        untold_parts=tuple(dict.fromkeys(untold)),
        isolation_ohm=isolation_ohm,
        isolation_pass_ohm=None if plan.isolation_ohm is None else plan.isolation_ohm + plan.isolation_u_ohm,
        points=tuple(scope.point_of.items()),
        sense_vectors=asker.vectors,
        resistance_readings=asker.readings,
    )


def _judged_part(ohmmeter: Ohmmeter, part: PartReading) -> Judged | JudgedDiode | None:
    """Measure a part and judge it; ``None`` for a diode of which the readings can't tell."""
    if not is_diode(part):
        return judge_part(ohmmeter, part)
    return judge_diode(ohmmeter, part, has_diode_test=ohmmeter.asker.capabilities().diode)


def _nets(plan: Plan, asker: Asker, lows: Sequence[int]) -> tuple[Groups, list[tuple[int, int]]]:
    """Judge what the plan's vectors read, and complete the picture where they fail."""
    scope = plan.scope
    if not _wrong(plan, lows):
        return tuple(scope.ends(group.points) for group in scope.groups), []

    # The first vector drives nothing: it belongs to the bench's self-check, not to the nets.
    found = complete(asker.sense, scope.groups, plan.vectors[1:], lows[1:], scope.reach)
    return tuple(scope.ends(points) for points in found.groups), list(found.one_way)


def _in_order(scope: Scope, points: int) -> tuple[End, ...]:
    """Return the cavities of a point set in the description's order."""
    return tuple(sorted(scope.ends(points), key=scope.place_of.__getitem__))


def _wrong(plan: Plan, lows: Sequence[int]) -> int:
    """The points that read other than a vector of the plan demands."""
    wrong = 0
    for vector, low in zip(plan.vectors, lows, strict=True):
        wrong |= vector.wrong(low)
    return wrong


def _closer(
    plan: Plan,
    expectation: Expectation,
    ohmmeter: Ohmmeter,
    groups: Iterable[frozenset[End]],
    judged: Sequence[Judged],
    *,
    apart: bool,
) -> Iterator[Judged]:
    """Read the other pairs of a net that has a bad reading, so that one wire of several can be named.

    One that is merely closer to its limit than this bench can tell is not bad: nothing more is asked.
    ``apart``: also between pieces that were told apart and between which the bad reading found some way.
    """
    home = {end: group for group in groups for end in group}
    meter = ohmmeter.meter
    seen = {frozenset((reading.a, reading.b)) for reading in judged}
    for net in dict.fromkeys(
        expectation.net_of[reading.a]
        for reading in judged
        if not reading.component
        and (reading.decision is Decision.FAIL or reading.beyond)
        and math.isfinite(reading.measured_ohm)
    ):
        ends = [end for end in expectation.nets[net].cavities if end in plan.scope.point_of]
        hangs = apart and any(
            home.get(r.a) is not home.get(r.b)
            for r in judged
            if not r.component and expectation.net_of[r.a] == net and math.isfinite(r.measured_ohm)
        )
        for a, b in pairs_of(ends):
            if frozenset((a, b)) not in seen and (hangs or home.get(a) is home.get(b)):
                seen.add(frozenset((a, b)))
                yield judge_conductor(ohmmeter, conductor_reading(expectation.between(a, b), meter))


def _isolation(
    plan: Plan,
    ohmmeter: Ohmmeter,
    groups: Sequence[frozenset[End]],
    known: Iterable[Path],
    untouched: frozenset[int] = frozenset(),
) -> tuple[list[Path], list[tuple[int, int]], float]:
    """Measure isolation between all conductors found; conductors that components couple count as one.

    Returns the leaks, paths that conduct one way only (source and sink), and the lowest of the readings that
    cover every pair.
    """
    assert plan.isolation_ohm is not None
    scope = plan.scope
    home = {end: k for k, group in enumerate(groups) for end in group}
    ends = [scope.ends(group.points) for group in scope.groups]
    untouched_heads = [
        scope.end_of[group.head.bit_length()]
        for group, net in zip(scope.groups, scope.net_of_group, strict=True)
        if net in untouched
    ]
    as_one: list[Iterable[End]] = [
        *(ends[i].union(*(ends[j] for j in others)) for i, others in enumerate(scope.reach) if others),
        *((path.a, path.b) for path in known),
        untouched_heads,
    ]
    together = DisjointSets(range(len(groups)), ([home[end] for end in each] for each in as_one))
    members = together.sets()
    sets = [sum(scope.bit(end) for k in one for end in groups[k]) for one in members]
    leaks: list[Path] = []
    one_way: list[tuple[int, int]] = []
    lowest = math.inf
    pairs: set[tuple[int, int]] = set()
    # A diode's drop has no margin against an input's threshold: sense excludes no path that needs a voltage.
    for turned in (False, True):
        found, ohm = _leaks(plan.isolation_ohm + plan.isolation_u_ohm, ohmmeter, sets, turned=turned)
        pairs |= found
        lowest = min(lowest, ohm)
    conductors = [[sum(scope.bit(end) for end in groups[k]) for k in one] for one in members]
    for i, j in sorted(pairs):
        found_at = pinpoint(ohmmeter, conductors[i], conductors[j])
        heads = [points & -points for points in found_at]
        ways = [(ohmmeter.read_sets(a, b), a, b) for a, b in (heads, heads[::-1])]
        (reading, a, b), (back, *_) = min(ways), max(ways)
        if reading[0] > plan.isolation_ohm - plan.isolation_u_ohm:
            continue  # too close to the limit, or several paths side by side: the sum of all stays undecided
        if back[0] > ONE_WAY_RATIO * reading[0]:
            one_way.append((a, b))
        else:
            first, second = (scope.end_of[p.bit_length()] for p in heads)
            leaks.append(Path(first, second, *reading))
    return leaks, one_way, lowest


def _leaks(
    limit_ohm: float, ohmmeter: Ohmmeter, sets: Sequence[int], *, turned: bool
) -> tuple[set[tuple[int, int]], float]:
    """Find the pairs of sets that leak, each read by itself; ``turned``: searched with the current reversed.

    Returns them, and the lowest of the readings that cover every pair.
    """

    def measure(a: int, b: int) -> float:
        return ohmmeter.asker.resistance(b, a) if turned else ohmmeter.asker.resistance(a, b)

    error_ratio = 2 * ohmmeter.meter.two_wire.ratio + 0.01
    ruled_out: frozenset[tuple[int, int]] = frozenset()
    least_ohm = min(LEAST_OHM, -IMPOSSIBLE_U * ohmmeter.meter.uncertainty_ohm(0.0, 2))
    for _ in range(1 + len(sets)):
        isolation = measure_isolation(measure, sets, limit_ohm, error_ratio, ruled_out, least_ohm)
        found = {(leak.i, leak.j) for leak in isolation.leaks}
        false = {
            (i, j)
            for i, j in found
            if all(ohmmeter.read_sets(sets[a], sets[b])[0] > limit_ohm for a, b in ((i, j), (j, i)))
        }
        if not false - ruled_out:
            break
        ruled_out |= false
    return found - false, min(isolation.readings_ohm, default=math.inf)
