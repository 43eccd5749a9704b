"""What wires are made of: sections, colours, which conductors are twisted, which is the screen of which."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom import colours
from loomproof.loom.kbl.conductors import read_colour
from loomproof.loom.kbl.document import kind_of
from loomproof.loom.vec.document import VecDocument

SHIELD = "ShieldSpecification"


@dataclass(frozen=True, slots=True)
class Conductor:
    """One conductor in use: its reference, the component that it belongs to, and what it is made of."""

    reference: etree._Element
    component: etree._Element
    csa_mm2: float | None
    colour: str
    note: str
    screen: bool = False

    @property
    def key(self) -> str:
        """The id of its reference."""
        return self.reference.get("id", "")


@dataclass
class Cables:
    """Conductors by the ids of their references, who is twisted with whom, and who screens whom."""

    conductors: dict[str, Conductor] = field(default_factory=dict)
    twisted: dict[str, tuple[str, ...]] = field(default_factory=dict)
    screened_by: dict[str, str] = field(default_factory=dict)

    def cable_of_ends(self) -> dict[str, str]:
        """Return the component of each wire end, by ids, where the component has several conductors."""
        count = Counter(one.component.get("id", "") for one in self.conductors.values())
        return {
            end.get("id", ""): cable
            for one in self.conductors.values()
            for cable in [one.component.get("id", "")]
            if count[cable] > 1
            for end in one.reference.iterfind("WireEnd")
        }

    def names_of_ends(self) -> dict[str, str]:
        """Return what the conductor of each wire end is called, by the ids of the ends."""
        return {
            end.get("id", ""): (one.reference.findtext("Identification") or one.key).strip()
            for one in self.conductors.values()
            for end in one.reference.iterfind("WireEnd")
        }

    def screen_ends(self) -> frozenset[str]:
        """Return the ids of the wire ends of screens."""
        return frozenset(
            end.get("id", "")
            for one in self.conductors.values()
            if one.screen
            for end in one.reference.iterfind("WireEnd")
        )


def read_cables(document: VecDocument, components: list[etree._Element]) -> Cables:
    """Return the conductors of these components: the references that carry wire ends or that a net names."""
    found = Cables()
    strange: Counter[str] = Counter()
    for component in components:
        for role in component.iterfind("Role"):
            if kind_of(role) == "WireRole":
                _role(document, component, role, found, strange)
    for specification in document.specifications("WireGroupingSpecification"):
        for grouping in specification.iter("WireGrouping"):
            group = document.ref(grouping, "WireGroupSpecification")
            keys = tuple((grouping.findtext("RelatedWireElementReference") or "").split())
            if _is_twisted(document, group):
                found.twisted.update(dict.fromkeys(keys, keys))
    if strange:
        listed = ", ".join(f"{said!r} ({number})" for said, number in strange.items())
        document.warn(f"colours that are no German or IEC 60757 letters stand in the note: {listed}")
    return found


def _role(
    document: VecDocument,
    component: etree._Element,
    role: etree._Element,
    found: Cables,
    strange: Counter[str],
) -> None:
    by_element: dict[str, list[str]] = {}
    references = role.findall("WireElementReference")
    for reference in references:
        element = document.ref(reference, "ReferencedWireElement")
        made_of = document.ref(element, "WireElementSpecification") if element is not None else None
        conductor = document.ref(made_of, "ConductorSpecification") if made_of is not None else None
        bare = reference.find("WireEnd") is None and reference.find("Connection") is None
        if bare and conductor is None and len(references) > 1:
            continue  # The cable itself: a jacket, and no conductor.
        colour, note = _colour(document, made_of, strange)
        area = conductor.find("CrossSectionArea") if conductor is not None else None
        screen = conductor is not None and kind_of(conductor) == SHIELD
        key = reference.get("id", "")
        csa_mm2 = document.value(area, "area") or None
        found.conductors[key] = Conductor(reference, component, csa_mm2, colour, note, screen)
        if element is not None:
            by_element.setdefault(element.get("id", ""), []).append(key)
    if not references:
        name = document.called(component) or component.get("id", "")
        document.left_out.append(f"wire {name}: the file says nothing of its conductors")
    specification = document.ref(role, "WireSpecification")
    if specification is not None:
        _structure(document, specification, by_element, found)


def _structure(
    document: VecDocument, specification: etree._Element, by_element: dict[str, list[str]], found: Cables
) -> None:
    """Find twists and screens in the tree of a cable's elements."""
    tree = _Tree(document, specification)
    for element in tree.elements:
        made_of = document.ref(element, "WireElementSpecification")
        if made_of is None:
            continue
        inner = [key for one in tree.below(element) for key in by_element.get(one.get("id", ""), ())]
        cores = tuple(key for key in inner if not found.conductors[key].screen)
        if _is_twisted(document, document.ref(made_of, "WireGroupSpecification")) and len(cores) > 1:
            found.twisted.update(dict.fromkeys(cores, cores))
        conductor = document.ref(made_of, "ConductorSpecification")
        own = by_element.get(element.get("id", ""), [])
        if conductor is not None and kind_of(conductor) == SHIELD and len(own) == 1:
            beside = [key for one in tree.beside(element) for key in by_element.get(one.get("id", ""), ())]
            for key in inner or beside:
                found.screened_by.setdefault(key, own[0])


