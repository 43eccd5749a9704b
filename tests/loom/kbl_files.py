"""Where the open KBL files are, and a count of what is in them that shares no code with the project."""

from __future__ import annotations

import os
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import networkx
import pytest

ROOT = Path(__file__).resolve().parents[2]
VARIABLE = "LOOMPROOF_OPEN_DATA"

MAIN_HARNESS = "main_harness_kbl24.kbl"
GENERATOR_CABLE = "generator_cable_kbl23.kbl"
COMPONENT_BOX = "component_box_kbl24.kbl"


def open_data(name: str) -> Path:
    """Return the path of a file of the open data, or skip the test with the reason."""
    folder = Path(os.environ.get(VARIABLE) or ROOT.parent / "shared" / "open_data" / "kbl")
    path = folder / name
    if not path.exists():
        pytest.skip(f"open data {name} is not there: {VARIABLE} names the folder that holds it")
    return path


@dataclass(frozen=True)
class Counted:
    """The harness of a KBL file, read with ElementTree and joined with networkx."""

    path: Path

    @cached_property
    def root(self) -> ElementTree.Element:
        return ElementTree.parse(self.path).getroot()

    @cached_property
    def harness(self) -> ElementTree.Element:
        found = self.root.find("Harness")
        assert found is not None
        return found

    @cached_property
    def by_id(self) -> dict[str, ElementTree.Element]:
        return {element.attrib["id"]: element for element in self.root.iter() if "id" in element.attrib}

    @cached_property
    def connections(self) -> list[ElementTree.Element]:
        return self.harness.findall("Connection")

    @cached_property
    def places(self) -> dict[str, tuple[ElementTree.Element, str, str]]:
        """Contact point id to (its connector or box, the cavity's element id, the cavity's number)."""
        found = {}
        for tag in ("Connector_occurrence", "Component_box_occurrence"):
            for occurrence in self.harness.findall(tag):
                for contact in occurrence.findall("Contact_points"):
                    (cavity,) = (contact.findtext("Contacted_cavity") or "").split()
                    number = self.by_id[self.by_id[cavity].findtext("Part") or ""].findtext("Cavity_number")
                    found[contact.attrib["id"]] = (occurrence, cavity, number or "")
        return found

    def contacts(self, connection: ElementTree.Element) -> list[str]:
        return [end.findtext("Contact_point") or "" for end in connection.findall("Extremities")]

    @cached_property
    def controls(self) -> dict[str, set[str]]:
        """Element id to the modules that control it."""
        found: dict[str, set[str]] = {}
        for module in self.harness.findall("Module"):
            for key in (module.findtext("Module_configuration/Controlled_components") or "").split():
                found.setdefault(key, set()).add(module.attrib["id"])
        return found

    def configured(self, index: int | None) -> list[ElementTree.Element]:
        """Connections of a configuration by its place in the file; all of them for ``None``."""
        if index is None:
            return self.connections
        chosen = set((self.harness.findall("Harness_configuration")[index].findtext("Modules") or "").split())
        return [one for one in self.connections if self.controls.get(one.attrib["id"], set()) & chosen]

    def joined(self, connections: Iterable[ElementTree.Element], rule: str) -> list[set[tuple[str, str]]]:
        """Nets of connections under a rule of what joins wire ends: contact, splice, ring or cavity."""
        graph: networkx.Graph[tuple[str, str]] = networkx.Graph()
        for connection in connections:
            graph.add_edge(*(self._node(contact, rule) for contact in self.contacts(connection)))
        return list(networkx.connected_components(graph))

    def _node(self, contact: str, rule: str) -> tuple[str, str]:
        occurrence, cavity, number = self.places[contact]
        name, usage = occurrence.findtext("Id") or "", occurrence.findtext("Usage")
        if usage == "splice" and rule != "contact":
            return name, ""
        if rule == "cavity" or (usage == "ring terminal" and rule == "ring"):
            assert cavity
            return name, number
        return contact, ""
