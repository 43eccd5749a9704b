"""Random lists of wires whose truth is known: what joins what, and which colour each wire has.

A list is made from the truth in one of the shapes that people publish and then spoilt as people spoil them:
marks for nothing, ranges, merged cells, rows above and below, other colour codes, a colour that is none. This
shares nothing with what reads lists; its colour tables are those of `test_colours` and common practice.
"""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Sequence
from dataclasses import dataclass, field

import networkx
import openpyxl

from tests.loom.list_disguise import disguised

Place = tuple[str, str]

HELD = ("BK", "BN", "RD", "OG", "YE", "GN", "BU", "VT", "GY", "WH", "PK")
CODES: dict[str, tuple[str, tuple[str, ...]]] = {
    "IEC": ("/", HELD),
    "German": ("-", ("sw", "br", "rt", "or", "ge", "gn", "bl", "vi", "gr", "ws", "rs")),
    "German capitals": ("/", ("SW", "BR", "RT", "OR", "GE", "GN", "BL", "VI", "GR", "WS", "RS")),
    "British": ("", ("B", "N", "R", "O", "Y", "G", "U", "P", "S", "W", "K")),
    "US": ("/", ("BLK", "BRN", "RED", "ORN", "YEL", "GRN", "BLU", "VIO", "GRY", "WHT", "PNK")),
    "US short": ("/", ("BK", "BR", "RD", "OR", "YE", "GN", "BU", "PU", "GY", "WH", "PK")),
    "Japanese": ("/", ("B", "BR", "R", "O", "Y", "G", "L", "V", "GR", "W", "P")),
    "words": (
        "/",
        ("black", "brown", "red", "orange", "yellow", "green", "blue", "violet", "grey", "white", "pink"),
    ),
    "Wörter": (
        "/",
        ("schwarz", "braun", "rot", "orange", "gelb", "grün", "blau", "violett", "grau", "weiß", "rosa"),
    ),
}
MARKS = ("-", "--", "n/a", "NC", "none", "open", "x", "?", "tbd", "not connected", "N/A", "—")
NAMED = {"BS AU 7": "British"}
TRUE_CODE = {
    "IEC": "IEC 60757", "German": "German", "German capitals": "German", "British": "BS AU 7", "US": "US",
    "US short": "US", "Japanese": "Japanese", "words": "IEC 60757", "Wörter": "IEC 60757",
}  # fmt: skip


@dataclass
class Wire:
    """One wire of the truth: two places (a splice or a ring has an empty cavity), and its colour as held."""

    a: Place
    b: Place
    colour: str
    name: str = ""


@dataclass
class Made:
    """A list, its truth, and what a person who knows the loom would answer where the list is asked about."""

    data: bytes
    file: str
    nets: set[frozenset[Place]]
    colours: dict[frozenset[Place], str]
    answers: dict[str, str]
    columns: dict[str, str] = field(default_factory=dict)
    connectors: dict[str, str] = field(default_factory=dict)
    code: str = ""
    shape: str = ""
    spoilt: list[str] = field(default_factory=list)


def partition(wires: Sequence[Wire], rings: set[str]) -> set[frozenset[Place]]:
    """Return what is joined, splices left out; the one cavity of a ring is called 1."""
    graph: networkx.Graph[Place] = networkx.Graph()
    for wire in wires:
        graph.add_edge(_end(wire.a, rings), _end(wire.b, rings))
    parts = (frozenset(end for end in part if end[1]) for part in networkx.connected_components(graph))
    return {part for part in parts if len(part) > 1}


def _end(place: Place, rings: set[str]) -> Place:
    return (place[0], "1") if place[0] in rings else place


