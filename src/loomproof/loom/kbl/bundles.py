"""Segments of a harness file as bundles: how long, and between which connectors or forks."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from lxml import etree

from loomproof.loom.bundles import Bundle
from loomproof.loom.kbl.naming import Names
from loomproof.loom.model import Connector, ConnectorKind, End, Wire

LONGEST_NAME = 24
"""Ids of segments and nodes longer than this are machine names; the element's own id stands for them."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A segment of a file: its name, length in m, and the ids of the nodes between which it lies."""

    name: str
    length_m: float | None
    nodes: tuple[str, str]


def short_names(stated: Mapping[str, str]) -> dict[str, str]:
    """Return a name of its own for each element, by its id: what the file states, else the id."""
    names: dict[str, str] = {}
    taken: set[str] = set()
    for key, name in stated.items():
        if not name or len(name) > LONGEST_NAME or name in taken:
            name = key
        taken.add(name)
        names[key] = name
    return names


def connectors_in(element: etree._Element, *ends: Mapping[str, End]) -> tuple[str, ...]:
    """Return the connectors of an element, by the ends that it or what it holds stands for."""
    keys = [each.get("id", "") for each in element.iter(etree.Element)]
    found = (known[key].connector for key in keys for known in ends if key in known)
    return tuple(dict.fromkeys(found))


def bundles_of(
    segments: Iterable[Segment],
    stated: Mapping[str, str],
    at_node: Mapping[str, Sequence[str]],
    connectors: Iterable[Connector],
    wires: Iterable[Wire],
) -> tuple[Bundle, ...]:
    """Return the segments that a wire runs through as bundles, in the file's order.

    A node is called as the connector that sits there, where that is one; else as ``stated`` calls it, and
    never as a connector that sits elsewhere. ``at_node`` has the connectors of each node, by its id.
    """
    kinds = {connector.name: connector.kind for connector in connectors}
    used = {name for wire in wires for name in wire.bundles}
    names = Names()
    places: dict[str, str] = {}
    for name in kinds:
        names.give(name)

    def place(node: str) -> str:
        if node not in places:
            here = [name for name in at_node.get(node, ()) if name in kinds]
            plugs = [name for name in here if kinds[name] is not ConnectorKind.SPLICE]
            alone = plugs if len(plugs) == 1 else here
            places[node] = alone[0] if len(alone) == 1 else names.give(stated.get(node, node))
        return places[node]

    return tuple(
        Bundle(each.name, each.length_m, place(each.nodes[0]), place(each.nodes[1]))
        for each in segments
        if each.name in used
    )
