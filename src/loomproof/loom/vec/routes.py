"""Where things are and where wires run: placements in words or by nodes, bundles by segments."""

from __future__ import annotations

from loomproof.loom.kbl.variants import Variants
from loomproof.loom.vec.document import VecDocument


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
    document: VecDocument, variants: Variants, chosen: frozenset[str] | None
) -> dict[str, tuple[str, ...]]:
    """Return the segments that each conductor runs through, in order and each once, by the conductor's id."""
    found: dict[str, tuple[str, ...]] = {}
    several: list[str] = []
    for specification in document.specifications("RoutingSpecification"):
        for routing in specification.iterfind("Routing"):
            if not variants.has(routing, chosen):
                continue
            names = [
                document.called(segment) or segment.get("id", "")
                for path in routing.iterfind("Path")
                for segment in document.refs(path, "Segment")
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
