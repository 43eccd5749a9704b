"""On which conductors of a loom a source can hang: feeds, earths, and every ring or single eye."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from loomproof.bench.seam import point_set
from loomproof.electrics.expectation import Expectation
from loomproof.loom.designations import Supply, is_earth, supply_of
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.planning.conductors import Conductors
from loomproof.planning.net_access import Scope

_FED = (Supply.PERMANENT, Supply.IGNITION, Supply.START, Supply.SWITCHED)
_HANDY = (
    ConnectorKind.RING,
    ConnectorKind.TAIL,
    ConnectorKind.BLADE,
    ConnectorKind.BULLET,
    ConnectorKind.SOCKET,
    ConnectorKind.PLUG,
)
"""Where a meter's lead is best held to a conductor, best first."""


def conductors_of(expectation: Expectation, scope: Scope) -> Conductors:
    """Return the conductors that have a point, and which of them a source can hang on."""
    loom = expectation.loom
    cavities = [expectation.nets[net].cavities for net in scope.net_of_group]
    earths, feeds = _marked(loom, [expectation.nets[net].wires for net in scope.net_of_group], cavities)
    return Conductors(
        nets=tuple(group.points for group in scope.groups),
        earths=earths,
        feeds=feeds,
        reach=scope.reach,
        names={point: str(end) for point, end in scope.end_of.items()},
        spots=tuple(_spot(loom, ends) for ends in cavities),
    )


def single_points(point_of: Mapping[End, int]) -> Conductors:
    """Return the points of a loom that nobody has described, each a conductor of its own."""
    return Conductors(
        nets=tuple(point_set([point]) for point in point_of.values()),
        names={point: str(end) for end, point in point_of.items()},
    )


def _spot(loom: Loom, ends: Sequence[End]) -> str:
    def place(end: End) -> int:
        kind = loom.by_name[end.connector].kind
        return _HANDY.index(kind) if kind in _HANDY else len(_HANDY)

    return str(min(ends, key=place))


def _marked(
    loom: Loom, wires: Sequence[Iterable[str]], cavities: Sequence[Iterable[End]]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Return which conductors are earths or feeds. A ring that is no feed is taken for an earth."""
    designation = {circuit.name: circuit.designation for circuit in loom.circuits}
    fused = {circuit.name for circuit in loom.circuits if circuit.fuse}
    earths, feeds = [], []
    for i, (names, ends) in enumerate(zip(wires, cavities, strict=True)):
        circuits = {loom.wire_by_name[name].circuit for name in names}
        fed = any(supply_of(designation.get(circuit, "")) in _FED for circuit in circuits) or circuits & fused
        eye = any(loom.by_name[end.connector].kind is ConnectorKind.RING for end in ends)
        if fed:
            feeds.append(i)
        elif eye or any(is_earth(designation.get(circuit, "")) for circuit in circuits):
            earths.append(i)
    return tuple(earths), tuple(feeds)
