"""The schematic as the fallback: connections between ports, where no contact point places a wire's ends.

Some exporters write what is joined to what in the schematic alone, at times with the places as text. Such a
loom is less than a wire list: a net of more than two ends has a shape that nobody stated. It is marked so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from lxml import etree

from loomproof.loom.kbl.document import kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.places import own_number
from loomproof.loom.kbl.runs import grouped
from loomproof.loom.model import Connector, ConnectorKind, End, Wire
from loomproof.loom.text import natural
from loomproof.loom.vec.cables import Cables, Conductor
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
    has: Callable[[etree._Element], bool],
) -> tuple[Wire, ...]:
    """Return the connections of the schematic as wires, and add what they join to the places.

    ``has`` says what is there under the chosen configuration.
    """
    by_text: list[str] = []
    housed = [name for name in places.connectors if name in places.of_component]
    ports = _ports(document, places, by_text)
    drafts = Drafts()
    shapeless: list[str] = []
    made_of: dict[str, list[Conductor]] = {}
    for one in cables.conductors.values():
        for key in (one.reference.findtext("Connection") or "").split():
            made_of.setdefault(key, []).append(one)
    for connection in filter(has, _connections(document)):
        name = drafts.names.give(document.called(connection) or connection.get("id", "connection"))
        stated = list(filter(has, connection.iterfind("ConnectionEnd")))
        placed = list(_ends(document, stated, ports, places, by_text))
        ends = list(dict.fromkeys(placed))
        if len(ends) > 1 and len(placed) < len(stated):
            told = f"connection {name} of the schematic: {len(placed)} of its {len(stated)} ends are known"
            document.left_out.append(told)
        if len(ends) < 2:
            document.left_out.append(f"connection {name} of the schematic: it has {len(ends)} known ends")
            continue
        if len(ends) == 2:
            _wire(
                document,
                made_of.get(connection.get("id", ""), ()),
                connection,
                name,
                (ends[0], ends[1]),
                circuits,
                drafts,
                length_type,
            )
            continue
        joint = places.names.give(f"joint of {name}")
        places.add(Connector(joint, ConnectorKind.SPLICE, description="shape not stated"))
        shapeless.append(joint)
        for number, end in enumerate(ends, 1):
            own = drafts.names.give(f"{name}.{number}")
            _wire(
                document,
                made_of.get(connection.get("id", ""), ()),
                connection,
                own,
                (End(joint), end),
                circuits,
                drafts,
                length_type,
            )
    used = {key for key, _ in drafts.wires}
    document.left_out += [
        f"wire {document.called(one.reference) or key}: the file places none of its ends, "
        "and no schematic of it names it"
        for key, one in cables.conductors.items()
        if key not in used
    ]
    if drafts.wires:
        document.warn(
            "no contact point of this file places a wire: what is joined is taken from its schematic",
            cure="Ask for the file with its contacting, or hold the loom against these wires first.",
        )
    else:
        document.warn(
            "no contact point of this file places a wire, no schematic of it joins two ends: it has no wire",
            cure="Ask for the file with its contacting.",
        )
    _leave_unnamed(document, places, housed, drafts)
    document.warn_of("nets whose shape the schematic does not state, read as one splice each", shapeless)
    document.warn_of(
        "ends whose connector and cavity stand in one text, parted at its last colon",
        list(dict.fromkeys(by_text)),
    )
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


def _leave_unnamed(document: VecDocument, places: Places, housed: list[str], drafts: Drafts) -> None:
    """Leave out the housings of which the schematic does not say which of its connectors they are.

    To hold their cavities for empty ones would be a claim that nobody made.
    """
    ported = {end.connector for end in places.ports.values()}
    used = {end.connector for _, wire in drafts.wires for end in wire.ends}
    unnamed = [name for name in housed if name not in ported | used] if used - set(housed) else []
    for name in unnamed:
        del places.connectors[name]
        document.left_out.append(
            f"connector {name}: the schematic does not say which of its connectors it is"
        )
    document.warn_of("connectors that the schematic does not name, left out", unnamed)


def _parted(said: list[str]) -> tuple[str, list[str]]:
    """Return the connector that the names of its ports all begin with, and what follows their last colon."""
    pieces = [[piece.strip() for piece in name.rpartition(":")] for name in said]
    names = {piece[0] for piece in pieces}
    whole = len(names) == 1 and "" not in names and all(piece[2] for piece in pieces)
    return (names.pop(), [piece[2] for piece in pieces]) if whole else ("", said)


def _ports(document: VecDocument, places: Places, by_text: list[str]) -> dict[str, End]:
    """Return the end of each port; a node without a housing in the file becomes a connector by its name."""
    found = dict(places.ports)
    made: dict[str, str] = {}
    given: dict[str, set[str]] = {}
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
                said = [document.called(port) or str(number) for number, port in enumerate(ports, 1)]
                stated, numbers = _parted(said)
                if stated:
                    by_text += said
                    own = stated
                if stated not in made:
                    there = own in places.connectors and own not in seen
                    made[stated or own] = own if there else places.names.give(own)
                name = made[stated or own]
                seen.give(name)
                taken = given.setdefault(name, set())
                numbers = [own_number(number, taken, document.called(connector)) for number in numbers]
                _grow(places, name, numbers, document.said(node))
                found.update(
                    {
                        port.get("id", ""): End(name, number)
                        for port, number in zip(ports, numbers, strict=True)
                    }
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
    connection_ends: Iterable[etree._Element],
    ports: Mapping[str, End],
    places: Places,
    by_text: list[str],
) -> Iterator[End]:
    for end in connection_ends:
        port = (end.findtext("ConnectedComponentPort") or "").strip()
        if port:
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
    made_of: Sequence[Conductor],
    connection: etree._Element,
    name: str,
    ends: tuple[End, End],
    circuits: Mapping[str, str],
    drafts: Drafts,
    length_type: str | None,
) -> None:
    key = connection.get("id", "")
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
