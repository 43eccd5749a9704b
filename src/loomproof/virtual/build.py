"""From a description, faults and a hook-up to the network that stands on the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import assert_never

from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.virtual import constants as c
from loomproof.virtual.draft import Draft, Run
from loomproof.virtual.faults import Fault
from loomproof.virtual.network import (
    GROUND,
    Breakdown,
    Capacitor,
    Charged,
    Diode,
    Loose,
    Network,
    Resistor,
    Source,
)

LOOSE_DUTY = 0.1


@dataclass(frozen=True, slots=True)
class Hookup:
    """Which point joins which cavity, through how many ohms. Points are numbered from 1.

    ``references`` are resistors that stay between two points, beside the loom, Ω.
    """

    points: int
    ends: Mapping[int, End]
    lead_ohm: Mapping[int, float] = field(default_factory=dict)
    references: Mapping[tuple[int, int], float] = field(default_factory=dict)

    @classmethod
    def in_order(cls, loom: Loom, points: int | None = None) -> Hookup:
        """Point i on the loom's i-th cavity; without ``points``, as many points as cavities."""
        count = points or max(len(loom.cavities), 1)
        return cls(count, dict(enumerate(loom.cavities[:count], start=1)))


def build(
    loom: Loom,
    hookup: Hookup,
    faults: Sequence[Fault] = (),
    *,
    seed: int = 0,
    temperature_c: float = 20.0,
) -> Network:
    """Build the network of a loom on a scanner's points. Raises `UsageError` for a fault that cannot be."""
    draft = Draft(loom, seed)
    for fault in faults:
        if not fault.kind.startswith("bench "):
            draft.apply(fault)
    return _Assembly(draft, hookup, temperature_c).network()


