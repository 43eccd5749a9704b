"""A side table adds what a KBL file does not carry: relay pins, fuse ratings, coil ohms, further parts.

It is a CSV table with headings of ``components.csv``. A row whose name the file has fills in or replaces
what its filled cells say, unless the chosen configuration lacks that part; any other row adds a part.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal

from loomproof.errors import DescriptionError, Problem, suggestion
from loomproof.loom.building import Row, read_terminals
from loomproof.loom.checking import Known, terminals_wrong
from loomproof.loom.columns import COMPONENTS
from loomproof.loom.model import Component, ComponentKind, Loom
from loomproof.loom.tables import Table, read_csv

_NUMBERS: tuple[Literal["resistance_ohm", "tolerance_pct", "forward_v", "capacitance_f", "rating_a"], ...] = (
    "resistance_ohm",
    "tolerance_pct",
    "forward_v",
    "capacitance_f",
    "rating_a",
)


def read_side_table(path: Path) -> tuple[Row, ...]:
    """Return the rows of a side table. Raises `DescriptionError` with everything wrong with it as a table."""
    table, problems = read_csv(path)
    if table is not None:
        problems = problems + _headings(table)
    if table is None or problems:
        raise DescriptionError(f"{path.name}: the side table cannot be read", problems=problems)
    rows = []
    for number, cells in table.rows:
        rows.append(Row(table, number, dict(zip(table.headings, cells, strict=True)), []))
    return tuple(rows)


def _headings(table: Table) -> list[Problem]:
    known = [column.name for column in COMPONENTS]
    problems = [
        table.problem(
            f"there is no column {heading!r}", 1, heading, suggestion(heading, known) or f"Known: {known}."
        )
        for heading in table.headings
        if heading and heading not in known and not heading.startswith("#")
    ]
    if "component" not in table.headings:
        problems.append(table.problem("the heading 'component' is missing", 1, "component"))
    return problems


def names_in(rows: tuple[Row, ...]) -> frozenset[str]:
    """Return the names of the parts that a side table speaks of."""
    return frozenset(row.text("component") for row in rows)


def apply(loom: Loom, rows: tuple[Row, ...]) -> Loom:
    """Return the loom with the side table's parts. Raises `DescriptionError` with every problem, placed."""
    parts = dict(loom.component_by_name)
    known = Known(loom)
    for row in rows:
        part = _merged(row, parts.get(row.name("component")))
        if part is not None:
            parts[part.name] = part
            _judge(row, part, loom, known)
    problems = [problem for row in rows for problem in row.problems]
    if problems:
        count = "one problem" if len(problems) == 1 else f"{len(problems)} problems"
        raise DescriptionError(f"{rows[0].table.file}: {count} in the side table", problems=problems)
    return replace(loom, components=tuple(parts.values()))


def _merged(row: Row, part: Component | None) -> Component | None:
    kind = part.kind if part is not None and not row.text("kind") else row.one_of("kind", ComponentKind)
    terminals = row.read("terminals", read_terminals, part.terminals if part is not None else ())
    if not terminals and not row.text("terminals"):
        row.wrong("terminals", "it is empty", "Terminals like 85=K1:121 86=K1:122 are expected.")
    numbers = {column: row.number_of(column) for column in _NUMBERS if row.text(column)}
    fitted: bool = row.yes("fitted", part.fitted if part is not None else False)
    pullable = row.yes("pullable", not fitted)
    name = row.text("component")
    if kind is None or not terminals or not name:
        return None
    base = part if part is not None else Component(name, kind, terminals)
    make: Callable[..., Component] = replace
    return make(
        base,
        kind=kind,
        terminals=terminals,
        fitted=fitted,
        pullable=pullable,
        circuit=row.text("circuit") or base.circuit,
        note=row.text("note") or base.note,
        **numbers,
    )


def _judge(row: Row, part: Component, loom: Loom, known: Known) -> None:
    for terminal, end in part.terminals:
        _, message, cure = known.fault_in(end)
        if message:
            row.wrong("terminals", f"terminal {terminal}: {message}", cure)
    wrong = terminals_wrong(part)
    if wrong:
        row.wrong("terminals", wrong)
    if part.circuit and part.circuit not in loom.circuit_by_name:
        near = suggestion(part.circuit, loom.circuit_by_name)
        row.wrong("circuit", f"there is no circuit {part.circuit!r}", near)
