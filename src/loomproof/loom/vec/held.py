"""What reading the places of a VEC file hands on: the harness that is read, and where its ends came to be."""

from __future__ import annotations

from dataclasses import dataclass, field

from lxml import etree

from loomproof.loom.kbl.naming import Names
from loomproof.loom.kbl.variants import Variants
from loomproof.loom.model import Connector, End
from loomproof.loom.vec.cables import Cables


@dataclass
class Places:
    """Connectors by name; ends by the ids of cavity references, wire ends, terminals and slots."""

    names: Names = field(default_factory=Names)
    connectors: dict[str, Connector] = field(default_factory=dict)
    cavities: dict[str, End] = field(default_factory=dict)
    slots: dict[str, dict[str, End]] = field(default_factory=dict)
    terminals: dict[str, End] = field(default_factory=dict)
    wire_ends: dict[str, End] = field(default_factory=dict)
    wires_at: dict[End, list[str]] = field(default_factory=dict)
    sealed: set[End] = field(default_factory=set)
    plugged: set[End] = field(default_factory=set)
    pyrotechnic: list[str] = field(default_factory=list)
    bridges: list[tuple[End, End]] = field(default_factory=list)
    ports: dict[str, End] = field(default_factory=dict)
    of_component: dict[str, str] = field(default_factory=dict)
    shared: list[End] = field(default_factory=list)
    nowhere: list[str] = field(default_factory=list)
    alternatives: list[str] = field(default_factory=list)
    coaxial: list[End] = field(default_factory=list)
    bare: list[str] = field(default_factory=list)

    def add(self, connector: Connector) -> None:
        """Keep a connector under its name."""
        self.connectors[connector.name] = connector


@dataclass(frozen=True)
class Harness:
    """What is read of a file: the components, conductors and variants of one harness."""

    components: list[etree._Element]
    cables: Cables
    variants: Variants
    chosen: frozenset[str] | None
    where: dict[str, str]
    """Where a component is, in words, by its id."""

    def has(self, element: etree._Element) -> bool:
        """Whether an element is there under the chosen configuration."""
        return self.variants.has(element, self.chosen)
