"""Readings that judge nothing of the loom: whether the meter answers what it is asked, and the same again.

A pair that sense joins and one that it parts are asked in turn before the loom is measured, and again at the
end together with readings that passed before. A meter that is one or more readings behind shows each where
the other was asked for; one that drifts, or shows its own noise, has moved on conductors that share nothing.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

from loomproof.errors import Todo, UnfitError
from loomproof.loom.model import End
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.separate_nets import Groups
from loomproof.planning.plan import CONTROL_NETS, CONTROLS_APART, CONTROLS_BEFORE, Plan
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged

DRIFT_SHARE = 0.7
"""So much of the uncertainty of one reading each must move, all the same way, to be a drift: what is fixed
in a meter's error drops out between two readings of the same."""

ACCUSED = 6
"""So many readings that would blame the loom are taken again."""

MORE = 24
"""So many readings of passed conductors are taken again where one did not come out the same."""


def known_pairs(plan: Plan, groups: Groups, points: int) -> tuple[tuple[int, int], tuple[int, int]] | None:
    """Return a pair of points that sense joins and one that it parts; ``None`` where there are no such.

    The joined pair is of one net, the parted one of two that no part couples; with no such two, a point that
    no lead goes to has nothing to any other.
    """
    scope = plan.scope
    home = {end: k for k, group in enumerate(groups) for end in group}
    nets = [sorted(scope.ends(group.points), key=scope.point_of.__getitem__) for group in scope.groups]
    joined = next(
        ((net[0], end) for net in nets for end in net[1:] if home.get(end) == home.get(net[0])), None
    )
    if joined is None:
        return None
    firsts = [(net[0], scope.bundle_of[k]) for k, net in enumerate(nets)]
    apart = next(
        (
            (end, other)
            for k, (end, bundle) in enumerate(firsts)
            for other, beside in firsts[k + 1 :]
            if bundle != beside and home.get(end) != home.get(other)
        ),
        None,
    )
    bit = scope.bit
    if apart is not None:
        return (bit(joined[0]), bit(joined[1])), (bit(apart[0]), bit(apart[1]))
    spare = spare_point(plan, points)
    return ((bit(joined[0]), bit(joined[1])), (bit(joined[0]), spare)) if spare else None


def spare_point(plan: Plan, points: int) -> int:
    """Return a point of a bench of so many that no lead goes to, as a set; 0 where there is none."""
    used = plan.scope.points
    return next((1 << k for k in range(points) if not used >> k & 1), 0)


def refuse_late_answers(plan: Plan, ohmmeter: Ohmmeter, groups: Groups) -> None:
    """Ask a joined and a parted pair in turn; refuse a meter that mixes them up. Raises `UnfitError`.

    ``groups`` are as sensed.
    """
    able = ohmmeter.asker.capabilities()
    pairs = known_pairs(plan, groups, able.points)
    if pairs is None or able.sense_ohm is None or able.clear_ohm is None or able.ohms is None:
        return
    if able.ohms[1] <= able.clear_ohm:
        return
    joined, apart = pairs
    read = [ohmmeter.asker.resistance(*(joined if k % 2 else apart)) for k in range(CONTROLS_BEFORE)]
    spare = apart[1] & ~plan.scope.points
    if spare and all(map(math.isfinite, read[::2])):
        end = plan.scope.end_of[apart[0].bit_length()]
        raise UnfitError(
            f"{end} and the free point {spare.bit_length()} have nothing between them, and read "
            f"{ohms(read[0])}: a switch sticks, the board leaks, or the meter reads so whatever it is asked",
            cure="Test the bench with the loom off.",
            do=Todo.SELFTEST,
        )
    if mixed_up(read[1::2], read[::2], able.surely_low_ohm(plan.scope.points.bit_count())):
        raise _late(plan, joined, apart)


def mixed_up(joined: Iterable[float], apart: Iterable[float], surely_ohm: float) -> bool:
    """Whether a joined pair was read open and one that is apart was read joined: no loom makes both so."""
    return any(map(math.isinf, joined)) and any(ohm < surely_ohm for ohm in apart)


def _late(plan: Plan, joined: tuple[int, int], apart: tuple[int, int]) -> UnfitError:
    end_of = plan.scope.end_of
    names = [
        " and ".join(str(end_of.get(p, f"the free point {p}")) for p in map(int.bit_length, pair))
        for pair in (joined, apart)
    ]
    return UnfitError(
        f"asked in turn, the meter reads {names[0]} open, which are joined, and {names[1]} joined, which are "
        "apart: its answers belong to other questions",
        cure="The meter is one reading or more behind, or its trigger is set wrongly: look at its settings "
        "and its driver, then test the bench with a resistor.",
        do=Todo.RESISTOR,
    )


def refuse_moved(
    plan: Plan, ohmmeter: Ohmmeter, sensed: Groups, judged: Sequence[Judged], unsteady: frozenset[End]
) -> None:
    """Read again readings that passed, of up to `CONTROL_NETS` nets, and refuse a meter that moved.

    ``sensed`` are the groups as sensed, ``unsteady`` the cavities that do not sense the same twice: what
    moves there is the loom. Raises `UnfitError`.
    """
    controls = _controls(passed(plan, judged, unsteady))
    able = ohmmeter.asker.capabilities()
    pairs = known_pairs(plan, sensed, able.points) if plan.vectors else None
    apart_ohm: list[float] = []
    again: list[float] = []
    for reading in controls:
        if pairs is not None and len(apart_ohm) < CONTROLS_APART:
            apart_ohm.append(ohmmeter.asker.resistance(*pairs[1]))
        again.append(_again(ohmmeter, reading))
    if pairs is not None and able.sense_ohm is not None:
        surely_ohm = able.surely_low_ohm(plan.scope.points.bit_count())
        if mixed_up(again, apart_ohm, surely_ohm):
            raise _late(plan, (plan.scope.bit(controls[0].a), plan.scope.bit(controls[0].b)), pairs[1])
    moved = [(r, ohm) for r, ohm in zip(controls, again, strict=True) if _moved(r, ohm)]
    if moved:
        moved += _more_moved(plan, ohmmeter, judged, unsteady, moved[0][0])
    _refuse_nets(plan, moved)
    shifts = [ohm - r.measured_ohm for r, ohm in zip(controls, again, strict=True)]
    least = [DRIFT_SHARE * r.uncertainty_ohm for r in controls]
    for sign in (1.0, -1.0):
        if len(controls) > 2 and all(sign * s > by for s, by in zip(shifts, least, strict=True)):
            raise _unfit(controls[0], again[0], f"and {len(controls) - 1} others moved the same way")


