"""A loom as KBL 2.5, with a list of what KBL cannot hold.

One connector is one housing part with one slot for each row; wires in one cavity share its contact
point; wires with one screen are the cores of one cable; twisted wires are a wiring group.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from lxml import etree

from loomproof.errors import Problem
from loomproof.loom import colours
from loomproof.loom.kbl.document import NOTHING, Document
from loomproof.loom.kbl.elements import Builder, Child, container, key, keys
from loomproof.loom.kbl.losses import cables_of, losses, twists_of
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.places import HAZARD, LOCATION
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.kbl.remainder import instructions, lacking
from loomproof.loom.model import Component, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.version import VERSION

_USAGE = {
    ConnectorKind.SPLICE: "splice",
    ConnectorKind.RING: "ring terminal",
    ConnectorKind.TAIL: "no end",
}


@dataclass(frozen=True, slots=True)
class Written:
    """A KBL 2.5 file, and what of the loom it cannot hold."""

    content: bytes
    left_out: tuple[Problem, ...] = ()


def write(loom: Loom) -> Written:
    """Return the loom as KBL 2.5 (UTF-8) that validates, equal looms as equal bytes, and what it lacks.

    What KBL lacks is carried in the file in words of our own, which only `read` of this room reads back.
    """
    bare = _Writer(loom).content()
    read_back = _read_back(bare)
    carried = lacking(loom, read_back)
    content = _Writer(loom, (read_back, carried)).content() if carried else bare
    return Written(content, losses(loom))


def _read_back(content: bytes) -> Loom:
    """Return what the file says; its tree, which is large, ends with this call."""
    root, _ = parse(content, "the file as written")
    return read_root(Document(root, "the file as written")).loom


_PARTS_BEFORE = (*("Cavity_plug", "Cavity_seal", "Component", "Connector_housing", "General_wire"),)
_OCCURRENCES = (
    *("Cavity_plug_occurrence", "Cavity_seal_occurrence", "Component_occurrence", "Connection"),
    *("Connector_occurrence", "General_wire_occurrence", "Wiring_group"),
)
"""Parts of the container and occurrences of the harness in the schema's order."""


