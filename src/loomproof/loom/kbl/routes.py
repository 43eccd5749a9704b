"""Which segments of the harness a wire runs through, and how long they are."""

from __future__ import annotations

from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.kbl.document import Document

LONGEST_NAME = 24
"""Segment Ids longer than this are machine names; the element's own id stands for them."""


@dataclass(frozen=True)
class Route:
    """The bundles that a wire runs through, in order, and their length together (0 where not known)."""

    bundles: tuple[str, ...]
    length_m: float


@dataclass
class Routes:
    """Routes by the id of their connection."""

    by_connection: dict[str, Route] = field(default_factory=dict)


def read_routes(document: Document) -> Routes:
    """Return the route of every connection that has one."""
    names: dict[str, str] = {}
    lengths: dict[str, float | None] = {}
    taken: set[str] = set()
    for segment in document.root.iterfind("Segment"):
        key = segment.get("id", "")
        name = document.text(segment, "Id")
        if not name or len(name) > LONGEST_NAME or name in taken:
            name = key
        taken.add(name)
        names[key] = name
        lengths[key] = _length_m(document, segment)
    routes = Routes()
    for routing in document.root.iterfind("Routing"):
        keys = [key for key in (routing.findtext("Segments") or "").split() if key in names]
        connection = (routing.findtext("Routed_wire") or "").strip()
        known = [lengths[key] for key in keys]
        total = sum(length for length in known if length is not None)
        routes.by_connection[connection] = Route(
            tuple(dict.fromkeys(names[key] for key in keys)), 0.0 if None in known else total
        )
    return routes


def _length_m(document: Document, segment: etree._Element) -> float | None:
    """Return the physical length of a segment, else the virtual one; ``None`` where it has neither."""
    for tag in ("Physical_length", "Virtual_length"):
        length_m = document.value(segment.find(tag), "length")
        if length_m:
            return length_m
    return None
