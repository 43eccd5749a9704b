"""What a KBL file holds and a loom does not: counted and told, so that nothing is dropped in silence."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from lxml import etree

from loomproof.loom.kbl.document import Document, counted
from loomproof.loom.kbl.places import HAZARD, LOCATION
from loomproof.loom.kbl.remainder import is_ours

INSTRUCTIONS = (HAZARD, LOCATION)
"""Types of instructions that are read."""

READ = frozenset(
    {
        *("Cavity_plug", "Cavity_plug_occurrence", "Cavity_seal", "Cavity_seal_occurrence"),
        *("Component", "Component_box", "Component_box_occurrence", "Component_occurrence"),
        *("Connector_housing", "Connector_occurrence", "Connection", "Wiring_group"),
        *("General_wire", "General_wire_occurrence", "Harness", "Harness_configuration"),
        *("Module", "Module_configuration", "Module_families", "Routing", "Segment"),
        *("Special_terminal", "Special_terminal_occurrence"),
        *("Cartesian_point", "Unit"),
    }
)
"""Elements of the container and the harness that the loom is made of."""

INNER = frozenset(
    {
        # Names, and what every file or part must have.
        *("Generating_system_name", "Generating_system_version"),
        *("Id", "Part", "Part_number", "Company_name", "Version", "Abbreviation", "Description"),
        *("Alias_id", "Scope", "Terminal_type"),
        *("Car_classification_level_2", "Car_classification_level_3", "Car_classification_level_4"),
        *("Model_year", "Content", "Project_number"),
        # Places.
        *(
            "Usage",
            "Placement",
            "U",
            "V",
            "Cartesian_point",
            "Coordinates",
            "Slots",
            "Cavities",
            "Housing_type",
        ),
        *("Cavity_number", "Number_of_cavities", "Associated_plug", "Mated_slots", "Mated_cavities"),
        *("Contact_points", "Contacted_cavity", "Associated_parts", "Integrated_slots"),
        *("Component_box_connectors", "Component_slots", "Component_cavities", "Connections"),
        *("Valid_fuse_types", "Key", "Reference_system", "Max_current", "Min_current"),
        # Conductors.
        *("Wire", "Extremities", "Position_on_wire", "Contact_point", "Signal_name", "Nominal_voltage"),
        *("Core", "Core_occurrence", "Unconnected", "Wire_number", "Special_wire_id", "Wire_type"),
        *("Cross_section_area", "Core_colour", "Cover_colour", "Colour_type", "Colour_value"),
        *("Length_information", "Length_type", "Length_value", "Unit_component", "Value_component"),
        *("Type", "Assigned_wire", "Routed_wire", "Segments", "Virtual_length", "Physical_length"),
        *("Start_node", "End_node", "Unit_name", "Si_unit_name", "Si_prefix", "Si_dimension"),
        # Parts and variants.
        *("Mounting", "Component_pin_maps", "Component_pin_number", "Connected_contact_points"),
        *("Nominal_current", "Of_family", "Module_configuration", "Modules", "Controlled_components"),
        *("Logistic_control_information", "Configuration_type"),
    }
)
"""Details that are read, or that say nothing of their own."""


def tell_rest(document: Document) -> None:
    """Tell which elements, details and conductors of the file did not go into the loom."""
    rest: Counter[str] = Counter()
    details: Counter[str] = Counter()
    for element in (
        *document.root.iterchildren(etree.Element),
        *document.harness.iterchildren(etree.Element),
    ):
        tag = etree.QName(element).localname
        if tag == "Processing_information" and is_ours(element.findtext("Instruction_type") or ""):
            continue
        if tag in READ:
            if tag != "Harness":
                details.update(_details(element))
        elif element.get("id") is not None or len(element):
            rest[tag] += 1
        elif tag not in INNER:
            details[tag] += 1
    if rest:
        document.warn_list("read and not part of a loom's description", counted(rest))
    if details:
        document.warn_list("details that a loom's description does not hold", counted(details))
    _tell_inner(document)
    loose = list(_loose(document))
    document.left_out += [f"wire or core {name}: no connection of the file names it" for name in loose]
    document.warn_of("wires and cores that no connection names, left out", loose)


def _details(element: etree._Element) -> Iterator[str]:
    for child in element.iterchildren(etree.Element):
        tag = etree.QName(child).localname
        if tag in INNER:
            yield from _details(child)
        elif tag != "Installation_information" or child.findtext("Instruction_type") not in INSTRUCTIONS:
            yield tag


def _tell_inner(document: Document) -> None:
    inner = sum(1 for part in document.root.iterfind("Assembly_part") for _ in part.iterfind("Connection"))
    if inner:
        document.left_out.append(f"{inner} connections inside assembly parts")
        document.warn(
            f"connections that stand inside assembly parts, left out: {inner}",
            cure="Ask for a file whose harness lists them.",
        )


def _loose(document: Document) -> Iterator[str]:
    named = {(one.findtext("Wire") or "").strip() for one in document.harness.iterfind("Connection")}
    for wire in document.harness.iterfind("General_wire_occurrence"):
        cores = wire.findall("Core_occurrence")
        for one in cores or [wire]:
            if one.get("id", "") not in named:
                cable = document.text(wire, "Special_wire_id")
                number = document.text(one, "Wire_number")
                yield f"{cable}.{number}" if cores else number or cable or one.get("id", "")
