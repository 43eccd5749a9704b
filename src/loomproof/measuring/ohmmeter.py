"""Measuring in ohms: conductors, components, and telling conductors apart that components couple."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from statistics import stdev
from typing import NamedTuple

from loomproof.bench.seam import Wires
from loomproof.electrics.components import ComponentReading
from loomproof.electrics.decision import judge
from loomproof.errors import Todo, UnfitError
from loomproof.loom.model import End
from loomproof.measuring.counting_bench import Asker
from loomproof.planning.bounding import BoundReading
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import CONDUCTOR_OHM, ConductorReading, PartReading
from loomproof.results.figures import ohms
from loomproof.results.measured import ONE_WAY_RATIO, Decision, Judged, JudgedDiode, Path

IMPOSSIBLE_U = 2.0
"""So many expanded uncertainties below zero, four standard ones, chance brings no reading: it comes once in
30 000 of a conductor without any resistance (normal density, JCGM 106:2012, clause 7)."""

CHARGES = 50
"""So often a reading is taken again while it rises, seconds of most meters. Our convention."""

LEADS_OHM = 1.0
"""What two adapter leads may have that nobody learned: metres of thin wire. Common practice, no source."""

AGAIN, SCATTER = 4, 3.0 * math.sqrt(2.0)
"""So often two wires are read again where four say otherwise, and by so many of their deviations they may."""


class Settled(NamedTuple):
    """A reading that was taken until it stands: Ω, uncertainty, whether it ``rose``, and ``rises`` still."""

    ohm: float
    u_ohm: float
    rose: bool
    rises: bool = False


@dataclass(frozen=True, slots=True)
class Ohmmeter:
    """A bench's resistance readings, corrected for adapter leads, with their uncertainty.

    ``own``: the cavities of parts, by name. Raises `UnfitError` for readings that nothing real has.
    """

    asker: Asker
    meter: Meter
    scope: Scope
    own: Mapping[str, tuple[End, End]] = field(default_factory=dict)

    def read(self, a: End, b: End, wires: Wires = 2) -> tuple[float, float]:
        """Return the corrected mean of the fixed number of repeats, Ω, and its expanded uncertainty."""
        return self.read_sets(self.scope.bit(a), self.scope.bit(b), wires)

    def read_sets(self, a: int, b: int, wires: Wires = 2, *, charged: bool = False) -> tuple[float, float]:
        """The same between one-point sets; what may be ``charged`` may read less than nothing."""
        values = [self.asker.resistance(a, b, wires) for _ in range(self.meter.repeats)]
        mean = math.fsum(values) / len(values)
        if math.isinf(mean):
            return math.inf, math.inf
        if wires == 4 and math.isinf(self._with_two(a, b, mean)):
            return math.inf, math.inf
        leads_ohm = self.meter.leads_ohm(a.bit_length(), b.bit_length(), wires)
        u_ohm = self.meter.uncertainty_ohm(mean, wires)
        if mean - leads_ohm < -IMPOSSIBLE_U * u_ohm and not charged:
            raise self._impossible(a.bit_length(), b.bit_length(), mean, leads_ohm, u_ohm)
        return mean - leads_ohm, u_ohm

    def settled(self, a: int, b: int, enough_ohm: float, *, charged: bool) -> Settled:
        """Read between two sets again and again, while the reading rises and is less than enough.

        A meter charges a capacitor with a steady current: each reading shows more than the last, or comes
        nearer to what lies beside it; left charged the other way round, it shows less than nothing first.
        """
        seen: list[float] = []
        while True:
            ohm, u_ohm = self.read_sets(a, b, charged=charged)
            seen.append(ohm)
            if math.isinf(ohm):
                return Settled(ohm, u_ohm, len(seen) > 1)
            rose = ohm - seen[0] > u_ohm or seen[0] < -u_ohm
            if ohm >= enough_ohm + u_ohm:
                return Settled(ohm, u_ohm, rose)
            if len(seen) > 1 and ohm >= -u_ohm and ohm - seen[(len(seen) - 1) // 2] <= u_ohm:
                return Settled(ohm, u_ohm, rose)
            if len(seen) > CHARGES:
                return Settled(ohm, u_ohm, rose, True)

    def most_ohm(self, a: End, b: End, ohm: float, wires: Wires = 2) -> float | None:
        """Return what a corrected reading below the meter's range is surely below; ``None`` for others."""
        leads_ohm = self.meter.leads_ohm(self.scope.point_of[a], self.scope.point_of[b], wires)
        most_ohm = self.meter.most_ohm(ohm + leads_ohm, wires)
        return None if most_ohm is None else most_ohm - leads_ohm

    def _with_two(self, a: int, b: int, four_ohm: float) -> float:
        """Read the same with two wires: with a sense lead open, four wires read anything, nought for one.

        Two wires read the leads besides, up to `LEADS_OHM` of leads that were not learned. A contact that
        opens in between is open. Raises `UnfitError` where both can't be right.
        """
        points = a.bit_length(), b.bit_length()
        leads_ohm = self.meter.leads_ohm(*points, 2)
        slack_ohm = 0.0 if leads_ohm else LEADS_OHM
        two_ohm = self.asker.resistance(a, b, 2)
        u_ohm = self.meter.uncertainty_ohm(two_ohm, 2) + self.meter.uncertainty_ohm(four_ohm, 4)
        for more in (AGAIN, 0):
            if math.isinf(two_ohm) or -u_ohm <= two_ohm - leads_ohm - four_ohm <= u_ohm + slack_ohm:
                return two_ohm
            # A bad contact changes from reading to reading, more than a meter errs; an open lead does not.
            seen = [two_ohm, *(self.asker.resistance(a, b, 2) for _ in range(more))]
            two_ohm = math.inf if math.inf in seen else two_ohm
            u_ohm += SCATTER * stdev(seen) if more and math.isfinite(two_ohm) else 0.0
        raise UnfitError(
            f"points {points[0]} and {points[1]}: {ohms(four_ohm)} with four wires, {ohms(two_ohm)} with "
            f"two, of which {ohms(leads_ohm)} are leads; both can't be right",
            cure="Look for an open sense lead at these points; zero the adapter's leads again.",
        )

    def _impossible(self, a: int, b: int, ohm: float, leads_ohm: float, u_ohm: float) -> UnfitError:
        ends = f"{self.scope.end_of[a]} to {self.scope.end_of[b]} (points {a} and {b})"
        if leads_ohm:
            return UnfitError(
                f"{ends}: {ohms(ohm)} were read, and the adapter table takes {ohms(leads_ohm)} off for the "
                f"leads; less than nothing is left (uncertainty {ohms(u_ohm)}), so the table is wrong",
                cure="Put the shorting plug on and zero the leads.",
                do=Todo.ZERO,
            )
        return UnfitError(
            f"{ends}: {ohms(ohm)} were read, less than nothing (uncertainty {ohms(u_ohm)}): the meter's "
            "zero is off, or there is a voltage on the loom",
            cure="Look for a voltage on the loom, then test the bench.",
            do=Todo.SELFTEST,
        )


