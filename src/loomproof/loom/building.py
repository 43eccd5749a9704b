"""From tables of text to the values of a loom, with every problem placed at its cell."""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TypeVar

from loomproof.errors import Problem, suggestion
from loomproof.loom import colours, sections
from loomproof.loom.cavities import Rows, read_rows
from loomproof.loom.columns import TABLES, heading_problems
from loomproof.loom.model import (
    Bundle,
    CavityFacts,
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Need,
    Wire,
)
from loomproof.loom.tables import NO, YES, Table
from loomproof.loom.text import names_of, next_name, pointed

Kind = TypeVar("Kind", bound=StrEnum)
Value = TypeVar("Value")

Terminals = tuple[tuple[str, End], ...]

ONE_CAVITY = (ConnectorKind.RING, ConnectorKind.BLADE, ConnectorKind.BULLET, ConnectorKind.TAIL)
"""Kinds whose only cavity is named ``1`` where the table names none."""

_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?", re.ASCII)
_QUANTITY = re.compile(r"(\d+\.?\d*|\.\d+) ?([pnuµμmkM]?)(F|Ω|[oO]hm|)", re.ASCII)
_POWER = {"p": -12, "n": -9, "u": -6, "µ": -6, "μ": -6, "m": -3, "": 0, "k": 3, "M": 6}
_UNITS = {"capacitance_f": ("F",), "resistance_ohm": ("Ω", "ohm", "Ohm")}
"""What may be written behind the number of a column, with a prefix or without (ISO 80000-1, table 4)."""

_RATING = re.compile(r"\d+,\d+ ?[Aa]", re.ASCII)

_MONTH = r"(?:jan|feb|mar|mär|mrz|apr|may|mai|jun|jul|aug|sep|oct|okt|nov|dec|dez)[a-zä]*\.?"
_MANGLED = re.compile(
    rf"^(?:\d{{1,4}}[-. /]{{1,2}}{_MONTH}(?:[-. /]\d{{2,4}})?|{_MONTH}[-. /]\d{{1,4}}"
    r"|(?:\d\d?\.\d\d?\.|\d\d?/\d\d?/)(?:19|20)\d\d"
    r"|\d{4}-\d\d-\d\d(?:[ T]\d\d:\d\d(?::\d\d)?)?|\d(?:[.,]\d+)?E[+-]\d+|#[A-Z/0]+[!?]?)$",
    re.IGNORECASE | re.MULTILINE,
)
"""Dates, numbers with exponents and error values as spreadsheets write them in place of a name."""


@dataclass(slots=True)
class Row:
    """One row of a table; every reader of a cell notes what is wrong and gives a harmless value back."""

    table: Table
    number: int
    cells: Mapping[str, str]
    problems: list[Problem]
    decimal: str = "."
    holds: Mapping[str, str] = field(default_factory=dict)

    def wrong(self, column: str, message: str, cure: str = "") -> None:
        """Note a problem at a cell of this row; without a cure it says what stands in such a cell."""
        if not cure and column in self.holds and ". " not in message:
            cure = f"It holds: {self.holds[column]}."
        self.problems.append(self.table.problem(message, self.number, column, cure))

    def text(self, column: str) -> str:
        """Return the cell's text."""
        return self.cells.get(column, "")

    def name(self, column: str) -> str:
        """Return a name that must be there."""
        found = self.cells.get(column, "")
        if not found:
            self.wrong(column, "a name is missing")
        return found

    def number_of(self, column: str, *, above_zero: bool = False) -> float | None:
        """Return a number from zero up, or `None` where the cell is empty; 100 nF is read as farads."""
        said = self.cells.get(column, "")
        if not said:
            return None
        said = said.replace(",", ".") if self.decimal == "," and "." not in said else pointed(said)
        quantity = _QUANTITY.fullmatch(said)
        if quantity and quantity[3] in ("", *_UNITS.get(column, ())) and column in _UNITS:
            said = f"{quantity[1]}e{_POWER[quantity[2]]}" if quantity[2] else quantity[1]
        if not _NUMBER.fullmatch(said):
            plain = said.replace(",", ".")
            cure = (
                f'Write {plain}, or decimal = "," where the loom\'s name stands.'
                if _NUMBER.fullmatch(plain)
                else ""
            )
            self.wrong(column, f"{said!r} is not a number", cure)
            return None
        value = float(said)
        if value < 0 or (above_zero and value == 0) or not math.isfinite(value):
            self.wrong(column, f"{said} is not {'above zero' if above_zero else 'a number from zero up'}")
            return None
        return value

    def yes(self, column: str, empty: Value) -> bool | Value:
        """Return whether the cell says yes; ``empty`` where it says nothing."""
        said = self.cells.get(column, "").casefold()
        if not said:
            return empty
        if said not in YES + NO:
            self.wrong(column, f"{said!r} is neither yes nor no")
        return said in YES

    def one_of(self, column: str, kinds: type[Kind], empty: Kind | None = None) -> Kind | None:
        """Return the member that the cell names; ``empty`` where it says nothing."""
        said = " ".join(self.cells.get(column, "").casefold().replace("_", " ").split())
        if not said and empty is not None:
            return empty
        try:
            return kinds(said)
        except ValueError:
            known = [kind.value for kind in kinds]
            found = f"{said!r} is not known" if said else "it is empty"
            self.wrong(column, found, suggestion(said, known) or f"Known: {', '.join(known)}.")
            return None

    def read(self, column: str, reader: Callable[[str], Value], empty: Value) -> Value:
        """Return what the reader makes of the cell, noting its `ValueError`."""
        said = self.cells.get(column, "")
        if not said:
            return empty
        try:
            return reader(said)
        except ValueError as error:
            self.wrong(column, str(error))
            return empty

    def build(self, maker: Callable[[], Value], column: str) -> Value | None:
        """Return what the maker builds, noting a refusal of the model."""
        try:
            return maker()
        except ValueError as error:
            self.wrong(column, str(error))
            return None


