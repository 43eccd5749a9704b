"""Which cavities are one conductor: the nets that a description implies."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.graph import DisjointSets
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
    found = DisjointSets((end for connector in loom.connectors for end in connector.ends), _joined(loom))
    root = found.root
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
            wires=tuple(wires.get(root(ends[0]), ())),
            components=tuple(parts.get(root(ends[0]), ())),
        )
        for index, ends in enumerate(found.sets())
    )


def _joined(loom: Loom) -> Iterator[tuple[End, ...]]:
    for wire in loom.wires:
        yield wire.ends
    for component in loom.components:
        yield from joined_ends(component)
