"""What a digital sense of a sound loom should read, and what a reading proves.

A sense drives some points to 0 V and reads all; every point has its own pull-up. One point behind a path of
less than ``sense_ohm`` to a driven point surely reads low, behind more than ``clear_ohm`` surely high, and m
points behind one path share it: both thresholds are divided by m. So

* a low reading proves a path of less than ``clear_ohm`` / m,
* a high reading proves that there is none of less than ``sense_ohm`` / m,

where m counts the points behind that path. Wires are milliohms against kilohms and count as nothing here;
components between nets count. The bounds used below are derived in NOTES.md.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum

from loomproof.electrics.couplings import Coupling
from loomproof.electrics.currents import on_the_way
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.network import Network
from loomproof.electrics.unions import Unions
from loomproof.loom.model import ComponentKind


class Level(StrEnum):
    """What a net of a sound loom reads; ``EITHER`` proves nothing and is not compared."""

    LOW = "low"
    HIGH = "high"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Thresholds:
    """A bench's sense thresholds for one point, Ω. Raises `ValueError` unless 0 < sense <= clear."""

    sense_ohm: float = 25_000.0
    clear_ohm: float = 250_000.0

    def __post_init__(self) -> None:
        if not 0.0 < self.sense_ohm <= self.clear_ohm:
            raise ValueError(f"thresholds {self.sense_ohm:g} and {self.clear_ohm:g} Ω: 0 < sense <= clear")

    def low_proves_below_ohm(self, points: int = 1) -> float:
        """Return the resistance that a path surely stays under when the ``points`` behind it read low."""
        return self.clear_ohm / _count(points)

    def high_proves_none_below_ohm(self, points: int = 1) -> float:
        """Return the resistance below which there is no path where ``points`` sharing it read high."""
        return self.sense_ohm / _count(points)

    def isolation_ohm(self, points_a: int, points_b: int, *, both_ways: bool = True) -> float:
        """Return what is proved between two nets that each read high while the other was driven.

        The smaller net is the sharper probe. With ``both_ways`` false only ``b`` was read.
        """
        points = min(points_a, points_b) if both_ways else points_b
        return self.high_proves_none_below_ohm(points)


def _count(points: int) -> int:
    if points < 1:
        raise ValueError(f"{points} points behind a path: 1 or more is expected")
    return points


def expected_levels(
    expectation: Expectation,
    driven: Collection[int],
    thresholds: Thresholds | None = None,
    points: Sequence[int] | None = None,
) -> tuple[Level, ...]:
    """Return what each net of a sound loom reads while the nets ``driven`` (by index) are driven.

    ``points`` says how many scanner points sit on each net (its cavities, where not given). Tolerances
    count: ``LOW`` and ``HIGH`` hold for every sound value of the components. A net reached through a diode
    only reads ``EITHER``: a forward drop of 0.6 V leaves no margin below a logic threshold. Capacitors are
    taken as charged (the settle time is found on the loom), parts of unknown value as anything.
    """
    rule = thresholds or Thresholds()
    nets = expectation.nets
    count = [len(net.cavities) for net in nets] if points is None else points
    levels = [Level.HIGH] * len(nets)
    active = set(driven)
    for net in active:
        levels[net] = Level.LOW
    for cluster, couplings in _clusters(expectation.couplings):
        if active.isdisjoint(cluster):
            continue
        for net in cluster - active:
            levels[net] = _level(net, cluster, couplings, active, rule, count)
    return tuple(levels)


def coupled_levels(
    coupling: Coupling, thresholds: Thresholds, points_a: int = 1, points_b: int = 1
) -> tuple[Level, Level]:
    """Return what net b reads while a is driven, and net a while b is driven, by this part alone."""
    reads = []
    for sink, points in ((coupling.net_b, points_b), (coupling.net_a, points_a)):
        source = coupling.net_a if sink == coupling.net_b else coupling.net_b
        count = {source: 1, sink: points}
        reads.append(_level(sink, {source, sink}, [coupling], {source}, thresholds, count))
    return reads[0], reads[1]


def _clusters(couplings: Sequence[Coupling]) -> list[tuple[set[int], list[Coupling]]]:
    """Nets joined by any component that can carry direct current, with the components that join them."""
    live = [coupling for coupling in couplings if coupling.kind is not ComponentKind.CAPACITOR]
    unions = Unions(net for coupling in live for net in (coupling.net_a, coupling.net_b))
    for coupling in live:
        unions.join(coupling.net_a, coupling.net_b)
    found: dict[int, tuple[set[int], list[Coupling]]] = {}
    for coupling in live:
        nets, parts = found.setdefault(unions.root(coupling.net_a), (set(), []))
        nets.update((coupling.net_a, coupling.net_b))
        parts.append(coupling)
    return list(found.values())


def _level(
    net: int,
    cluster: Collection[int],
    couplings: Sequence[Coupling],
    driven: Collection[int],
    rule: Thresholds,
    points: Sequence[int] | Mapping[int, int],
) -> Level:
    idle = sum(points[other] for other in cluster if other not in driven)
    own = points[net]
    if own < 1:
        return Level.EITHER
    linear = [coupling for coupling in couplings if coupling.linear]
    highest = _to_driven(net, driven, [(c.net_a, c.net_b, c.hi_ohm) for c in linear])
    if highest is not None and highest * idle < rule.sense_ohm:
        return Level.LOW
    loosely = on_the_way(couplings, net, driven)
    if any(not c.linear for c in loosely):
        return Level.EITHER
    lowest = _to_driven(net, driven, [(c.net_a, c.net_b, c.lo_ohm) for c in loosely])
    return Level.HIGH if lowest is None or lowest * own > rule.clear_ohm else Level.EITHER


def _to_driven(net: int, driven: Collection[int], edges: Sequence[tuple[int, int, float]]) -> float | None:
    """Effective resistance from a net to all driven nets joined, Ω; ``None`` where nothing leads there."""
    beside: dict[int, list[int]] = {}
    for a, b, _ in edges:
        beside.setdefault(a, []).append(b)
        beside.setdefault(b, []).append(a)
    node, todo, met = {net: 0}, [net], False
    while todo:
        for other in beside.get(todo.pop(), ()):
            if other in driven:
                met = True
            elif other not in node:
                node[other] = len(node)
                todo.append(other)
    if not met:
        return None
    earth = len(node)
    inside = [
        (node.get(a, earth), node.get(b, earth), ohm)
        for a, b, ohm in edges
        if (a in node or b in node) and a != b
    ]
    tails, heads, ohms = zip(*inside, strict=True)
    return Network(earth + 1, tails, heads, ohms).resistance(0, earth)