def judge_conductor(ohmmeter: Ohmmeter, reading: ConductorReading) -> Judged:
    """Take one planned reading and judge it against the conductor's own limit."""
    ohm, u_ohm = ohmmeter.read(reading.a, reading.b, reading.wires)
    most_ohm = ohmmeter.most_ohm(reading.a, reading.b, ohm, reading.wires)
    return Judged(
        reading.a,
        reading.b,
        ohm,
        0.0 if math.isinf(u_ohm) else u_ohm,
        reading.expected_ohm,
        reading.limit_ohm,
        Decision(judge(ohm, u_ohm, reading.limit_ohm, most_ohm=most_ohm)),
        wires=reading.seen,
        most_ohm=most_ohm,
        meter_wires=reading.wires,
    )


def judge_part(ohmmeter: Ohmmeter, reading: PartReading) -> Judged:
    """Measure a component that conducts both ways and judge it against its limits."""
    part = reading.part
    a, b = (ohmmeter.scope.bit(end) for end in (part.a, part.b))
    if part.charges:
        ohm, u_ohm, _, _ = ohmmeter.settled(a, b, reading.lower_ohm, charged=True)
    else:
        ohm, u_ohm = ohmmeter.read_sets(a, b)
    most_ohm = ohmmeter.most_ohm(part.a, part.b, ohm, 2)
    return Judged(
        part.a,
        part.b,
        ohm,
        0.0 if math.isinf(u_ohm) else u_ohm,
        part.upper_ohm if part.expected_ohm is None else part.expected_ohm,
        reading.upper_ohm,
        Decision(judge(ohm, u_ohm, reading.upper_ohm, reading.lower_ohm, most_ohm)),
        lower_ohm=reading.lower_ohm,
        component=part.component,
        most_ohm=most_ohm,
    )


