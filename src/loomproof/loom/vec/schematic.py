"""The schematic as the fallback: connections between ports, where no contact point places a wire's ends.

Some exporters write what is joined to what in the schematic alone, at times with the places as text. Such a
loom is less than a wire list: a net of more than two ends has a shape that nobody stated. It is marked so.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from lxml import etree

from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.runs import grouped
from loomproof.loom.model import Connector, ConnectorKind, End, Wire
from loomproof.loom.text import natural
from loomproof.loom.vec.cables import Cables
from loomproof.loom.vec.document import VecDocument, is_part_master
from loomproof.loom.vec.held import Places
from loomproof.loom.vec.wires import Drafts, length_of, tell

NOTE = "from the schematic"
"""The note of a wire that no contact point places."""


def read_schematic(
    document: VecDocument,
    places: Places,
    cables: Cables,
    circuits: Mapping[str, str],
    length_type: str | None,
) -> tuple[Wire, ...]:
    """Return the connections of the schematic as wires, and add what they join to the places."""
    ports = _ports(document, places)
    drafts = Drafts()
    shapeless: list[str] = []
    by_text: list[str] = []
    for connection in _connections(document):
        name = drafts.names.give(document.called(connection) or connection.get("id", "connection"))
        ends = list(dict.fromkeys(_ends(document, connection, ports, places, by_text)))
        if len(ends) < 2:
            document.left_out.append(f"connection {name} of the schematic: it has {len(ends)} known ends")
            continue
        if len(ends) == 2:
            _wire(document, cables, connection, name, (ends[0], ends[1]), circuits, drafts, length_type)
            continue
        joint = places.names.give(f"joint of {name}")
        places.add(Connector(joint, ConnectorKind.SPLICE, description="shape not stated"))
        shapeless.append(joint)
        for number, end in enumerate(ends, 1):
            own = drafts.names.give(f"{name}.{number}")
            _wire(document, cables, connection, own, (End(joint), end), circuits, drafts, length_type)
    used = {key for key, _ in drafts.wires}
    document.left_out += [
        f"wire {document.called(one.reference) or key}: the file places none of its ends, "
        "and its schematic does not name it"
        for key, one in cables.conductors.items()
        if key not in used
    ]
    document.warn(
        "no contact point of this file places a wire: what is joined is taken from its schematic",
        cure="Ask for the file with its contacting, or hold the loom against these wires first.",
    )
    document.warn_of("nets whose shape the schematic does not state, read as one splice each", shapeless)
    document.warn_of("ends that stand as text only, parted at their last colon", by_text)
    tell(document, drafts, length_type)
    return grouped(drafts.wires, cables.twisted, cables.screened_by)


def tell_unrealised(document: VecDocument, cables: Cables) -> None:
    """Tell which connections of the schematic no wire of the harness names, where wires name connections."""
    named = {
        key
        for one in cables.conductors.values()
        for key in (one.reference.findtext("Connection") or "").split()
    }
    ends = {one.get("id", ""): one for one in _connections(document) if len(one.findall("ConnectionEnd")) > 1}
    missing = [document.called(one) or key for key, one in ends.items() if key not in named]
    document.warn_of(
        "connections of the schematic that no wire of the contacting is said to be",
        missing if named else [],
        cure="What is joined is taken from the contacting; look whether a wire of them is missing there.",
    )


def _schematics(document: VecDocument) -> Iterator[etree._Element]:
    """Yield what says how the harness is joined; what says so of the inside of a part is left out."""
    inside = {
        key
        for part in document.root.iter("Specification")
        if kind_of(part).endswith("Specification") and part.find("ComponentNode") is not None
        for key in (part.findtext("ComponentNode") or "").split()
    }
    of_parts = {
        one
        for master in document.root.iterfind("DocumentVersion")
        if is_part_master(master)
        for one in master.iter("Specification")
    }
    for specification in document.specifications("ConnectionSpecification"):
        nodes = {node.get("id", "") for node in specification.iter("ComponentNode", "ChildNode")}
        if specification not in of_parts and inside.isdisjoint(nodes):
            yield specification


def _connections(document: VecDocument) -> Iterator[etree._Element]:
    for specification in _schematics(document):
        yield from specification.iterfind("Connection")


def _ports(document: VecDocument, places: Places) -> dict[str, End]:
    """Return the end of each port; a node without a housing in the file becomes a connector by its name."""
    found = dict(places.ports)
    seen = Names()
    for specification in _schematics(document):
        for node in specification.iter("ComponentNode", "ChildNode"):
            connectors = [
                one for one in node.iterfind("ComponentConnector") if one.find("ComponentPort") is not None
            ]
            for connector in connectors:
                ports = connector.findall("ComponentPort")
                if all(port.get("id", "") in found for port in ports):
                    continue
                own = document.called(node) or document.called(connector)
                if len(connectors) > 1:
                    own = f"{own}.{document.called(connector)}"
                name = own if own in places.connectors and own not in seen else places.names.give(own)
                seen.give(name)
                numbers = [document.called(port) or str(number) for number, port in enumerate(ports, 1)]
                _grow(places, name, numbers, document.said(node))
                found.update(
                    {port.get("id", ""): End(name, said) for port, said in zip(ports, numbers, strict=True)}
                )
    return found


def _grow(places: Places, name: str, cavities: list[str], about: str = "") -> None:
    """Add a connector, or cavities to the one of this name."""
    known = places.connectors.get(name)
    held = list(known.cavities) if known is not None and known.kind is not ConnectorKind.SPLICE else []
    rows = (tuple(sorted(dict.fromkeys([*held, *cavities]), key=natural)),)
    described = (known.description if known is not None else "") or about
    places.add(Connector(name, ConnectorKind.PLUG, rows, described))


def _ends(
    document: VecDocument,
    connection: etree._Element,
    ports: Mapping[str, End],
    places: Places,
    by_text: list[str],
) -> Iterator[End]:
    for end in connection.iterfind("ConnectionEnd"):
        port = (end.findtext("ConnectedComponentPort") or "").strip()
        if port in ports:
            yield ports[port]
            continue
        said = document.called(end)
        connector, colon, cavity = (part.strip() for part in said.rpartition(":"))
        if not colon or not connector or not cavity:
            continue
        known = places.connectors.get(connector)
        if known is None:
            connector = places.names.give(connector)
        if known is None or cavity not in known.cavities:
            _grow(places, connector, [cavity])
        by_text.append(said)
        yield End(connector, cavity)


def _wire(
    document: VecDocument,
    cables: Cables,
    connection: etree._Element,
    name: str,
    ends: tuple[End, End],
    circuits: Mapping[str, str],
    drafts: Drafts,
    length_type: str | None,
) -> None:
    key = connection.get("id", "")
    made_of = [
        one
        for one in cables.conductors.values()
        if key in (one.reference.findtext("Connection") or "").split()
    ]
    circuit = circuits.get(key, "")
    if len(made_of) != 1:
        drafts.no_length.append(name)
        drafts.no_section.append(name)
        drafts.wires.append((key, Wire(name, *ends, circuit=circuit, note=NOTE)))
        return
    (conductor,) = made_of
    length_m = length_of(document, conductor.reference, drafts, length_type)
    drafts.no_length += [name] if length_m is None else []
    drafts.no_section += [name] if conductor.csa_mm2 is None else []
    note = ", ".join(filter(None, (NOTE, conductor.note)))
    wire = Wire(name, *ends, conductor.colour, conductor.csa_mm2, length_m, circuit, note=note)
    drafts.wires.append((conductor.key, wire))
