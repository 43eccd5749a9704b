"""Make a loom of a plain from-to list as people have it, under headings of their own.

`propose` says which of their columns is probably what; a person confirms it or says otherwise, and
`make` builds the loom. Nothing is retyped: ``01``, ``1A``, ``+`` and ``NC`` stay as they are. What a
list cannot say (rows of cavities, spare ones, what kind a connector is) is taken plainly and noted.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.errors import DescriptionError, Problem, UsageError, suggestion
from loomproof.loom import building, checking, colours, workbook
from loomproof.loom.cavities import write_rows
from loomproof.loom.checking import near_miss
from loomproof.loom.model import CavityFacts, ConnectorKind, End, Loom
from loomproof.loom.tables import NumberedRows, Table, csv_rows, table_of
from loomproof.loom.text import LONGEST

ROLES: dict[str, str] = {
    "from": "where a wire starts, as one text: ECU:12 (the cavity alone where from_connector is given)",
    "from_connector": "connector where it starts",
    "from_cavity": "cavity where it starts",
    "to": "where it ends, as one text (the cavity alone where to_connector is given)",
    "to_connector": "connector where it ends",
    "to_cavity": "cavity where it ends",
    "wire": "name of the wire",
    "colour": "colour, in the code that --colour-code names",
    "csa_mm2": "section in mm²",
    "awg": "gauge",
    "section": "size such as 14/0.30 or 18 AWG",
    "length_m": "length in metres",
    "length_mm": "length in millimetres",
    "circuit": "circuit or signal",
    "note": "free text",
}
"""What a column of a list can be."""

_SIDES = {
    "from": r"from|source|start|origin|von|side_?a|end_?a|a_?end|a",
    "to": r"to|destination|dest|target|nach|zu|side_?b|end_?b|b_?end|b",
}
_CONNECTOR = r"connector|conn|plug|device|component|unit|housing|stecker|ger[aä]t|ref|refdes|name"
_CAVITY = r"cavity|pin|terminal|term|contact|way|position|pos|kammer|klemme|no|number"


def _beside(side: str, thing: str) -> str:
    return rf"(?:{side})_(?:{thing})|(?:{thing})_(?:{side})"


_PATTERNS: dict[str, str] = {
    **{f"{s}_cavity": _beside(w, _CAVITY) for s, w in _SIDES.items()},
    **{f"{s}_connector": _beside(w, _CONNECTOR) for s, w in _SIDES.items()},
    **_SIDES,
    "wire": r"wire|wire_(?:no|number|name|id)|lead|cable|conductor|ader|leitung|id|no",
    "colour": r"(?:wire_)?(?:colou?r|farbe|col)(?:_code)?",
    "csa_mm2": r"csa|(?:csa|area|section|size|querschnitt|gauge)?_?(?:mm2|mm²|sqmm|mm_?2)|querschnitt",
    "awg": r"(?:awg|gauge)(?:_awg)?|(?:size|wire)_awg",
    "section": r"section|size|cross_section|strands?",
    "length_m": r"(?:length|l[aä]nge)_(?:m|metres?|meters?)",
    "length_mm": r"(?:length|l[aä]nge)_mm",
    "circuit": r"circuit|signal|net|function|signal_name|net_name|funktion",
    "note": r"notes?|comments?|remarks?|bemerkung|description",
}
SEPARATORS = (":", "/", ".", "-", " ")
"""Marks that may part connector from cavity in one text, in the order in which they are thought of."""

_SPLICE = re.compile(r"(?:s|sp|spl|splice|joint|j)[-_ ]?\d+", re.IGNORECASE)


@dataclass(frozen=True, slots=True)
class Proposal:
    """Which column is what (role to heading), what is left out, and the mark within places."""

    columns: Mapping[str, str]
    left_out: tuple[str, ...] = ()
    separator: str = ":"

    @property
    def complete(self) -> bool:
        """Whether both ends of a wire are found."""
        return all({side, f"{side}_connector"} & self.columns.keys() for side in _SIDES)


@dataclass(frozen=True, slots=True)
class List:
    """A from-to list: its headings as they stand there, and its rows of text."""

    file: str
    headings: tuple[str, ...]
    table: Table
    asked: tuple[Problem, ...] = ()


@dataclass(frozen=True, slots=True)
class Imported:
    """The loom made of a list, and what was taken for want of knowing."""

    loom: Loom
    notes: tuple[Problem, ...]


def read(data: bytes, file: str, sheet: str = "", heading_row: int = 1) -> List:
    """Read a list from the bytes of a CSV file or, where ``file`` ends so, a workbook (its first sheet).

    ``heading_row`` is the row of the headings, or one above it with nothing between.

    Raises `DescriptionError` with everything that cannot be read, `UsageError` for a sheet that is not there.
    """
    asked: list[Problem] = []
    title = ""
    if file.casefold().endswith((".xlsx", ".xlsm")):
        title, rows, problems, asked = _sheet(data, file, sheet)
    else:
        rows, problems = csv_rows(data, file, heading_row)
    if problems:
        raise DescriptionError(f"{file}: the list cannot be read", problems=problems)
    rows = [(row, cells) for row, cells in rows if row >= heading_row]
    table, problems = table_of(rows, file, title)
    if problems:
        cure = "Where the headings stand further down, say --heading-row."
        raise DescriptionError(f"{file}: the list cannot be read", problems=problems, cure=cure)
    headings = tuple(" ".join(text.split()) for text in rows[0][1][: len(table.headings)])
    return List(file, headings, table, tuple(asked))


def _sheet(data: bytes, file: str, sheet: str) -> tuple[str, NumberedRows, list[Problem], list[Problem]]:
    book = workbook.Book()
    # Whatever the headings are, any column may hold names.
    found, problem = workbook.open_sheets(data, file, (), {}, book, "names")
    if problem:
        raise DescriptionError(f"{file}: the list cannot be read", problems=[problem])
    name = sheet.strip().casefold() or next(iter(found), "")
    if name not in found:
        titles = [title for title, _ in found.values()]
        cure = suggestion(sheet, titles) or f"It has {', '.join(titles) or 'no sheets'}."
        raise UsageError(f"{file} has no sheet {sheet!r}", cure=cure)
    title, rows = found[name]
    here = [problem for problem in book.problems if problem.sheet == title]
    return title, rows, here, [problem for problem in book.asked if problem.sheet == title]


def _plain(heading: str) -> str:
    return re.sub(r"[^a-z0-9²äöü]+", "_", heading.casefold()).strip("_")


def propose(found: List, given: Mapping[str, str] | None = None, separator: str = "") -> Proposal:
    """Say which column is probably what; ``given`` (role to heading) is taken as it is.

    Raises `UsageError` for a role or heading that there is not.
    """
    columns = _given(found, given or {})
    for role, pattern in _PATTERNS.items():
        parted = {f"{role}_connector", f"{role}_cavity"} <= columns.keys()
        whole = role.partition("_")[0]
        # A person who names the column of the whole place has no use for a guess at its parts.
        answered = whole in _SIDES and whole != role and whole in (given or {})
        if role in columns or parted or answered:
            continue
        for heading in found.headings:
            if heading not in columns.values() and re.fullmatch(pattern, _plain(heading)):
                columns[role] = heading
                break
    for side in _SIDES:
        # A pin without a connector beside it is the whole place: "From Pin" holds ECU:12.
        if (
            side not in columns
            and f"{side}_connector" not in columns
            and f"{side}_cavity" not in (given or {})
        ):
            heading = columns.pop(f"{side}_cavity", "")
            if heading:
                columns[side] = heading
    left_out = tuple(heading for heading in found.headings if heading and heading not in columns.values())
    ordered = {role: columns[role] for role in ROLES if role in columns}
    return Proposal(ordered, left_out, separator or _separator(found, ordered))


def _given(found: List, given: Mapping[str, str]) -> dict[str, str]:
    columns: dict[str, str] = {}
    for role, heading in given.items():
        if role not in ROLES:
            raise UsageError(
                f"a column cannot be {role!r}", cure=suggestion(role, ROLES) or f"Known: {', '.join(ROLES)}."
            )
        same = [h for h in found.headings if h.casefold() == " ".join(heading.split()).casefold()]
        if not same:
            near = near_miss(heading, found.headings)
            cure = f"There is {near!r}." if near else f"It has {', '.join(map(repr, found.headings))}."
            raise UsageError(f"{found.file} has no column {heading!r}", cure=cure)
        columns[role] = same[0]
    return columns


def _column(found: List, heading: str) -> list[str]:
    place = found.headings.index(heading)
    return [cells[place] for _, cells in found.table.rows]


def _separator(found: List, columns: Mapping[str, str]) -> str:
    whole = [columns[side] for side in _SIDES if side in columns and f"{side}_connector" not in columns]
    cells = [text for heading in whole for text in _column(found, heading) if text]
    counts = {mark: sum(mark in text.strip(mark) for text in cells) for mark in SEPARATORS}
    best = max(SEPARATORS, key=lambda mark: counts[mark])
    return best if cells and counts[best] else ":"


def make(
    found: List,
    proposal: Proposal,
    name: str,
    colour_code: str = colours.IEC_60757,
    decimal: str = ".",
) -> Imported:
    """Build a loom of the list under the confirmed proposal.

    Raises `DescriptionError` with everything that is wrong, placed at the list's own rows and headings.
    """
    if not proposal.complete:
        missing = [side for side in _SIDES if not {side, f"{side}_connector"} & proposal.columns.keys()]
        known = ", ".join(map(repr, found.headings))
        cure = f'Say it: --column {missing[0]}="…". It has {known}; are they further down: --heading-row.'
        raise UsageError(f"{found.file}: no column is known to say where a wire goes {missing[0]}", cure=cure)
    wires = _wires(found, proposal, decimal)
    connectors, notes = _connectors(wires)
    circuits = dict.fromkeys(cells[wires.headings.index("circuit")] for _, cells in wires.rows)
    circuit_rows = tuple((0, (circuit,)) for circuit in circuits if circuit)
    built = building.build(
        {
            "connectors": connectors,
            "wires": wires,
            "circuits": Table(found.file, ("circuit",), circuit_rows),
        },
        colour_code,
        decimal,
    )
    facts, doubles = _shared(built)
    loom = Loom(
        name,
        connectors=tuple(built.connectors),
        wires=tuple(built.wires),
        circuits=tuple(built.circuits),
        cavity_facts=facts,
    )
    places = checking.Places({"wires": (found.file, found.table.sheet)}, built.rows)
    problems = [*built.problems, *checking.errors(loom, places)]
    if problems:
        headings = _headings_of(proposal)
        # A list has no loom.toml: which code its colours are in is said with the command.
        problems = [
            replace(
                p,
                column=headings.get(p.column, p.column),
                message=p.message.replace(f" {colours.SAID_IN_LOOM_TOML}", ""),
            )
            for p in problems
        ]
        cures = _colour_cure(found, proposal, colour_code), _gauge_cure(proposal, problems)
        cure = " ".join(text for text in cures if text)
        raise DescriptionError(f"{found.file}: the list does not make a loom", problems=problems, cure=cure)
    return Imported(loom, (*found.asked, *built.asked, *notes, *doubles, *_left_out(found, proposal)))


def _colour_cure(found: List, proposal: Proposal, colour_code: str) -> str:
    """Return what to type for the code in which all colours of the list can be read; empty where none."""
    said = set(_column(found, proposal.columns["colour"])) if "colour" in proposal.columns else set()
    if _all_read(said, colour_code):
        return ""
    fitting = [code for code in colours.CODES if _all_read(said, code)]
    return " or ".join(f'Say --colour-code "{code}"' for code in fitting) + "." if fitting else ""


def _gauge_cure(proposal: Proposal, problems: Sequence[Problem]) -> str:
    """Return what to type where the column taken for AWG holds no such sizes: they may be in mm²."""
    heading = proposal.columns.get("awg", "")
    if not heading or all(problem.column != heading for problem in problems):
        return ""
    return _taken_in_as("csa_mm2", heading)


def _taken_in_as(role: str, heading: str) -> str:
    quoted = f'"{heading}"' if " " in heading else heading
    return f"Say --column {role}={quoted} where it is in mm²."


def _all_read(said: set[str], code: str) -> bool:
    try:
        for text in said:
            colours.read(text, code)
    except ValueError:
        return False
    return True


def _headings_of(proposal: Proposal) -> dict[str, str]:
    columns = dict(proposal.columns)
    for side in _SIDES:
        if side in columns:
            columns.setdefault(f"{side}_cavity", columns[side])
            columns.setdefault(f"{side}_connector", columns[side])
    if "length_mm" in columns:
        columns.setdefault("length_m", columns["length_mm"])
    return columns


def _left_out(found: List, proposal: Proposal) -> list[Problem]:
    return [
        _note(found.file, f"the column {heading!r} is left out", _taken_in(heading))
        for heading in proposal.left_out
    ]


def _taken_in(heading: str) -> str:
    quoted = f'"{heading}"' if " " in heading else heading
    if "gauge" in heading.casefold():
        return f"Say --column csa_mm2={quoted} where it is in mm², --column awg={quoted} where it is AWG."
    return "Say --column ROLE=HEADING to take it in."


def _note(file: str, message: str, cure: str = "") -> Problem:
    return Problem(message, file, cure=cure, severity="warning")


_WIRE_COLUMNS = (
    "wire",
    "from_connector",
    "from_cavity",
    "to_connector",
    "to_cavity",
    "colour",
    "csa_mm2",
    "awg",
    "section",
    "length_m",
    "circuit",
    "note",
)


def _wires(found: List, proposal: Proposal, decimal: str) -> Table:
    places = {role: found.headings.index(heading) for role, heading in proposal.columns.items()}
    rows: list[tuple[int, tuple[str, ...]]] = []
    for number, (row, cells) in enumerate(found.table.rows, 1):
        said = {role: cells[place] for role, place in places.items()}
        for side in _SIDES:
            connector, cavity = _place(said, side, proposal.separator)
            said[f"{side}_connector"], said[f"{side}_cavity"] = connector, cavity
        said["wire"] = said.get("wire") or f"W{number}"
        if said.get("length_mm"):
            said["length_m"] = _metres(said["length_mm"], decimal)
        rows.append((row, tuple(said.get(column, "") for column in _WIRE_COLUMNS)))
    return Table(found.file, _WIRE_COLUMNS, tuple(rows), found.table.sheet)


def _place(said: Mapping[str, str], side: str, separator: str) -> tuple[str, str]:
    if f"{side}_connector" in said:
        return said[f"{side}_connector"], said.get(f"{side}_cavity") or said.get(side, "")
    text = said[side]
    connector, mark, cavity = text.rpartition(separator)
    if not mark or not connector.strip() or not cavity.strip():
        return text, said.get(f"{side}_cavity", "")
    return connector.strip(), cavity.strip()


def _metres(text: str, decimal: str) -> str:
    try:
        metres = float(text.replace(",", ".") if decimal == "," else text) / 1000
        return repr(metres).replace(".", decimal)
    except ValueError:
        return text


def _connectors(wires: Table) -> tuple[Table, list[Problem]]:
    """Return the connectors that the list names, in its order, and what was taken for want of knowing."""
    columns = {name: i for i, name in enumerate(wires.headings)}
    found: dict[str, dict[str, int]] = {}
    for _, cells in wires.rows:
        for side in _SIDES:
            connector = cells[columns[f"{side}_connector"]]
            cavity = cells[columns[f"{side}_cavity"]]
            if connector:
                uses = found.setdefault(connector, {})
                uses[cavity] = uses.get(cavity, 0) + 1
    rows: list[tuple[int, tuple[str, ...]]] = []
    kinds: dict[ConnectorKind, list[str]] = {}
    for name, uses in found.items():
        named = sorted((cavity for cavity in uses if cavity), key=_natural)
        kind = ConnectorKind.PLUG
        if not named:
            kind = ConnectorKind.SPLICE if _SPLICE.fullmatch(name) else ConnectorKind.RING
        kinds.setdefault(kind, []).append(name)
        cavities = write_rows((tuple(named),)) if named else ""
        rows.append((0, (name, kind, cavities)))
    notes: list[Problem] = []
    if ConnectorKind.PLUG in kinds:
        message = "each plug has the cavities that the list names, in one row"
        cure = (
            "Write its rows as seen from the mating face, with the spare ones, so that neighbours are known."
        )
        notes.append(_note(wires.file, message, cure))
    for kind, text in ((ConnectorKind.SPLICE, "splices"), (ConnectorKind.RING, "ring terminals")):
        if kind in kinds:
            message = f"places without a cavity are taken as {text}: {', '.join(kinds[kind])}"
            notes.append(_note(wires.file, message, "Change kind in connectors.csv where it is wrong."))
    return Table(wires.file, ("connector", "kind", "cavities"), tuple(rows)), notes


def _natural(name: str) -> list[tuple[int, int, str]]:
    """Order names as people do: 2 before 10, A9 before A10."""
    parts = re.findall(r"[0-9]{1,18}|[^0-9]+", name[:LONGEST])
    return [(0, int(part), part) if part.isdecimal() else (1, 0, part) for part in parts]


def _shared(built: building.Built) -> tuple[tuple[CavityFacts, ...], list[Problem]]:
    single = {c.name for c in built.connectors if c.kind in checking.SINGLE_CRIMP}
    uses: dict[End, list[str]] = {}
    for wire in built.wires:
        for end in dict.fromkeys(wire.ends):
            if end.connector in single:
                uses.setdefault(end, []).append(wire.name)
    doubles = {end: names for end, names in uses.items() if len(names) > 1}
    notes = [
        Problem(
            f"{end} holds {', '.join(names)}: taken as crimped into one terminal",
            cure="If one of them belongs elsewhere, correct it and take the cavity out of cavities.csv.",
            severity="warning",
        )
        for end, names in doubles.items()
    ]
    return tuple(CavityFacts(end, shared=True) for end in doubles), notes


def describe(proposal: Proposal) -> Sequence[tuple[str, str]]:
    """Return the proposal as pairs of role and heading, for showing to a person."""
    return [*proposal.columns.items(), *(("left out", heading) for heading in proposal.left_out)]
