"""A loom as matching sees it: which connector holds how many cavities of which net, and parts between nets.

Names mean nothing here. A net of one cavity with no part on it says only that its cavity is bare, which a
cut wire would say as well, so it is counted and never matched.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from loomproof.electrics.component_kinds import FACTS, Path, paths_of
from loomproof.electrics.nets import Net, nets_of
from loomproof.loom.model import Component, Connector, ConnectorKind, End, Loom

Matrix = NDArray[np.float64]


class Between(NamedTuple):
    """A part between two nets, by their places in `Shape.nets`: what a meter tells of it.

    ``path`` as in the table of components. ``ohm`` is what is stated or was measured, ``spread`` by what
    share it may be off; a diode passes from ``a`` to ``b``.
    """

    path: Path
    a: int
    b: int
    ohm: float | None = None
    spread: float = 0.0


@dataclass(frozen=True)
class Shape:
    """What matching compares of a loom.

    ``connectors`` have cavities (splices are not seen from outside); ``nets`` are those that tell something,
    by the place that all else here speaks of; ``net_at`` the net of each cavity that is on one; ``parts``
    what lies between them.
    """

    loom: Loom
    connectors: tuple[Connector, ...]
    nets: tuple[Net, ...]
    net_at: dict[End, int]
    parts: tuple[Between, ...]

    @cached_property
    def held(self) -> NDArray[np.int64]:
        """How many cavities of each net (column) each connector (row) holds."""
        found = np.zeros((len(self.connectors), len(self.nets)), dtype=np.int64)
        row = {connector.name: k for k, connector in enumerate(self.connectors)}
        for end, net in self.net_at.items():
            found[row[end.connector], net] += 1
        return found

    @cached_property
    def levels(self) -> tuple[Matrix, ...]:
        """``held`` as 0 and 1 for at least one, at least two …: what two looms share is a sum of products."""
        most = int(self.held.max(initial=0))
        return tuple((self.held >= level).astype(np.float64) for level in range(1, most + 1))

    @cached_property
    def wired(self) -> NDArray[np.int64]:
        """How many cavities of each connector are on a net that tells something."""
        return np.asarray(self.held.sum(axis=1))

    @cached_property
    def sizes(self) -> NDArray[np.int64]:
        """How many cavities each connector has."""
        return np.array([len(connector.cavities) for connector in self.connectors], dtype=np.int64)


def shape_of(loom: Loom) -> Shape:
    """Return what matching compares of a loom. Takes time about linear in the description."""
    connectors = tuple(c for c in loom.connectors if c.kind is not ConnectorKind.SPLICE and c.cavities)
    found = nets_of(loom)
    net_of = {end: net.index for net in found for end in net.ends}
    lying = [
        (
            path.path,
            net_of[path.a],
            net_of[path.b],
            part.resistance_ohm,
            _spread(part),
        )
        for part in loom.components
        if part.fitted
        for path in paths_of(part)
        if path.path is not Path.CONTACT and path.a in net_of and path.b in net_of
    ]
    between = [row for row in lying if row[1] != row[2]]
    beside = {net for row in between for net in row[1:3]}
    telling = [net for net in found if net.cavities and (len(net.cavities) > 1 or net.index in beside)]
    place = {net.index: k for k, net in enumerate(telling)}
    return Shape(
        loom,
        connectors,
        tuple(telling),
        {end: place[net.index] for net in telling for end in net.cavities},
        tuple(
            Between(path, place[a], place[b], ohm, spread)
            for path, a, b, ohm, spread in between
            if a in place and b in place
        ),
    )


def _spread(part: Component) -> float:
    stated = part.tolerance_pct
    return (FACTS[part.kind].tolerance_pct if stated is None else stated) / 100.0


def alike(one: Between, other: Between) -> bool:
    """Whether two parts can be the same: of one kind to a meter, and of ohms within both spreads."""
    if one.path is not other.path:
        return False
    if one.ohm is None or other.ohm is None:
        return True
    spread = one.spread + other.spread
    return abs(one.ohm - other.ohm) <= spread * max(one.ohm, other.ohm)
