"""Which components direct current can flow through on its way from one net to others."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import assert_never

from loomproof.electrics.component_kinds import Path
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.graph import reachable


def ways(coupling: Coupling) -> tuple[tuple[int, int], ...]:
    """The directions, net to net, in which a component passes direct current."""
    forward = (coupling.net_a, coupling.net_b)
    match coupling.path:
        case Path.CAPACITOR:
            return ()
        case Path.DIODE:
            return (forward,)
        case Path.RESISTIVE | Path.CONTACT:
            return (forward, forward[::-1])
        case _:
            assert_never(coupling.path)


def on_the_way(couplings: Iterable[Coupling], source: int, sinks: Collection[int]) -> list[Coupling]:
    """Return the couplings through which direct current can flow from net ``source`` to any of ``sinks``.

    Nothing flows back into the source or on from a sink.
    """
    open_ways = {
        part: [step for step in ways(part) if step[0] not in sinks and step[1] != source]
        for part in couplings
    }
    steps = [step for ways_of_part in open_ways.values() for step in ways_of_part]
    ahead = reachable([source], steps)
    behind = reachable(sinks, [step[::-1] for step in steps])
    return [
        part
        for part, ways_of_part in open_ways.items()
        if any(here in ahead and there in behind for here, there in ways_of_part)
    ]
