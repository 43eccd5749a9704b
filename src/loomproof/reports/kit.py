"""A kit list for people: rows of a table, lines of a screen, and a page to print with labels to cut out."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import assert_never

from loomproof.loom.colours import name_of
from loomproof.loom.model import ConnectorKind, End
from loomproof.reports.exports import table_bytes
from loomproof.reports.typesetting import typeset
from loomproof.reports.words import clean, plural
from loomproof.results.kit import Kit, LeadLabel, Left, Plugs, PlugType, Terminals

PLUG_HEADS = ("for", "quantity", "what", "housing", "cavities", "leads")
TERMINAL_HEADS = ("quantity", "terminals for", "the loom's wires", "seal")
BOARD_HEADS = ("loom", "cavities", "points at once", "hook-ups", "plugs put on")
COLUMNS = (
    "list", "loom", "quantity", "what", "housing", "connector", "cavity", "section_mm2", "colour", "point",
    "hook_up", "note",
)  # fmt: skip
"""Columns of the table; ``list`` says which of the lists a row is of."""


def plug_texts(kit: Kit) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each type of plug, as `PLUG_HEADS` names them; shared ones first."""
    for each in (*kit.once, *(one for loom in kit.driven for one in kit.for_one(loom.loom))):
        yield (
            clean(_for(each)),
            f"{each.quantity}",
            _what(each.type),
            clean(each.type.housing or "?" if each.type.of or each.type.housing else ""),
            f"{len(each.type.cavities)}",
            f"{each.leads}",
        )


def terminal_texts(kit: Kit) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each sort of terminal, as `TERMINAL_HEADS` names them."""
    for each in kit.terminals:
        yield f"{each.quantity}", clean(_named(each.type)), _wires(each), "sealed" if each.sealed else ""


def board_texts(kit: Kit) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each loom, as `BOARD_HEADS` names them."""
    for each in kit.driven:
        ways = f"{each.hook_ups}" if each.hook_ups else f"none: {each.refused}"
        yield clean(each.loom), f"{each.cavities}", f"{each.points}", clean(ways), f"{each.plug_ins}"


def facts(kit: Kit) -> Iterator[str]:
    """Yield what there is to have of what every loom needs, in sentences."""
    board = plural(kit.points, "point")
    yield f"To have once: a board of {board}, and the plugs that several looms share."
    leads = sum(each.leads for each in kit.plugs)
    labels = f"{plural(len(kit.lead_labels), 'label')} for leads, {len(kit.plug_labels)} for plugs"
    yield f"{plural(leads, 'lead')}, one for each cavity of each plug; {labels}."
    if any(each.hook_ups > 1 for each in kit.driven):
        yield "Where a loom takes several hook-ups a lead goes to another point in each, as its labels say."


def kit_table(kit: Kit, suffix: str) -> bytes:
    """Return all of a kit as one table, ``.csv`` or ``.xlsx``, with the columns `COLUMNS`."""
    import pandas as pd

    return table_bytes(pd.DataFrame(list(_rows(kit)), columns=list(COLUMNS)), suffix)


def kit_pdf(kit: Kit) -> bytes:
    """Return a kit as a page to print: what to buy and make, to be ticked, then labels to cut out."""
    view = {
        "title": "Adapters to make",
        "facts": list(facts(kit)),
        "lists": [
            {"head": "Plugs", "heads": PLUG_HEADS, "rows": list(plug_texts(kit))},
            {"head": "Terminals and seals", "heads": TERMINAL_HEADS, "rows": list(terminal_texts(kit))},
            {"head": "What the board drives", "heads": BOARD_HEADS, "rows": list(board_texts(kit))},
        ],
        "questions": [clean(each) for each in kit.questions],
        "plugs": [
            [
                clean(each.connector),
                clean(" ".join(filter(None, (each.housing, each.location)))),
                clean(each.loom),
            ]
            for each in kit.plug_labels
        ],
        "leads": [
            [f"{each.point}", clean(str(each.end)), clean(_colours(each)), clean(_on(kit, each))]
            for each in kit.lead_labels
        ],
    }
    return typeset("kit.typ", {"view": view}, {}, datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))


LEFT_HEADS = ("connector", "housing", "made", "left", "leads to make")


