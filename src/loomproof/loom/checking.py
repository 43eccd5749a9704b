"""Whether the names of a loom meet, and what about it is legal and suspicious.

`errors` finds what makes a description mean nothing (a wire into a cavity that does not exist);
`loomproof.loom.suspicions` what a careful reader would ask about. Both place each problem where the
value came from, by a `Places` that the reader fills; a loom from elsewhere is checked without places.
"""

from __future__ import annotations

import difflib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from loomproof.errors import Problem
from loomproof.loom.model import Component, ConnectorKind, End, Loom
from loomproof.loom.text import quoted, shortened

SINGLE_CRIMP = (ConnectorKind.PLUG, ConnectorKind.SOCKET)
"""Kinds whose cavity holds one wire unless the cavity table says ``shared``."""

MOST_NEAR_MISSES = 100
"""How many wrong names of one loom are compared with all the right ones."""


@dataclass(frozen=True)
class Places:
    """Where the values of a loom came from: file, sheet and row by table name and position.

    ``unread`` holds, by table, the names of rows that stand in the table and could not be read: what
    refers to them is not called wrong, lest one slip be reported a hundred times.
    """

    files: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    rows: Mapping[str, Sequence[int]] = field(default_factory=dict)
    unread: Mapping[str, frozenset[str]] = field(default_factory=dict)

    def is_unread(self, table: str, name: str) -> bool:
        """Whether a row of this name stands in the table and could not be read."""
        return name in self.unread.get(table, ())

    def warning(self, table: str, index: int | None, column: str, message: str, cure: str = "") -> Problem:
        """Return a warning placed at a value of a table."""
        return replace(self.problem(table, index, column, message, cure), severity="warning")

    def problem(self, table: str, index: int | None, column: str, message: str, cure: str = "") -> Problem:
        """Return an error placed at a value of a table."""
        file, sheet = self.files.get(table, ("", ""))
        rows = self.rows.get(table, ())
        row = rows[index] if index is not None and index < len(rows) else None
        return Problem(
            shortened(message, 500), file, sheet, row, column if file else "", shortened(cure, 500)
        )


@dataclass(frozen=True)
class Known:
    """The names of a loom, for asking whether one exists and what is near it."""

    loom: Loom
    places: Places = field(default_factory=Places)
    found: dict[tuple[str, str], str] = field(default_factory=dict)

    def near(self, kind: str, wrong: str, names: Iterable[str]) -> str:
        """Return the near miss for a wrong name of a kind, or an empty text.

        Each is looked for once, and only the first `MOST_NEAR_MISSES`: a table whose every row is wrong
        (another loom's, say) is told so as fast as a good one is read.
        """
        if (kind, wrong) not in self.found:
            is_spent = len(self.found) >= MOST_NEAR_MISSES
            self.found[kind, wrong] = "" if is_spent else near_miss(wrong, names)
        return self.found[kind, wrong]

    @cached_property
    def ends(self) -> frozenset[End]:
        """All cavities and splices."""
        return frozenset(end for connector in self.loom.connectors for end in connector.ends)

    def fault_in(self, end: End) -> tuple[bool, str, str]:
        """Return whether it is the connector, what is wrong with the end ("" if nothing), and the cure."""
        connector = self.loom.by_name.get(end.connector)
        if connector is None and self.places.is_unread("connectors", end.connector):
            return True, "", ""
        if connector is None:
            near = self.near("connector", end.connector, self.loom.by_name)
            if near and end.cavity and End(near, end.cavity) in self.ends:
                return (
                    True,
                    f"{end}: there is no connector {end.connector!r}",
                    f"There is {End(near, end.cavity)}.",
                )
            return (
                True,
                f"there is no connector {end.connector!r}",
                f"There is {quoted(near)}." if near else "",
            )
        if end in self.ends:
            return False, "", ""
        if connector.kind is ConnectorKind.SPLICE:
            return False, f"{end}: {quoted(end.connector)} is a splice and has no cavities", "Leave it empty."
        if not end.cavity:
            return False, f"a cavity of {quoted(end.connector)} is missing", self._range(end.connector)
        near = self.near(f"cavity {end.connector}", end.cavity, connector.cavities) or _unpadded(
            end.cavity, connector.cavities
        )
        cure = f"There is {End(end.connector, near)}." if near else self._range(end.connector)
        return False, f"there is no cavity {end}", cure

    def _range(self, connector: str) -> str:
        cavities = self.loom.by_name[connector].cavities
        if len(cavities) > 6:
            return f"It has {cavities[0]} to {cavities[-1]}."
        return f"It has {', '.join(cavities)}." if cavities else "It has no cavities."


def near_miss(wrong: str, known: Iterable[str]) -> str:
    """Return the known name nearest to a wrong one, or an empty text."""
    names = list(known)
    folded = [name for name in names if name.casefold() == wrong.casefold()]
    return next(iter(folded or difflib.get_close_matches(wrong, names, n=1, cutoff=0.6)), "")


