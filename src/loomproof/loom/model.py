"""The description of a loom as frozen values: what it should be, before anything is measured.

A wire runs from one `End` to another. An end names a cavity (``ECU:12``) or a splice (``S1``, whose
cavity is the empty text). Every identifier is text: ``01`` is not ``1``.

The values refuse (`ValueError`) what no table could hold: control characters and lone surrogates in
texts, blanks around them, numbers that are not finite or are negative. Whether names meet (a wire's
cavity exists, a circuit is described) is asked of a whole loom, in `loomproof.loom.checking`.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from enum import StrEnum
from functools import cached_property

from loomproof.loom import sections
from loomproof.loom.bundles import Bundle
from loomproof.loom.component import Component
from loomproof.loom.component_kinds import ComponentKind
from loomproof.loom.conversion import Answer, Choice, Circuit, Need
from loomproof.loom.ends import End, end_of, ends_of
from loomproof.loom.guards import number, refuse_flaws
from loomproof.loom.settings import Settings
from loomproof.loom.text import names_of
from loomproof.notebook import Shown

__all__ = [
    "Answer",
    "Bundle",
    "CavityFacts",
    "Choice",
    "Circuit",
    "Component",
    "ComponentKind",
    "Connector",
    "ConnectorKind",
    "End",
    "Hazard",
    "Loom",
    "Need",
    "Settings",
    "Wire",
    "end_of",
    "ends_of",
]


class ConnectorKind(StrEnum):
    """What a connector is."""

    PLUG = "plug"
    SOCKET = "socket"
    RING = "ring"
    BLADE = "blade"
    BULLET = "bullet"
    TAIL = "tail"
    FUSE_HOLDER = "fuse holder"
    RELAY_BASE = "relay base"
    SPLICE = "splice"


class Hazard(StrEnum):
    """What must not be energised; ``UNKNOWN`` is not "no" and must be answered on a real bench."""

    NONE = "none"
    PYROTECHNIC = "pyrotechnic"
    ELECTRONICS = "electronics in place"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Connector:
    """A housing, terminal or splice. ``rows`` are its cavities seen from the mating face ("" is a gap)."""

    name: str
    kind: ConnectorKind
    rows: tuple[tuple[str, ...], ...] = ()
    description: str = ""
    housing: str = ""
    location: str = ""
    hazard: Hazard = Hazard.UNKNOWN

    def __post_init__(self) -> None:
        names = (name for row in self.rows for name in row)
        refuse_flaws("connector", self.name, self.description, self.housing, self.location, *names)
        if not self.name:
            raise ValueError("connector: a name is missing")
        if not all(self.rows):
            raise ValueError(f"connector {self.name}: a row of cavities is empty")

    @property
    def cavities(self) -> tuple[str, ...]:
        """Cavity names in order, row by row."""
        return tuple(name for row in self.rows for name in row if name)

    @property
    def ends(self) -> tuple[End, ...]:
        """The ends of this connector's cavities; a splice has the one end."""
        if self.kind is ConnectorKind.SPLICE:
            return (End(self.name),)
        return tuple(End(self.name, cavity) for cavity in self.cavities)

    def neighbours(self, cavity: str) -> tuple[str, ...]:
        """Cavities beside this one in its row or column (diagonals do not touch)."""
        for y, row in enumerate(self.rows):
            if cavity in row:
                x = row.index(cavity)
                around = ((y, x - 1), (y, x + 1), (y - 1, x), (y + 1, x))
                return tuple(
                    self.rows[v][u]
                    for v, u in around
                    if 0 <= v < len(self.rows) and 0 <= u < len(self.rows[v]) and self.rows[v][u]
                )
        return ()


@dataclass(frozen=True, slots=True)
class CavityFacts:
    """What a cavity table adds to one cavity.

    ``spare``: no wire belongs in it. ``sealed``: a seal or a blanking plug is in place. ``shared``: its
    terminal holds more than one wire (a double crimp), which nothing else may.
    """

    end: End
    spare: bool = False
    sealed: bool | None = None
    note: str = ""
    shared: bool = False

    def __post_init__(self) -> None:
        refuse_flaws(f"cavity {self.end}", *self.end, self.note)