def left_texts(left: Sequence[Left]) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each plug with leads left to make, as `LEFT_HEADS` names them."""
    for each in left:
        if each.ends:
            ends = ", ".join(end.cavity for end in each.ends)
            row = each.connector, each.housing, f"{each.made}", f"{len(each.ends)}", ends
            yield tuple(map(clean, row))


def left_pdf(
    loom: str, left: Sequence[Left], labels: Mapping[End, int], about: Callable[[End], str]
) -> bytes:
    """Return a page to print of what is left to make: plugs first, then the leads of each, to be ticked."""
    made = sum(each.made for each in left)
    view = {
        "title": clean(f"Leads left to make for {loom}"),
        "facts": [f"{made} of {plural(made + sum(len(each.ends) for each in left), 'lead')} made."],
        "lists": [
            {"head": "Plugs", "heads": LEFT_HEADS, "rows": list(left_texts(left))},
            *(
                {
                    "head": clean(f"{each.connector} {each.housing}".rstrip()),
                    "heads": ("point on its label", "cavity", "the loom's wires there"),
                    "rows": [
                        (f"{labels[end]}", clean(end.cavity), clean(about(end).strip(" ()")))
                        for end in each.ends
                    ],
                }
                for each in left
                if each.ends
            ),
        ],
        "questions": [],
        "plugs": [],
        "leads": [],
    }
    return typeset("kit.typ", {"view": view}, {}, datetime.datetime(2000, 1, 1, tzinfo=datetime.UTC))


def _rows(kit: Kit) -> Iterator[tuple[object, ...]]:
    yield "board", "", 1, "board", "", "", "", "", "", kit.points, "", "points that it has, under point"
    for driven in kit.driven:
        note = f"{driven.cavities} cavities, {driven.points} points at once, {driven.plug_ins} plugs put on"
        yield "hook-ups", driven.loom, driven.hook_ups, "hook-ups", *[""] * 7, driven.refused or note
    for each in kit.plugs:
        of = each.type.of.partition(" of ")[0]
        yield "plugs", _for(each), each.quantity, _what(each.type), each.type.housing, of, *[""] * 5, ""
        yield "leads", _for(each), each.leads, "leads", each.type.housing, of, *[""] * 5, ""
    for row in kit.terminals:
        of = row.type.of.partition(" of ")[0]
        sections = " ".join(f"{each:g}" for each in row.sections_mm2)
        for what in ("terminals", "seals")[: 1 + row.sealed]:
            yield what, "", row.quantity, what, row.type.housing, of, "", sections, "", "", "", _wires(row)
    for plug in kit.plug_labels:
        yield "plug labels", plug.loom, 1, "label", plug.housing, plug.connector, *[""] * 5, plug.location
    for lead in kit.lead_labels:
        where = lead.end.connector, lead.end.cavity, "", " ".join(lead.colours), lead.point, lead.hook_up
        yield "lead labels", lead.loom, 1, "label", "", *where, ""
    for question in kit.questions:
        yield "questions", "", "", "question", *[""] * 7, question


def _mate(kind: ConnectorKind) -> str:
    """Return what goes onto a connector of a kind, in words (common practice)."""
    match kind:
        case ConnectorKind.PLUG | ConnectorKind.SOCKET:
            return "mating half"
        case ConnectorKind.RING:
            return "clip or bolt"
        case ConnectorKind.BLADE:
            return "receptacle for a blade"
        case ConnectorKind.BULLET:
            return "receptacle for a bullet"
        case ConnectorKind.TAIL:
            return "clip for a bare end"
        case ConnectorKind.FUSE_HOLDER:
            return "blades for a fuse holder"
        case ConnectorKind.RELAY_BASE:
            return "blades for a relay base"
        case ConnectorKind.SPLICE:
            return "nothing"
        case _:
            assert_never(kind)
    assert_never(kind)


def _for(plugs: Plugs) -> str:
    return " and ".join(plugs.looms) if len(plugs.looms) < 3 else f"{len(plugs.looms)} looms"


def _what(kind: PlugType) -> str:
    return f"{_mate(kind.kind)} for {kind.of}" if kind.of else _mate(kind.kind)


def _named(kind: PlugType) -> str:
    return kind.housing or kind.of or f"each {kind.kind}"


def _wires(row: Terminals) -> str:
    if row.empty:
        return "no wire described there"
    if not row.sections_mm2:
        return "section not described"
    return f"{' or '.join(f'{each:g}' for each in row.sections_mm2)} mm²"


def _colours(label: LeadLabel) -> str:
    return ", ".join(f"{each} {name_of(each)}" for each in label.colours)


def _on(kit: Kit, label: LeadLabel) -> str:
    several = next(each.hook_ups for each in kit.driven if each.loom == label.loom) > 1
    return f"{label.loom}, hook-up {label.hook_up}" if several else label.loom
