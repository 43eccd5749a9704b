"""Connections as wires: one wire for each pair of neighbouring extremities of a connection.

Length: of several length entries the first positive one of the wanted type counts, else the first
positive one; where none is positive, the length of the wire's route.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from lxml import etree

from loomproof.loom import colours
from loomproof.loom.kbl.contacts import SCREENS
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.places import Places
from loomproof.loom.kbl.routes import Routes
from loomproof.loom.kbl.runs import grouped, in_a_row, runs_of
from loomproof.loom.model import End, Wire
from loomproof.loom.text import list_of

TRACERS = ("kennfarbe", "kfarbe", "ident", "identification colour", "tracer", "second", "third", "stripe")
"""Colour types of a tracer; any other type (``Grundfarbe``) is the base. The schema leaves the type open."""

SCREEN_COLOURS = ("src", "screen", "schirm", "blank", "bare")
"""Colours that a cable's one uninsulated conductor is given."""

IN_NO_ROW = "conductors of more than two ends whose positions say no order, read from end to end as listed"
IN_NO_ROW_CURE = "What is joined is right; where each piece runs and how long it is nobody said."

TWISTED = ("twist", "verdrillt", " utp ", " stp ")
"""Words in the type of a core, in the type or description of a cable, or in that of a group."""


@dataclass
class Told:
    """What is said once for all wires."""

    no_length: list[str] = field(default_factory=list)
    routed: list[str] = field(default_factory=list)
    no_section: list[str] = field(default_factory=list)
    no_place: list[str] = field(default_factory=list)
    same_place: list[str] = field(default_factory=list)
    fewer_ends: list[str] = field(default_factory=list)
    in_no_row: list[str] = field(default_factory=list)
    strange_colours: Counter[str] = field(default_factory=Counter)
    length_types: Counter[str] = field(default_factory=Counter)
    voltages: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class _Conductor:
    """The occurrence that a connection names: a single wire, or one core of a cable."""

    number: str
    cable: str
    part: etree._Element | None
    lengths: tuple[etree._Element, ...]
    colour_tag: str
    key: str
    siblings: tuple[str, ...] = ()


def read_wires(
    document: Document,
    connections: list[etree._Element],
    places: Places,
    routes: Routes,
    circuits: Mapping[str, str],
    length_type: str | None,
) -> tuple[Wire, ...]:
    """Return the wires of these connections; what each lacks is told in warnings."""
    told = Told()
    conductors = {c.get("id", ""): _conductor(document, c) for c in connections}
    numbers = Counter(conductor.number for conductor in conductors.values())
    names = Names()
    drafts: list[tuple[_Conductor, Wire]] = []
    for connection in connections:
        conductor = conductors[connection.get("id", "")]
        wanted = conductor.number or document.text(connection, "Id") or connection.get("id", "wire")
        if numbers[conductor.number] > 1 and conductor.cable:
            wanted = f"{conductor.cable}.{conductor.number}"
        ends = _ends(connection, places)
        name = names.give(wanted)
        if len(ends) < 2:
            told.no_place.append(name)
            document.left_out.append(f"wire {name}: the file places {len(ends)} of its ends")
            continue
        stated = len(connection.findall("Extremities"))
        if len(ends) < stated:
            told.fewer_ends.append(name)
            document.left_out.append(f"wire {name}: the file places {len(ends)} of its {stated} ends")
        if len(ends) > 2 and not in_a_row(ends):
            told.in_no_row.append(name)
        base = _wire(document, connection, conductor, name, ends, routes, told, length_type)
        circuit = circuits.get(connection.get("id", ""), "")
        for wire in runs_of(replace(base, circuit=circuit), ends, names):
            if wire.a == wire.b:
                told.same_place.append(wire.name)
                document.left_out.append(f"wire {wire.name}: both of its ends are at {wire.a}")
            else:
                drafts.append((conductor, wire))
    _tell(document, told, names, length_type)
    screens = _screens(document, {conductor.key: conductor for conductor, _ in drafts})
    return grouped([(conductor.key, wire) for conductor, wire in drafts], _twisted(document), screens)