@dataclass(frozen=True, slots=True)
class Wire:
    """A run of conductor from ``a`` to ``b``.

    ``colour`` is in IEC 60757 codes, tracer after a slash (`loomproof.loom.colours`). ``section`` holds
    an AWG or strand size as the table wrote it; ``csa_mm2`` is then computed from it. ``twisted_with``
    and ``bundle`` are lists of names (`loomproof.loom.text.names_of`): the wires twisted with this one,
    and the bundles that it runs through, in order from ``a`` to ``b``. ``screened_by`` names the wire
    that is its screen.
    """

    name: str
    a: End
    b: End
    colour: str = ""
    csa_mm2: float | None = None
    length_m: float | None = None
    circuit: str = ""
    twisted_with: str = ""
    screened_by: str = ""
    bundle: str = ""
    note: str = ""
    section: str = ""

    def __post_init__(self) -> None:
        refuse_flaws("wire", self.name, *self.a, *self.b, self.colour, self.circuit, self.twisted_with)
        refuse_flaws(f"wire {self.name}", self.screened_by, self.bundle, self.note, self.section)
        if not self.name or not self.a.connector or not self.b.connector:
            raise ValueError(f"wire {self.name}: a name is missing")
        object.__setattr__(self, "length_m", number(f"wire {self.name}, length_m", self.length_m))
        csa_mm2 = number(f"wire {self.name}, csa_mm2", self.csa_mm2)
        if csa_mm2 == 0:
            raise ValueError(f"wire {self.name}: a section of 0 mm² is no wire")
        if self.section:
            csa_mm2 = sections.csa_mm2_of(self.section) if csa_mm2 is None else csa_mm2
            if csa_mm2 != sections.csa_mm2_of(self.section):
                raise ValueError(f"wire {self.name}: {self.section} is not {csa_mm2} mm²")
        object.__setattr__(self, "csa_mm2", csa_mm2)
        # Read for their errors only: a list that cannot be read must not wait for whoever asks.
        names_of(self.twisted_with)
        names_of(self.bundle)

    @property
    def ends(self) -> tuple[End, End]:
        """Both ends."""
        return (self.a, self.b)

    @property
    def bundles(self) -> tuple[str, ...]:
        """The bundles that it runs through, in order from ``a`` to ``b``."""
        return names_of(self.bundle)

    @property
    def partners(self) -> tuple[str, ...]:
        """The wires twisted with this one."""
        return names_of(self.twisted_with)