def _cavities(rng: random.Random, count: int) -> list[str]:
    style = rng.randrange(6)
    if style == 0:
        return [f"{n:02d}" for n in range(1, count + 1)]
    if style == 1:
        return [f"{letter}{n}" for letter in "AB" for n in range(1, count // 2 + 2)][:count]
    if style == 2 and count <= 12:
        return [f"1{letter}" for letter in "ABCDEFGHJKLM"][:count]
    if style == 3 and count <= 12:
        return [f"{block}-{n}" for block in (1, 2) for n in range(1, count // 2 + 2)][:count]
    return [str(n) for n in range(1, count + 1)]


def truth(rng: random.Random) -> tuple[list[Wire], set[str]]:
    """Return the wires of a random loom, and the names of its rings."""
    names = rng.sample(
        ("ECU", "X1", "X2", "FUSE BOX", "LAMP_L", "C-7", "Pump", "J5", "Dash 2", "St. 4"), rng.randint(3, 6)
    )
    free = [(name, cavity) for name in names for cavity in _cavities(rng, rng.randint(4, 14))]
    rng.shuffle(free)
    joints = [(name, "") for name in rng.sample(("S1", "SP12", "SP_CUSTOM_003"), rng.randint(0, 2))]
    rings = [(name, "") for name in rng.sample(("GND", "G404(s)", "EARTH1"), rng.randint(0, 2))]
    wires: list[Wire] = []
    while len(free) > 2 and len(wires) < 30:
        a = free.pop()
        kind = rng.random()
        if joints and kind < 0.2:
            b = rng.choice(joints)
        elif rings and kind < 0.3:
            b = rng.choice(rings)
        elif wires and kind < 0.36:
            b = rng.choice(wires).a
        else:
            b = free.pop()
        if rng.random() < 0.5 and b[1]:
            a, b = b, a
        if a != b:
            base, tracer = rng.sample(HELD, 2)
            wires.append(Wire(a, b, base if rng.random() < 0.5 else f"{base}/{tracer}"))
    for n, wire in enumerate(wires):
        wire.name = f"{100 + n}"
    return wires, {name for name, _ in rings}


def _coloured(held: str, code: str) -> str:
    mark, letters = CODES[code]
    return mark.join(letters[HELD.index(part)] for part in held.split("/"))


HEADS: tuple[tuple[str, ...], ...] = (
    ("From Connector", "From Pin", "To Connector", "To Pin", "Wire", "Colour", "Size"),
    ("from_component", "from_pin", "to_component", "to_pin", "wirenumber", "color", "awg"),
    ("Connector", "Pin", "Connector", "Pin", "Wire No.", "Wire Color", "Gauge"),
    ("von", "Kammer", "nach", "Kammer", "Ltg-Nr.", "Farbe", "Querschnitt"),
    ("ID-A", "Pin-A", "ID-B", "Pin-B", "Ltg-Nr.", "Farbe", "Querschnitt (mm²)"),
    ("From", "From Pin", "To", "To Pin", "Item", "Color", "Wire DM"),
    ("End A Connector", "End A Cavity", "End B Connector", "End B Cavity", "ID", "Col", "CSA"),
)


def make(seed: int) -> Made:
    """Return the list of a seed."""
    rng = random.Random(seed)
    wires, rings = truth(rng)
    shape = rng.choice(("parts", "parts", "parts", "whole", "whole", "nets", "endpoints", "pins"))
    code = rng.choice(list(CODES))
    if shape == "pins":
        wires = [wire for wire in wires if wire.a[1] and wire.b[1]]
        pins = sorted({wire.a for wire in wires}), sorted({wire.b for wire in wires})
        left, right = ({place: f"{n}" for n, place in enumerate(side, 1)} for side in pins)
        wires = [Wire(("LCD", left[w.a]), ("Board 4", right[w.b]), w.colour, w.name) for w in wires]
        rings = set()
    made = Made(b"", "list.csv", partition(wires, rings), {}, {}, code=code, shape=shape)
    made.colours = {frozenset((_end(w.a, rings), _end(w.b, rings))): w.colour for w in wires}
    if shape == "nets":
        rows = _net_rows(rng, wires, made)
    elif shape == "endpoints":
        rows = _endpoint_rows(rng, wires, made)
    elif shape == "pins":
        rows = _pin_rows(rng, wires, made)
    elif shape == "whole":
        rows = _whole_rows(rng, wires, made)
    else:
        rows = _part_rows(rng, wires, made)
    rows = disguised(rng, rows, (0, 2) if shape == "parts" else ())
    _write(rng, rows, made)
    return made


def _size(rng: random.Random, heading: str) -> str:
    if "awg" in heading.casefold():
        return rng.choice(("20", "18 AWG", "#22"))
    return rng.choice(("0.5", "0.75", "1.5 mm²", "0.35 mm2"))


def _part_rows(rng: random.Random, wires: list[Wire], made: Made) -> list[list[str]]:
    heads = rng.choice(HEADS)
    rows = [
        [w.a[0], w.a[1], w.b[0], w.b[1], w.name, _coloured(w.colour, made.code), _size(rng, heads[6])]
        for w in wires
    ]
    _nothing(rng, rows, made, (0, 1, 2, 3))
    rows = _ranged(rng, rows, wires, made)
    _bad_colour(rng, rows, made, 5)
    if rng.random() < 0.4:
        rows.sort(key=lambda row: row[0])
        if rng.random() < 0.5:
            _only_first(rows, made)
    if rng.random() < 0.2 and rows:
        # A page of a printed list begins with the headings once more.
        rows.insert(len(rows) // 2, list(heads))
        made.spoilt.append("headings again")
    return [list(heads), *rows]


def _only_first(rows: list[list[str]], made: Made) -> None:
    """Leave a connector in the first row of its group only, as a sheet with merged cells is exported."""
    made.spoilt.append("only first")
    made.answers["blank"] = "above"
    above = ""
    for row in rows:
        if row[0] == above:
            row[0] = ""
        above = row[0] or above


def _whole_rows(rng: random.Random, wires: list[Wire], made: Made) -> list[list[str]]:
    mark = rng.choice((":", ":", "/", "."))
    heads = rng.choice((("From", "To"), ("Source", "Destination"), ("Von", "Nach"), ("From Pin", "To Pin")))
    rows = [
        [
            *(f"{p[0]}{mark}{p[1]}" if p[1] else p[0] for p in (w.a, w.b)),
            w.name,
            _coloured(w.colour, made.code),
        ]
        for w in wires
    ]
    _nothing(rng, rows, made, (0, 1), mark)
    _bad_colour(rng, rows, made, 3)
    return [[*heads, "Wire", "Colour"], *rows]


def _nets(wires: Sequence[Wire]) -> dict[int, list[Place]]:
    graph: networkx.Graph[Place] = networkx.Graph()
    for wire in wires:
        graph.add_edge(wire.a, wire.b)
    parts = [sorted(end for end in part if end[1]) for part in networkx.connected_components(graph)]
    return dict(enumerate((part for part in parts if part), 1))


def _net_rows(rng: random.Random, wires: list[Wire], made: Made) -> list[list[str]]:
    made.colours = {}
    parts = _nets(wires)
    made.nets = {frozenset(part) for part in parts.values() if len(part) > 1}
    rows = [[*place, f"N{n}"] for n, part in parts.items() for place in part]
    if rng.random() < 0.4:
        made.spoilt.append("a row for each net")
        mark = rng.choice((", ", "; ", " ", "\n"))
        rows = [
            [f"N{n}", mark.join(f"{c.replace(' ', '')}.{p}" for c, p in part)] for n, part in parts.items()
        ]
        made.nets = {
            frozenset((c.replace(" ", ""), p) for c, p in part) for part in parts.values() if len(part) > 1
        }
        return [["Net", "Pins"], *rows]
    if rng.random() < 0.5:
        rows.sort(key=lambda row: (row[0], row[1]))
    if rng.random() < 0.5:
        for _ in range(2):
            rows.insert(
                rng.randrange(len(rows) + 1), ["ECU", f"9{rng.randrange(100, 999)}", rng.choice(MARKS)]
            )
        made.spoilt.append("marks")
    return [
        rng.choice(
            (["Connector", "Pin", "Signal"], ["Stecker", "Kammer", "Netz"], ["refdes", "pin", "net_name"])
        ),
        *rows,
    ]


def _endpoint_rows(rng: random.Random, wires: list[Wire], made: Made) -> list[list[str]]:
    made.colours = {}
    parts = {n: part for n, part in _nets(wires).items() if all("." not in place[0] for place in part)}
    made.nets = {
        frozenset((f"BOX.{c}", cavity) for c, cavity in part) for part in parts.values() if len(part) > 1
    }
    rows: list[list[str]] = []
    for n, part in parts.items():
        for i, (connector, cavity) in enumerate(part):
            rows.append([str(n) if i == 0 else "", "BOX", f"{connector}.{cavity}", "sig" if i == 0 else ""])
    made.answers["blank"] = "above"
    return [["#", "Device / Harness", "Endpoint", "Signal"], *rows]


def _pin_rows(rng: random.Random, wires: list[Wire], made: Made) -> list[list[str]]:
    rows = [[w.a[1], f"sig {w.name}", w.b[1], _coloured(w.colour, made.code)] for w in wires]
    _nothing(rng, rows, made, (0, 2))
    return [["LCD Pin", "Signal", "Board 4 Pin", "Wire Color"], *rows]


def _nothing(
    rng: random.Random, rows: list[list[str]], made: Made, ends: Sequence[int], mark_within: str = ":"
) -> None:
    """Add rows that end nowhere: one end holds a mark for nothing."""
    if rng.random() < 0.5 or not rows:
        return
    made.spoilt.append("marks")
    for n in range(rng.randint(2, 4)):
        row = list(rng.choice(rows))
        mark = rng.choice(MARKS)
        half = len(ends) // 2
        end = ends[half:] if rng.random() < 0.7 else ends[:half]
        # The other end is a cavity that nothing else sits in.
        other = ends[:half] if end == ends[half:] else ends[half:]
        for place in end:
            row[place] = mark
        if half == 2:
            row[other[0]], row[other[1]] = "ECU", f"Z{n}{rng.randrange(10, 99)}"
        else:
            row[other[0]] = f"ECU{mark_within}Z{n}9" if len(ends) == 2 and ends == (0, 1) else f"9{n}7"
        if len(row) > 4:
            row[4] = f"9{n}{rng.randrange(100)}"
        rows.insert(rng.randrange(len(rows) + 1), row)


def _ranged(rng: random.Random, rows: list[list[str]], wires: list[Wire], made: Made) -> list[list[str]]:
    """Add three wires between two plugs of their own as one row with ranges."""
    if rng.random() < 0.6:
        return rows
    made.spoilt.append("ranges")
    left, right = rng.choice(
        (
            ("2-4", "5-7"), ("5,6", "7/8"), ("3W-3Z", "B6, B5, B4, B3"), ("A1-A3", "9-11"),
            ("2 to 4", "5 6 7"), ("5+6", "7 und 8"), ("A-C", "1..3"), ("01-03", "3/2/1"), ("2 – 4", "A3-A1"),
        )
    )  # fmt: skip
    spelled = {
        "2-4": "2 3 4", "5-7": "5 6 7", "5,6": "5 6", "7/8": "7 8", "3W-3Z": "3W 3X 3Y 3Z",
        "B6, B5, B4, B3": "B6 B5 B4 B3", "A1-A3": "A1 A2 A3", "9-11": "9 10 11", "2 to 4": "2 3 4",
        "5 6 7": "5 6 7", "5+6": "5 6", "7 und 8": "7 8", "A-C": "A B C", "1..3": "1 2 3",
        "01-03": "01 02 03",
        "3/2/1": "3 2 1", "2 – 4": "2 3 4", "A3-A1": "A3 A2 A1",
    }  # fmt: skip
    made.nets |= {
        frozenset((("RA", a), ("RB", b)))
        for a, b in zip(spelled[left].split(), spelled[right].split(), strict=True)
    }
    row = ["RA", left, "RB", right, "77", _coloured("RD", made.code), rows[0][6] if rows else ""]
    rows.insert(rng.randrange(len(rows) + 1), row)
    return rows


def _bad_colour(rng: random.Random, rows: list[list[str]], made: Made, place: int) -> None:
    if rng.random() < 0.3 and rows:
        rows[rng.randrange(len(rows))][place] = rng.choice(("transp.?", "qq", "see note", "xx/yy"))
        made.spoilt.append("colour")


def _write(rng: random.Random, rows: list[list[str]], made: Made) -> None:
    if rng.random() < 0.3:
        for n, row in enumerate(rows):
            row.append("Contact part" if n == 0 else "2-170-1")
        made.spoilt.append("column")
    form = rng.choice(("csv", "csv", "semicolon", "tab", "xlsx", "md"))
    above = rng.choice((0, 0, 1, 3)) if form != "md" else 0
    if above:
        made.spoilt.append("title")
    rows = [*[["Loom of the shed"]] * above, *rows]
    if rng.random() < 0.2 and form != "md":
        rows.append(["", "", "All wires FLRY-B unless it is said otherwise."])
        made.spoilt.append("footer")
    if form == "md":
        made.file = "list.md"
        text = "# A loom\n\n" + "\n".join("| " + " | ".join(row) + " |" for row in rows[:1])
        text += "\n|" + "---|" * len(rows[0]) + "\n"
        text += "\n".join(
            "| " + " | ".join(cell.replace("\n", "<br>") for cell in row) + " |" for row in rows[1:]
        )
        made.data = text.encode()
    elif form == "xlsx":
        made.file = "list.xlsx"
        made.data = _book(rng, rows, above, made)
    else:
        made.file = "list.tsv" if form == "tab" else "list.csv"
        out = io.StringIO(newline="")
        csv.writer(out, delimiter={"csv": ",", "semicolon": ";", "tab": "\t"}[form]).writerows(rows)
        made.data = out.getvalue().encode()


def _book(rng: random.Random, rows: list[list[str]], above: int, made: Made) -> bytes:
    """Return a workbook of the rows; runs of one connector in the first column may be merged."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append([text or None for text in row])
    if made.shape in ("parts", "nets") and rng.random() < 0.7:
        made.spoilt.append("merged")
        start = above + 1
        while start < len(rows):
            stop = start
            while stop + 1 < len(rows) and rows[stop + 1][0] == rows[start][0] and rows[start][0]:
                stop += 1
            if stop > start and len(rows[start]) > 1:
                for n in range(start + 1, stop + 1):
                    sheet.cell(n + 1, 1).value = None
                sheet.merge_cells(start_row=start + 1, end_row=stop + 1, start_column=1, end_column=1)
            start = stop + 1
    saved = io.BytesIO()
    book.save(saved)
    return saved.getvalue()
