"""Ends of a loom called otherwise: connectors made, joined and left, and everything that speaks of them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from loomproof.loom.model import CavityFacts, Connector, ConnectorKind, End, Hazard, Loom
from loomproof.loom.nameless import is_nameless
from loomproof.loom.text import natural

ROWS_ASKED = "rows as seen from the mating face?"
"""What is still asked of a connector that was named by touch."""


def moved(loom: Loom, moves: Mapping[End, End], traced_of: Mapping[End, End], said: str = "") -> Loom:
    """Return the loom with these ends called otherwise; no two may get one name.

    ``said`` is the connector that a person named: where that is what it was called already, it is named now.

    A connector all of whose cavities go to one new name is that connector, renamed; else cavities leave it,
    and where it is left empty it is gone. A new one begins with the hazard of that which its first cavity
    left, and one that takes in cavities of another keeps the worse of the two hazards. ``traced_of`` tells
    under which name an end was begun; it is noted where a cavity goes elsewhere.
    """
    if not moves:
        return loom
    connectors: list[Connector] = []
    made: dict[str, int] = {}
    whole: set[str] = set()
    for each in loom.connectors:
        to = {moves.get(end, end).connector for end in each.ends}
        new = next(iter(to)) if len(to) == 1 else each.name
        leaves = new != each.name
        if leaves and new not in loom.by_name and new not in made:
            whole.add(each.name)
            made[new] = len(connectors)
            connectors.append(_renamed(each, new, moves, traced_of))
            continue
        for target in sorted(to - {each.name}):
            cavities = [moves[end].cavity for end in each.ends if moves.get(end, end).connector == target]
            if target in loom.by_name or target in made:
                continue
            made[target] = len(connectors)
            connectors.append(
                Connector(target, ConnectorKind.PLUG, (tuple(cavities),), ROWS_ASKED, hazard=each.hazard)
            )
        stays = _staying(each, moves, said)
        if stays is not None:
            made[each.name] = len(connectors)
            connectors.append(stays)
    connectors = [_taking_in(c, loom, moves, whole) for c in connectors]

    def now(end: End) -> End:
        return moves.get(end, end)

    noted = {
        target: f"traced as {traced_of.get(end, end)}"
        for end, target in moves.items()
        if end.connector not in whole and traced_of.get(end, end) != target
    }
    facts = [replace(each, end=now(each.end)) for each in loom.cavity_facts]
    by_end = {each.end: each for each in facts}
    for end, note in noted.items():
        old = by_end.get(end, CavityFacts(end))
        if note not in old.note:
            by_end[end] = replace(old, note=f"{old.note}; {note}" if old.note else note)
    return replace(
        loom,
        connectors=tuple(connectors),
        wires=tuple(replace(wire, a=now(wire.a), b=now(wire.b)) for wire in loom.wires),
        components=tuple(
            replace(part, terminals=tuple((name, now(end)) for name, end in part.terminals))
            for part in loom.components
        ),
        cavity_facts=tuple(by_end.values()),
    )


def _renamed(each: Connector, new: str, moves: Mapping[End, End], traced_of: Mapping[End, End]) -> Connector:
    """Return a connector under its new name, its cavities in their places."""
    rows = tuple(
        tuple(
            moves.get(End(each.name, cavity), End(each.name, cavity)).cavity if cavity else ""
            for cavity in row
        )
        for row in each.rows
    )
    began = {traced_of.get(end, end).connector for end in each.ends}
    said = f"traced as {', '.join(sorted(began))}; {ROWS_ASKED}" if is_nameless(each) else each.description
    return replace(each, name=new, rows=rows, description=said)


def _staying(each: Connector, moves: Mapping[End, End], said: str) -> Connector | None:
    """Return a connector without the cavities that left it; ``None`` where none is left."""
    if each.kind is ConnectorKind.SPLICE:
        return each
    rows = []
    for row in each.rows:
        ends = [moves.get(End(each.name, cavity), End(each.name, cavity)) for cavity in row if cavity]
        gone = any(end.connector != each.name for end in ends)
        kept = [end.cavity for end in ends if end.connector == each.name]
        if not gone:
            names = iter(kept)
            rows.append(tuple(next(names) if cavity else "" for cavity in row))
        elif kept:
            rows.append(tuple(kept))
    if not rows:
        return None
    description = ROWS_ASKED if is_nameless(each) and each.name == said else each.description
    return _in_order(replace(each, rows=tuple(rows), description=description))


def _taking_in(each: Connector, loom: Loom, moves: Mapping[End, End], whole: set[str]) -> Connector:
    """Return a connector with the cavities that came to it from others."""
    come = [
        (end, to.cavity)
        for end, to in moves.items()
        if to.connector == each.name and to.cavity not in each.cavities and end.connector not in whole
    ]
    if not come:
        return _in_order(each)
    cavities = tuple(cavity for _, cavity in come)
    rows = ((*each.rows[0], *cavities),) if len(each.rows) == 1 else (*each.rows, cavities)
    hazard = max((each.hazard, *(loom.by_name[end.connector].hazard for end, _ in come)), key=_WORSE.index)
    said = ROWS_ASKED if is_nameless(each) else each.description
    return _in_order(replace(each, rows=rows, hazard=hazard, description=said))


def _in_order(each: Connector) -> Connector:
    """Return a connector whose rows nobody has seen with its cavities in the order of their names."""
    if len(each.rows) != 1 or not each.description.endswith(ROWS_ASKED):
        return each
    return replace(each, rows=(tuple(sorted(each.rows[0], key=natural)),))


_WORSE = (Hazard.NONE, Hazard.UNKNOWN, Hazard.ELECTRONICS, Hazard.PYROTECHNIC)
