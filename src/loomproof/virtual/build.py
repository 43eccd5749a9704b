"""From a description, faults and a hook-up to the network that stands on the bench."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import assert_never

from loomproof.errors import UsageError
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire
from loomproof.virtual import constants as c
from loomproof.virtual.capacitance import Profile, profile_of
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

_PLUGGED = {ComponentKind.FUSE, ComponentKind.RELAY, ComponentKind.LINK, ComponentKind.COIL}
_HOLDERS = {ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE}
_WHOLE = {"exchange", "mirror", "rotate", "shift"}
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


@dataclass(slots=True)
class _Run:
    """A conductor while faults are worked into it."""

    ends: list[End]
    ohm: float
    profile: Profile
    open_m: float | None = None
    loose_hz: float = 0.0


class _Draft:
    """The loom as it is being built; each fault changes it in turn."""

    def __init__(self, loom: Loom, seed: int) -> None:
        self.loom = loom
        self.seed = seed
        self.runs = {wire.name: self._run(wire) for wire in loom.wires}
        areas = ((end, self._area(wire)) for wire in loom.wires for end in wire.ends)
        self.thickest_mm2 = dict(sorted(areas, key=lambda found: found[1]))  # the last of an end counts
        self.parts = {part.name: part for part in loom.components if part.fitted}
        self.values: dict[str, float] = {}
        self.reversed: set[str] = set()
        self.contact_ohm: dict[End, float] = {}
        self.contact_open: set[End] = set()
        self.contact_hz: dict[End, float] = {}
        self.moved: dict[End, End] = {}
        self.joints: list[tuple[End, End, float]] = []
        self.diodes: list[tuple[End, End, float]] = []
        self.breakdowns: list[tuple[End, End, float]] = []
        self.farads: list[tuple[End, float]] = []
        self.sources: list[tuple[End, End | None, float, float]] = []
        self.charged: list[tuple[End, End, float, float]] = []

    def _run(self, wire: Wire) -> _Run:
        length = self.loom.settings.wire_length_m if wire.length_m is None else wire.length_m
        stray = 1.0 + c.STRANDING_SPREAD * (2.0 * c.share(self.seed, "wire", wire.name) - 1.0)
        ohm = c.COPPER_OHM_MM2_PER_M * c.STRANDING * stray * length / self._area(wire)
        per_m = c.SCREENED_F_PER_M if wire.screened_by else c.WIRE_F_PER_M
        return _Run(list(wire.ends), ohm, profile_of(wire.name, length, per_m, self.seed))

    def joint_ohm(self, wire: str, side: int, end: End) -> float:
        """The crimp or splice at one end of a wire."""
        settings = self.loom.settings
        name = "crimp_ohm" if end.cavity else "splice_ohm"
        allowance = settings.crimp_ohm if end.cavity else settings.splice_ohm
        if name not in settings.stated:
            allowance = c.thick(self._area(self.loom.wire_by_name[wire]), allowance, c.THICK_JOINT_OHM_MM2)
        return allowance * c.between(c.CONTACT_SHARE, self.seed, "joint", wire, "ab"[side])

    def mated_ohm(self, end: End) -> float:
        """The contact that a cavity makes with the adapter."""
        allowance = self.loom.settings.contact_ohm
        if "contact_ohm" not in self.loom.settings.stated:
            allowance = c.thick(self.thickest_mm2.get(end, 0.0), allowance, c.THICK_CONTACT_OHM_MM2)
        return allowance * c.between(c.CONTACT_SHARE, self.seed, "contact", *end)

    def _area(self, wire: Wire) -> float:
        return self.loom.settings.wire_csa_mm2 if wire.csa_mm2 is None else wire.csa_mm2

    def apply(self, fault: Fault) -> None:
        """Work one fault in."""
        match fault.kind:
            case "open" | "high" | "loose":
                self._conductor(fault)
            case "open splice" | "high splice":
                self._splice(fault)
            case "short":
                self.joints.append((fault.ends[0], fault.ends[1], c.SHORT_OHM))
            case "leak" | "part":
                self.joints.append((fault.ends[0], fault.ends[1], fault.value))
            case "part diode":
                self.diodes.append((fault.ends[0], fault.ends[1], c.DIODE_FORWARD_V))
            case "part led":
                self.diodes.append((fault.ends[0], fault.ends[1], c.LED_FORWARD_V))
            case "breakdown":
                self.breakdowns.append((fault.ends[0], fault.ends[1], fault.value))
            case "swap" | "move":
                self._rearrange({fault.ends[0]: fault.ends[1], fault.ends[1]: fault.ends[0]}, fault)
            case "exchange":
                one, two = (self.loom.by_name[name] for name in (fault.name, fault.other))
                there = {End(one.name, cavity): End(two.name, cavity) for cavity in one.cavities}
                self._rearrange(there | {to: at for at, to in there.items()}, fault)
            case "mirror" | "rotate" | "shift":
                self._rearrange(_put_on_wrongly(self.loom.by_name[fault.name], fault.kind), fault)
            case "reversed":
                self._fitted(fault)
                self.reversed ^= {fault.name}
            case "missing" | "blown":
                self._fitted(fault)
                del self.parts[fault.name]
            case "value":
                self._fitted(fault)
                self.values[fault.name] = fault.value
            case "voltage":
                minus = fault.ends[1] if len(fault.ends) > 1 else None
                self.sources.append((fault.ends[0], minus, fault.value, c.SUPPLY_OHM))
            case "charged":
                self.charged.append((fault.ends[0], fault.ends[1], fault.value, fault.volts))
            case "touched":
                self.sources.append((fault.ends[0], None, 0.0, c.PROBE_OHM))
            case "capacitance":
                self.farads.append((fault.ends[0], fault.value))
            case _:
                raise AssertionError(fault.kind)

    def _fitted(self, fault: Fault) -> None:
        if fault.name not in self.parts:
            raise UsageError(
                f"fault {fault.text!r}: {fault.name} is not in place while the loom is proved",
                cure="Its row in components.csv says so, or another fault took it out.",
            )

    def _conductor(self, fault: Fault) -> None:
        if not fault.name:
            (end,) = fault.ends
            if fault.kind == "open":
                self.contact_open.add(end)
            elif fault.kind == "high":
                self.contact_ohm[end] = self.contact_ohm.get(end, 0.0) + fault.value
            else:
                self.contact_hz[end] = fault.value
            return
        run = self.runs[fault.name]
        if fault.kind == "open":
            length = run.profile.length_m
            if fault.value > length:
                raise UsageError(f"fault {fault.text!r}: {fault.name} is {length:g} m long")
            far = bool(fault.ends) and self.loom.wire_by_name[fault.name].ends.index(fault.ends[0]) == 1
            run.open_m = (length - fault.value if far else fault.value) if fault.ends else length / 2
        elif fault.kind == "high":
            run.ohm += fault.value
        else:
            run.loose_hz = fault.value

    def _splice(self, fault: Fault) -> None:
        """A joint that came apart leaves each wire alone; in a bad one half the ohms stand before each."""
        (end,) = fault.ends
        for name, run in self.runs.items():
            for side, at in enumerate(run.ends):
                if at != end:
                    continue
                if fault.kind == "high splice":
                    run.ohm += fault.value / 2
                else:
                    run.ends[side] = End(end.connector, f"end {'ab'[side]} of {name}")

    def _rearrange(self, there: Mapping[End, End], fault: Fault) -> None:
        """Move terminals between cavities, with what is crimped or soldered to them."""
        if fault.kind == "move" and any(fault.ends[1] in run.ends for run in self.runs.values()):
            raise UsageError(f"fault {fault.text!r}: {fault.ends[1]} holds a wire already", cure="Use swap.")
        for run in self.runs.values():
            run.ends = [there.get(end, end) for end in run.ends]
        for name, part in list(self.parts.items()):
            if fault.kind in _WHOLE or not self._sits_in_holder(part):
                terminals = tuple((terminal, there.get(end, end)) for terminal, end in part.terminals)
                self.parts[name] = replace(part, terminals=terminals)

    def _sits_in_holder(self, part: Component) -> bool:
        return part.kind in _PLUGGED and all(
            self.loom.by_name[end.connector].kind in _HOLDERS for end in part.ends
        )


def build(
    loom: Loom,
    hookup: Hookup,
    faults: Sequence[Fault] = (),
    *,
    seed: int = 0,
    temperature_c: float = 20.0,
) -> Network:
    """Build the network of a loom on a scanner's points. Raises `UsageError` for a fault that cannot be."""
    draft = _Draft(loom, seed)
    for fault in faults:
        if not fault.kind.startswith("bench "):
            draft.apply(fault)
    return _Assembly(draft, hookup, temperature_c).network()


