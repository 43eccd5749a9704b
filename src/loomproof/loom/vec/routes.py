"""Where things are and where wires run: placements in words or by nodes, bundles by segments."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from loomproof.loom.bundles import Bundle
from loomproof.loom.kbl.bundles import Segment, bundles_of, connectors_in, short_names
from loomproof.loom.kbl.variants import Variants
from loomproof.loom.model import Connector, Wire
from loomproof.loom.vec.document import VecDocument
from loomproof.loom.vec.held import Places


def read_places_in_words(document: VecDocument) -> dict[str, str]:
    """Return where components are, by their ids: the node or segment that they are placed on."""
    owner = {
        role.get("id", ""): component.get("id", "")
        for component in document.root.iter("Component")
        for role in component.iterfind("Role")
    }
    found: dict[str, str] = {}
    for specification in document.specifications("PlacementSpecification"):
        for placement in specification.iterfind("Placement"):
            said = [
                document.said(document.ref(at, "RealizedUsageNode")) or document.called(at)
                for location in placement.iter("Location")
                for tag in ("ReferencedNode", "ReferencedSegment")
                for at in document.refs(location, tag)
            ]
            for key in (placement.findtext("PlacedElement") or "").split():
                if key in owner and said:
                    found.setdefault(owner[key], f"node {said[0]}")
    return found


def read_routes(
    document: VecDocument,
    variants: Variants,
    chosen: frozenset[str] | None,
    segments: Mapping[str, Segment],
) -> dict[str, tuple[str, ...]]:
    """Return the segments that each conductor runs through, in order and each once, by the conductor's id."""
    found: dict[str, tuple[str, ...]] = {}
    several: list[str] = []
    for specification in document.specifications("RoutingSpecification"):
        for routing in specification.iterfind("Routing"):
            if not variants.has(routing, chosen):
                continue
            names = [
                segments[segment.get("id", "")].name
                for path in routing.iterfind("Path")
                for segment in document.refs(path, "Segment")
                if segment.get("id", "") in segments
            ]
            for key in (routing.findtext("RoutedElement") or "").split():
                if key in found:
                    several.append(document.called(document.by_id.get(key)) or key)
                found.setdefault(key, tuple(dict.fromkeys(names)))
    document.warn_of(
        "wires with a route for each of several variants, read with the first one",
        list(dict.fromkeys(several)),
        cure="Name a configuration where it matters.",
    )
    return found


def read_segments(document: VecDocument) -> dict[str, Segment]:
    """Return the segments of all topologies by their ids."""
    found = {
        segment.get("id", ""): segment
        for topology in document.specifications("TopologySpecification")
        for segment in topology.iterfind("TopologySegment")
    }
    names = short_names({key: document.called(segment) for key, segment in found.items()})
    segments = {}
    for key, segment in found.items():
        lengths = [
            document.value(one.find("Length"), "length") for one in segment.iterfind("LengthInformation")
        ]
        length_m = next((round(length, 9) for length in lengths if length), None)
        nodes = (document.text(segment, "StartNode"), document.text(segment, "EndNode"))
        segments[key] = Segment(names[key], length_m, nodes)
    return segments


def read_bundles(
    document: VecDocument,
    segments: Mapping[str, Segment],
    places: Places,
    connectors: Iterable[Connector],
    wires: Iterable[Wire],
) -> tuple[Bundle, ...]:
    """Return the segments that these wires run through as bundles between connectors and forks."""
    nodes = {
        node.get("id", ""): document.called(node)
        for topology in document.specifications("TopologySpecification")
        for node in topology.iterfind("TopologyNode")
    }
    owner = {
        role.get("id", ""): component
        for component in document.root.iter("Component")
        for role in component.iterfind("Role")
    }
    at_node: dict[str, list[str]] = {}
    for specification in document.specifications("PlacementSpecification"):
        for placement in specification.iterfind("Placement"):
            placed = (placement.findtext("PlacedElement") or "").split()
            here = [
                name
                for key in placed
                if key in owner
                for name in connectors_in(owner[key], places.cavities, places.terminals)
            ]
            for location in placement.iter("Location"):
                for key in (location.findtext("ReferencedNode") or "").split():
                    at_node.setdefault(key, []).extend(here)
    unique = {key: list(dict.fromkeys(names)) for key, names in at_node.items()}
    return bundles_of(segments.values(), short_names(nodes), unique, connectors, wires)
