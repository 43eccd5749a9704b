"""Pieces of one net that hang together through a bad joint, though they were told apart.

Where parts couple a net, measuring tells its pieces apart at few ohms, for a part may be what conducts
between them. Once the opens are found it is known which parts hang on which piece. Where less is read than
those can make of it, the open is a joint of so many ohms.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

from loomproof.diagnosis.found import Found
from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.conductors import RESISTIVE_OHM
from loomproof.electrics.couplings import Coupling, couplings_of
from loomproof.electrics.graph import DisjointSets, united
from loomproof.loom.model import End


def hung_together(found: Found) -> tuple[frozenset[End], ...] | None:
    """Return the groups as found with such pieces made one; ``None`` where there are none."""
    groups = found.measured.groups
    whole = tuple(map(frozenset, united([*groups, *_conducting(found)])))
    return whole if len(whole) < len(groups) else None


def _conducting(found: Found) -> Iterator[tuple[End, End]]:
    """Yield cavities of one net, found apart, between which current flows that no part can be."""
    measured = found.measured
    read = [(j.a, j.b, j.measured_ohm, j.uncertainty_ohm) for j in measured.judged if not j.component]
    read += [(path.a, path.b, path.ohm, path.uncertainty_ohm) for path in measured.paths if not path.stray]
    nets: dict[int, set[int]] = {}
    for end, group in found.group_of.items():
        place = found.place_of(end)
        nets.setdefault(group, set()).add(-1 if place is None else found.wiring.net_of[place])
    parts, root = _parts(found)
    for a, b, ohm, u_ohm in read:
        one, other = found.group_of.get(a), found.group_of.get(b)
        if one is None or other is None or one == other or ohm >= RESISTIVE_OHM:
            continue
        if len(nets[one]) > 1 or nets[one] != nets[other]:
            continue
        # Whatever current the meter has: a diode's drop counts for nothing here.
        if ohm + u_ohm < least_ohm(parts, [root(one)], [root(other)], math.inf):
            yield a, b


def _parts(found: Found) -> tuple[list[Coupling], Callable[[int], int]]:
    """Return the parts between the groups as found, and which group stands for those that parts make one.

    That is what a closed contact and a shunt do.
    """
    ends = dict.fromkeys(end for part in found.loom.components for end in part.ends)
    groups = set(found.group_of.values())
    net_of: dict[End, int] = {}
    for end in ends:
        group = found.group_at(end)
        # Ends that nothing tested reaches are apart from each other.
        net_of[end] = max(groups, default=0) + 1 + len(net_of) if group is None else group
    joins = ((net_of[a], net_of[b]) for part in found.loom.components for a, b in joined_ends(part))
    nets = DisjointSets((*groups, *net_of.values()), joins)
    couplings = couplings_of(found.loom, {end: nets.root(net) for end, net in net_of.items()})
    return list(couplings), nets.root
