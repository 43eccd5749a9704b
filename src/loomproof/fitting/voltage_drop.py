"""Voltage drop at load, feed and return, and the sums of currents at earth points.

Needed loads draw at once, shared feeds carry what their circuits state (`loomproof.fitting.sharing`); relay
contacts are pulled, fuses are in with their typical drop at load. Each net on the way takes the resistance
that the proof measured between its two cavities where that says more than the description, or contradicts
it; else what the description implies, with sound joints, and the row says so. A reading holds a contact at
each end that the way does not: each is between nothing and its allowance, and that doubt goes into the
uncertainty. Copper is taken to running temperature, joints are not. Where a measured way shares copper with
other loads, the reading cannot say which part of it differs from the computed one, and that is charged to
the uncertainty as well.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from loomproof.electrics.conductors import LEAST_OHM, copper_factor
from loomproof.electrics.decision import judge
from loomproof.electrics.joints import contact_ohm
from loomproof.fitting.feeds import SIGNAL_A
from loomproof.fitting.live_ends import far_ends
from loomproof.fitting.load_flow import Edge, Flow, Load, allowed, flow, is_trunk, solved, wire_edge
from loomproof.fitting.needs import FittingPlan, plan_of
from loomproof.fitting.proof_status import ProofStatus
from loomproof.fitting.sharing import held_below, shared
from loomproof.loom.designations import is_earth
from loomproof.loom.model import Circuit, ConnectorKind, End, Loom, Need
from loomproof.results.fitting import DropRow, EarthRow


def drops_of(
    loom: Loom, needs: Mapping[str, Need], standing: ProofStatus, running_c: float
) -> tuple[DropRow, ...]:
    """Return a row for the feed and for the return of each load, and for each earth circuit."""
    plan = plan_of(loom, needs)
    sums, _ = solved(loom, plan, running_c)
    network, loads = shared(loom, plan, running_c)
    rows = [
        _feed_row(load, network, sums, loom, standing, running_c) for load in loads if load.at is not None
    ]
    for load in loads:
        if load.back is not None:
            rows += _return_rows(loom, load, standing, running_c, plan)
    for circuit in loom.circuits:
        if is_earth(circuit.designation) and needs.get(circuit.name) is not Need.UNUSED:
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


def _feed_row(
    load: Load, network: Flow, sums: Flow, loom: Loom, standing: ProofStatus, running_c: float
) -> DropRow:
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
            total.squares += (2.0 * edge.joints_u_ohm * amps) ** 2  # All that is not known of a hop.
            total.ohm += edge.ohm
            total.pieces += 1  # Never measured: fuses and relays are out while a loom is proved.
            names.append(edge.name)
            start = here
        else:
            piece.append(k)
    path = " → ".join([str(_start(network, way, load.at)), *names, str(load.at)])
    said = ["readings do not say where on a shared way the difference lies"] if total.shared else []
    if less := held_below(loom, network, sums, way):
        said.append(f"{' and '.join(less)} as stated, less than all users together")
    if names:
        said.append("fuses, relay contacts and their seats are taken as sound")
    remark = "; ".join(said)
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
    standing: ProofStatus,
    running_c: float,
) -> None:
    if not piece:
        return
    amps = [abs(network.current_a[k]) for k in piece]
    edges = [network.edges[k] for k in piece]
    drop_v = sum(edge.ohm * amp for edge, amp in zip(edges, amps, strict=True))
    half_v = sum(edge.half_width_ohm * amp for edge, amp in zip(edges, amps, strict=True))
    joints_v = math.hypot(*(2.0 * edge.joints_u_ohm * amp for edge, amp in zip(edges, amps, strict=True)))
    ohm, copper = sum(edge.ohm for edge in edges), sum(edge.copper_ohm for edge in edges)
    total.pieces += 1
    least, most = min(amps), max(amps)
    read = _read(loom, a, b, standing, running_c, copper)
    computed_u = math.hypot(2.0 * half_v / math.sqrt(3.0), joints_v)
    if read is not None:
        bare, u_ohm = read
        shared_v = abs(bare - ohm) * (most - least) / 2
        read_u = math.hypot(u_ohm * most, 2.0 * shared_v / math.sqrt(3.0))
        read_v = max(drop_v + (bare - ohm) * (least + most) / 2, 0.0)
        if read_u < computed_u or abs(read_v - drop_v) > math.hypot(read_u, computed_u):
            total.measured += 1
            total.ohm += bare
            total.drop_v += read_v
            total.squares += (u_ohm * most) ** 2
            total.systematic_v += shared_v
            total.shared = total.shared or most - least > 1e-6 * most
            return
    total.drop_v += drop_v
    total.ohm += ohm
    total.systematic_v += half_v
    total.squares += joints_v**2


def _read(
    loom: Loom, a: End, b: End, standing: ProofStatus, running_c: float, copper_ohm: float
) -> tuple[float, float] | None:
    """Return what a reading says of the way between two cavities, contacts taken off, and its uncertainty.

    ``copper_ohm`` is the computed copper of the way at running temperature; only that grows with heat.
    """
    found = standing.measured.get(frozenset({a, b}))
    if found is None:
        return None
    contacts, contacts_u = allowed(contact_ohm(loom, a), contact_ohm(loom, b))
    heated = copper_ohm * (1.0 - copper_factor(standing.temperature_c) / copper_factor(running_c))
    bare = max(found.ohm - contacts + heated, LEAST_OHM)
    return bare, math.hypot(found.uncertainty_ohm, 2.0 * contacts_u)


def _direct(
    loom: Loom, a: End, b: End, standing: ProofStatus, running_c: float
) -> tuple[float, float, float, bool] | None:
    """Return ohm, half width, expanded uncertainty and whether measured, of the wires from ``a`` to ``b``."""
    edges = [wire_edge(wire, loom, running_c) for wire in loom.wires]
    network = flow(edges, [a], [Load("", b, 1.0, None)])
    if b not in network.lost_v:
        return None
    ohm = network.lost_v[b]
    shares = [amps * amps for amps in network.current_a]
    half = sum(e.half_width_ohm * share for e, share in zip(edges, shares, strict=True))
    joints = math.hypot(*(2.0 * e.joints_u_ohm * share for e, share in zip(edges, shares, strict=True)))
    copper = sum(e.copper_ohm * share for e, share in zip(edges, shares, strict=True))
    read = _read(loom, a, b, standing, running_c, copper)
    computed_u = math.hypot(2.0 * half / math.sqrt(3.0), joints)
    if read is not None and (read[1] < computed_u or abs(read[0] - ohm) > math.hypot(read[1], computed_u)):
        return read[0], 0.0, read[1], True
    return ohm, half, joints, False


def _return_rows(
    loom: Loom, load: Load, standing: ProofStatus, running_c: float, plan: FittingPlan
) -> Iterator[DropRow]:
    assert load.back is not None
    for far in far_ends(loom, load.back):
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


def _earth_rows(
    loom: Loom,
    circuit: Circuit,
    standing: ProofStatus,
    running_c: float,
    plan: FittingPlan,
    needs: Mapping[str, Need],
) -> Iterator[DropRow]:
    amps = earth_current_a(loom, circuit.name, needs)
    for ring in _rings(loom, circuit):
        ends = [
            end for end in far_ends(loom, ring) if end in plan.connect and end.connector != ring.connector
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


def earth_current_a(loom: Loom, name: str, needs: Mapping[str, Need]) -> float:
    """Return what returns through an earth circuit, A: its needed users or its own load, the greater."""
    circuit = loom.circuit_by_name.get(name)
    if circuit is None:
        return 0.0
    drawn = sum(
        other.load_a or 0.0
        for other in loom.circuits
        if circuit.name in other.needs and needs.get(other.name) is Need.NEEDED
    )
    return max(drawn, circuit.load_a or 0.0)


def left_out(loom: Loom, needs: Mapping[str, Need], rows: Iterable[DropRow]) -> tuple[str, ...]:
    """Name each needed load above a signal that has no row, and why."""
    told = {row.circuit for row in rows}
    named = []
    for circuit in loom.circuits:
        if circuit.name in told or needs.get(circuit.name) is not Need.NEEDED:
            continue
        if (circuit.load_a or 0.0) <= SIGNAL_A:
            continue
        if is_trunk(loom, circuit):
            why = "it carries what others draw, and counts in their rows"
        else:
            why = "no feed of this description reaches an end of it at a part: nobody can say what it loses"
        named.append(f"{circuit.name} ({circuit.load_a:g} A): {why}")
    return tuple(named)


def earths_of(loom: Loom, needs: Mapping[str, Need]) -> tuple[EarthRow, ...]:
    """Return each earth point with the sum of what returns through it."""
    found = []
    for circuit in loom.circuits:
        if not is_earth(circuit.designation) or needs.get(circuit.name) is Need.UNUSED:
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
    if total.basis == "computed":
        remark = f"{remark}; crimps, splices and contacts are taken as sound".removeprefix("; ")
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
