"""Voltage drop at load, feed and return, and the sums of currents at earth points.

All needed loads draw at once; relay contacts are pulled, fuses are in with their published drop at load. Each
net on the way takes the resistance that the proof measured between its two cavities, corrected to running
temperature, where there is one; else what the description implies. Where a measured way shares copper with
other loads, the reading cannot say which part of it differs from the computed one, and that is charged to the
uncertainty.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from loomproof.electrics.conductors import copper_factor, wire_conductor
from loomproof.electrics.decision import judge
from loomproof.electrics.tables import fuses
from loomproof.fitting.needs import Plan, plan_of
from loomproof.fitting.proofs import Standing
from loomproof.fitting.tracing import feeds_of, when_live
from loomproof.loom.model import Circuit, Component, ComponentKind, ConnectorKind, End, Loom, Need, Wire
from loomproof.results.fitting import DropRow, EarthRow

SIGNAL_A = 0.1
"""Circuits below this load are left out: what they lose is nothing. Common practice, no source."""

JOINT_DOUBT = 0.8
"""How far a joint or contact that nobody measured may lie from the loom's figure for it, as a share."""

RELAY_CONTACT_OHM = 0.010
"""Closed relay contact with its two blades; common practice, no source."""

FUSE_DROP_V: Mapping[float, float] = {
    5: 0.128, 7.5: 0.116, 10: 0.109, 15: 0.102, 20: 0.098, 25: 0.092, 30: 0.084, 40: 0.096,
}  # fmt: skip
"""Drop at rated current by rating, A: typical data of one maker's blade fuses (10 and 40 A seen quoted, the
others from memory)."""


@dataclass(frozen=True, slots=True)
class Edge:
    """A conductor of the feed network: ohms at running temperature, and how far off they may be (half width).

    ``hop``: a fuse or a relay contact, which no reading of the bare loom covers.
    """

    a: End
    b: End
    name: str
    ohm: float
    half_width_ohm: float
    hop: bool


def fuse_ohm(rating_a: float | None, current_a: float) -> tuple[float, float]:
    """Return resistance and half width of a blade fuse at a current, Ω: from cold up to hot with I²."""
    known = [row for row in fuses() if rating_a is not None and row.rating_a <= rating_a * 1.001]
    row = max(known, key=lambda row: row.rating_a) if known else min(fuses(), key=lambda row: row.rating_a)
    hot = FUSE_DROP_V[row.rating_a] / row.rating_a
    share = min(current_a / row.rating_a, 1.0) ** 2
    return row.cold_ohm + (hot - row.cold_ohm) * share, max(hot - row.cold_ohm, row.cold_ohm / 4)


def edges_of(loom: Loom, plan: Plan, running_c: float, current_of: Mapping[str, float]) -> list[Edge]:
    """Return what carries load current: wires, fuses, links and closed contacts of parts that are fitted."""
    found = []
    for wire in loom.wires:
        found.append(_wire_edge(wire, loom, running_c))
    for part in loom.components:
        if part.name in plan.spare_parts:
            continue
        found += _part_edges(part, loom, current_of)
    return found


def _wire_edge(wire: Wire, loom: Loom, running_c: float) -> Edge:
    made = wire_conductor(wire, loom, running_c)
    half = made.greatest_ohm - made.nominal_ohm + JOINT_DOUBT * made.joints_ohm
    return Edge(wire.a, wire.b, wire.name, made.nominal_ohm, half, False)


def _part_edges(part: Component, loom: Loom, current_of: Mapping[str, float]) -> Iterator[Edge]:
    ends = dict(part.terminals)
    seats = 2 * loom.settings.contact_ohm
    if part.kind is ComponentKind.FUSE:
        ohm, half = fuse_ohm(part.rating_a, current_of.get(part.name, 0.0))
        a, b = part.ends[:2]
        yield Edge(a, b, part.name, ohm + seats, half + JOINT_DOUBT * seats, True)
    elif part.kind is ComponentKind.LINK:
        for a, b in zip(part.ends, part.ends[1:], strict=False):
            yield Edge(a, b, part.name, max(part.resistance_ohm or 0.0, 1e-5), 0.0, True)
    elif part.kind is ComponentKind.RELAY and "30" in ends and "87" in ends:
        yield Edge(
            ends["30"],
            ends["87"],
            part.name,
            RELAY_CONTACT_OHM + seats,
            JOINT_DOUBT * (RELAY_CONTACT_OHM + seats),
            True,
        )


