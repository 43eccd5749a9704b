"""The description of a loom as frozen values: what it should be, before anything is measured.

A wire runs from one `End` to another. An end names a cavity (``ECU:12``) or a splice (``S1``, whose
cavity is the empty text). Every identifier is text: ``01`` is not ``1``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, dataclass, field
from enum import StrEnum
from functools import cached_property
from typing import NamedTuple


class End(NamedTuple):
    """One place where a conductor ends: a cavity of a connector, or a splice (``cavity == ""``)."""

    connector: str
    cavity: str = ""

    def __str__(self) -> str:
        if not self.cavity:
            return _quoted(self.connector)
        return f"{_quoted(self.connector)}:{_quoted(self.cavity)}"


def _quoted(name: str) -> str:
    if name and not any(mark in name for mark in ' :"\t,;='):
        return name
    return '"' + name.replace('"', '""') + '"'


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


class ComponentKind(StrEnum):
    """A part built into the loom. Terminals: diode ``A`` anode and ``K`` cathode; others ``1`` and ``2``."""

    FUSE = "fuse"
    RESISTOR = "resistor"
    DIODE = "diode"
    RELAY = "relay"
    COIL = "coil"
    LINK = "link"
    CAPACITOR = "capacitor"


class Need(StrEnum):
    """Whether this conversion needs a circuit."""

    NEEDED = "needed"
    OPTIONAL = "optional"
    UNUSED = "unused"


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
    """What a cavity table adds to one cavity."""

    end: End
    spare: bool = False
    sealed: bool | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Wire:
    """A run of conductor from ``a`` to ``b``. ``colour`` is in IEC 60757 codes, tracer after a slash."""

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

    @property
    def ends(self) -> tuple[End, End]:
        """Both ends."""
        return (self.a, self.b)


@dataclass(frozen=True, slots=True)
class Component:
    """A part built into the loom. ``fitted`` says whether it is in place while the loom is proved."""

    name: str
    kind: ComponentKind
    terminals: tuple[tuple[str, End], ...]
    resistance_ohm: float | None = None
    tolerance_pct: float | None = None
    forward_v: float | None = None
    capacitance_f: float | None = None
    rating_a: float | None = None
    fitted: bool = True
    circuit: str = ""
    note: str = ""

    def terminal(self, name: str) -> End:
        """Return the end that the terminal of this name sits on; `KeyError` where there is none."""
        return dict(self.terminals)[name]

    @property
    def ends(self) -> tuple[End, ...]:
        """The ends of all terminals, in order."""
        return tuple(end for _, end in self.terminals)


@dataclass(frozen=True, slots=True)
class Circuit:
    """Wires that do one job together."""

    name: str
    purpose: str = ""
    designation: str = ""
    load_a: float | None = None
    fuse: str = ""
    needs: tuple[str, ...] = ()
    need: Need = Need.NEEDED


@dataclass(frozen=True, slots=True)
class Answer:
    """One answer to a choice, and what it makes of circuits."""

    name: str
    says: str = ""
    makes: tuple[tuple[str, Need], ...] = ()


@dataclass(frozen=True, slots=True)
class Choice:
    """A question about the conversion."""

    name: str
    question: str
    answers: tuple[Answer, ...]
    default: str = ""


@dataclass(frozen=True, slots=True)
class Settings:
    """Defaults and limits that ``loom.toml`` may set; every one has the unit in its name."""

    wire_length_m: float = 2.0
    wire_csa_mm2: float = 0.5
    contact_ohm: float = 0.010
    crimp_ohm: float = 0.005
    splice_ohm: float = 0.005
    margin_ratio: float = 1.25
    margin_ohm: float = 0.050
    isolation_ohm: float = 1.0e6
    test_current_a: float = 0.05
    test_voltage_v: float = 12.0
    stated: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Loom:
    """A whole loom. The order of connectors and cavities is part of the description."""

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
        """SHA-256 over the whole description, hex; the same description gives the same digest anywhere."""
        return hashlib.sha256(
            json.dumps(
                _plain(asdict(self)), sort_keys=True, ensure_ascii=False, separators=(",", ":")
            ).encode()
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
    return value


def ends_of(text: str) -> tuple[End, ...]:
    """Read ends from text: ``ECU:12 S1 "rear lamp":"L 1"``. Raises `ValueError` with what is wrong."""
    ends: list[End] = []
    rest = text.strip()
    while rest:
        connector, rest = _name(rest, text)
        cavity = ""
        if rest.startswith(":"):
            cavity, rest = _name(rest[1:], text)
            if not cavity:
                raise ValueError(f"{text!r}: a cavity is missing after the colon")
        if not connector:
            raise ValueError(f"{text!r}: a connector is missing before the colon")
        if rest and not rest[0].isspace():
            raise ValueError(f"{text!r}: a space is missing before {rest!r}")
        ends.append(End(connector, cavity))
        rest = rest.strip()
    return tuple(ends)


def end_of(text: str) -> End:
    """Read one end from text (``ECU:12``). Raises `ValueError` with what is wrong."""
    ends = ends_of(text)
    if len(ends) != 1:
        raise ValueError(f"{text!r}: one place like ECU:12 is expected")
    return ends[0]


def _name(rest: str, text: str) -> tuple[str, str]:
    if not rest.startswith('"'):
        stop = next((i for i, mark in enumerate(rest) if mark.isspace() or mark == ":"), len(rest))
        return rest[:stop], rest[stop:]
    name, i = "", 1
    while i < len(rest):
        if rest[i] == '"':
            if rest[i + 1 : i + 2] == '"':
                i += 1
            else:
                return name, rest[i + 1 :]
        name += rest[i]
        i += 1
    raise ValueError(f"{text!r}: a closing double quote is missing")
