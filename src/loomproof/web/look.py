"""Looking at a loom: its drawing and faces, every wire with its net, what is odd of it beside it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from typing import Any

from loomproof.electrics.nets import nets_of
from loomproof.errors import DescriptionError, UsageError, suggestion
from loomproof.jobs.describing import checked
from loomproof.loom.colours import name_of
from loomproof.loom.model import ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import load
from loomproof.reports import drawing_loom, drawing_parts
from loomproof.web import beside, pictures
from loomproof.web.answers import Answer, Asked, House, Page
from loomproof.web.session import told

PARTS = ("anything", "wire", "colour", "circuit", "connector", "cavity")
"""What a search may be held to."""


def look(house: House, asked: Asked) -> Answer:
    """Show a loom: the drawing, the faces and all wires; above 1 500 wires what hangs on one connector."""
    name = asked.names["loom"]
    path = house.workplace.loom(name)
    try:
        found = checked(path)
        own = load(path).left_out
    except DescriptionError as error:
        return wrong(house, name, error)
    loom = found.loom
    part, around = _part(loom, asked.query.get("connector", ""))
    odd = tuple(found.warnings)
    said = beside.of_things(odd, path)
    values = {
        "name": name,
        "loom": loom,
        "facts": tuple(found.facts),
        "missing": found.summary.missing,
        "odd": tuple(beside.shown(odd, path, house.how)),
        "own": [str(each) for each in own],
        "drawing": pictures.within(drawing_loom.picture(part, around, loom if around else None), "loom"),
        "around": around,
        "connectors": [each.name for each in loom.connectors if each.kind is not ConnectorKind.SPLICE],
        "faces": [(*face, said.get(("connectors", face[0]), ())) for face in pictures.faces(part)],
        "rows": list(rows_of(loom, part, said, found.weak)),
        "nets": json.dumps(_nets(loom), ensure_ascii=False),
        "parts": PARTS,
    }
    return Page("look.html", values)


def wrong(house: House, name: str, error: DescriptionError) -> Page:
    """Show a description that does not hold together: what is wrong, beside the cells."""
    path = house.workplace.loom(name)
    values = {"name": name, "error": told(error, house.how)}
    placed = tuple(beside.shown(error.problems, path, house.how))
    if placed:
        values["error"] = {"message": error.message, "lines": list(filter(None, [error.cure]))}
    return Page("loom_wrong.html", {**values, "placed": placed}, 400)


def _part(loom: Loom, asked: str) -> tuple[Loom, str]:
    """Return what is drawn of a loom, and the connector that it is around; "" where it is all of it.

    Raises `UsageError` for a connector that the loom has not.
    """
    plugs = {each.name: each for each in loom.connectors if each.kind is not ConnectorKind.SPLICE}
    if not asked and len(loom.wires) <= drawing_parts.LARGEST:
        return loom, ""
    around = asked or next(iter(plugs))
    if around not in plugs:
        near = suggestion(around, plugs) or "The page of the loom lists its connectors."
        raise UsageError(f"{around}: the loom has no connector of that name", cure=near)
    return drawing_parts.around(loom, plugs[around]), around


def _nets(loom: Loom) -> dict[str, list[str]]:
    """Return the ends of each net that joins any, by the net's number."""
    return {str(net.index): list(map(str, net.ends)) for net in nets_of(loom) if len(net.ends) > 1}


def rows_of(
    loom: Loom, part: Loom, odd: Mapping[tuple[str, str], tuple[str, ...]], weak: Mapping[str, str]
) -> Iterator[dict[str, Any]]:
    """Yield a row for each wire of a part of a loom: what it is, where it goes, its net, what is odd."""
    net_of = {wire: net.index for net in nets_of(loom) for wire in net.wires}
    for wire in part.wires:
        circuit = loom.circuit_by_name.get(wire.circuit)
        purpose = "" if circuit is None else ", ".join(filter(None, (circuit.designation, circuit.purpose)))
        said = [*odd.get(("wires", wire.name), ())]
        if wire.name in weak:
            said.append(f"Too weak for its load: {weak[wire.name]}.")
        yield {
            "name": wire.name,
            "colour": wire.colour,
            "spoken": name_of(wire.colour) if wire.colour else "colour not said",
            "section": _section(wire, loom),
            "ends": [(str(end), _where(loom, end)) for end in wire.ends],
            "both": json.dumps([str(end) for end in wire.ends], ensure_ascii=False),
            "connectors": json.dumps([end.connector for end in wire.ends], ensure_ascii=False),
            "cavities": json.dumps([end.cavity for end in wire.ends], ensure_ascii=False),
            "length": "not said" if wire.length_m is None else f"{wire.length_m:g} m",
            "circuit": wire.circuit,
            "purpose": purpose,
            "net": net_of[wire.name],
            "odd": said,
        }


def _section(wire: Wire, loom: Loom) -> str:
    if wire.csa_mm2 is None:
        return f"not said; {loom.settings.wire_csa_mm2:g} mm² is taken"
    return wire.section or f"{wire.csa_mm2:.3g} mm²"


def _where(loom: Loom, end: End) -> str:
    connector = loom.by_name[end.connector]
    return ", ".join(filter(None, (connector.description, connector.location)))