def judge_bound(ohmmeter: Ohmmeter, bound: BoundReading) -> tuple[Judged, bool]:
    """Read what tells a short across parts that no reading tells; judge it against the least it may be.

    Return whether a capacitor had to be charged for it, too. What still charges one is judged for what it
    shows: ``lower_ohm`` is 0 where that is nothing.
    """
    found = ohmmeter.settled(bound.one, bound.other, bound.lower_ohm, charged=bound.charges)
    judged = _judged_bound(ohmmeter, bound, found.ohm, found.u_ohm)
    if found.rises and bound.charges:
        # What leaks beside a capacitor has more than the reading while that rises: V = I·R·(1 - exp(-t/RC)).
        shown_ohm = max(found.ohm - found.u_ohm, 0.0)
        judged = replace(judged, lower_ohm=shown_ohm, decision=Decision.PASS)
    if judged.decision is not Decision.UNDECIDED or ohmmeter.meter.four_wire is None:
        return judged, found.rose and bound.charges
    # Sound, the whole sides read no less than the bound, and two cavities of theirs no less than the sides:
    # what reads less fails. That they read more says nothing of the other cavities of the sides.
    finer = _judged_alone(ohmmeter, bound, 4)
    own, group_of = ohmmeter.own.get(bound.component, ()), ohmmeter.scope.group_of
    ends = {group_of[end]: end for end in own}
    if finer.decision is not Decision.FAIL and ends.keys() == {group_of[bound.a], group_of[bound.b]}:
        here = replace(bound, a=ends[group_of[bound.a]], b=ends[group_of[bound.b]])
        finer = _judged_alone(ohmmeter, here, 4)
    return (finer if finer.decision is Decision.FAIL else judged), found.rose and bound.charges


def judge_alone(ohmmeter: Ohmmeter, bound: BoundReading) -> Judged:
    """Read a part that no reading tells between two cavities; with four wires if two leave it undecided."""
    judged = _judged_alone(ohmmeter, bound, 2)
    if judged.decision is not Decision.UNDECIDED or ohmmeter.meter.four_wire is None:
        return judged
    return _judged_alone(ohmmeter, bound, 4)


def _judged_alone(ohmmeter: Ohmmeter, bound: BoundReading, wires: Wires) -> Judged:
    a, b = (ohmmeter.scope.bit(end) for end in (bound.a, bound.b))
    return _judged_bound(ohmmeter, bound, *ohmmeter.read_sets(a, b, wires, charged=bound.charges), wires)


def _judged_bound(
    ohmmeter: Ohmmeter, bound: BoundReading, ohm: float, u_ohm: float, wires: Wires = 2
) -> Judged:
    most_ohm = ohmmeter.most_ohm(bound.a, bound.b, ohm, wires)
    # Over range is above the end of the range, whatever a sound part has.
    shown_ohm = ohmmeter.meter.over_range_ohm if math.isinf(ohm) else math.inf
    return Judged(
        bound.a,
        bound.b,
        ohm,
        0.0 if math.isinf(u_ohm) else u_ohm,
        math.inf,
        bound.upper_ohm,
        Decision(judge(ohm, u_ohm, bound.upper_ohm, bound.lower_ohm, most_ohm)),
        lower_ohm=min(bound.lower_ohm, shown_ohm),
        component=bound.component,
        most_ohm=most_ohm,
        meter_wires=wires,
    )


