"""Pieces of one net that hang together through a bad joint, though they were told apart.

Where parts couple a net, measuring tells its pieces apart at few ohms, for a part may be what conducts
between them. Once the opens are found it is known which parts hang on which piece. Where less is read than
those can make of it, the open is a joint of so many ohms.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from loomproof.diagnosis.found import Found, parts_as_found
from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.conductors import RESISTIVE_OHM
from loomproof.electrics.graph import united
from loomproof.loom.model import End
from loomproof.results.measured import ONE_WAY_RATIO


def hung_together(found: Found, leak_ohm: float) -> tuple[frozenset[End], ...] | None:
    """Return the groups as found with such pieces made one; ``None`` where there are none.

    What is read both ways at ``leak_ohm`` or more is an open that leaks, and no joint.
    """
    groups = found.measured.groups
    whole = tuple(map(frozenset, united([*groups, *_conducting(found, leak_ohm)])))
    return whole if len(whole) < len(groups) else None


def _conducting(found: Found, leak_ohm: float) -> Iterator[tuple[End, End]]:
    """Yield cavities of one net, found apart, between which current flows that no part can be."""
    measured = found.measured
    read = [(j.a, j.b, j.measured_ohm, j.uncertainty_ohm, False) for j in measured.judged if not j.component]
    read += [(p.a, p.b, p.ohm, p.uncertainty_ohm, False) for p in measured.paths if not p.stray]
    # A leak was read both ways round, and the worse of them is less than so many times the better.
    read += [
        (p.a, p.b, ONE_WAY_RATIO * p.ohm, p.uncertainty_ohm, True)
        for p in measured.leaks
        if not p.stray and p.ohm < leak_ohm
    ]
    nets: dict[int, set[int]] = {}
    for end, group in found.group_of.items():
        place = found.place_of(end)
        nets.setdefault(group, set()).add(-1 if place is None else found.wiring.net_of[place])
    parts, root = parts_as_found(found)
    for a, b, ohm, u_ohm, both in read:
        one, other = found.group_of.get(a), found.group_of.get(b)
        if one is None or other is None or one == other or ohm >= RESISTIVE_OHM:
            continue
        if len(nets[one]) > 1 or nets[one] != nets[other]:
            continue
        # Whatever current the meter has: a diode's drop counts for nothing here.
        ways = ((one, other), (other, one)) if both else ((one, other),)
        least = (least_ohm(parts, [root(source)], [root(sink)], math.inf) for source, sink in ways)
        if ohm + u_ohm < max(least):
            yield a, b