@dataclass
class _Writer:
    loom: Loom
    remainder: tuple[Loom, Mapping[str, str]] | None = None
    build: Builder = field(default_factory=Builder)
    parts: dict[str, list[etree._Element]] = field(default_factory=dict)
    occurrences: dict[str, list[etree._Element]] = field(default_factory=dict)
    contacts: dict[End, etree._Element] = field(default_factory=dict)
    cavities: dict[End, etree._Element] = field(default_factory=dict)
    conductors: dict[str, etree._Element] = field(default_factory=dict)

    def content(self) -> bytes:
        """Return the file."""
        self.square = self.build.make(
            "Unit", [("Si_unit_name", "metre"), ("Si_prefix", "milli"), ("Si_dimension", "square")]
        )
        self.metre = self.build.make("Unit", [("Si_unit_name", "metre"), ("Si_prefix", "milli")])
        self.ampere = self.build.make("Unit", [("Si_unit_name", "ampere")])
        self.touched = {end for _, end in self.loom.walk()}
        self.facts = {facts.end: facts for facts in self.loom.cavity_facts}
        for connector in self.loom.connectors:
            self._connector(connector)
        self._wires()
        for part in self.loom.components:
            self._component(part)
        return container(
            [
                *(part for tag in _PARTS_BEFORE for part in self.parts.get(tag, ())),
                self._harness(),
                self.square,
                self.metre,
                self.ampere,
            ],
            "loomproof",
            VERSION,
        )

    def _add(self, tag: str, element: etree._Element) -> etree._Element:
        self.occurrences.setdefault(tag, []).append(element)
        return element

    def _part(
        self,
        tag: str,
        number: str,
        about: str,
        children: Iterable[Child | etree._Element | None] = (),
        kind: str = "",
    ) -> etree._Element:
        part = self.build.part(tag, number, about, children, kind)
        self.parts.setdefault(tag, []).append(part)
        return part

    def _value(self, tag: str, unit: etree._Element, value: float) -> etree._Element:
        return self.build.make(tag, [("Unit_component", key(unit)), ("Value_component", repr(value))])

    def _connector(self, connector: Connector) -> None:
        rows = connector.rows if connector.kind is not ConnectorKind.SPLICE else (("1",),)
        slots: list[etree._Element] = []
        slot_occurrences: list[etree._Element] = []
        for number, row in enumerate(rows, 1):
            names = [name for name in row if name]
            if not names:
                continue
            cavities = [self.build.make("Cavities", [("Cavity_number", name)]) for name in names]
            slot = self.build.make(
                "Slots", [("Id", str(number)), ("Number_of_cavities", str(len(names))), *cavities]
            )
            slots.append(slot)
            placed = [
                self._cavity(connector, cavity, name) for cavity, name in zip(cavities, names, strict=True)
            ]
            slot_occurrences.append(self.build.make("Slots", [("Part", key(slot)), *placed]))
        housing = self._part(
            "Connector_housing",
            connector.housing,
            "",
            [("Housing_type", connector.kind.value), *slots],
        )
        usage = _USAGE.get(connector.kind)
        points = [self.contacts[end] for end in connector.ends if end in self.contacts]
        told = [(HAZARD, connector.hazard.value)] if connector.hazard is not Hazard.UNKNOWN else []
        told += [(LOCATION, connector.location)] if connector.location else []
        self._add(
            "Connector_occurrence",
            self.build.make(
                "Connector_occurrence",
                [
                    ("Id", connector.name),
                    ("Description", connector.description) if connector.description else None,
                    ("Usage", usage) if usage else None,
                    ("Part", key(housing)),
                    *points,
                    *(self.build.instruction("Installation_information", kind, said) for kind, said in told),
                    *slot_occurrences,
                ],
            ),
        )

    def _cavity(self, connector: Connector, part: etree._Element, name: str) -> etree._Element:
        end = End(connector.name, "" if connector.kind is ConnectorKind.SPLICE else name)
        facts = self.facts.get(end)
        sealed = facts is not None and facts.sealed is True
        plug = self._fitting("Cavity_plug") if sealed and end not in self.touched else None
        cavity = self.build.make(
            "Cavities", [("Associated_plug", key(plug)) if plug is not None else None, ("Part", key(part))]
        )
        self.cavities[end] = cavity
        if end in self.touched:
            seal = self._fitting("Cavity_seal") if sealed else None
            self.contacts[end] = self.build.make(
                "Contact_points",
                [
                    ("Id", str(end)),
                    ("Associated_parts", key(seal)) if seal is not None else None,
                    ("Contacted_cavity", key(cavity)),
                ],
            )
        return cavity

    def _fitting(self, tag: str) -> etree._Element:
        """Add one cavity plug or seal; all of a kind are one part, for a loom names no part number."""
        if tag not in self.parts:
            self._part(tag, "", "")
        occurrence = self.build.make(f"{tag}_occurrence", [("Part", key(self.parts[tag][0]))])
        return self._add(f"{tag}_occurrence", occurrence)

    def _wires(self) -> None:
        screened = cables_of(self.loom)
        in_cable = {name for cable in screened for name in cable}
        general: dict[tuple[float | None, str], etree._Element] = {}
        for wire in self.loom.wires:
            if wire.name not in in_cable:
                look = (wire.csa_mm2, wire.colour)
                if look not in general:
                    general[look] = self._part(
                        "General_wire",
                        "",
                        "",
                        [self._section(wire), *self._colours("Cover_colour", wire.colour)],
                    )
                self._single(wire, general[look])
        for cable in screened:
            self._cable([self.loom.wire_by_name[name] for name in cable])
        for wire in self.loom.wires:
            self._connection(wire)
        for number, group in enumerate(twists_of(self.loom), 1):
            assigned = keys(self.conductors[name] for name in group)
            self._add(
                "Wiring_group",
                self.build.make(
                    "Wiring_group",
                    [("Id", str(number)), ("Type", "twisted"), ("Assigned_wire", assigned)],
                ),
            )

    def _section(self, wire: Wire) -> etree._Element | None:
        if wire.csa_mm2 is None:
            return None
        return self._value("Cross_section_area", self.square, wire.csa_mm2)

    def _colours(self, tag: str, colour: str) -> list[etree._Element]:
        parts = colour.split("/") if colour else [NOTHING]
        return [
            self.build.make(
                tag,
                [
                    ("Colour_type", "Kennfarbe" if number else "Grundfarbe"),
                    ("Colour_value", written_colour(part)),
                ],
            )
            for number, part in enumerate(parts)
        ]

    def _length(self, wire: Wire) -> etree._Element:
        length_mm = 0.0 if wire.length_m is None else round(wire.length_m * 1000, 6)
        return self.build.make(
            "Length_information",
            [("Length_type", "Production"), self._value("Length_value", self.metre, length_mm)],
        )

    def _single(self, wire: Wire, part: etree._Element) -> None:
        occurrence = self.build.make(
            "General_wire_occurrence",
            [("Part", key(part)), self._length(wire), ("Wire_number", wire.name)],
            "Wire_occurrence",
        )
        self.conductors[wire.name] = self._add("General_wire_occurrence", occurrence)

    def _cable(self, wires: list[Wire]) -> None:
        """Add a cable; the first of the wires is the screen of the others."""
        cores = []
        for number, wire in enumerate(wires):
            area = 0.0 if wire.csa_mm2 is None else wire.csa_mm2
            cores.append(
                self.build.make(
                    "Core",
                    [
                        ("Id", wire.name),
                        ("Wire_type", "individual wire" if number else "screen"),
                        self._value("Cross_section_area", self.square, area),
                        *self._colours("Core_colour", wire.colour),
                    ],
                )
            )
        part = self._part(
            "General_wire",
            "",
            "",
            [("Wire_type", "multicore wire"), *cores, *self._colours("Cover_colour", "")],
        )
        placed = []
        for wire, core in zip(wires, cores, strict=True):
            occurrence = self.build.make(
                "Core_occurrence", [("Wire_number", wire.name), ("Part", key(core)), self._length(wire)]
            )
            self.conductors[wire.name] = occurrence
            placed.append(occurrence)
        # A core without a length would take the cable's, so the cable has one only where all cores do.
        longest = max(wires, key=lambda wire: wire.length_m or 0.0)
        if any(wire.length_m is None for wire in wires):
            longest = replace(longest, length_m=None)
        self._add(
            "General_wire_occurrence",
            self.build.make(
                "General_wire_occurrence",
                [("Part", key(part)), self._length(longest), ("Special_wire_id", wires[0].name), *placed],
                "Special_wire_occurrence",
            ),
        )

    def _connection(self, wire: Wire) -> None:
        ends = [
            self.build.make(
                "Extremities", [("Position_on_wire", str(place)), ("Contact_point", key(self.contacts[end]))]
            )
            for place, end in enumerate(wire.ends)
        ]
        self._add(
            "Connection",
            self.build.make(
                "Connection",
                [
                    ("Id", wire.name),
                    ("Description", wire.note) if wire.note else None,
                    ("Signal_name", wire.circuit) if wire.circuit else None,
                    ("Wire", key(self.conductors[wire.name])),
                    *ends,
                ],
            ),
        )

    def _component(self, part: Component) -> None:
        fuse = part.form.blows
        rating: list[etree._Element] = []
        if fuse and part.rating_a is not None:
            rating = [self._value("Nominal_current", self.ampere, part.rating_a)]
        master = self._part("Component", "", part.kind.value, rating, "Fuse" if fuse else "")
        mounted = dict.fromkeys(key(self.cavities[end]) for end in part.ends)
        pins = [
            self.build.make(
                "Component_pin_maps",
                [
                    ("Component_pin_number", pin),
                    ("Cavity_number", end.cavity or "1"),
                    ("Connected_contact_points", key(self.contacts[end])),
                ],
            )
            for pin, end in part.terminals
        ]
        occurrence = self.build.make(
            "Component_occurrence",
            [
                ("Id", part.name),
                ("Description", part.note) if part.note else None,
                ("Mounting", " ".join(mounted)),
                ("Part", key(master)),
                *pins,
            ],
            "Fuse_occurrence" if fuse else "",
        )
        self._add("Component_occurrence", occurrence)

    def _harness(self) -> etree._Element:
        return self.build.part(
            "Harness",
            self.loom.part_number or self.loom.serial,
            self.loom.name,
            [
                *(instructions(self.build, *self.remainder) if self.remainder else ()),
                ("Car_classification_level_2", NOTHING),
                ("Model_year", NOTHING),
                ("Content", "harness complete set"),
                *(element for tag in _OCCURRENCES for element in self.occurrences.get(tag, ())),
            ],
        )


def written_colour(colour: str) -> str:
    """Return one part of a held colour as KBL files carry it: IEC 60757 letters, else German ones."""
    if colour in colours.NAMES or colour == NOTHING:
        return colour
    try:
        return colours.write(colour, colours.GERMAN)
    except ValueError:
        return colour