@dataclass(slots=True)
class Built:
    """The values of the tables, the row that each came from, and what was wrong."""

    connectors: list[Connector] = field(default_factory=list)
    wires: list[Wire] = field(default_factory=list)
    components: list[Component] = field(default_factory=list)
    circuits: list[Circuit] = field(default_factory=list)
    cavity_facts: list[CavityFacts] = field(default_factory=list)
    bundles: list[Bundle] = field(default_factory=list)
    rows: dict[str, list[int]] = field(default_factory=dict)
    problems: list[Problem] = field(default_factory=list)
    asked: list[Problem] = field(default_factory=list)
    decimal: str = "."


def build(tables: Mapping[str, Table], colour_code: str = colours.IEC_60757, decimal: str = ".") -> Built:
    """Read the tables of a loom into values; ``built.rows[table][i]`` is the row of value ``i``.

    ``colour_code`` is the code of the wires' colours, ``decimal`` the mark that parts decimals.
    """
    built = Built(decimal=decimal)
    built.connectors = _values(tables, "connectors", built, _connector)
    single = {c.name for c in built.connectors if c.cavities == ("1",)}
    built.wires = _values(tables, "wires", built, lambda row: _wire(row, colour_code, single))
    built.components = _values(tables, "components", built, lambda row: _component(row, single))
    built.circuits = _values(tables, "circuits", built, _circuit)
    built.cavity_facts = _values(tables, "cavities", built, lambda row: _facts(row, single))
    built.bundles = _values(tables, "bundles", built, _bundle)
    return built


def _values(
    tables: Mapping[str, Table], name: str, built: Built, reader: Callable[[Row], Value | None]
) -> list[Value]:
    values: list[Value] = []
    numbers = built.rows.setdefault(name, [])
    for row in _rows(tables, name, built):
        value = reader(row)
        if value is not None:
            values.append(value)
            numbers.append(row.number)
    return values


def _rows(tables: Mapping[str, Table], name: str, built: Built) -> Iterator[Row]:
    table = tables.get(name)
    if table is None:
        return
    built.problems += heading_problems(table, TABLES[name])
    if any(column.needed and column.name not in table.headings for column in TABLES[name]):
        return
    names = [i for i, heading in enumerate(table.headings) if heading in _names_in(name)]
    holds = {column.name: column.help for column in TABLES[name]}
    for number, cells in table.rows:
        if _MANGLED.search("\n".join(cells)):
            built.asked += _mangled(table, number, cells, names)
        by_heading = dict(zip(table.headings, cells, strict=True))
        yield Row(table, number, by_heading, built.problems, built.decimal, holds)


def _names_in(table: str) -> set[str]:
    return {column.name for column in TABLES[table] if column.holds == "names"}


def looks_mangled(name: str) -> bool:
    """Whether a name looks like a date, an exponent or an error value, as spreadsheets make of names."""
    return _MANGLED.fullmatch(name) is not None


def _mangled(table: Table, row: int, cells: tuple[str, ...], names: list[int]) -> Iterator[Problem]:
    for i in names:
        if looks_mangled(cells[i]):
            yield Problem(
                f"{cells[i]!r} looks like what a spreadsheet makes of a name such as 1-3 or 1E5",
                table.file,
                table.sheet,
                row,
                table.headings[i],
                "If so, format the column as text and write it again.",
                "warning",
            )


def _connector(row: Row) -> Connector | None:
    name = row.name("connector")
    kind = row.one_of("kind", ConnectorKind)
    cavities: Rows = row.read("cavities", read_rows, ())
    hazard = row.one_of("hazard", Hazard, Hazard.UNKNOWN)
    if kind in ONE_CAVITY and not row.text("cavities"):
        cavities = (("1",),)
    if not (name and kind and hazard):
        return None
    return row.build(
        lambda: Connector(
            name,
            kind,
            cavities,
            row.text("description"),
            row.text("housing"),
            row.text("location"),
            hazard,
        ),
        "connector",
    )


