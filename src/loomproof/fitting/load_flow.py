"""The conductors that carry load current, and what they lose with every needed load on.

Relay contacts are pulled, fuses and relays of needed circuits are in; a fuse has its published drop at load.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import assert_never

import numpy as np

from loomproof.electrics.component_kinds import carrying_ends
from loomproof.electrics.conductors import LEAST_OHM, wire_conductor
from loomproof.electrics.graph import reached
from loomproof.electrics.joints import contact_ohm, seat_ohm, wire_joint_ohm
from loomproof.electrics.tables import fuses
from loomproof.fitting.feeds import SIGNAL_A, sources_of
from loomproof.fitting.needs import FittingPlan
from loomproof.loom.designations import Supply, supply_of
from loomproof.loom.model import Circuit, Component, ComponentKind, ConnectorKind, End, Loom, Need, Wire

RELAY_CONTACT_OHM = 0.010
POWER_RELAY_OHM = 0.005
"""The most that a sound closed relay contact has under load, and one rated `POWER_RELAY_A` or more. Product
data of relays: 30 mV at 10 A for a contact of 20 A, 3 mΩ typical for one of 30 A; the greatest in service is
common practice."""

POWER_RELAY_A = 30.0

SOUND_SHARE = 0.5
"""A sound joint or contact has from nothing to the loom's figure for it: half, give or take half."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A conductor of the feed network: ohms at running temperature, and how far off they may be.

    ``half_width_ohm`` is that of its copper, for which all wires err one way (table, length);
    ``joints_u_ohm`` the standard uncertainty of its joints and contacts, each of which errs alone.
    ``copper_ohm`` is what of ``ohm`` grows with temperature. ``hop``: a fuse or a relay contact, which no
    reading of the bare loom covers.
    """

    a: End
    b: End
    name: str
    ohm: float
    half_width_ohm: float
    joints_u_ohm: float
    copper_ohm: float
    hop: bool


def allowed(*greatest_ohm: float) -> tuple[float, float]:
    """Return the ohms of sound joints of which each has at most so much, and their standard uncertainty.

    Each is a rectangle from nothing to its greatest (GUM 4.3.7), and errs by itself.
    """
    halves = [SOUND_SHARE * ohm for ohm in greatest_ohm]
    return sum(halves), math.hypot(*halves) / math.sqrt(3.0)


def closed_ohm(rating_a: float | None) -> float:
    """Return the most that a sound closed relay contact of this rating has, Ω; unknown is a small one."""
    return POWER_RELAY_OHM if rating_a is not None and rating_a >= POWER_RELAY_A else RELAY_CONTACT_OHM


def fuse_ohm(rating_a: float | None, current_a: float) -> tuple[float, float]:
    """Return resistance and half width of a blade fuse at a current, Ω: from cold up to hot with I²."""
    known = [row for row in fuses() if rating_a is not None and row.rating_a <= rating_a * 1.001]
    row = max(known, key=lambda row: row.rating_a) if known else min(fuses(), key=lambda row: row.rating_a)
    hot = row.drop_v / row.rating_a
    share = min(current_a / row.rating_a, 1.0) ** 2
    return row.cold_ohm + (hot - row.cold_ohm) * share, max(hot - row.cold_ohm, row.cold_ohm / 4)


def edges_of(loom: Loom, plan: FittingPlan, running_c: float, current_of: Mapping[str, float]) -> list[Edge]:
    """Return what carries load current: wires, fuses, links and closed contacts of parts that are fitted."""
    found = []
    for wire in loom.wires:
        found.append(wire_edge(wire, loom, running_c))
    for part in loom.components:
        if part.name in plan.spare_parts:
            continue
        found += _part_edges(part, loom, current_of)
    return found


def wire_edge(wire: Wire, loom: Loom, running_c: float) -> Edge:
    """Return a wire at running temperature; joints that nobody measured are half of what they may have."""
    made = wire_conductor(wire, loom, running_c)
    joints, joints_u = allowed(*(wire_joint_ohm(loom, wire, end) for end in wire.ends))
    copper = made.nominal_ohm - made.joints_ohm
    half = made.greatest_ohm - made.nominal_ohm
    return Edge(wire.a, wire.b, wire.name, max(copper + joints, LEAST_OHM), half, joints_u, copper, False)


def _part_edges(part: Component, loom: Loom, current_of: Mapping[str, float]) -> Iterator[Edge]:
    for a, b in carrying_ends(part):
        match part.kind:
            case ComponentKind.FUSE:
                ohm, half = fuse_ohm(part.rating_a, current_of.get(part.name, 0.0))
                seat = seat_ohm(loom.settings, part.rating_a)
                seats, seats_u = allowed(seat, seat)
                u = math.hypot(seats_u, half / math.sqrt(3.0))
                yield Edge(a, b, part.name, ohm + seats, 0.0, u, 0.0, True)
            case ComponentKind.LINK:
                yield Edge(a, b, part.name, max(part.resistance_ohm or 0.0, LEAST_OHM), 0.0, 0.0, 0.0, True)
            case ComponentKind.RELAY:
                ohm, u = allowed(closed_ohm(part.rating_a), contact_ohm(loom, a), contact_ohm(loom, b))
                yield Edge(a, b, part.name, ohm, 0.0, u, 0.0, True)
            case ComponentKind.DIODE | ComponentKind.RESISTOR | ComponentKind.CAPACITOR | ComponentKind.COIL:
                pass
            case _:
                assert_never(part.kind)


@dataclass(frozen=True, slots=True)
class Load:
    """A current drawn at a live end for a circuit; ``back`` is where it comes out again, if in this loom."""

    circuit: str
    at: End | None
    current_a: float
    back: End | None


def loads_of(loom: Loom, plan: FittingPlan, live: Iterable[End], sources: Iterable[End]) -> tuple[Load, ...]:
    """Return the loads of needed circuits: at their own live end, else at the live end of the same plug."""
    live, sources = set(live), set(sources)
    connected = set(plan.connect)
    found = []
    for circuit in loom.circuits:
        if plan.needs.get(circuit.name) is not Need.NEEDED or not circuit.load_a:
            continue
        if circuit.load_a < SIGNAL_A or is_trunk(loom, circuit):
            continue
        ends = dict.fromkeys(end for wire in loom.wires_of.get(circuit.name, ()) for end in wire.ends)
        for end in ends:
            if end not in connected or end in sources or end.connector in plan.computers:
                continue
            if end in live:
                found.append(Load(circuit.name, end, circuit.load_a, None))
                break
            beside = [
                one
                for one in loom.by_name[end.connector].ends
                if one in live and one in connected and one not in sources
            ]
            if loom.by_name[end.connector].kind is not ConnectorKind.PLUG:
                beside = []  # What meets the car there is many things, not one part with two terminals.
            found.append(Load(circuit.name, beside[0] if beside else None, circuit.load_a, end))
            break
    return tuple(found)


def is_trunk(loom: Loom, circuit: Circuit) -> bool:
    """Return whether a circuit only carries what others draw: a feed, an earth, or one that others need."""
    supply = supply_of(circuit.designation)
    if supply in (Supply.START, Supply.SWITCHED):
        return False  # What the car switches goes straight to its load.
    return supply in (Supply.PERMANENT, Supply.IGNITION, Supply.EARTH) or any(
        circuit.name in other.needs for other in loom.circuits
    )


@dataclass(frozen=True)
class Flow:
    """The feed network solved: volts lost by end, and the signed current from ``a`` to ``b`` of each edge."""

    edges: tuple[Edge, ...]
    lost_v: Mapping[End, float]
    current_a: tuple[float, ...]


def flow(edges: Iterable[Edge], sources: Iterable[End], loads: Iterable[Load]) -> Flow:
    """Solve the network with every source at 0 V lost; what no source reaches is left out."""
    edges = tuple(edges)
    near: dict[End, list[End]] = {}
    for edge in edges:
        near.setdefault(edge.a, []).append(edge.b)
        near.setdefault(edge.b, []).append(edge.a)
    sources = list(dict.fromkeys(sources))
    seen = dict.fromkeys(reached(sources, lambda end: near.get(end, ())))
    free = {end: k for k, end in enumerate(end for end in seen if end not in sources)}
    matrix, drawn = np.zeros((len(free), len(free))), np.zeros(len(free))
    for edge in edges:
        if edge.a not in seen or edge.a == edge.b:
            continue
        siemens = 1.0 / edge.ohm
        i, j = free.get(edge.a), free.get(edge.b)
        for one in (i, j):
            if one is not None:
                matrix[one, one] += siemens
        if i is not None and j is not None:
            matrix[i, j] -= siemens
            matrix[j, i] -= siemens
    for load in loads:
        if load.at in free:
            drawn[free[load.at]] += load.current_a
    lost = np.linalg.solve(matrix, drawn) if free else drawn
    volts = {end: float(lost[free[end]]) if end in free else 0.0 for end in seen}
    currents = tuple((volts[edge.b] - volts[edge.a]) / edge.ohm if edge.a in volts else 0.0 for edge in edges)
    return Flow(edges, volts, currents)


def solved(loom: Loom, plan: FittingPlan, running_c: float) -> tuple[Flow, tuple[Load, ...]]:
    """Return the feed network under all needed loads; fuses are taken at the current that they carry."""
    sources = sources_of(loom, plan.needs)
    edges = edges_of(loom, plan, running_c, {})
    loads = loads_of(loom, plan, flow(edges, sources, ()).lost_v, sources)
    first = flow(edges, sources, loads)
    carried = {edge.name: abs(amps) for edge, amps in zip(edges, first.current_a, strict=True) if edge.hop}
    return flow(edges_of(loom, plan, running_c, carried), sources, loads), loads