def judge_diode(ohmmeter: Ohmmeter, reading: PartReading, *, has_diode_test: bool) -> JudgedDiode | None:
    """Read a diode both ways and judge it; ``None`` where the readings can't tell whether it is sound.

    Alone between its nets, with a diode test: the forward voltage must lie within its bounds, and no current
    may flow backward. Without: the forward resistance reading must be finite and the backward one over
    range; the figure itself says nothing, since it depends on the meter's current.
    """
    part = reading.part
    if part.beside or part.alike:
        return _judge_among_others(ohmmeter, reading, has_diode_test=has_diode_test)
    a, b = ohmmeter.scope.bit(part.a), ohmmeter.scope.bit(part.b)
    if has_diode_test:
        forward, backward = ohmmeter.asker.diode(a, b), ohmmeter.asker.diode(b, a)
        low, high = part.forward_v or (0.0, math.inf)
        good = low <= forward <= high
        turned = math.isinf(forward) and low <= backward <= high
        unit = "V"
    else:
        forward, backward = ohmmeter.read_sets(a, b)[0], ohmmeter.read_sets(b, a)[0]
        good, turned = math.isfinite(forward), math.isinf(forward) and math.isfinite(backward)
        unit = "ohm"
    passed = good and math.isinf(backward)
    if math.isinf(forward) and math.isinf(backward) and not _can_turn_on(ohmmeter.meter, part):
        return None
    return JudgedDiode(
        part.component,
        part.a,
        part.b,
        forward,
        backward,
        unit,
        Decision.PASS if passed else Decision.FAIL,
        reversed=turned,
    )


def _judge_among_others(
    ohmmeter: Ohmmeter, reading: PartReading, *, has_diode_test: bool
) -> JudgedDiode | None:
    """Judge a diode that is not the only way between its nets.

    Against it, the rest of the loom reads no less than ``lower_ohm``. What passes more current forward than
    backward is a diode the right way round, as far as no other can be it. What passes the same may be a
    missing one, or one that the rest keeps under its voltage: only a voltage above its bounds tells.
    """
    part = reading.part
    a, b = ohmmeter.scope.bit(part.a), ohmmeter.scope.bit(part.b)
    (forward, forward_u), (backward, backward_u) = ohmmeter.read_sets(a, b), ohmmeter.read_sets(b, a)

    def judged(
        decision: Decision, figures: tuple[float, float], unit: str, turned: bool = False
    ) -> JudgedDiode:
        return JudgedDiode(part.component, part.a, part.b, *figures, unit, decision, reversed=turned)

    ohm = (forward, backward)
    more_forward = math.isfinite(forward) and forward + forward_u < backward - _finite(backward_u)
    more_backward = math.isfinite(backward) and backward + backward_u < forward - _finite(forward_u)
    if math.isfinite(backward) and backward + backward_u < reading.lower_ohm:
        # Less than all the rest can pass: a short, or a diode the wrong way round.
        return judged(Decision.FAIL, ohm, "ohm", more_backward and not part.alike)
    if more_backward and not part.against:
        return judged(Decision.FAIL, ohm, "ohm", True)
    if part.alike:
        # Which of them conducts is not told; but none that is sound lets more stand across it than it drops.
        if not has_diode_test or part.forward_v is None or not _can_turn_on(ohmmeter.meter, part):
            return None
        volts = ohmmeter.asker.diode(a, b)
        if volts <= part.forward_v[1]:
            return None
        return judged(Decision.FAIL, (volts, ohmmeter.asker.diode(b, a)), "V")
    alone_forward = math.isinf(part.missing_ohm) and not part.masked_by
    if alone_forward and math.isinf(forward):
        return judged(Decision.FAIL, ohm, "ohm") if _can_turn_on(ohmmeter.meter, part) else None
    seen = alone_forward or (more_forward and not part.against)
    if not has_diode_test:
        return judged(Decision.PASS, ohm, "ohm") if seen else None
    volts = ohmmeter.asker.diode(a, b)
    if part.forward_v is not None and volts > part.forward_v[1]:
        return judged(Decision.FAIL, (volts, ohmmeter.asker.diode(b, a)), "V")
    return judged(Decision.PASS, ohm, "ohm") if seen else None


