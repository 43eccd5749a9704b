"""The least that a sound loom can read between nets, from the network of its parts, for each way round.

Conductors count as nothing, each part as the least that a sound one has, and a diode that can conduct this
way round as its smallest voltage over the largest current. No part has more current than the meter gives
(a network of resistances has no gain), so a diode's voltage over its current is no less; and by Rayleigh's
monotonicity no resistance between two nodes falls when that of an edge rises. So a sound loom reads no less.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable
from dataclasses import replace

from loomproof.electrics.conductors import LEAST_OHM
from loomproof.electrics.couplings import DIODE_SPREAD_V, Coupling
from loomproof.electrics.currents import on_the_way
from loomproof.electrics.network import Network


def least_ohm(
    couplings: Iterable[Coupling], sources: Collection[int], sinks: Collection[int], current_a: float
) -> float:
    """Return the least that a sound loom reads from nets ``sources``, joined, to ``sinks``, joined, Ω.

    ``current_a`` is the largest current of the meter, A. Inf where no direct current can flow.
    """
    side = dict.fromkeys(sources, -1) | dict.fromkeys(sinks, -2)
    folded = [
        replace(part, net_a=side.get(part.net_a, part.net_a), net_b=side.get(part.net_b, part.net_b))
        for part in couplings
    ]
    parts = on_the_way([part for part in folded if part.net_a != part.net_b], -1, [-2])
    if not parts:
        return math.inf
    nodes = {net: k for k, net in enumerate(dict.fromkeys(n for p in parts for n in (p.net_a, p.net_b)))}
    network = Network(
        len(nodes),
        [nodes[part.net_a] for part in parts],
        [nodes[part.net_b] for part in parts],
        [max(_least(part, current_a), LEAST_OHM) for part in parts],
    )
    return float(network.resistance(nodes[-1], nodes[-2]))


def _least(part: Coupling, current_a: float) -> float:
    if not part.one_way:
        return part.lo_ohm
    return max((part.forward_v or 0.0) - DIODE_SPREAD_V, 0.0) / current_a