def _unpadded(wrong: str, known: Iterable[str]) -> str:
    return next((name for name in known if name.lstrip("0") == wrong.lstrip("0")), "")


def errors(loom: Loom, places: Places | None = None) -> list[Problem]:
    """Return everything that makes the description mean nothing, in the order of its tables."""
    places = places or Places()
    known = Known(loom, places)
    return [
        *_connectors(loom, places),
        *_wires(loom, places, known),
        *_components(loom, places, known),
        *_circuits(loom, places, known),
        *_cavities(loom, places, known),
        *_twice([bundle.name for bundle in loom.bundles], "bundles", "bundle", places),
        *_choices(loom, places, known),
    ]


def _twice(names: Sequence[str], table: str, column: str, places: Places) -> Iterator[Problem]:
    first: dict[str, int] = {}
    for i, name in enumerate(names):
        if name in first:
            rows = places.rows.get(table, ())
            where = f" (first in row {rows[first[name]]})" if rows else ""
            yield places.problem(
                table, i, column, f"the name {name!r} is given twice{where}", "Names are different."
            )
        else:
            first[name] = i


def _connectors(loom: Loom, places: Places) -> Iterator[Problem]:
    yield from _twice([c.name for c in loom.connectors], "connectors", "connector", places)
    for i, connector in enumerate(loom.connectors):
        if connector.kind is ConnectorKind.SPLICE:
            if connector.cavities:
                yield places.problem(
                    "connectors",
                    i,
                    "cavities",
                    f"the splice {connector.name!r} has cavities",
                    "Leave it empty.",
                )
            continue
        if not connector.cavities:
            cure = "Give its rows seen from the mating face: 1-3 or 1-16 / 17-32."
            yield places.problem("connectors", i, "cavities", f"{connector.name!r} has no cavities", cure)
        for cavity, times in Counter(connector.cavities).items():
            if times > 1:
                message = f"cavity {End(connector.name, cavity)} is listed {times} times"
                yield places.problem("connectors", i, "cavities", message, "Each has a name of its own.")


def _wires(loom: Loom, places: Places, known: Known) -> Iterator[Problem]:
    yield from _twice([wire.name for wire in loom.wires], "wires", "wire", places)
    taken: dict[End, int] = {}
    ends, by_name, facts = known.ends, loom.by_name, loom.facts_by_end
    for i, wire in enumerate(loom.wires):
        for side, end in (("from", wire.a), ("to", wire.b)):
            if end not in ends:
                is_connector, message, cure = known.fault_in(end)
                if not message:
                    continue
                column = f"{side}_connector" if is_connector else f"{side}_cavity"
                yield places.problem("wires", i, column, f"wire {wire.name}: {message}", cure)
            elif by_name[end.connector].kind in SINGLE_CRIMP:
                if end in taken and not (end in facts and facts[end].shared) and wire.a != wire.b:
                    other = loom.wires[taken[end]].name
                    cure = (
                        "One of them belongs elsewhere; where one terminal holds both, say so in the cavity "
                        f"table: connector {end.connector}, cavity {end.cavity}, shared yes."
                    )
                    message = f"wire {wire.name}: {end} already holds wire {other}"
                    yield places.problem("wires", i, f"{side}_cavity", message, cure)
                taken.setdefault(end, i)
        if wire.a == wire.b:
            message = f"wire {wire.name}: both of its ends are {wire.a}"
            yield places.problem("wires", i, "to_cavity", message, "Give the place where it goes.")
        if _lacks(loom, places, wire.circuit):
            yield _no_circuit(known, "wires", i, f"wire {wire.name}", wire.circuit)
        for column, names in (("twisted_with", wire.partners), ("screened_by", (wire.screened_by,))):
            for name in names:
                if name == wire.name:
                    yield places.problem("wires", i, column, f"wire {wire.name} names itself")
                elif name and name not in loom.wire_by_name and not places.is_unread("wires", name):
                    near = known.near("wire", name, loom.wire_by_name)
                    cure = f"There is {near}." if near else ""
                    message = f"wire {wire.name}: there is no wire {name!r}"
                    yield places.problem("wires", i, column, message, cure)


def _lacks(loom: Loom, places: Places, circuit: str) -> bool:
    return bool(circuit) and circuit not in loom.circuit_by_name and not places.is_unread("circuits", circuit)


def _no_circuit(known: Known, table: str, i: int, who: str, circuit: str) -> Problem:
    loom, places = known.loom, known.places
    near = known.near("circuit", circuit, loom.circuit_by_name)
    cure = f"There is {near}." if near else "Add it to the circuits, or leave the cell empty."
    return places.problem(table, i, "circuit", f"{who}: there is no circuit {circuit!r}", cure)


