"""The plan of one proof: everything that will be asked, fixed before the first question."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from loomproof.bench.seam import Capabilities, Wires
from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.component_kinds import Path
from loomproof.electrics.components import ComponentReading, component_reading
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.decision import surely_decided
from loomproof.electrics.expectation import Between, Expectation
from loomproof.electrics.readings import readings_of
from loomproof.electrics.undetectable_opens import hidden_from_sense
from loomproof.errors import UnfitError
from loomproof.loom.model import End
from loomproof.loom.plain import Ohm
from loomproof.planning.bounding import BoundReading, bound_readings, pair_bounds
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope, scope_of
from loomproof.planning.test_vectors import Vector, empty_vector, sense_vectors
from loomproof.results.figures import ohms

CONDUCTOR_OHM = 47.0
"""Two fragments that should be apart count as one conductor below this, as a resistive path above it.

A convention of this project: a short through clean metal is far below it, wet or burnt insulation and
parts are above it.
"""

WELL_BELOW = 0.8
"""A conductor that may read up to this share of a part is still told from it. Our convention."""

CONTROL_NETS = 4
"""Readings of so many nets are taken again at the end."""

CONTROLS_BEFORE = 5
"""So many readings of a joined pair and of one that is apart, in turn, tell a meter up to three behind."""

CONTROLS_APART = 3
"""So often the pair that is apart is read between the readings that are taken again."""


@dataclass(frozen=True, slots=True)
class ConductorReading:
    """Measure between two cavities of one net and judge against ``limit_ohm``.

    ``sound_ohm`` is the most a sound conductor reads; ``limit_ohm`` what wire and contacts allow.
    ``decided``: this bench tells every sound one to be within its limit; ``shown_ohm`` is what it surely
    shows a sound one to be below, decided or not. Plans saved before the last two were there lack them.
    """

    a: End
    b: End
    wires: Wires
    expected_ohm: Ohm
    sound_ohm: Ohm
    limit_ohm: Ohm
    shown_ohm: Ohm
    decided: bool
    seen: tuple[str, ...] = ()
    defaults_used: bool = False


@dataclass(frozen=True, slots=True)
class PartReading:
    """Measure a component; ``lower_ohm`` and ``upper_ohm`` are its own limits.

    Of a diode, ``lower_ohm`` is the least that a sound loom reads against it.
    """

    part: ComponentReading
    lower_ohm: Ohm
    upper_ohm: Ohm


@dataclass(frozen=True, slots=True)
class Plan:
    """One proof of one hook-up: ``vectors`` (the first drives nothing), then readings in ohms.

    ``capacitors`` are those of ``unmeasured_parts`` that pass no direct current once they are charged.
    ``by_beep``: a person asks which cavities are one conductor by the beep of a meter.
    """

    scope: Scope
    vectors: tuple[Vector, ...]
    conductors: tuple[ConductorReading, ...] = ()
    parts: tuple[PartReading, ...] = ()
    hidden: tuple[str, ...] = ()
    unmeasured_parts: tuple[str, ...] = ()
    bounds: tuple[BoundReading, ...] = ()
    isolation_ohm: Ohm | None = None
    meter: Meter | None = None
    capacitors: tuple[str, ...] = ()
    by_beep: bool = False

    @property
    def reads_wires(self) -> bool:
        """Whether the resistance of wires is read: not by a person who goes by the beep and types parts."""
        return self.meter is not None and (bool(self.conductors) or not self.by_beep)

    def apart_ohm(self, points: int) -> float:
        """Below how many ohms two of these points are one conductor, not joined by a part.

        Half of the smallest part that lies on a net of theirs, wherever its contacts were found; but no less
        than what its conductors may read, as long as that is well below the part.
        """
        scope = self.scope
        nets = {scope.group_of[end] for end in scope.ends(points)}
        between = [
            (reading.part.a, reading.part.b, reading.part.lower_ohm)
            for reading in self.parts
            if reading.part.forward_v is None
        ]
        least_ohm = min(
            (
                ohm
                for a, b, ohm in between
                if not nets.isdisjoint((scope.group_of[a], scope.group_of[b]))
                and scope.group_of[a] != scope.group_of[b]
                and ohm > 0.0
            ),
            default=math.inf,
        )
        wires_ohm = max(
            (max(r.limit_ohm, r.shown_ohm) for r in self.conductors if scope.group_of[r.a] in nets),
            default=0.0,
        )
        apart_ohm = max(least_ohm / 2, min(wires_ohm, WELL_BELOW * least_ohm))
        # Of a part without stated ohms it is only known that it is more than wires are.
        unstated = [b.lower_ohm for b in self.bounds if b.component and scope.group_of[b.a] in nets]
        return min(CONDUCTOR_OHM, apart_ohm, *(max(ohm / 2, wires_ohm) for ohm in unstated))

    @property
    def isolation_readings(self) -> int:
        """How many readings tell on a sound loom that no two conductors are joined, or leak."""
        rounds = (len(set(self.scope.bundle_of)) - 1).bit_length() if self.scope.groups else 0
        if self.meter is None:
            return 0
        isolation = 0 if self.isolation_ohm is None else rounds
        # Isolation is read with the current both ways; without sense, whether any two are one is read first.
        return 2 * isolation + (0 if self.vectors else rounds)

    @property
    def control_readings(self) -> int:
        """How many readings at most tell of a sound loom that the meter answers, and the same again."""
        if self.meter is None:
            return 0
        firsts: dict[int, int] = {}
        # Of four wires two are read once besides, however often the four are.
        readings = [(r.a, int(r.wires == 4)) for r in self.conductors]
        for end, besides in (*readings, *((part.part.a, 0) for part in self.parts)):
            firsts.setdefault(self.scope.group_of[end], self.meter.repeats + besides)
        again = sum(sorted(firsts.values())[-CONTROL_NETS:])
        return again + (CONTROLS_BEFORE + CONTROLS_APART if self.vectors else 0)

    @property
    def isolation_u_ohm(self) -> float:
        """The guard band around the isolation limit, Ω; 0 where isolation is not measured."""
        if self.meter is None or self.isolation_ohm is None:
            return 0.0
        return self.meter.isolation_u_ohm(self.isolation_ohm)


def plan_proof(
    expectation: Expectation,
    point_of: Mapping[End, int],
    capabilities: Capabilities,
    meter: Meter | None,
    *,
    isolation_ohm: float | None = None,
) -> Plan:
    """Return what to ask of this bench.

    Without ``meter`` nothing is measured in ohms and components stay unmeasured. ``isolation_ohm`` is the
    limit that isolation is measured against; where the meter's range does not reach it, the highest that
    it can decide takes its place, unless sensing says as much.
    """
    scope = scope_of(expectation, point_of, capabilities.clear_ohm)
    senses = capabilities.sense_ohm is not None
    refuse_unsure(scope, capabilities)
    vectors = (empty_vector(scope.groups), *sense_vectors(scope.groups, scope.reach)) if senses else ()
    if meter is None:
        # A shunt's open shows where nothing runs beside it, its ohms never do.
        untold = (*expectation.couplings, *expectation.shunts, *_untellable(expectation))
        parts = tuple(dict.fromkeys(coupling.component for coupling in untold))
        hidden = hidden_from_sense(expectation, scope.point_of) if senses else ()
        return Plan(scope, vectors, hidden=hidden, unmeasured_parts=parts)
    parts_read, unmeasured = _parts(expectation, scope, meter)
    conductors, hidden = _conductors(expectation, scope, meter, parts_read)
    isolation_ohm = isolation_asked(isolation_ohm, capabilities, meter)
    if capabilities.beep_ohm is not None:
        return _by_hand(expectation, scope, capabilities, meter, conductors, hidden, parts_read, unmeasured)
    bounds = _bounds(expectation, scope, meter, parts_read, isolation_ohm)
    return Plan(
        scope,
        vectors,
        conductors,
        parts_read,
        hidden,
        unmeasured,
        bounds,
        isolation_ohm,
        meter,
        tuple(dict.fromkeys(c.component for c in expectation.all_couplings if c.path is Path.CAPACITOR)),
    )


def _by_hand(
    expectation: Expectation,
    scope: Scope,
    able: Capabilities,
    meter: Meter,
    conductors: tuple[ConductorReading, ...],
    hidden: tuple[str, ...],
    parts: tuple[PartReading, ...],
    unmeasured: tuple[str, ...],
) -> Plan:
    """Return the plan of a person with a meter: sweeps follow from the scope, ohms are those of two probes.

    A part beside a capacitor is not read: a person cannot tell when a meter has charged it.
    """
    charging = tuple(part.part.component for part in parts if part.part.charges)
    return Plan(
        scope,
        (),
        conductors if able.wires_in_ohms else (),
        tuple(part for part in parts if not part.part.charges),
        hidden if able.wires_in_ohms else hidden_from_sense(expectation, scope.point_of),
        tuple(dict.fromkeys((*unmeasured, *charging))),
        meter=meter,
        capacitors=tuple(
            dict.fromkeys(c.component for c in expectation.all_couplings if c.path is Path.CAPACITOR)
        ),
        by_beep=True,
    )


def refuse_unsure(scope: Scope, able: Capabilities) -> None:
    """Refuse a bench whose drivers have too many ohms in series for this many points. Raises `UnfitError`.

    Sound wires might read open on it, or metal between two nets might not show.
    """
    found = scope.not_surely_sensed(able)
    if found is None:
        return
    one, other = found
    names = [
        f"{scope.end_of[scope.groups[k].head.bit_length()]} with {scope.behind[k]} points"
        for k in (one, other)
        if k is not None
    ]
    told = (
        f"the net of {names[0]} need not read low on this bench though every wire is sound"
        if other is None
        else f"metal between the nets of {names[0]} and of {names[1]} need not read low on this bench"
    )
    raise UnfitError(
        f"{told}: all their pull-ups lead through one driver with {ohms(able.driver_ohm)} in series",
        cure="Give these nets fewer points, in one hook-up more, or take a bench that pulls up fewer points "
        "at once or has less in series with its drivers.",
    )


def isolation_asked(wanted_ohm: float | None, capabilities: Capabilities, meter: Meter) -> float | None:
    """Return the limit that isolation is measured against: as wanted, or the highest that the meter decides.

    ``None``: it is not measured, since sensing says as much.
    """
    most_ohm = meter.isolation_most_ohm
    if wanted_ohm is None or most_ohm >= wanted_ohm:
        return wanted_ohm
    # A bench that can't sense and can't tell a short from open copper tells no conductors apart.
    least_ohm = CONDUCTOR_OHM if capabilities.sense_ohm is None else capabilities.sense_ohm
    return most_ohm if most_ohm > least_ohm else None


def _conductors(
    expectation: Expectation, scope: Scope, meter: Meter, parts: Sequence[PartReading]
) -> tuple[tuple[ConductorReading, ...], tuple[str, ...]]:
    """Plan the readings of every net, and name the wires whose open none of them would show."""
    pairs: list[tuple[End, End]] = []
    wires: dict[str, bool] = {}
    through_parts = {expectation.net_of[end] for part in parts for end in (part.part.a, part.part.b)}
    for group, index in zip(scope.groups, scope.net_of_group, strict=True):
        planned = readings_of(expectation, index).pairs
        reached = [pair for pair in planned if all(end in scope.point_of for end in pair)]
        if len(reached) < len(planned):
            # Some cavity has no point: chain those that have one.
            reached = list(pairwise(sorted(scope.ends(group.points), key=lambda end: scope.point_of[end])))
        pairs += reached
        # What leads from a single cavity to a part is read with the part.
        wires.update(dict.fromkeys(expectation.nets[index].wires, group.size == 1 and index in through_parts))
    readings = []
    for between in expectation.between_all(pairs):
        reading = conductor_reading(between, meter)
        readings.append(reading)
        for name, open_ohm in between.open_ohm.items():
            if name in wires and not wires[name]:
                bound = reading.limit_ohm + meter.uncertainty_ohm(open_ohm, reading.wires)
                wires[name] = math.isinf(open_ohm) or open_ohm > bound
    return tuple(readings), tuple(name for name, shown in wires.items() if not shown)


def conductor_reading(between: Between, meter: Meter) -> ConductorReading:
    """Return the reading of one pair: two-wire, or four-wire where the limit needs it and it can be had."""
    wires: Wires = 2
    shown_ohm, decided = _shown(between.sound_ohm, between.limit_ohm, meter, wires)
    if meter.four_wire is not None and not decided:
        wires = 4
        shown_ohm, decided = _shown(between.sound_ohm, between.limit_ohm, meter, wires)
    return ConductorReading(
        between.a,
        between.b,
        wires,
        between.expected_ohm,
        between.sound_ohm,
        between.limit_ohm,
        shown_ohm,
        decided,
        between.wires,
        between.defaults_used,
    )


def conductor_reading_again(reading: ConductorReading, meter: Meter) -> ConductorReading:
    """Return the same reading as another meter would show it."""
    shown_ohm, decided = _shown(reading.sound_ohm, reading.limit_ohm, meter, reading.wires)
    return replace(reading, shown_ohm=shown_ohm, decided=decided)


def _shown(sound_ohm: float, limit_ohm: float, meter: Meter, wires: Wires) -> tuple[float, bool]:
    """Return what every sound conductor is surely shown to be below, and whether its limit is decided."""
    most_ohm = meter.most_ohm(sound_ohm, wires)
    if most_ohm is not None:
        return most_ohm, most_ohm <= limit_ohm
    u_ohm = meter.uncertainty_ohm(sound_ohm, wires)
    return sound_ohm + 2 * u_ohm, surely_decided(limit_ohm, sound_ohm, u_ohm)


def _parts(
    expectation: Expectation, scope: Scope, meter: Meter
) -> tuple[tuple[PartReading, ...], tuple[str, ...]]:
    found: list[PartReading] = []
    unmeasured: list[str] = []
    for coupling in (*expectation.couplings, *expectation.shunts):
        part = component_reading(expectation, coupling)
        seen = part.a in scope.point_of and part.b in scope.point_of and part.a != part.b
        if seen and coupling.one_way:
            found.append(PartReading(part, _against(expectation, coupling, meter), math.inf))
            continue
        if not (seen and part.provable and part.upper_ohm <= meter.range_ohm[1]):
            unmeasured.append(coupling.component)
            continue
        found.append(PartReading(part, part.lower_ohm, part.upper_ohm))
    unmeasured += [coupling.component for coupling in _untellable(expectation)]
    return tuple(found), tuple(dict.fromkeys(unmeasured))


def _untellable(expectation: Expectation) -> list[Coupling]:
    """Return the parts that copper bridges: whatever they are, the readings of their net stay the same."""
    return [coupling for coupling in expectation.bridged if not coupling.joins]


def _against(expectation: Expectation, diode: Coupling, meter: Meter) -> float:
    """Return the least that a sound loom reads against a diode, Ω: inf where nothing else is there."""
    others = [other for other in expectation.couplings if other is not diode]
    return least_ohm(others, [diode.net_b], [diode.net_a], meter.test_current_a)


def _bounds(
    expectation: Expectation,
    scope: Scope,
    meter: Meter,
    parts: Sequence[PartReading],
    isolation_ohm: float | None,
) -> tuple[BoundReading, ...]:
    """Return the readings of what no part's own reading tells, where this bench tells them from a short."""
    told = {reading.part.component: (reading.part.a, reading.part.b) for reading in parts}
    top_ohm, current_a = meter.range_ohm[1], meter.test_current_a
    limit_ohm = top_ohm if isolation_ohm is None else min(isolation_ohm, top_ohm)
    bounds = (
        *bound_readings(expectation, scope, told, top_ohm, current_a),
        *pair_bounds(expectation, scope, told, limit_ohm, current_a),
    )
    charging = {
        scope.bundle_of[scope.net_of_group.index(coupling.net_a)]
        for coupling in expectation.couplings
        if coupling.path is Path.CAPACITOR and coupling.net_a in scope.net_of_group
    }
    return tuple(
        replace(bound, charges=scope.bundle_of[scope.group_of[bound.a]] in charging)
        for bound in bounds
        # What two wires leave undecided is read again with four, where the meter has them.
        if bound.lower_ohm > meter.uncertainty_ohm(min(bound.lower_ohm, 1e12), 4 if meter.four_wire else 2)
    )