def _conductor(document: Document, connection: etree._Element) -> _Conductor:
    found = document.ref(connection, "Wire")
    if found is None:
        return _Conductor("", "", None, (), "Cover_colour", "")
    part = document.part(found)
    key = found.get("id", "")
    lengths = tuple(found.iterfind("Length_information"))
    number = document.text(found, "Wire_number")
    if found.tag != "Core_occurrence":
        return _Conductor(number, "", part, lengths, "Cover_colour", key)
    cable = found.getparent()
    assert cable is not None
    siblings = tuple(core.get("id", "") for core in cable.iterfind("Core_occurrence"))
    lengths += tuple(cable.iterfind("Length_information"))
    return _Conductor(
        number, document.text(cable, "Special_wire_id"), part, lengths, "Core_colour", key, siblings
    )


def _ends(connection: etree._Element, places: Places) -> list[tuple[float, End]]:
    found = []
    for extremity in connection.iterfind("Extremities"):
        contact = (extremity.findtext("Contact_point") or "").strip()
        end = places.contacts.get(contact) or places.cavities.get(contact)
        end = end or places.on_connectors.get((connection.get("id", ""), contact))
        if end is not None:
            found.append((float(extremity.findtext("Position_on_wire") or "0"), end))
    return sorted(found, key=lambda pair: pair[0])


def _wire(
    document: Document,
    connection: etree._Element,
    conductor: _Conductor,
    name: str,
    ends: list[tuple[float, End]],
    routes: Routes,
    told: Told,
    length_type: str | None,
) -> Wire:
    notes = [document.text(connection, "Description")] if connection.find("Description") is not None else []
    notes += [f"core of {conductor.cable}"] if conductor.cable else []
    voltage = document.text(connection, "Nominal_voltage")
    if voltage:
        told.voltages[voltage] += 1
        notes.append(f"nominal voltage {voltage}")
    colour, note = _colour(document, conductor, told)
    notes += [note] if note else []
    part = conductor.part
    csa_mm2 = document.value(part.find("Cross_section_area") if part is not None else None, "area")
    if not csa_mm2:
        told.no_section.append(name)
        csa_mm2 = None
    length_m = _length(document, conductor, told, length_type)
    route = routes.by_connection.get(connection.get("id", ""))
    if length_m is None:
        if route is not None and route.length_m:
            length_m = round(route.length_m, 6)
            notes.append("length of its route")
            told.routed.append(name)
        else:
            told.no_length.append(name)
    return Wire(
        name,
        ends[0][1],
        ends[-1][1],
        colour=colour,
        csa_mm2=csa_mm2,
        length_m=length_m,
        bundle=list_of(route.bundles) if route is not None else "",
        note=", ".join(filter(None, notes)),
    )


def _length(document: Document, conductor: _Conductor, told: Told, length_type: str | None) -> float | None:
    positive: dict[str, float] = {}
    for entry in conductor.lengths:
        kind = document.text(entry, "Length_type")
        value_m = document.value(entry.find("Length_value"), "length")
        told.length_types[kind] += 1
        if value_m is not None and value_m > 0:
            positive.setdefault(kind, value_m)
    if length_type is not None and length_type in positive:
        return round(positive[length_type], 9)
    return round(next(iter(positive.values())), 9) if positive else None


def _colour(document: Document, conductor: _Conductor, told: Told) -> tuple[str, str]:
    base: list[str] = []
    tracers: list[str] = []
    strange: list[str] = []
    said_all: list[str] = []
    if conductor.part is None:
        return "", ""
    for entry in conductor.part.iterfind(conductor.colour_tag):
        said = document.text(entry, "Colour_value")
        if not said:
            continue
        said_all.append(said)
        try:
            held = read_colour(said)
        except ValueError:
            told.strange_colours[said] += 1
            strange.append(said)
            continue
        kind = document.text(entry, "Colour_type").casefold()
        (tracers if any(word in kind for word in TRACERS) else base).append(held)
    if strange:
        # Half a colour would be another colour: all of it goes into the note.
        return "", f"colour {' '.join(said_all)}"
    return "/".join(base + tracers), ""


def read_colour(said: str) -> str:
    """Return a colour of a KBL file: IEC 60757 or German letters, or words.

    Capitals are IEC 60757 where that reads them, else German. No pair of German letters but GN is a code of
    IEC 60757, and that is green in both. Raises `ValueError` where it is neither.
    """
    if said.isupper() and colours.parts_of(said, colours.IEC_60757):
        return colours.read(said, colours.IEC_60757)
    if colours.parts_of(said, colours.GERMAN):
        return colours.read(said, colours.GERMAN)
    return colours.read(said, colours.IEC_60757)