@dataclass(frozen=True, slots=True)
class Load:
    """A current drawn at a live end for a circuit; ``back`` is where it comes out again, if in this loom."""

    circuit: str
    at: End | None
    current_a: float
    back: End | None


def loads_of(loom: Loom, plan: Plan, live: Iterable[End], sources: Iterable[End]) -> tuple[Load, ...]:
    """Return the loads of needed circuits: at their own live end, else at the live end of the same plug."""
    live, sources = set(live), set(sources)
    connected = set(plan.connect)
    found = []
    for circuit in loom.circuits:
        if plan.needs.get(circuit.name) is not Need.NEEDED or not circuit.load_a:
            continue
        if circuit.load_a < SIGNAL_A or _is_trunk(loom, circuit):
            continue
        ends = dict.fromkeys(end for w in loom.wires if w.circuit == circuit.name for end in w.ends)
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


def _is_trunk(loom: Loom, circuit: Circuit) -> bool:
    """Whether a circuit only carries what others draw: a feed, an earth, or one that others need."""
    if when_live(circuit.designation) in ("start", "switched"):
        return False  # What the car switches goes straight to its load.
    return (
        bool(when_live(circuit.designation))
        or circuit.designation.startswith("31")
        or any(circuit.name in other.needs for other in loom.circuits)
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
    near: dict[End, list[Edge]] = {}
    for edge in edges:
        near.setdefault(edge.a, []).append(edge)
        near.setdefault(edge.b, []).append(edge)
    sources = list(dict.fromkeys(sources))
    seen = dict.fromkeys(sources)
    wave = sources
    while wave:
        wave = [o for end in wave for e in near.get(end, ()) for o in (e.a, e.b) if _new(o, seen)]
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


def _new(end: End, seen: dict[End, None]) -> bool:
    if end in seen:
        return False
    seen[end] = None
    return True


def solved(loom: Loom, plan: Plan, running_c: float) -> tuple[Flow, tuple[Load, ...]]:
    """Return the feed network under all needed loads; fuses are taken at the current that they carry."""
    sources = sources_of(loom, plan.needs)
    edges = edges_of(loom, plan, running_c, {})
    loads = loads_of(loom, plan, flow(edges, sources, ()).lost_v, sources)
    first = flow(edges, sources, loads)
    carried = {edge.name: abs(amps) for edge, amps in zip(edges, first.current_a, strict=True) if edge.hop}
    return flow(edges_of(loom, plan, running_c, carried), sources, loads), loads


def sources_of(loom: Loom, needs: Mapping[str, Need]) -> tuple[End, ...]:
    """Return where feeds come in: the car's end at which a wire of the feed starts, else all its ends."""
    found: dict[End, None] = {}
    for feed in feeds_of(loom, needs):
        starts = {wire.a for wire in loom.wires if wire.circuit == feed.circuit}
        found.update(dict.fromkeys([end for end in feed.entries if end in starts] or feed.entries))
    return tuple(found)


def drops_of(
    loom: Loom, needs: Mapping[str, Need], standing: Standing, running_c: float
) -> tuple[DropRow, ...]:
    """Return a row for the feed and for the return of each load, and for each earth circuit."""
    plan = plan_of(loom, needs)
    network, loads = solved(loom, plan, running_c)
    rows = [_feed_row(load, network, loom, standing, running_c) for load in loads if load.at is not None]
    for load in loads:
        if load.back is not None:
            rows += _return_rows(loom, load, standing, running_c, plan)
    for circuit in loom.circuits:
        if circuit.designation.startswith("31") and needs.get(circuit.name) is not Need.UNUSED:
            rows += _earth_rows(loom, circuit, standing, running_c, plan, needs)
    return tuple(rows)


def _way(network: Flow, end: End) -> list[int]:
    """Return the edges back from an end to its source, by the steepest fall at each step."""
    near: dict[End, list[int]] = {}
    for k, edge in enumerate(network.edges):
        if edge.a in network.lost_v:
            near.setdefault(edge.a, []).append(k)
            near.setdefault(edge.b, []).append(k)
    way: list[int] = []
    here = end
    while network.lost_v[here] > 0.0:
        falls = [(network.lost_v[_other(network.edges[k], here)], k) for k in near[here] if k not in way]
        if not falls:
            break
        lost, best = min(falls)
        if lost >= network.lost_v[here]:
            break
        way.append(best)
        here = _other(network.edges[best], here)
    return way[::-1]


def _other(edge: Edge, end: End) -> End:
    return edge.b if edge.a == end else edge.a


@dataclass
class _Sum:
    drop_v: float = 0.0
    squares: float = 0.0
    systematic_v: float = 0.0
    ohm: float = 0.0
    measured: int = 0
    pieces: int = 0
    shared: bool = False

    @property
    def uncertainty_v(self) -> float:
        return math.hypot(2.0 * self.systematic_v / math.sqrt(3.0), math.sqrt(self.squares))

    @property
    def basis(self) -> str:
        if self.measured == 0:
            return "computed"
        return "measured" if self.measured == self.pieces else "part measured"


def _feed_row(load: Load, network: Flow, loom: Loom, standing: Standing, running_c: float) -> DropRow:
    assert load.at is not None
    way = _way(network, load.at)
    total = _Sum()
    names: list[str] = []
    piece: list[int] = []
    here = start = _start(network, way, load.at)
    for k in [*way, None]:
        edge = network.edges[k] if k is not None else None
        if edge is None or edge.hop:
            _add_piece(total, piece, network, start, here, loom, standing, running_c)
            piece = []
        if edge is None or k is None:
            break
        here = _other(edge, here)
        if edge.hop:
            amps = abs(network.current_a[k])
            total.drop_v += edge.ohm * amps
            total.systematic_v += edge.half_width_ohm * amps
            total.ohm += edge.ohm
            total.pieces += 1  # Never measured: fuses and relays are out while a loom is proved.
            names.append(edge.name)
            start = here
        else:
            piece.append(k)
    path = " → ".join([str(_start(network, way, load.at)), *names, str(load.at)])
    remark = "readings do not say where on a shared way the difference lies" if total.shared else ""
    return _row(load.circuit, "feed", path, load.current_a, total, "feed_drop_v", loom, remark)


def _start(network: Flow, way: list[int], end: End) -> End:
    for k in reversed(way):
        end = _other(network.edges[k], end)
    return end


def _add_piece(
    total: _Sum,
    piece: list[int],
    network: Flow,
    a: End,
    b: End,
    loom: Loom,
    standing: Standing,
    running_c: float,
) -> None:
    if not piece:
        return
    amps = [abs(network.current_a[k]) for k in piece]
    edges = [network.edges[k] for k in piece]
    drop_v = sum(edge.ohm * amp for edge, amp in zip(edges, amps, strict=True))
    ohm = sum(edge.ohm for edge in edges)
    total.pieces += 1
    read = standing.measured.get(frozenset({str(a), str(b)}))
    if read is None:
        total.drop_v += drop_v
        total.ohm += ohm
        total.systematic_v += sum(e.half_width_ohm * amp for e, amp in zip(edges, amps, strict=True))
        return
    factor = copper_factor(running_c) / copper_factor(standing.temperature_c)
    bare = max(read.ohm - 2 * loom.settings.contact_ohm, 0.0) * factor
    least, most = min(amps), max(amps)
    total.measured += 1
    total.ohm += bare
    total.drop_v += max(drop_v + (bare - ohm) * (least + most) / 2, 0.0)
    total.squares += (read.uncertainty_ohm * factor * most) ** 2
    if most - least > 1e-6 * most:
        total.shared = True
        total.systematic_v += abs(bare - ohm) * (most - least) / 2


def _direct(
    loom: Loom, a: End, b: End, standing: Standing, running_c: float
) -> tuple[float, float, float, bool] | None:
    """Return ohm, half width, expanded uncertainty and whether measured, of the wires from ``a`` to ``b``."""
    edges = [_wire_edge(wire, loom, running_c) for wire in loom.wires]
    network = flow(edges, [a], [Load("", b, 1.0, None)])
    if b not in network.lost_v:
        return None
    read = standing.measured.get(frozenset({str(a), str(b)}))
    if read is None:
        ohm = network.lost_v[b]
        half = sum(e.half_width_ohm * i * i for e, i in zip(edges, network.current_a, strict=True))
        return ohm, half, 0.0, False
    factor = copper_factor(running_c) / copper_factor(standing.temperature_c)
    ohm = max(read.ohm - 2 * loom.settings.contact_ohm, 1e-5) * factor
    return ohm, 0.0, read.uncertainty_ohm * factor, True


def _return_rows(
    loom: Loom, load: Load, standing: Standing, running_c: float, plan: Plan
) -> Iterator[DropRow]:
    assert load.back is not None
    for far in _far_ends(loom, load.back):
        if far not in plan.connect or far.connector == load.back.connector:
            continue
        found = _direct(loom, load.back, far, standing, running_c)
        if found is None:
            continue
        ohm, half, u, measured = found
        amps = load.current_a
        total = _Sum(ohm * amps, (u * amps) ** 2, half * amps, ohm, int(measured), 1)
        # Without a feed beside it nobody can say which way the current goes.
        side = "return" if load.at is not None else "wire"
        remark = "what the parts at its ends lose is not counted"
        yield _row(load.circuit, side, f"{load.back} → {far}", amps, total, "wire_drop_v", loom, remark)
        return


def _far_ends(loom: Loom, end: End) -> list[End]:
    seen, wave = {end: None}, [end]
    while wave:
        wave = [o for e in wave for w in loom.wires_at.get(e, ()) for o in w.ends if _new(o, seen)]
    return [other for other in seen if other != end and other.cavity]


def _earth_rows(
    loom: Loom,
    circuit: Circuit,
    standing: Standing,
    running_c: float,
    plan: Plan,
    needs: Mapping[str, Need],
) -> Iterator[DropRow]:
    amps = _earth_current(loom, circuit, needs)
    for ring in _rings(loom, circuit):
        ends = [
            end for end in _far_ends(loom, ring) if end in plan.connect and end.connector != ring.connector
        ]
        found = [(end, made) for end in ends if (made := _direct(loom, ring, end, standing, running_c))]
        if not found or not amps:
            continue
        siemens = sum(1.0 / made[0] for _, made in found)
        ohm = 1.0 / siemens
        shares = [1.0 / made[0] / siemens for _, made in found]
        half = sum(made[1] * share**2 for (_, made), share in zip(found, shares, strict=True))
        spread = math.hypot(*(made[2] * s**2 for (_, made), s in zip(found, shares, strict=True)))
        measured = sum(made[3] for _, made in found)
        total = _Sum(ohm * amps, (spread * amps) ** 2, half * amps, ohm, measured, len(found))
        remark = "the body's return path from here is not tested"
        if len(found) > 1:
            remark += "; taken as one inside what is plugged in"
        path = f"{' + '.join(str(end) for end, _ in found)} → {ring}"
        yield _row(circuit.name, "return", path, amps, total, "earth_drop_v", loom, remark)


def _rings(loom: Loom, circuit: Circuit) -> list[End]:
    ends = dict.fromkeys(end for w in loom.wires if w.circuit == circuit.name for end in w.ends)
    return [end for end in ends if loom.by_name[end.connector].kind is ConnectorKind.RING]


def _earth_current(loom: Loom, circuit: Circuit, needs: Mapping[str, Need]) -> float:
    drawn = sum(
        other.load_a or 0.0
        for other in loom.circuits
        if circuit.name in other.needs and needs.get(other.name) is Need.NEEDED
    )
    return max(drawn, circuit.load_a or 0.0)


def earths_of(loom: Loom, needs: Mapping[str, Need]) -> tuple[EarthRow, ...]:
    """Return each earth point with the sum of what returns through it."""
    found = []
    for circuit in loom.circuits:
        if not circuit.designation.startswith("31") or needs.get(circuit.name) is Need.UNUSED:
            continue
        users = tuple(
            other.name
            for other in loom.circuits
            if circuit.name in other.needs and needs.get(other.name) is Need.NEEDED
        )
        drawn = sum(loom.circuit_by_name[name].load_a or 0.0 for name in users)
        stated = circuit.load_a or 0.0
        remark = f"stated {stated:g} A, users draw {drawn:g} A; the greater counts"
        found += [
            EarthRow(str(ring), max(drawn, stated), users or (circuit.name,), remark)
            for ring in _rings(loom, circuit)
        ]
    return tuple(found)


def _row(
    circuit: str, side: str, path: str, amps: float, total: _Sum, limit: str, loom: Loom, remark: str
) -> DropRow:
    limit_v = float(getattr(loom.settings, limit))
    u = total.uncertainty_v
    said = judge(total.drop_v, u, limit_v)
    return DropRow(
        circuit=circuit,
        side=side,
        path=path,
        current_a=amps,
        resistance_ohm=total.ohm,
        drop_v=total.drop_v,
        uncertainty_v=u,
        limit_v=limit_v,
        limit_source="loom.toml" if limit in loom.settings.stated else "common practice",
        basis=total.basis,
        decision="can't tell" if str(said) == "undecided" else str(said),
        remark=remark,
    )
