"""Component boxes: fuse and relay carriers with cavities for wires, slots for parts and links between.

A link from one cavity to one slot cavity that both have no other is the same piece of metal, so the slot
cavity *is* the wire's cavity. Everything else (a bus bar to eleven fuses, a slot that nothing is linked
to) gets a connector for the slot and link components that join.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from lxml import etree

from loomproof.loom.kbl.document import Document, kind_of
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.places import Places, location, note_cavity, note_contact
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End

MATED = "mated while proved"
"""The note of a link between two connectors that face each other."""


def read_boxes(document: Document, places: Places, parts: Names) -> list[Component]:
    """Add the connectors of every component box to the places and return the links inside and between."""
    links: list[Component] = []
    for occurrence in document.harness.iterfind("Component_box_occurrence"):
        part = document.part(occurrence)
        if part is not None:
            links += _box(document, occurrence, part, places, parts)
    links += _mated(document, places, parts)
    for a, b in places.bridges:
        name = parts.give(f"{a} to {b}")
        links.append(Component(name, ComponentKind.LINK, (("1", a), ("2", b)), note="one terminal in both"))
    return links


def _box(
    document: Document, occurrence: etree._Element, part: etree._Element, places: Places, parts: Names
) -> Iterator[Component]:
    name = document.text(occurrence, "Id") or occurrence.get("id", "box")
    kind = _carries(part)
    of_part: dict[str, End] = {}
    connectors = occurrence.findall("Component_box_connectors")
    for connector in connectors:
        own = name
        if len(connectors) > 1:
            own = f"{name}.{document.text(document.part(connector), 'Id')}"
        own = places.names.give(own)
        rows = tuple(_box_rows(document, connector, own, places, of_part))
        if rows:
            about = document.text(occurrence, "Description")
            housing = document.text(part, "Part_number")
            places.add(Connector(own, kind, rows, about, housing, location(document, occurrence)))
    links = part.findall("Connections")
    uses = Counter(key for link in links for tag in _SIDES for key in (link.findtext(tag) or "").split())
    straight = {
        far: of_part[near]
        for link in links
        for near, far in [_straight(link, uses)]
        if near and far and near in of_part
    }
    for slot in occurrence.iterfind("Component_slots"):
        _slot(document, name, slot, kind, straight, places, of_part)
    for contact in occurrence.iterfind("Contact_points"):
        note_contact(document, contact, places)
    for link in links:
        keys = [key for tag in _SIDES for key in (link.findtext(tag) or "").split()]
        ends = list(dict.fromkeys(of_part[key] for key in keys if key in of_part))
        for other in ends[1:]:
            joint = parts.give(f"{name} {document.text(link, 'Id')}")
            yield Component(
                joint, ComponentKind.LINK, (("1", ends[0]), ("2", other)), note="inside the component box"
            )


_SIDES = ("Cavities", "Component_cavities")


def _carries(part: etree._Element) -> ConnectorKind:
    """Say what a box carries: KBL names fuse types for fuse slots; a fuse has two legs, a relay more."""
    slots = part.findall("Component_slots")
    if any(
        slot.find("Valid_fuse_types") is not None or slot.find("Max_current") is not None for slot in slots
    ):
        return ConnectorKind.FUSE_HOLDER
    legs = [len(slot.findall("Component_cavities")) for slot in slots]
    return ConnectorKind.FUSE_HOLDER if legs and max(legs) <= 2 else ConnectorKind.RELAY_BASE


def _box_rows(
    document: Document, connector: etree._Element, name: str, places: Places, of_part: dict[str, End]
) -> Iterator[tuple[str, ...]]:
    for slot in connector.iterfind("Slots"):
        if kind_of(slot) == "Modular_slot_occurrence":
            document.warn(f"the modular slot of {name} is left out: its inserts are boxes of their own", slot)
            continue
        row: list[str] = []
        for cavity in slot.iterfind("Cavities"):
            part = document.part(cavity)
            number = document.text(part, "Cavity_number") or str(len(row) + 1)
            end = End(name, number)
            row.append(number)
            note_cavity(cavity, end, places)
            if part is not None:
                of_part[part.get("id", "")] = end
        if row:
            yield tuple(row)


def _straight(link: etree._Element, uses: Counter[str]) -> tuple[str, str]:
    near, far = ((link.findtext(tag) or "").split() for tag in _SIDES)
    if len(near) == len(far) == 1 and uses[near[0]] == uses[far[0]] == 1:
        return near[0], far[0]
    return "", ""


def _slot(
    document: Document,
    box: str,
    slot: etree._Element,
    kind: ConnectorKind,
    straight: dict[str, End],
    places: Places,
    of_part: dict[str, End],
) -> None:
    """Give every slot cavity its end: the wire's cavity, or one of a connector made for the slot."""
    name = f"{box}.{document.text(document.part(slot), 'Id') or slot.get('id', 'slot')}"
    apart: list[str] = []
    for cavity in slot.iterfind("Component_cavities"):
        part = document.part(cavity)
        key = part.get("id", "") if part is not None else ""
        end = straight.get(key)
        if end is None:
            number = document.text(part, "Cavity_number") or str(len(apart) + 1)
            if not apart:
                name = places.names.give(name)
            end = End(name, number)
            apart.append(number)
        places.cavities[cavity.get("id", "")] = end
        of_part[key] = end
    if apart:
        places.add(Connector(name, kind, (tuple(apart),), f"slot of {box}"))


def _mated(document: Document, places: Places, parts: Names) -> Iterator[Component]:
    """Yield a link for each pair of cavities that face each other where two connectors are mated."""
    seen: set[frozenset[End]] = set()
    for slot in document.harness.iter("Slots"):
        for other in document.refs(slot, "Mated_slots"):
            for a, b in _facing(document, slot, other, places):
                if a != b and frozenset((a, b)) not in seen:
                    seen.add(frozenset((a, b)))
                    yield Component(
                        parts.give(f"{b} on {a}"),
                        ComponentKind.LINK,
                        (("1", a), ("2", b)),
                        note=MATED,
                        pullable=True,
                    )


def _facing(
    document: Document, slot: etree._Element, other: etree._Element, places: Places
) -> Iterator[tuple[End, End]]:
    here, there = (_by_number(document, one, places) for one in (slot, other))
    stated = [
        (places.cavities[cavity.get("id", "")], places.cavities[mate.get("id", "")])
        for cavity in slot.iterfind("Cavities")
        for mate in document.refs(cavity, "Mated_cavities")
        if cavity.get("id", "") in places.cavities and mate.get("id", "") in places.cavities
    ]
    if stated:
        yield from stated
    elif len(here) == len(there) == 1:
        yield next(iter(here.values())), next(iter(there.values()))
    elif here.keys() == there.keys():
        yield from ((here[number], there[number]) for number in here)
    else:
        document.warn("two mated slots have different cavities and are not joined", slot)


def _by_number(document: Document, slot: etree._Element, places: Places) -> dict[str, End]:
    return {
        document.text(document.part(cavity), "Cavity_number"): places.cavities[cavity.get("id", "")]
        for cavity in slot.iterfind("Cavities")
        if cavity.get("id", "") in places.cavities
    }