def refuse_unrepeatable(
    plan: Plan, ohmmeter: Ohmmeter, judged: Sequence[Judged], unsteady: frozenset[End]
) -> None:
    """Read again what would be blamed on the loom, another net in between; refuse a meter that shows noise.

    One that does not read the same again may be a contact that comes and goes: then conductors that passed
    are read again, and only where another net moved as well is it the bench. Raises `UnfitError`.
    """
    between = passed(plan, judged, unsteady)
    left_out = unsteady | charging(plan)
    accused = [r for r in judged if r.decision is Decision.FAIL and not left_out & {r.a, r.b}]
    strange: list[tuple[Judged, float]] = []
    for k, reading in enumerate(accused[:ACCUSED]):
        if math.isinf(reading.expected_ohm):
            continue
        if between:
            ohmmeter.read(between[k % len(between)].a, between[k % len(between)].b)
        ohm = _again(ohmmeter, reading)
        if _moved(reading, ohm):
            strange.append((reading, ohm))
    if strange:
        strange += _more_moved(plan, ohmmeter, judged, unsteady, strange[0][0])
    _refuse_nets(plan, strange)


def passed(plan: Plan, judged: Sequence[Judged], unsteady: frozenset[End]) -> list[Judged]:
    """Return the first reading that passed or is within its limits of each net, parts' own readings too."""
    found: dict[int, Judged] = {}
    unsteady = unsteady | charging(plan)
    for reading in judged:
        sound = reading.within and math.isfinite(reading.measured_ohm) and math.isfinite(reading.expected_ohm)
        if sound and not unsteady & {reading.a, reading.b}:
            found.setdefault(plan.scope.group_of[reading.a], reading)
    return list(found.values())


def charging(plan: Plan) -> frozenset[End]:
    """Return the cavities that a part with a capacitor leads to: readings there depend on those before."""
    scope = plan.scope
    ends = [(r.part.a, r.part.b) for r in plan.parts if r.part.charges]
    ends += [(bound.a, bound.b) for bound in plan.bounds if bound.charges]
    charged = {scope.bundle_of[scope.group_of[end]] for pair in ends for end in pair}
    return frozenset(
        end
        for group, bundle in zip(scope.groups, scope.bundle_of, strict=True)
        if bundle in charged
        for end in scope.ends(group.points)
    )


def _controls(known: Sequence[Judged]) -> list[Judged]:
    """Return which of them are read again: the two that show a gain best, and the earliest."""
    most = sorted(known, key=lambda r: r.measured_ohm / max(r.uncertainty_ohm, 1e-12), reverse=True)[:2]
    return list({id(r): r for r in (*most, *known)}.values())[:CONTROL_NETS]


def _again(ohmmeter: Ohmmeter, reading: Judged) -> float:
    return ohmmeter.read(reading.a, reading.b, reading.meter_wires)[0]


def _moved(reading: Judged, ohm: float) -> bool:
    """Whether a reading is off the first by more than both can be."""
    if math.isinf(ohm) or math.isinf(reading.measured_ohm):
        return math.isinf(ohm) != math.isinf(reading.measured_ohm)
    return abs(ohm - reading.measured_ohm) > 2 * reading.uncertainty_ohm


def _more_moved(
    plan: Plan, ohmmeter: Ohmmeter, judged: Sequence[Judged], unsteady: frozenset[End], first: Judged
) -> list[tuple[Judged, float]]:
    """Read conductors of other nets again and again until one of them moves as well."""
    mine = {plan.scope.group_of[end] for end in (first.a, first.b)}
    others = [r for r in passed(plan, judged, unsteady) if plan.scope.group_of[r.a] not in mine]
    for k in range(MORE if others else 0):
        reading = others[k % len(others)]
        ohm = _again(ohmmeter, reading)
        if _moved(reading, ohm):
            return [(reading, ohm)]
    return []


def _refuse_nets(plan: Plan, moved: Sequence[tuple[Judged, float]]) -> None:
    nets = {plan.scope.group_of[reading.a]: (reading, ohm) for reading, ohm in moved}
    if len(nets) > 1:
        (reading, ohm), (other, _) = list(nets.values())[:2]
        raise _unfit(reading, ohm, f"and {other.a} to {other.b}, of another net, moved as well")


def _unfit(reading: Judged, ohm: float, others: str) -> UnfitError:
    def told(value: float) -> str:
        return "open" if math.isinf(value) else ohms(value)

    return UnfitError(
        f"{reading.a} to {reading.b} read {told(reading.measured_ohm)} and then {told(ohm)}, {others}: the "
        "meter or a plug does not read the same again",
        cure="Press the plugs home, let the meter warm up, and prove again; if it stays so, test the bench "
        "with a resistor.",
        do=Todo.RESISTOR,
    )
