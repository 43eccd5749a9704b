"""Which segments of the harness a wire runs through, how long they are, and where they lie."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.bundles import Bundle
from loomproof.loom.kbl.bundles import Segment, bundles_of, connectors_in, short_names
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.places import Places
from loomproof.loom.model import Connector, Wire


@dataclass(frozen=True)
class Route:
    """The bundles that a wire runs through, in order, and their length together (0 where not known)."""

    bundles: tuple[str, ...]
    length_m: float


@dataclass
class Routes:
    """Routes by the id of their connection, and the segments by their own id."""

    by_connection: dict[str, Route] = field(default_factory=dict)
    segments: dict[str, Segment] = field(default_factory=dict)


def read_routes(document: Document) -> Routes:
    """Return the route of every connection that has one."""
    routes = Routes(segments=_segments(document))
    for routing in document.root.iterfind("Routing"):
        keys = (routing.findtext("Segments") or "").split()
        through = [routes.segments[key] for key in keys if key in routes.segments]
        connection = (routing.findtext("Routed_wire") or "").strip()
        known = [segment.length_m for segment in through]
        total = sum(length for length in known if length is not None)
        routes.by_connection[connection] = Route(
            tuple(dict.fromkeys(segment.name for segment in through)), 0.0 if None in known else total
        )
    return routes


def read_bundles(
    document: Document, routes: Routes, places: Places, connectors: Iterable[Connector], wires: Iterable[Wire]
) -> tuple[Bundle, ...]:
    """Return the segments that these wires run through as bundles between connectors and forks."""
    nodes = {node.get("id", ""): node for node in document.root.iterfind("Node")}
    stated = short_names({key: document.text(node, "Id") for key, node in nodes.items()})
    of_terminal = _connectors_of_terminals(document, places)
    at_node: dict[str, list[str]] = {}
    for key, node in nodes.items():
        keys = (node.findtext("Referenced_components") or "").split()
        for item in (document.by_id[each] for each in keys if each in document.by_id):
            own = connectors_in(item, places.contacts, places.cavities)
            at_node.setdefault(key, []).extend(own or of_terminal.get(item.get("id", ""), ()))
    at_node = {key: list(dict.fromkeys(names)) for key, names in at_node.items()}
    return bundles_of(routes.segments.values(), stated, at_node, connectors, wires)


def _connectors_of_terminals(document: Document, places: Places) -> dict[str, tuple[str, ...]]:
    """Return the connector of each ring or other terminal, by the terminal's id."""
    found: dict[str, tuple[str, ...]] = {}
    for contact in document.harness.iter("Contact_points"):
        for key in (contact.findtext("Associated_parts") or "").split():
            found[key] = (*found.get(key, ()), *connectors_in(contact, places.contacts))
    return found


def _segments(document: Document) -> dict[str, Segment]:
    """Return the segments by their ids."""
    found = {segment.get("id", ""): segment for segment in document.root.iterfind("Segment")}
    names = short_names({key: document.text(segment, "Id") for key, segment in found.items()})
    return {
        key: Segment(
            names[key],
            _length_m(document, segment),
            (document.text(segment, "Start_node"), document.text(segment, "End_node")),
        )
        for key, segment in found.items()
    }


def _length_m(document: Document, segment: etree._Element) -> float | None:
    """Return the physical length of a segment, else the virtual one; ``None`` where it has neither."""
    for tag in ("Physical_length", "Virtual_length"):
        length_m = document.value(segment.find(tag), "length")
        if length_m:
            return round(length_m, 9)
    return None