def _end(connector: str, cavity: str, single: set[str]) -> End:
    return End(connector, cavity or ("1" if connector in single else ""))


def _wire(row: Row, colour_code: str, single: set[str]) -> Wire | None:
    name = row.name("wire")
    a, b = row.name("from_connector"), row.name("to_connector")
    colour = row.read("colour", lambda said: colours.read(said, colour_code), "")
    csa_mm2, section = _section(row)
    length_m = row.number_of("length_m")
    twisted_with = row.read("twisted_with", _list, "")
    bundle = row.read("bundle", _list, "")
    if not (name and a and b):
        return None
    text = row.cells.get
    return row.build(
        lambda: Wire(
            name,
            _end(a, text("from_cavity", ""), single),
            _end(b, text("to_cavity", ""), single),
            colour,
            csa_mm2,
            length_m,
            text("circuit", ""),
            twisted_with,
            text("screened_by", ""),
            bundle,
            text("note", ""),
            section,
        ),
        "wire",
    )


def _list(said: str) -> str:
    names_of(said)
    return said


def _section(row: Row) -> tuple[float | None, str]:
    said = [column for column in ("csa_mm2", "awg", "section") if row.cells.get(column)]
    if len(said) > 1:
        row.wrong(said[1], f"the section is given twice, as {' and as '.join(said)}", "Keep one of them.")
        return None, ""
    if not said:
        return None, ""
    if said == ["csa_mm2"]:
        return row.number_of("csa_mm2", above_zero=True), ""
    text = row.text(said[0])
    if row.decimal == ",":
        text = text.replace(",", ".")
    section = text if said == ["section"] or "awg" in text.casefold() else f"{text} AWG"
    csa_mm2 = row.read(said[0], lambda _: sections.csa_mm2_of(section), None)
    return csa_mm2, section if csa_mm2 is not None else ""


def read_terminals(text: str) -> Terminals:
    """Read terminals: ``A=K1:86 K=K1:85``. Raises `ValueError` with what is wrong."""
    terminals: list[tuple[str, End]] = []
    rest = text.strip()
    while rest:
        name, rest = next_name(rest, text, "=")
        if not name or not rest.startswith("="):
            raise ValueError(f"{text!r}: terminals like 1=F1:1 2=F1:2 are expected")
        connector, after = next_name(rest[1:], text, ":")
        cavity, has_cavity = "", after.startswith(":")
        if has_cavity:
            cavity, after = next_name(after[1:], text)
        if not connector or has_cavity != bool(cavity) or (after and not after[0].isspace()):
            raise ValueError(f"{text!r}: terminal {name} needs a place like F1:1")
        terminals.append((name, End(connector, cavity)))
        rest = after.strip()
    return tuple(terminals)


def _component(row: Row, single: set[str]) -> Component | None:
    name = row.name("component")
    kind = row.one_of("kind", ComponentKind)
    if not row.text("terminals"):
        row.wrong("terminals", "it is empty", "Terminals like 1=F1:1 2=F1:2 are expected.")
    terminals: Terminals = row.read("terminals", read_terminals, ())
    fitted = row.yes("fitted", True)
    values = {
        column: row.number_of(column)
        for column in ("resistance_ohm", "tolerance_pct", "forward_v", "capacitance_f", "rating_a")
    }
    pullable = row.yes("pullable", not fitted)
    if not (name and kind and terminals):
        return None
    return row.build(
        lambda: Component(
            name,
            kind,
            tuple((terminal, _end(*end, single)) for terminal, end in terminals),
            fitted=fitted,
            pullable=pullable,
            circuit=row.text("circuit"),
            note=row.text("note"),
            **values,
        ),
        "component",
    )


def _circuit(row: Row) -> Circuit | None:
    name = row.name("circuit")
    need = row.one_of("need", Need, Need.NEEDED)
    load_a = row.number_of("load_a")
    fuse = row.text("fuse")
    if row.decimal == "," and _RATING.fullmatch(fuse):
        fuse = fuse.replace(",", ".")
    needs: tuple[str, ...] = row.read("needs", names_of, ())
    if not (name and need):
        return None
    return row.build(
        lambda: Circuit(name, row.text("purpose"), row.text("designation"), load_a, fuse, needs, need),
        "circuit",
    )


def _facts(row: Row, single: set[str]) -> CavityFacts | None:
    end = _end(row.name("connector"), row.text("cavity"), single)
    spare = row.yes("spare", False)
    sealed = row.yes("sealed", None)
    shared = row.yes("shared", False)
    if not end.connector:
        return None
    return row.build(lambda: CavityFacts(end, spare, sealed, row.text("note"), shared), "connector")


def _bundle(row: Row) -> Bundle | None:
    name, length_m = row.name("bundle"), row.number_of("length_m", above_zero=True)
    if not name:
        return None
    places = (row.text("from_place"), row.text("to_place"))
    return row.build(lambda: Bundle(name, length_m, *places, row.text("note")), "bundle")
