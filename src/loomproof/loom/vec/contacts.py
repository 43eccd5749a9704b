"""Contact points: which wire ends, cavities and terminals are one potential, and so at which end a wire is.

One contact point is one potential. Contact points that share a cavity are joined there as well, as terminals
in one cavity touch, and that is said, unless their wires are conductors of one cable: that is a coaxial
contact. Of several mountings of one contact point each counts where all of its cavities are there; where
variants decide which are, they are alternatives.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from lxml import etree

from loomproof.loom.kbl.contacts import SHARED, SHARED_CURE, beside
from loomproof.loom.model import Connector, ConnectorKind, End
from loomproof.loom.vec.document import VecDocument
from loomproof.loom.vec.held import Harness, Places


def place_wires(
    document: VecDocument, points: list[etree._Element], harness: Harness, places: Places
) -> None:
    """Note at which end each wire of the harness is, by these contact points."""
    names = harness.cables.names_of_ends()
    crowd = Counter(key for point in points for keys in mountings(point) for key in keys[:1])
    cable_of, screens = harness.cables.cable_of_ends(), harness.cables.screen_ends()
    # Screens last, so that of a coaxial contact the inner conductor has the cavity's own name.
    for point in sorted(points, key=lambda one: not screens.isdisjoint(_wires_on(one))):
        wires = {key: names[key] for key in _wires_on(point) if key in names}
        found = _mounted(document, point, harness, places, told=bool(wires))
        pair = all(crowd[keys[0]] <= 2 for keys in mountings(point) if keys)
        _contact_point(
            document, _Contact(point, wires, found, cable_of, "" if pair else "core", screens), places
        )
    document.warn_of(SHARED, [str(end) for end in dict.fromkeys(places.shared)], cure=SHARED_CURE)
    document.warn_of("contact points whose cavity or terminal is not in the harness", places.nowhere)
    document.warn_of(
        "cavities with a contact for each of several conductors of one cable, taken for a coaxial contact",
        [str(end) for end in dict.fromkeys(places.coaxial)],
        cure="Where they touch, give their wires one cavity in the tables.",
    )
    document.warn_of(
        "contact points of one wire that the file puts into no cavity, taken for loose ends",
        places.bare,
        cure="Where one sits in a connector, write its place into wires.csv.",
    )
    document.warn_of(
        "contact points with a cavity for each of several variants, read with the first one",
        places.alternatives,
        cure="Name a configuration where it matters.",
    )


def contact_points(document: VecDocument) -> Iterator[etree._Element]:
    """Yield all contact points of a file."""
    for specification in document.specifications("ContactingSpecification"):
        yield from specification.iterfind("ContactPoint")


def mountings(point: etree._Element) -> list[list[str]]:
    """Return the cavities of each mounting of a contact point, by their ids."""
    return [(one.findtext("EquippedCavityRef") or "").split() for one in point.iterfind("CavityMounting")]


@dataclass(frozen=True)
class _Contact:
    """A contact point: the wire ends on it with their wires' names, the cavities that it is in, and what
    tells conductors apart."""

    point: etree._Element
    wires: dict[str, str]
    cavities: list[End]
    cable_of: dict[str, str]
    word: str
    screens: frozenset[str]

    @property
    def beside(self) -> str:
        """What its conductor is in a cavity that another one of the same cable has."""
        return "screen" if not self.word or not self.screens.isdisjoint(self.wires) else self.word

    @property
    def cables(self) -> set[str]:
        """The cables of several conductors that its wires are of."""
        return {self.cable_of[key] for key in self.wires if key in self.cable_of}


def _mounted(
    document: VecDocument, point: etree._Element, harness: Harness, places: Places, *, told: bool
) -> list[End]:
    """Return the cavities that a contact point is in; what it names and the harness lacks is told."""
    listed = mountings(point)
    whole = [keys for keys in listed if keys and all(key in places.cavities for key in keys)]
    if not whole and any(listed):
        some = [key for keys in listed for key in keys if key in places.cavities]
        absent = [key for keys in listed for key in keys if key not in places.cavities]
        if told and (harness.chosen is None or any(key not in document.by_id for key in absent)):
            places.nowhere.append(f"{document.called(point) or point.get('id', '')} ({', '.join(absent)})")
        whole = [some]
    ends = [[places.cavities[key] for key in keys] for keys in whole]
    if len(ends) > 1 and any(_varies(document, end, harness, places) for each in ends for end in each):
        places.alternatives.append(document.called(point) or point.get("id", ""))
        ends = ends[:1]
    return list(dict.fromkeys(end for each in ends for end in each))


def _varies(document: VecDocument, end: End, harness: Harness, places: Places) -> bool:
    component = document.by_id.get(places.of_component.get(end.connector, ""))
    return component is not None and bool(harness.variants.of(component))


def _contact_point(document: VecDocument, contact: _Contact, places: Places) -> None:
    point, wires = contact.point, contact.wires
    terminal = (point.findtext("MountedTerminal") or "").strip()
    if contact.cavities:
        end = _apart(contact, places)
        places.bridges += [(end, other) for other in contact.cavities[1:]]
    elif terminal in places.terminals:
        end = places.terminals[terminal]
    elif not wires:
        return
    elif terminal or any(mountings(point)):
        if terminal and not any(mountings(point)):
            places.nowhere.append(f"{document.called(point) or point.get('id', '')} ({terminal})")
        return
    else:
        end = _bare(document, point, len(wires), places)
    for key, name in wires.items():
        first = places.wire_ends.setdefault(key, end)
        if first != end:
            document.left_out.append(f"wire {name}: the file places one end at {first} and at {end} as well")
    for at in (end, *contact.cavities[1:]):
        places.wires_at.setdefault(at, []).extend(wires)
    if any(one.find("MountedCavitySeal") is not None for one in point.iterfind("WireMounting")):
        places.sealed.add(end)
    if any(one.find("ReplacedPlug") is not None for one in point.iterfind("CavityMounting")) and not wires:
        places.plugged.add(end)


def _wires_on(point: etree._Element) -> list[str]:
    return [
        key
        for mounting in point.iterfind("WireMounting")
        for key in (mounting.findtext("ReferencedWireEnd") or "").split()
    ]


def _apart(contact: _Contact, places: Places) -> End:
    """Return the cavity, or one beside it where another conductor of the same cable is in it."""
    own = contact.cavities[0]
    end, number = own, 1
    while contact.cables & {
        contact.cable_of[key] for key in places.wires_at.get(end, ()) if key in contact.cable_of
    }:
        word = contact.beside
        first = 1 if word == "screen" else 2
        what = word if number == first == 1 else f"{word} {number + first - 1}"
        connector, end = beside(places.connectors[own.connector], own.cavity, what)
        places.add(connector)
        number += 1
    if end != own:
        places.coaxial.append(end)
    if contact.wires and places.wires_at.get(end):
        places.shared.append(end)
    return end


def _bare(document: VecDocument, point: etree._Element, wires: int, places: Places) -> End:
    """Return the end of a contact point without terminal and cavity: a joint, or a wire's loose end."""
    name = places.names.give(document.called(point) or point.get("id", "end"))
    if wires == 1:
        places.bare.append(name)
    if wires > 1:
        places.add(Connector(name, ConnectorKind.SPLICE))
        return End(name)
    places.add(Connector(name, ConnectorKind.TAIL, (("1",),)))
    return End(name, "1")