@dataclass(frozen=True)
class Loom(Shown):
    """A whole loom. The order of connectors and cavities is part of the description.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> loom.wire_by_name["W2"].colour, [str(end) for end in loom.wire_by_name["W2"].ends]
    ('BK/RD', ['BODY:2', 'LAMP:2'])
    """

    name: str
    serial: str = ""
    description: str = ""
    connectors: tuple[Connector, ...] = ()
    wires: tuple[Wire, ...] = ()
    components: tuple[Component, ...] = ()
    circuits: tuple[Circuit, ...] = ()
    cavity_facts: tuple[CavityFacts, ...] = ()
    choices: tuple[Choice, ...] = ()
    settings: Settings = field(default_factory=Settings)
    part_number: str = ""
    revision: str = ""
    left_out: tuple[str, ...] = ()
    """What the file that this loom was imported from holds of it and the description does not, in words."""
    learned_from: tuple[str, ...] = ()
    """The known-good looms that this description was learned from, where it is of none's drawing."""
    traced_in: tuple[str, ...] = ()
    """The runs that this description was traced in, where what it says is joined is what was found."""
    bundles: tuple[Bundle, ...] = ()

    def __post_init__(self) -> None:
        refuse_flaws("loom", self.name, self.serial, self.description, self.part_number, self.revision)
        lists = (*self.left_out, *self.learned_from, *self.traced_in)
        refuse_flaws("loom, what is left out, learned or traced", *lists)
        if not self.name:
            raise ValueError("loom: a name is missing")

    @cached_property
    def by_name(self) -> Mapping[str, Connector]:
        """Connectors by name."""
        return {connector.name: connector for connector in self.connectors}

    @cached_property
    def wire_by_name(self) -> Mapping[str, Wire]:
        """Wires by name."""
        return {wire.name: wire for wire in self.wires}

    @cached_property
    def component_by_name(self) -> Mapping[str, Component]:
        """Components by name."""
        return {component.name: component for component in self.components}

    @cached_property
    def circuit_by_name(self) -> Mapping[str, Circuit]:
        """Circuits by name."""
        return {circuit.name: circuit for circuit in self.circuits}

    @cached_property
    def cavities(self) -> tuple[End, ...]:
        """All cavities in the description's order, splices left out.

        This order is what ``in-order`` adapters and the simulated bench map to points 1, 2, 3, …
        """
        return tuple(
            end
            for connector in self.connectors
            if connector.kind is not ConnectorKind.SPLICE
            for end in connector.ends
        )

    @cached_property
    def bundle_by_name(self) -> Mapping[str, Bundle]:
        """Bundles that are described, by name; a wire may run through one that is not."""
        return {bundle.name: bundle for bundle in self.bundles}

    @cached_property
    def splices(self) -> tuple[End, ...]:
        """All splices in the description's order."""
        return tuple(End(c.name) for c in self.connectors if c.kind is ConnectorKind.SPLICE)

    @cached_property
    def wires_at(self) -> Mapping[End, tuple[Wire, ...]]:
        """Wires by the end they sit on."""
        found: dict[End, list[Wire]] = {}
        for wire in self.wires:
            for end in dict.fromkeys(wire.ends):
                found.setdefault(end, []).append(wire)
        return {end: tuple(wires) for end, wires in found.items()}

    @cached_property
    def wires_in(self) -> Mapping[str, tuple[Wire, ...]]:
        """Wires by the bundle that they run through: the wires that lie side by side there."""
        found: dict[str, list[Wire]] = {}
        for wire in self.wires:
            for bundle in dict.fromkeys(wire.bundles):
                found.setdefault(bundle, []).append(wire)
        return {bundle: tuple(wires) for bundle, wires in found.items()}

    @cached_property
    def wires_of(self) -> Mapping[str, tuple[Wire, ...]]:
        """Wires by circuit, those of none under an empty text."""
        found: dict[str, list[Wire]] = {}
        for wire in self.wires:
            found.setdefault(wire.circuit, []).append(wire)
        return {circuit: tuple(wires) for circuit, wires in found.items()}

    @cached_property
    def facts_by_end(self) -> Mapping[End, CavityFacts]:
        """What the cavity table says, by cavity."""
        return {facts.end: facts for facts in self.cavity_facts}

    def is_splice(self, end: End) -> bool:
        """Whether the end is a splice and not a cavity."""
        return not end.cavity

    def need_of(self, circuit: str, answers: Mapping[str, str] | None = None) -> Need:
        """Whether a circuit is needed under the given answers (defaults where one is not given).

        A circuit that several answers speak of takes the strongest: needed, then optional, then unused.
        """
        given = answers or {}
        spoken: list[Need] = []
        for choice in self.choices:
            name = given.get(choice.name, choice.default)
            for answer in choice.answers:
                if answer.name == name:
                    spoken += [need for named, need in answer.makes if named == circuit]
        for need in (Need.NEEDED, Need.OPTIONAL, Need.UNUSED):
            if need in spoken:
                return need
        known = self.circuit_by_name.get(circuit)
        return known.need if known else Need.NEEDED

    @cached_property
    def digest(self) -> str:
        """SHA-256 over the whole description, hex; the same description gives the same digest anywhere.

        What came later counts where it is stated: a description without keeps the digest that it had.
        """
        later = ("part_number", "revision", "left_out", "learned_from", "traced_in", "bundles")
        own = ((each.name, getattr(self, each.name)) for each in fields(self))
        stated = {name: _plain(value) for name, value in own if value or name not in later}
        return hashlib.sha256(
            json.dumps(stated, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
        ).hexdigest()

    def neighbours(self, end: End) -> tuple[End, ...]:
        """Cavities beside this one in its housing."""
        connector = self.by_name[end.connector]
        return tuple(End(end.connector, name) for name in connector.neighbours(end.cavity))

    def walk(self) -> Iterator[tuple[str, End]]:
        """Every (wire or component name, end) pair of the loom."""
        for wire in self.wires:
            for end in wire.ends:
                yield wire.name, end
        for component in self.components:
            for end in component.ends:
                yield component.name, end


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if is_dataclass(value):
        return {each.name: _plain(getattr(value, each.name)) for each in fields(value)}
    return value
