"""A bench that contradicts itself, or one cause for all readings: told before any wire is accused.

The rules are physical, each sure of a sound bench on a bad loom:

- Sense promises that a path under ``SENSE`` (divided by the points behind it) reads low, and one above
``CLEAR`` high. Where sense joins two points and the meter reads them open both ways though its range ends
above ``CLEAR``, or sense parts them both ways and the meter reads under ``SENSE``, one of the two is wrong. A
  contact that comes and goes does the same once; so both are asked in turn, and only what stays so every
  time counts. - Where not one of many conductors is within its limit, over several nets, the loom has no
  sound wire at all or one thing is in every reading: leads that nobody zeroed, the meter's zero or range, a
  plug of the adapter. Faults of a loom leave some wires sound; what is in every reading does not. With few
  conductors the excess must be the same in all of them, as an offset's is, to within their uncertainty and
  what sound wires differ by. - Where nothing conducts to anything, nothing is plugged in, or the bench does
  not close.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from loomproof.electrics.component_kinds import Path as PartKind
from loomproof.electrics.expectation import Expectation
from loomproof.errors import Todo, UnfitError
from loomproof.loom.model import End
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.separate_nets import Groups
from loomproof.planning.plan import Plan
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged, Path

ROUNDS = 5
"""So often sense and meter are asked in turn; a contact at a few hertz is met both open and closed by
then."""

MOST_PAIRS = 4
"""So many pairs that contradict each other are looked at; one that stays so is enough."""

MANY, NETS = 8, 4
"""Of so many conductors in so many nets a bad loom has one that is sound."""

LEAST_DROP_V = 0.2
"""No diode drops less at a milliamp and more, Schottky ones included (from memory)."""

SENSE_V = 5.0
"""No sense has more: inputs of logic (common practice). What it finds low, a meter of as much finds too."""

FEW, FEW_NETS = 4, 3
"""With fewer than `MANY`, but so many, the excess must be one and the same as well."""


def refuse_one_cause(judged: Iterable[Judged], net_of: Mapping[End, int]) -> None:
    """Refuse readings that one cause explains. Raises `UnfitError`."""
    wires = [j for j in judged if not j.component and j.a in net_of]
    closed = [j for j in wires if math.isfinite(j.measured_ohm)]
    if 2 * len(closed) < len(wires) or any(j.measured_ohm <= j.limit_ohm for j in closed):
        return
    if not any(j.decision is Decision.FAIL for j in closed):
        return
    nets = len({net_of[j.a] for j in closed})
    excess = sorted(j.measured_ohm - j.expected_ohm for j in closed)
    alike = excess[-1] - excess[0] <= max(j.uncertainty_ohm + j.expected_ohm for j in closed)
    # What may be within its limit for all that the meter knows is no witness, unless all are off alike.
    many = len(closed) >= MANY and nets >= NETS and all(j.decision is Decision.FAIL for j in closed)
    if not (many or (alike and len(closed) >= FEW and nets >= FEW_NETS)):
        return
    raise UnfitError(
        f"not one of {len(closed)} conductors in {nets} nets is within its limit: each reads "
        f"{ohms(excess[0])} to {ohms(excess[-1])} more than expected. One thing is in every reading: leads "
        "of the adapter that were not zeroed, the meter's zero or range, or a worn plug",
        cure="Join all ends of the adapter in one plug and zero the leads with this meter. Where that was "
        "done today, read a known resistance. If the bench is right, the description's lengths and sections "
        "are not this loom's.",
        do=Todo.ZERO_OR_RESISTOR,
    )


def refuse_silence(
    judged: Iterable[Judged], net_of: Mapping[End, int], groups: Groups, leaks: Sequence[Path]
) -> None:
    """Refuse a loom of which nothing at all conducts to anything. Raises `UnfitError`."""
    wires = [j for j in judged if not j.component and j.a in net_of]
    if len(wires) < MANY or len({net_of[j.a] for j in wires}) < NETS or leaks:
        return
    if any(math.isfinite(j.measured_ohm) for j in judged) or any(len(group) > 1 for group in groups):
        return
    raise UnfitError(
        f"not one of {len(wires)} conductors conducts, nor anything else: the loom is not plugged in, or the "
        "bench closes nothing",
        cure="Look at the adapter's plugs, then test the bench with a shorting plug.",
        do=Todo.SHORTED,
    )


def refuse_contradictions(
    plan: Plan,
    expectation: Expectation,
    ohmmeter: Ohmmeter,
    sensed: Groups,
    judged: Sequence[Judged],
    leaks: Sequence[Path],
) -> None:
    """Refuse a bench whose sense and meter say the opposite of each other, steadily. Raises `UnfitError`."""
    able = ohmmeter.asker.capabilities()
    if able.sense_ohm is None or able.clear_ohm is None or able.ohms is None:
        return
    home = {end: k for k, group in enumerate(sensed) for end in group}
    joined_open = [
        (j.a, j.b)
        for j in judged
        if not j.component and math.isinf(j.measured_ohm) and home.get(j.a) == home.get(j.b)
    ]
    joined_open += _merged(plan, sensed)
    read = [(j.a, j.b, j.measured_ohm + j.uncertainty_ohm) for j in judged if not j.component]
    read += [(leak.a, leak.b, leak.ohm + leak.uncertainty_ohm) for leak in leaks]
    # However many of the points hang behind that path by other faults.
    surely_ohm = able.surely_low_ohm(plan.scope.points.bit_count())
    apart_closed = [(a, b) for a, b, ohm in read if home.get(a) != home.get(b) and ohm < surely_ohm]
    # A diode's drop can stand above an input's threshold, however few ohms the meter's current makes of it.
    coupled = _coupled(plan)
    diode_ohm = LEAST_DROP_V / ohmmeter.meter.test_current_a
    if able.ohms[1] > able.clear_ohm:
        for a, b in [pair for pair in joined_open if not _sensed_only(plan, expectation, *pair)][:MOST_PAIRS]:
            if _steady(ohmmeter, a, b, joined=True, below_ohm=math.inf):
                raise _against(plan, a, b, "joined", "open both ways round")
    for a, b in apart_closed[:MOST_PAIRS]:
        below_ohm = min(surely_ohm, diode_ohm) if coupled & {a, b} else surely_ohm
        if _steady(ohmmeter, a, b, joined=False, below_ohm=below_ohm):
            raise _against(plan, a, b, "apart", "joined")


def _steady(ohmmeter: Ohmmeter, a: End, b: End, *, joined: bool, below_ohm: float) -> bool:
    """Ask sense and meter in turn, both ways; whether they say the opposite of each other every time.

    To the meter they are joined where it reads less than ``below_ohm``.
    """
    one, two = (ohmmeter.scope.bit(end) for end in (a, b))
    for _ in range(ROUNDS):
        low = ohmmeter.asker.sense([one, two])
        seen = {bool(low[0] & two), bool(low[1] & one)}
        read = {
            ohmmeter.asker.resistance(one, two) < below_ohm,
            ohmmeter.asker.resistance(two, one) < below_ohm,
        }
        if seen != {joined} or read != {not joined}:
            return False
    return True


def _merged(plan: Plan, sensed: Groups) -> list[tuple[End, End]]:
    """Return pairs of cavities of nets that sense took for one: each net with the next."""
    group_of = plan.scope.group_of
    found = []
    for group in sensed:
        heads = {group_of[end]: end for end in sorted(group, key=plan.scope.place_of.__getitem__)}
        found += list(pairwise(heads.values()))
    return found


def _sensed_only(plan: Plan, expectation: Expectation, a: End, b: End) -> bool:
    """Whether what joins the two both ways may be sensed and not read.

    A charge may, in a capacitor between; a junction may not where the meter has `SENSE_V` or more.
    """
    scope = plan.scope
    bundles = {scope.bundle_of[scope.group_of[end]] for end in (a, b)}
    if len(bundles) > 1:
        return False
    mine = {net for net, bundle in zip(scope.net_of_group, scope.bundle_of, strict=True) if bundle in bundles}
    between = [part for part in expectation.all_couplings if mine & {part.net_a, part.net_b}]
    low_voltage = plan.meter is not None and plan.meter.test_voltage_v < SENSE_V
    return any(
        coupling.path is PartKind.CAPACITOR or (low_voltage and not coupling.linear) for coupling in between
    )


def _coupled(plan: Plan) -> frozenset[End]:
    """Return the cavities of conductors that a part joins to another: a part may be sensed and not read."""
    found: set[End] = set()
    for i, others in enumerate(plan.scope.reach):
        for k in (i, *others) if others else ():
            found |= plan.scope.ends(plan.scope.groups[k].points)
    return frozenset(found)


def _against(plan: Plan, a: End, b: End, seen: str, read: str) -> UnfitError:
    p, q = (plan.scope.point_of[end] for end in (a, b))
    return UnfitError(
        f"the bench contradicts itself: sense finds {a} and {b} (points {p} and {q}) {seen}, and the meter "
        f"reads them {read}, {ROUNDS} times of {ROUNDS}",
        cure="No wire is to blame for that: look at the inputs, switches and relays of these points, and "
        "test the bench.",
        do=Todo.SELFTEST,
    )
