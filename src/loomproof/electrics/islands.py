"""Nets that resistive components join, as one network to be solved exactly."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from loomproof.electrics.conductors import LEAST_OHM, Conductor
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.graph import DisjointSets
from loomproof.electrics.nets import Net
from loomproof.electrics.network import Ints, Network
from loomproof.loom.model import End


class Edge(NamedTuple):
    """One resistance of an island, Ω: a conductor of a net, or a coupling between nets."""

    tail: int
    head: int
    nominal_ohm: float
    greatest_ohm: float
    least_ohm: float
    conductor: Conductor | None = None
    coupling: Coupling | None = None

    @property
    def copper_ohm(self) -> float:
        """What solid copper leaves of a wire, Ω; a coupling's least."""
        return self.least_ohm if self.conductor is None else max(self.conductor.copper_ohm, LEAST_OHM)


@dataclass(frozen=True)
class Island:
    """Nets joined by resistive components. Its three networks differ in their ohms only.

    ``nominal`` is what a sound loom should read; ``greatest`` and ``least`` bound it, because by Rayleigh's
    monotonicity no resistance between two nodes falls when that of an edge rises.
    """

    nets: tuple[int, ...]
    node_of: Mapping[End, int]
    edges: tuple[Edge, ...]

    @cached_property
    def lone(self) -> Edge | None:
        """The only edge, such as a wire from plug to plug, or ``None``: nothing is to be solved then."""
        alone = len(self.edges) == 1 and len(self.node_of) == 2 and self.edges[0].tail != self.edges[0].head
        return self.edges[0] if alone else None

    @cached_property
    def nominal(self) -> Network:
        """Every edge at its nominal resistance."""
        return self._network([edge.nominal_ohm for edge in self.edges])

    @cached_property
    def greatest(self) -> Network:
        """Every edge at the most that a sound one has."""
        return self._network([edge.greatest_ohm for edge in self.edges])

    @cached_property
    def least(self) -> Network:
        """Couplings at the least that a sound one has, conductors at half of what is expected."""
        return self._network([edge.least_ohm for edge in self.edges])

    @cached_property
    def copper(self) -> Network:
        """Wires at what solid copper leaves them, joints and fuses at nothing, couplings at their least."""
        return self._network([edge.copper_ohm for edge in self.edges])

    @cached_property
    def conductors(self) -> Ints:
        """Indexes of the edges that are conductors."""
        return np.array([k for k, edge in enumerate(self.edges) if edge.conductor], dtype=np.intp)

    def _network(self, ohms: list[float]) -> Network:
        return Network(
            len(self.node_of), [edge.tail for edge in self.edges], [edge.head for edge in self.edges], ohms
        )


def islands_of(
    nets: tuple[Net, ...],
    couplings: tuple[Coupling, ...],
    conductors: Mapping[int, list[tuple[End, End, Conductor]]],
) -> tuple[Island, ...]:
    """Return the islands in the order of their first net; ``conductors`` are the edges of each net.

    Only couplings of known, finite resistance join: a diode, a capacitor or a part of unknown value is no
    edge, which can only raise what is computed, never what is measured above it.
    """
    joining = {coupling.component: coupling for coupling in couplings if coupling.joins}
    linear = [coupling for coupling in couplings if coupling.linear and not coupling.joins]
    together = DisjointSets(range(len(nets)), ((coupling.net_a, coupling.net_b) for coupling in linear))
    between: dict[int, list[Coupling]] = {}
    for coupling in linear:
        between.setdefault(together.root(coupling.net_a), []).append(coupling)

    found = []
    for inside in together.sets():
        node_of = {end: node for node, end in enumerate(end for net in inside for end in nets[net].ends)}
        edges = [
            Edge(
                node_of[a],
                node_of[b],
                part.nominal_ohm,
                part.greatest_ohm,
                part.least_ohm,
                part,
                joining.get(part.name) if part.kind == "component" else None,
            )
            for net in inside
            for a, b, part in conductors.get(net, ())
        ]
        edges += [
            Edge(node_of[c.a], node_of[c.b], c.nominal_ohm or LEAST_OHM, c.hi_ohm, c.lo_ohm, coupling=c)
            for c in between.get(together.root(inside[0]), ())
        ]
        found.append(Island(tuple(inside), node_of, tuple(edges)))
    return tuple(found)
