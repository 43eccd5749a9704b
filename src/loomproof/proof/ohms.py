"""Measuring in ohms: conductors, components, and telling conductors apart that components couple."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loomproof.electrics.decision import judge
from loomproof.loom.model import ComponentKind, End
from loomproof.proof.asking import Asker
from loomproof.proof.plan import ConductorReading, Meter, PartReading, Wires
from loomproof.proof.scope import Scope
from loomproof.results.measured import Decision, Judged, JudgedDiode, Path

CONDUCTOR_OHM = 47.0
"""Two fragments that should be apart count as one conductor below this, as a resistive path above it.

A convention of this project: a short through clean metal is far below it, wet or burnt insulation and
parts are above it.
"""


ONE_WAY_RATIO = 2.0
"""A path that reads so many times more one way round than the other conducts one way."""


@dataclass(frozen=True, slots=True)
class Ohmmeter:
    """A bench's resistance readings, corrected for adapter leads, with their uncertainty."""

    asker: Asker
    meter: Meter
    scope: Scope

    def read(self, a: End, b: End, wires: Wires = 2) -> tuple[float, float]:
        """Return the corrected mean of the fixed number of repeats, Ω, and its expanded uncertainty."""
        return self.read_sets(self.scope.bit(a), self.scope.bit(b), wires)

    def read_sets(self, a: int, b: int, wires: Wires = 2) -> tuple[float, float]:
        """The same between one-point sets."""
        values = [self.asker.resistance(a, b, wires) for _ in range(self.meter.repeats)]
        mean = math.fsum(values) / len(values)
        if math.isinf(mean):
            return math.inf, math.inf
        corrected = mean - self.meter.leads_ohm(a.bit_length(), b.bit_length(), wires)
        return corrected, self.meter.uncertainty_ohm(mean, wires)


def judge_conductor(ohmmeter: Ohmmeter, reading: ConductorReading) -> Judged:
    """Take one planned reading and judge it against the claimed limit."""
    ohm, u_ohm = ohmmeter.read(reading.a, reading.b, reading.wires)
    return Judged(
        reading.a,
        reading.b,
        ohm,
        0.0 if math.isinf(u_ohm) else u_ohm,
        reading.expected_ohm,
        reading.physical_limit_ohm,
        reading.limit_ohm,
        Decision(judge(ohm, u_ohm, reading.limit_ohm)),
        wires=reading.seen,
    )


def judge_part(ohmmeter: Ohmmeter, reading: PartReading) -> Judged:
    """Measure a component that conducts both ways and judge it against its limits."""
    part = reading.part
    ohm, u_ohm = ohmmeter.read(part.a, part.b)
    return Judged(
        part.a,
        part.b,
        ohm,
        0.0 if math.isinf(u_ohm) else u_ohm,
        part.upper_ohm if part.expected_ohm is None else part.expected_ohm,
        part.upper_ohm,
        reading.upper_ohm,
        Decision(judge(ohm, u_ohm, reading.upper_ohm, reading.lower_ohm)),
        lower_ohm=reading.lower_ohm,
        component=part.component,
    )


def judge_diode(ohmmeter: Ohmmeter, reading: PartReading, *, has_diode_test: bool) -> JudgedDiode:
    """Read a diode both ways and judge it.

    With a diode test: the forward voltage must lie within its bounds, and no current may flow backward.
    Without: the forward resistance reading must be finite and the backward one over range; the figure
    itself says nothing, since it depends on the meter's current.
    """
    part = reading.part
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


def is_diode(reading: PartReading) -> bool:
    """Whether the component conducts one way only."""
    return reading.part.kind is ComponentKind.DIODE


@dataclass(frozen=True, slots=True)
class Split:
    """Conductors told apart: ``clusters`` (point sets), resistive ``paths`` between them, and ``ways``
    (source, sink) that conduct one way only.
    """

    clusters: tuple[int, ...]
    paths: tuple[Path, ...] = ()
    ways: tuple[tuple[int, int], ...] = ()


def split_by_ohms(ohmmeter: Ohmmeter, fragments: Sequence[int], apart_ohm: float = CONDUCTOR_OHM) -> Split:
    """Tell apart fragments (point sets) that read low together.

    Fragments below ``apart_ohm`` from each other, both ways, are one conductor; what is above is a path,
    with its resistance, or a way where it conducts in one direction only. A fragment may be near another
    of a cluster than its first; resistance is a metric, so it is then less than twice as far from the first.
    """
    clusters: list[int] = []
    members: list[list[int]] = []
    paths: list[Path] = []
    ways: list[tuple[int, int]] = []
    for fragment in fragments:
        head = fragment & -fragment
        for k, cluster in enumerate(clusters):
            other = cluster & -cluster
            forward, u_ohm = ohmmeter.read_sets(other, head)
            backward, _ = ohmmeter.read_sets(head, other)
            if max(forward, backward) < apart_ohm or (
                max(forward, backward) < 2 * apart_ohm
                and any(
                    max(ohmmeter.read_sets(near, head)[0], ohmmeter.read_sets(head, near)[0]) < apart_ohm
                    for near in members[k][1:]
                )
            ):
                clusters[k] |= fragment
                members[k].append(head)
                break
            if alike(forward, backward):
                a, b = (ohmmeter.scope.end_of[p.bit_length()] for p in (other, head))
                paths.append(Path(a, b, forward, u_ohm))
            elif forward < backward:
                ways.append((other, head))
            elif backward < forward:
                ways.append((head, other))
        else:
            clusters.append(fragment)
            members.append([head])
    return Split(tuple(clusters), tuple(paths), tuple(ways))


def alike(forward_ohm: float, backward_ohm: float) -> bool:
    """Whether a path conducts both ways alike, as a resistance does and a diode does not."""
    if math.isinf(forward_ohm) or math.isinf(backward_ohm):
        return False
    return 1 / ONE_WAY_RATIO < forward_ohm / max(backward_ohm, 1e-9) < ONE_WAY_RATIO


def merged(groups: Iterable[frozenset[End]], joins: Iterable[tuple[End, End]]) -> tuple[frozenset[End], ...]:
    """Return the groups with those joined that a pair names."""
    home = {end: group for group in groups for end in group}
    for a, b in joins:
        if a in home and b in home and home[a] is not home[b]:
            union = home[a] | home[b]
            for end in union:
                home[end] = union
    return tuple(dict.fromkeys(home.values()))
