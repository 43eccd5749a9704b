"""Which cavities are one conductor: the nets that a description implies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.unions import Unions
from loomproof.loom.model import End, Loom


@dataclass(frozen=True, slots=True)
class Net:
    """All ends that wires, splices, fitted links and fitted fuses make one conductor.

    ``ends`` holds cavities and splices, ``cavities`` the cavities alone, ``wires`` wire names and
    ``components`` the parts that join the net; all in the description's order. ``index`` is the
    net's place in the tuple that `nets_of` returns.
    """

    index: int
    ends: tuple[End, ...]
    cavities: tuple[End, ...]
    wires: tuple[str, ...] = ()
    components: tuple[str, ...] = ()


def nets_of(loom: Loom) -> tuple[Net, ...]:
    """Return the nets in the order of their first end; a cavity without a wire is a net of its own.

    Takes time about linear in the description.
    """
    unions = Unions(end for connector in loom.connectors for end in connector.ends)
    for ends in _joined(loom):
        for a, b in pairwise(ends):
            unions.join(a, b)
    root = unions.root

    ends_of_net: dict[End, list[End]] = {}
    for end in unions:
        ends_of_net.setdefault(root(end), []).append(end)
    wires: dict[End, list[str]] = {}
    for wire in loom.wires:
        wires.setdefault(root(wire.a), []).append(wire.name)
    parts: dict[End, list[str]] = {}
    for component in loom.components:
        for a, _ in joined_ends(component)[:1]:
            parts.setdefault(root(a), []).append(component.name)
    return tuple(
        Net(
            index=index,
            ends=tuple(ends),
            cavities=tuple(end for end in ends if not loom.is_splice(end)),
            wires=tuple(wires.get(top, ())),
            components=tuple(parts.get(top, ())),
        )
        for index, (top, ends) in enumerate(ends_of_net.items())
    )


def _joined(loom: Loom) -> Iterator[tuple[End, ...]]:
    for wire in loom.wires:
        yield wire.ends
    for component in loom.components:
        yield from joined_ends(component)