def _twisted(document: Document) -> dict[str, tuple[str, ...]]:
    """Return the conductors twisted together, by conductor: twisted cores of a cable, wiring groups."""
    found: dict[str, tuple[str, ...]] = {}
    for cable in document.harness.iterfind("General_wire_occurrence"):
        cores = cable.findall("Core_occurrence")
        whole = _says(document, document.part(cable), ("Wire_type", "Description"), TWISTED)
        keys = tuple(
            core.get("id", "")
            for core in cores
            if _says(document, document.part(core), ("Wire_type",), TWISTED)
            or (whole and not _is_screen(document, core))
        )
        if len(keys) > 1:
            found.update(dict.fromkeys(keys, keys))
    for group in document.harness.iterfind("Wiring_group"):
        if _says(document, group, ("Type",), TWISTED):
            keys = tuple((group.findtext("Assigned_wire") or "").split())
            found.update(dict.fromkeys(keys, keys))
    return found


def _screens(document: Document, conductors: Mapping[str, _Conductor]) -> dict[str, str]:
    """Return the screen of each core that has one.

    The screen is the one core of its cable whose name says so, else the one whose type says so, else, in a
    cable that is called screened, the one whose colour says that it has no insulation. A cable all of whose
    cores have such a type only says that it is screened.
    """
    found: dict[str, str] = {}
    for conductor in conductors.values():
        if len(conductor.siblings) < 2 or conductor.key in found:
            continue
        screen = _screen_of(document, [document.by_id[key] for key in conductor.siblings])
        if screen:
            found.update({key: screen for key in conductor.siblings if key != screen})
    return found


def _screen_of(document: Document, cores: list[etree._Element]) -> str:
    """Return the id of the core that is the screen of these cores' cable, or an empty text."""
    for tag in ("Id", "Wire_type"):
        screens = [core for core in cores if _says(document, document.part(core), (tag,), SCREENS)]
        if len(screens) == 1:
            return screens[0].get("id", "")
    cable = cores[0].getparent()
    about = document.part(cable) if cable is not None else None
    if _says(document, about, ("Wire_type", "Description"), (*SCREENS, "coax", "koax")):
        screens = [core for core in cores if _is_bare(document, core)]
        if len(screens) == 1:
            return screens[0].get("id", "")
    return ""


def _is_screen(document: Document, core: etree._Element) -> bool:
    part = document.part(core)
    return _says(document, part, ("Id", "Wire_type"), SCREENS) or _is_bare(document, core)


def _is_bare(document: Document, core: etree._Element) -> bool:
    part = document.part(core)
    told = (
        [] if part is None else [document.text(one, "Colour_value") for one in part.iterfind("Core_colour")]
    )
    return bool(told) and all(one.casefold() in SCREEN_COLOURS for one in told)


def _says(
    document: Document, part: etree._Element | None, tags: tuple[str, ...], told: tuple[str, ...]
) -> bool:
    said = [f" {document.text(part, tag).casefold()} " for tag in tags]
    return any(word in one for word in told for one in said)


def _tell(document: Document, told: Told, names: Names, length_type: str | None) -> None:
    document.warn_of("connections that end nowhere, left out", told.no_place)
    document.warn_of("wires that start and end in one place, left out", told.same_place)
    document.warn_of(
        "connections some of whose ends lie in no cavity of the file, read with the others", told.fewer_ends
    )
    document.warn_of(IN_NO_ROW, told.in_no_row, cure=IN_NO_ROW_CURE)
    document.warn_of(
        "wires without a length",
        told.no_length,
        cure="The default of loom.toml applies until you give one in wires.csv, length_m.",
    )
    document.warn_of("wires without a length of their own, which take that of their route", told.routed)
    document.warn_of("wires without a section", told.no_section)
    if told.strange_colours:
        listed = ", ".join(f"{said!r} ({number})" for said, number in told.strange_colours.items())
        document.warn(f"colours that are no German or IEC 60757 letters stand in the note: {listed}")
    if told.voltages:
        listed = ", ".join(f"{said} ({number})" for said, number in told.voltages.items())
        document.warn(
            f"nominal voltages stand in the wires' notes: {listed}",
            cure="Above 60 V d.c. the loom is work for trained people: off the car, capacitors discharged.",
        )
    document.warn_of_lengths(told.length_types, length_type)
    document.warn_of("wire numbers given twice, told apart by a number", names.renamed)