class _Assembly:
    """Numbers the nodes and lists the elements."""

    def __init__(self, draft: _Draft, hookup: Hookup, temperature_c: float) -> None:
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
            a, b = (self.node(end) for end in run.ends)
            whole, near = run.profile.farad, run.profile.farad / 2
            if run.open_m is None:
                ends = draft.loom.wire_by_name[name].ends
                joints = sum(draft.joint_ohm(name, side, end) for side, end in enumerate(ends))
                self._join(a, b, run.ohm * warm + joints, run.loose_hz, ("wire", name))
            else:  # the capacitance of a broken wire stays with the side that it still hangs on
                near = run.profile.up_to(run.open_m)
            for node, farad in ((a, near), (b, whole - near)):
                if farad > c.LEAST_F:
                    self.capacitors.append(Capacitor(node, GROUND, farad))
                    length = farad / c.WIRE_F_PER_M
                    insulation[node] = insulation.get(node, 0.0) + length / c.INSULATION_OHM_M
        return [insulation.get(node, 0.0) for node in range(self.count)]

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


def _put_on_wrongly(connector: Connector, how: str) -> dict[End, End]:
    """Return, for each cavity, where its terminal sits: what is shifted past the last touches nothing."""
    order = connector.cavities
    if how == "mirror":
        there = [name for row in connector.rows for name in reversed(row)]
        pairs = zip((name for row in connector.rows for name in row), there, strict=True)
        return {End(connector.name, a): End(connector.name, b) for a, b in pairs if a}
    found = order[::-1] if how == "rotate" else (*order[1:], "")
    return {End(connector.name, a): End(connector.name, b) for a, b in zip(order, found, strict=True)}


def _two(at: Mapping[str, End], one: str, two: str) -> tuple[End, End]:
    """Return the ends of a part with two terminals, by their names or else in order."""
    if one in at and two in at:
        return at[one], at[two]
    ends = list(at.values())
    return ends[0], ends[-1]
