"""Which of several bad joints the ohms themselves fit, where failed and passed alone tell them not apart.

With a way round it, a joint of many ohms shows in part at readings that pass. So each suspect is given the
ohms with which all readings of its net come nearest to a nodal solution of the net (`electrics.network`), and
those that come as near as the best, within what lengths and joints may differ, stay in front.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from loomproof.electrics.expectation import Expectation
from loomproof.electrics.islands import Island
from loomproof.electrics.network import Floats, Network
from loomproof.loom.model import End
from loomproof.results.measured import Judged

VARIES = 0.2
"""So far may a sound way be from what is expected of it: lengths, lays, joints (our convention)."""

AS_WELL = 4.0
"""What fits worse by more than this, as a sum of squares of standard deviations, fits worse: two of them."""

STEPS = 25
"""Ohms tried, as many between each two powers of ten; finer tells no more than readings differ anyhow."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where ohms are put: into these conductors by name, at this splice, or into this cavity's contact."""

    conductors: frozenset[str] = frozenset()
    splice: End | None = None
    contact: End | None = None


def misfits(expectation: Expectation, places: Sequence[Place], readings: Sequence[Judged]) -> list[float]:
    """Return for each place how far the readings stay from what ohms there would give, in deviations squared.

    All readings are between cavities of one net as it should be wired. A splice that is bad has half of its
    ohms at each of its wires, so that each way across has them all.
    """
    island = expectation.island_of[expectation.net_of[readings[0].a]]
    read = np.array([judged.measured_ohm for judged in readings])
    least_ohm = max(float(read.max()) / 1e3, 1e-4)
    tried = np.geomspace(least_ohm, 3.0 * float(read.max()), 1 + 4 * STEPS)
    return [
        min(_misfit(expectation, island, place, float(ohm), readings, read) for ohm in tried)
        for place in places
    ]


def _misfit(
    expectation: Expectation,
    island: Island,
    place: Place,
    ohm: float,
    readings: Sequence[Judged],
    read: Floats,
) -> float:
    ohms = [
        edge.nominal_ohm
        + (ohm if edge.conductor is not None and edge.conductor.name in place.conductors else 0.0)
        + (ohm / 2 if place.splice is not None and _touches(island, k, place.splice) else 0.0)
        for k, edge in enumerate(island.edges)
    ]
    network = Network(
        len(island.node_of), [edge.tail for edge in island.edges], [edge.head for edge in island.edges], ohms
    )
    a, b = (
        [island.node_of[end] for end in ends] for ends in zip(*((j.a, j.b) for j in readings), strict=True)
    )
    contacts = np.array(
        [expectation.contacts_ohm(j.a, j.b) + (ohm if place.contact in (j.a, j.b) else 0.0) for j in readings]
    )
    sound = np.array([judged.expected_ohm for judged in readings])
    spread = np.hypot(VARIES * sound, [judged.uncertainty_ohm / 2 for judged in readings])
    return float((((network.resistances(a, b) + contacts - read) / spread) ** 2).sum())


def _touches(island: Island, number: int, splice: End) -> bool:
    edge = island.edges[number]
    return edge.conductor is not None and island.node_of[splice] in (edge.tail, edge.head)


def as_near(misfit: Sequence[float]) -> list[bool]:
    """Return which of them fit about as well as the best does."""
    best = min(misfit, default=math.inf)
    return [each <= best + AS_WELL for each in misfit]