class _Assembly:
    """Numbers the nodes and lists the elements."""

    def __init__(self, draft: Draft, hookup: Hookup, temperature_c: float) -> None:
        self.draft = draft
        self.hookup = hookup
        self.temperature_c = temperature_c
        self.at: dict[End, int] = {}
        self.count = hookup.points
        self.resistors: list[Resistor] = []
        self.diodes: list[Diode] = []
        self.capacitors: list[Capacitor] = []
        self.loose: list[Loose] = []

    def node(self, end: End) -> int:
        found = self.at.get(end)
        if found is None:
            found = self.at[end] = self.count
            self.count += 1
        return found

    def network(self) -> Network:
        contact, lead = self._contacts()
        insulation = self._wires()
        for part in self.draft.parts.values():
            self._part(part)
        for a, b, ohm in self.draft.joints:
            self._resistor(a, b, ohm)
        for a, b, forward_v in self.draft.diodes:
            self._diode(a, b, forward_v)
        for end, farad in self.draft.farads:
            self.capacitors.append(Capacitor(self.node(end), GROUND, farad))
        sources = tuple(
            Source(self.node(plus), GROUND if minus is None else self.node(minus), volts, ohm)
            for plus, minus, volts, ohm in self.draft.sources
        )
        breakdowns = tuple(Breakdown(self.node(a), self.node(b), v) for a, b, v in self.draft.breakdowns)
        insulation += [0.0] * (self.count - len(insulation))
        return Network(
            nodes=self.count,
            points=self.hookup.points,
            resistors=tuple(self.resistors),
            contact=tuple(contact),
            lead_ohm=tuple(lead),
            diodes=tuple(self.diodes),
            capacitors=tuple(self.capacitors),
            sources=sources,
            charged=tuple(Charged(self.node(a), self.node(b), f, v) for a, b, f, v in self.draft.charged),
            breakdowns=breakdowns,
            loose=tuple(self.loose),
            insulation_s=tuple(insulation),
        )

    def _contacts(self) -> tuple[list[int], list[float]]:
        draft = self.draft
        contact, lead = [-1] * self.hookup.points, [0.0] * self.hookup.points
        for point, end in self.hookup.ends.items():
            i = point - 1
            node = self.node(end)
            self.capacitors.append(Capacitor(i, GROUND, c.POINT_F))
            lead[i] = self.hookup.lead_ohm.get(point, 0.0)
            if end in draft.contact_open:
                continue
            ohm = draft.mated_ohm(end) + draft.contact_ohm.get(end, 0.0) + lead[i]
            contact[i] = self._join(i, node, ohm, draft.contact_hz.get(end, 0.0), ("contact", *end))
        return contact, lead

    def _join(self, u: int, v: int, ohm: float, hz: float, name: tuple[str, ...]) -> int:
        index = len(self.resistors)
        self.resistors.append(Resistor(u, v, max(ohm, c.LEAST_OHM)))
        if hz:
            self.loose.append(Loose(index, hz, LOOSE_DUTY, c.share(self.draft.seed, "phase", *name)))
        return index

    def _wires(self) -> list[float]:
        draft = self.draft
        warm = 1.0 + c.COPPER_PER_K * (self.temperature_c - 20.0)
        insulation: dict[int, float] = {}
        for name, run in draft.runs.items():
            ends = draft.loom.wire_by_name[name].ends
            joints = [draft.joint_ohm(name, side, end) for side, end in enumerate(ends)]
            for node, farad in self._pieces(name, run, warm, joints):
                if farad > c.LEAST_F:
                    self.capacitors.append(Capacitor(node, GROUND, farad))
                    length = farad / c.WIRE_F_PER_M
                    insulation[node] = insulation.get(node, 0.0) + length / c.INSULATION_OHM_M
        return [insulation.get(node, 0.0) for node in range(self.count)]

    def _pieces(
        self, name: str, run: Run, warm: float, joints: Sequence[float]
    ) -> Iterator[tuple[int, float]]:
        """Join the pieces of a wire from place to place; yield what each leaves at its ends, F."""
        whole = run.profile.length_m
        stops = [(0.0, run.ends[0]), *sorted(run.taps), (whole, run.ends[1])]
        last = len(stops) - 2
        for k, ((start, one), (stop, other)) in enumerate(pairwise(stops)):
            u, v = self.node(one), self.node(other)
            low, high = run.profile.up_to(start), run.profile.up_to(stop)
            high = run.profile.farad if k == last else high
            broken = run.open_m is not None and start <= run.open_m and (run.open_m < stop or k == last)
            if broken:  # the capacitance of a broken wire stays with the side that it still hangs on
                near = run.profile.up_to(run.open_m or 0.0) - low
            else:
                near = (high - low) / 2
                share = (stop - start) / whole if whole else 1.0
                ohm = run.ohm * share * warm + joints[0] * (k == 0) + joints[1] * (k == last)
                self._join(u, v, ohm, run.loose_hz * (k == 0), ("wire", name))
            yield from ((u, near), (v, high - low - near))

    def _resistor(self, a: End, b: End, ohm: float) -> None:
        u, v = self.node(a), self.node(b)
        if u != v:
            self.resistors.append(Resistor(u, v, max(ohm, c.LEAST_OHM)))

    def _diode(self, anode: End, cathode: End, forward_v: float) -> None:
        u, v = self.node(anode), self.node(cathode)
        if u == v:
            return
        kelvin = self.temperature_c + 273.15
        slope = c.DIODE_EMISSION * c.BOLTZMANN_J_PER_K * kelvin / c.CHARGE_C
        self.diodes.append(Diode(u, v, c.DIODE_AT_A / math.expm1(forward_v / slope), slope))
        self.resistors.append(Resistor(u, v, c.DIODE_SHUNT_OHM))

    def _part(self, part: Component) -> None:
        draft = self.draft
        at = dict(part.terminals)
        if len(at) < 2:
            return
        tolerance = (part.tolerance_pct or 0.0) / 100.0
        stray = 1.0 + c.PART_STRAYS * tolerance * (2.0 * c.share(draft.seed, "part", part.name) - 1.0)
        stated = part.resistance_ohm

        def ohm(fallback: float) -> float:
            if part.name in draft.values:
                return draft.values[part.name]
            return stray * (fallback if stated is None else stated)

        match part.kind:
            case ComponentKind.DIODE:
                anode, cathode = _two(at, "A", "K")
                if part.name in draft.reversed:
                    anode, cathode = cathode, anode
                self._diode(anode, cathode, part.forward_v or c.DIODE_FORWARD_V)
            case ComponentKind.CAPACITOR:
                a, b = _two(at, "1", "2")
                if self.node(a) != self.node(b):
                    farad = part.capacitance_f or c.CAPACITOR_F
                    self.capacitors.append(Capacitor(self.node(a), self.node(b), farad))
            case ComponentKind.RELAY:
                self._relay(part.name, at, ohm(c.RELAY_COIL_OHM))
            case ComponentKind.COIL:
                self._resistor(*_two(at, "1", "2"), ohm(c.RELAY_COIL_OHM))
            case ComponentKind.RESISTOR:
                self._resistor(*_two(at, "1", "2"), ohm(1000.0))
            case ComponentKind.FUSE | ComponentKind.LINK:
                self._resistor(*_two(at, "1", "2"), ohm(c.CLOSED_CONTACT_OHM))
            case _:
                assert_never(part.kind)

    def _relay(self, name: str, at: Mapping[str, End], coil_ohm: float) -> None:
        """Coil 85 to 86, break contact 30 to 87a closed at rest (DIN 72552 as used on plug-in relays)."""
        if "85" in at and "86" in at:
            self._resistor(at["85"], at["86"], coil_ohm)
        if "30" in at and "87a" in at:
            self._resistor(at["30"], at["87a"], c.CLOSED_CONTACT_OHM)


def _two(at: Mapping[str, End], one: str, two: str) -> tuple[End, End]:
    """Return the ends of a part with two terminals, by their names or else in order."""
    if one in at and two in at:
        return at[one], at[two]
    ends = list(at.values())
    return ends[0], ends[-1]