class _Tree:
    """The elements of a cable and which lie in which: by nesting, else by what their specifications hold."""

    def __init__(self, document: VecDocument, specification: etree._Element) -> None:
        self.elements = [
            one for one in specification.iter("WireElement", "SubWireElement") if one.get("id") is not None
        ]
        self._inner: dict[str, list[etree._Element]] = {}
        by_made_of: dict[str, list[etree._Element]] = {}
        for element in self.elements:
            by_made_of.setdefault((element.findtext("WireElementSpecification") or "").strip(), []).append(
                element
            )
        for element in self.elements:
            nested = element.findall("SubWireElement")
            if not nested:
                made_of = document.ref(element, "WireElementSpecification")
                keys = (
                    (made_of.findtext("SubWireElementSpecification") or "").split()
                    if made_of is not None
                    else []
                )
                nested = [
                    one
                    for key in dict.fromkeys(keys)
                    for one in by_made_of.get(key, ())
                    if one is not element
                ]
            self._inner[element.get("id", "")] = nested

    def below(self, element: etree._Element) -> Iterator[etree._Element]:
        """Yield all elements inside one, each once."""
        seen: set[str] = set()
        waiting = list(self._inner[element.get("id", "")])
        while waiting:
            one = waiting.pop(0)
            key = one.get("id", "")
            if key not in seen:
                seen.add(key)
                yield one
                waiting += self._inner.get(key, [])

    def beside(self, element: etree._Element) -> Iterator[etree._Element]:
        """Yield the elements that lie in the same one, and what is inside of those."""
        holding = next((inner for inner in self._inner.values() if element in inner), [])
        for one in holding:
            if one is not element:
                yield one
                yield from self.below(one)


def _is_twisted(document: VecDocument, group: etree._Element | None) -> bool:
    said = document.text(group, "GroupType").casefold()
    return "twist" in said or "verdrillt" in said


def _colour(document: VecDocument, made_of: etree._Element | None, strange: Counter[str]) -> tuple[str, str]:
    """Return the colour as held and a note; all of it is in the note where a part of it cannot be read."""
    insulation = document.ref(made_of, "InsulationSpecification") if made_of is not None else None
    if insulation is None:
        return "", ""
    said: list[str] = []
    held: list[str] = []
    for tag in ("BaseColor", "FirstIdentificationColor", "SecondIdentificationColor"):
        # Several of one kind are the same colour in other reference systems: the first that is read counts.
        keys = [
            (document.text(one, "Key"), document.text(one, "ReferenceSystem"))
            for one in insulation.iterfind(tag)
        ]
        read = [colour for key, system in keys if key and (colour := _held(key, system))]
        if keys and keys[0][0]:
            said.append(keys[0][0])
            held += read[:1]
    if len(held) < len(said):
        for key in said:
            if not _held(key, ""):
                strange[key] += 1
        return "", f"colour {' '.join(said)}"
    return "/".join(held), ""


def _held(key: str, system: str) -> str:
    try:
        if "60757" in system:
            return colours.read(key, colours.IEC_60757)
        return read_colour(key)
    except ValueError:
        return ""