def _components(loom: Loom, places: Places, known: Known) -> Iterator[Problem]:
    yield from _twice([part.name for part in loom.components], "components", "component", places)
    for i, part in enumerate(loom.components):
        for terminal, end in part.terminals:
            _, message, cure = known.fault_in(end)
            if message:
                who = f"component {part.name}, terminal {terminal}"
                yield places.problem("components", i, "terminals", f"{who}: {message}", cure)
        wrong = terminals_wrong(part)
        if wrong:
            yield places.problem("components", i, "terminals", f"component {part.name}: {wrong}")
        if _lacks(loom, places, part.circuit):
            yield _no_circuit(known, "components", i, f"component {part.name}", part.circuit)


def terminals_wrong(part: Component) -> str:
    """Say what is wrong with the terminals' names, or return an empty text."""
    names = [name for name, _ in part.terminals]
    double = [name for name, times in Counter(names).items() if times > 1]
    if double:
        return f"terminal {double[0]} is given twice"
    expected = part.form.terminals
    # Of a relay pins of any name are legal; `suspicions` asks about one whose coil is not told.
    if not part.form.more and sorted(names) != [*expected]:
        return f"a {part.kind} has the terminals {' and '.join(expected)}; found {', '.join(names)}"
    return ""


def _circuits(loom: Loom, places: Places, known: Known) -> Iterator[Problem]:
    yield from _twice([circuit.name for circuit in loom.circuits], "circuits", "circuit", places)
    fuses = {part.name: None for part in loom.components if part.form.blows}
    for i, circuit in enumerate(loom.circuits):
        named = circuit.fuse in fuses or places.is_unread("components", circuit.fuse)
        if circuit.fuse and not named and rating_a(circuit.fuse) is None:
            near = known.near("fuse", circuit.fuse, fuses)
            cure = f"There is {near}." if near else "A fuse outside the loom is given by its rating: 10 A."
            message = f"circuit {circuit.name}: there is no fuse {circuit.fuse!r}"
            yield places.problem("circuits", i, "fuse", message, cure)
        for need in circuit.needs:
            if _lacks(loom, places, need):
                near = known.near("circuit", need, loom.circuit_by_name)
                cure = f"There is {near}." if near else ""
                message = f"circuit {circuit.name}: there is no circuit {need!r} that it could need"
                yield places.problem("circuits", i, "needs", message, cure)
            elif need == circuit.name:
                yield places.problem("circuits", i, "needs", f"circuit {circuit.name} needs itself")

    circle = _circle(loom)
    if circle:
        index = [circuit.name for circuit in loom.circuits].index(circle[0])
        message = f"circuits need each other in a circle: {' needs '.join([*circle, circle[0]])}"
        yield places.problem("circuits", index, "needs", message, "Take out the one that is no need.")


def _circle(loom: Loom) -> list[str]:
    """Return circuits of which each needs the next and the last the first; empty where there are none."""
    needs = {circuit.name: [n for n in circuit.needs if n != circuit.name] for circuit in loom.circuits}
    is_done: dict[str, bool] = {}
    for start in needs:
        path = [start] if start not in is_done else []
        while path:
            is_done.setdefault(path[-1], False)
            onward = next((n for n in needs.get(path[-1], ()) if not is_done.get(n, False)), None)
            if onward is None:
                is_done[path.pop()] = True
            elif onward in path:
                return path[path.index(onward) :]
            else:
                path.append(onward)
    return []


def rating_a(fuse: str) -> float | None:
    """Return the amperes in a text such as ``10 A``; `None` where it is no rating."""
    number, _, unit = fuse.partition(" ")
    if not unit and number[-1:] in "Aa":
        number, unit = number[:-1], "A"
    try:
        value = float(number)
    except ValueError:
        return None
    return value if unit.strip() in ("A", "a") and 0 < value < 10_000 else None


def _cavities(loom: Loom, places: Places, known: Known) -> Iterator[Problem]:
    yield from _twice([str(facts.end) for facts in loom.cavity_facts], "cavities", "cavity", places)
    for i, facts in enumerate(loom.cavity_facts):
        is_connector, message, cure = known.fault_in(facts.end)
        if message:
            yield places.problem("cavities", i, "connector" if is_connector else "cavity", message, cure)
        elif facts.spare and facts.end in loom.wires_at:
            wires = ", ".join(wire.name for wire in loom.wires_at[facts.end])
            message = f"{facts.end} is called spare and holds wire {wires}"
            yield places.problem("cavities", i, "spare", message, "One of the two is wrong.")


def _choices(loom: Loom, places: Places, known: Known) -> Iterator[Problem]:
    yield from _twice([choice.name for choice in loom.choices], "choices", "choice", places)
    for choice in loom.choices:
        for answer in choice.answers:
            for circuit, _ in answer.makes:
                if _lacks(loom, places, circuit):
                    near = known.near("circuit", circuit, loom.circuit_by_name)
                    cure = f"There is {near}." if near else ""
                    message = f"choice {choice.name}, answer {answer.name}: there is no circuit {circuit!r}"
                    yield places.problem("choices", None, "makes", message, cure)