def _finite(ohm: float) -> float:
    return ohm if math.isfinite(ohm) else 0.0


def _can_turn_on(meter: Meter, part: ComponentReading) -> bool:
    """Whether the meter's voltage surely makes a sound diode conduct."""
    return part.forward_v is None or meter.test_voltage_v > part.forward_v[1]


def is_diode(reading: PartReading) -> bool:
    """Whether the component conducts one way only."""
    return reading.part.forward_v is not None


@dataclass(frozen=True, slots=True)
class Split:
    """Conductors told apart: ``clusters`` (point sets), ``paths`` of ohms, ``ways`` (source, sink)."""

    clusters: tuple[int, ...]
    paths: tuple[Path, ...] = ()
    ways: tuple[tuple[int, int], ...] = ()


def split_by_ohms(ohmmeter: Ohmmeter, fragments: Sequence[int], apart_ohm: float = CONDUCTOR_OHM) -> Split:
    """Tell apart fragments (point sets) that read low together.

    Fragments below ``apart_ohm`` from each other, both ways, are one conductor; what is above is a path,
    with its resistance, or a way where it conducts in one direction only. A fragment may be near another
    of a cluster than its first; resistance is a metric, so it is then less than twice as far from the first.
    """
    clusters: list[list[int]] = []  # of each fragment its lowest point; a cluster's first stands for it
    apart: dict[tuple[int, int], float] = {}
    paths: list[tuple[int, int, float, float]] = []
    ways: list[tuple[int, int]] = []

    def near(a: int, b: int) -> bool:
        return max(ohmmeter.read_sets(a, b)[0], ohmmeter.read_sets(b, a)[0]) < apart_ohm

    for fragment in fragments:
        head = fragment & -fragment
        joined: list[list[int]] = []
        for cluster in clusters:
            first = cluster[0]
            if joined and apart[joined[0][0], first] >= 2 * apart_ohm:
                continue
            forward, u_ohm = ohmmeter.read_sets(first, head)
            backward, _ = ohmmeter.read_sets(head, first)
            far = apart[first, head] = apart[head, first] = max(forward, backward)
            if far < apart_ohm or (far < 2 * apart_ohm and any(near(one, head) for one in cluster[1:])):
                joined.append(cluster)
            elif alike(forward, backward):
                paths.append((first, head, forward, u_ohm))
            elif forward != backward:
                ways.append((first, head) if forward < backward else (head, first))
        clusters = [cluster for cluster in clusters if cluster not in joined[1:]]
        if joined:
            joined[0] += [*(one for cluster in joined[1:] for one in cluster), head]
        else:
            clusters.append([head])
    whole = {fragment & -fragment: fragment for fragment in fragments}
    home = {head: k for k, cluster in enumerate(clusters) for head in cluster}
    ends = {head: ohmmeter.scope.end_of[head.bit_length()] for head in home}
    return Split(
        tuple(sum(whole[head] for head in cluster) for cluster in clusters),
        tuple(Path(ends[a], ends[b], ohm, u_ohm) for a, b, ohm, u_ohm in paths if home[a] != home[b]),
        tuple((a, b) for a, b in ways if home[a] != home[b]),
    )


def alike(
    forward_ohm: float, backward_ohm: float, ratio: float = ONE_WAY_RATIO, within_ohm: float = 0.0
) -> bool:
    """Whether a path conducts both ways, its readings no more than ``ratio`` and ``within_ohm`` apart."""
    low, high = sorted((forward_ohm, backward_ohm))
    return math.isfinite(high) and high < ratio * max(low, 1e-9) + within_ohm
