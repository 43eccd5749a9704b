"""What each conductor of the feed side carries: its loads' sum, or what its circuit states.

Loads of one feed seldom draw together: ignition coils charge in turn, so a feed of three coils of 3 A may be
stated with 5 A. A feed therefore carries the load that its circuit states, less that of users that this
conversion leaves out; behind a splice no more than that, and no more than the loads there. Where a circuit
states nothing, the sum of the loads counts.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from loomproof.fitting.load_flow import Edge, Flow, Load, edges_of, is_trunk, solved
from loomproof.fitting.needs import FittingPlan, plan_of
from loomproof.loom.model import End, Loom, Need

SAME_A = 1e-6
"""Currents nearer to each other than this are one."""


def shared(loom: Loom, plan: FittingPlan, running_c: float) -> tuple[Flow, tuple[Load, ...]]:
    """Return the feed network with what each edge carries, and the loads.

    ``lost_v`` stays that of all loads at once and says only which way current goes; fuses are taken at the
    current that they carry.
    """
    network, loads = solved(loom, plan, running_c)
    every = plan_of(loom, dict.fromkeys(plan.needs, Need.NEEDED))
    could = _Entering(loom, solved(loom, every, running_c)[0]).total_a
    amps = _carried(loom, network, loads, could)
    by_part = {edge.name: abs(one) for edge, one in zip(network.edges, amps, strict=True) if edge.hop}
    return replace(network, edges=tuple(edges_of(loom, plan, running_c, by_part)), current_a=amps), loads


def carried_by_wires(loom: Loom, needs: Mapping[str, Need]) -> dict[str, float]:
    """Return what each wire of the feed side carries that a load lies behind, A by wire name."""
    network, _ = shared(loom, plan_of(loom, needs), loom.settings.running_c)
    pairs = zip(network.edges, network.current_a, strict=True)
    return {edge.name: abs(amps) for edge, amps in pairs if not edge.hop and abs(amps) > SAME_A}


def held_below(loom: Loom, network: Flow, sums: Flow, way: Iterable[int]) -> tuple[str, ...]:
    """Name the circuits on a way that carry what they state, less than their users' sum."""
    less = [
        _circuit(loom, network.edges[k])
        for k in way
        if abs(network.current_a[k]) < abs(sums.current_a[k]) - SAME_A
    ]
    return tuple(dict.fromkeys(name for name in less if name))


class _Entering:
    """Where current enters each circuit, and how much does with every load on.

    ``into`` lists the edges that bring current to an end, ``edges`` those at which a circuit starts: none of
    its own feeds them, or one does through a joint of two and no more. ``total_a`` is by circuit.
    """

    def __init__(self, loom: Loom, network: Flow) -> None:
        linear = network.current_a
        self.names = [_circuit(loom, edge) for edge in network.edges]
        self.into: dict[End, list[int]] = {}
        at: dict[End, int] = {}
        for k, edge in enumerate(network.edges):
            for end in (edge.a, edge.b):
                at[end] = at.get(end, 0) + 1
            if abs(linear[k]) > SAME_A:
                self.into.setdefault(edge.b if linear[k] > 0.0 else edge.a, []).append(k)
        self.edges: set[int] = set()
        self.total_a: dict[str, float] = {}
        for end in sorted(self.into, key=lambda end: network.lost_v[end]):
            for k in self.into[end]:
                before = network.edges[k].a if linear[k] > 0.0 else network.edges[k].b
                own = [one for one in self.into.get(before, ()) if self.names[one] == self.names[k]]
                if not own:
                    self.total_a[self.names[k]] = self.total_a.get(self.names[k], 0.0) + abs(linear[k])
                if not own or (at[before] == 2 and own[0] in self.edges):
                    self.edges.add(k)


def _carried(
    loom: Loom, network: Flow, loads: Sequence[Load], could_a: Mapping[str, float]
) -> tuple[float, ...]:
    """Return what each edge carries, from the loads back to the sources.

    ``could_a`` is what would enter each circuit with every user fitted.
    """
    linear = network.current_a
    start = _Entering(loom, network)
    drawn: dict[End, float] = {}
    for load in loads:
        if load.at is not None:
            drawn[load.at] = drawn.get(load.at, 0.0) + load.current_a
    amps = [0.0] * len(linear)
    for end in sorted(start.into, key=lambda end: -network.lost_v[end]):
        wires = start.into[end]
        here = sum(abs(linear[k]) for k in wires)
        for k in wires:
            name = start.names[k]
            beside = sum(abs(linear[other]) for other in wires if start.names[other] == name)
            one = drawn.get(end, 0.0) * abs(linear[k]) / here
            stated_a = _stated_a(loom, name)
            if stated_a is not None:
                one = min(one, stated_a * abs(linear[k]) / beside)
                if k in start.edges:
                    total = start.total_a[name]
                    left_out = could_a.get(name, total) - total
                    one = max(one, (stated_a - left_out) * abs(linear[k]) / total)
            amps[k] = one if linear[k] > 0.0 else -one
            before = network.edges[k].a if linear[k] > 0.0 else network.edges[k].b
            drawn[before] = drawn.get(before, 0.0) + one
    return tuple(amps)


def _circuit(loom: Loom, edge: Edge) -> str:
    named = loom.component_by_name.get(edge.name) if edge.hop else loom.wire_by_name[edge.name]
    return named.circuit if named is not None else ""


def _stated_a(loom: Loom, name: str) -> float | None:
    circuit = loom.circuit_by_name.get(name)
    return circuit.load_a or None if circuit is not None and is_trunk(loom, circuit) else None
