"""Drawings that people pin on the wall: connector faces and the loom as one picture, as SVG.

Everything here is a pure function from description values to SVG text.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from loomproof.loom.model import Connector, ConnectorKind, Loom
from loomproof.reports import drawing_face, drawing_loom
from loomproof.results.document import ConnectorEntry

UNKNOWN_COLOUR = "?"
"""Stands for a wire whose colour the description does not give."""


def connector_face(
    name: str,
    kind: str,
    rows: Sequence[Sequence[str]],
    colours: Mapping[str, str],
    *,
    description: str = "",
    marked: Collection[str] = (),
    page_px: float = math.inf,
) -> str:
    """Return a connector's face as an SVG document; `drawing_face.face` says what the arguments are."""
    return drawing_face.face(
        name, kind, rows, colours, description=description, marked=marked, page_px=page_px
    )


def entry_faces(
    entry: ConnectorEntry, *, marked: Collection[str] = (), page_px: float = math.inf, lines: int = 10_000
) -> list[tuple[str, list[str]]]:
    """Return the face of a connector as a results document holds it, each piece with its cavities.

    Pieces are no wider than ``page_px`` and have no more ``lines`` of cavities than said.
    """
    cut = drawing_face.cut(entry.rows, entry.colours, page_px)
    pieces = [entry.rows] if len(cut) <= lines else [cut[at : at + lines] for at in range(0, len(cut), lines)]
    faces = []
    for number, rows in enumerate(pieces, 1):
        which = f", piece {number} of {len(pieces)}, long rows cut" if len(pieces) > 1 else ""
        svg = connector_face(
            entry.name + which,
            entry.kind,
            rows,
            entry.colours,
            description=entry.description,
            marked=marked,
            page_px=page_px,
        )
        faces.append((svg, [cavity for row in rows for cavity in row if cavity]))
    return faces


def loom_face(loom: Loom, connector: Connector) -> str:
    """Return the face of one connector of a loom."""
    return connector_face(
        connector.name,
        connector.kind,
        connector.rows,
        wire_colours(loom, connector),
        description=connector.description,
    )


def wire_colours(loom: Loom, connector: Connector) -> dict[str, str]:
    """Return the wires of each wired cavity as colours, several separated by a space."""
    return {
        end.cavity: " ".join(wire.colour or UNKNOWN_COLOUR for wire in loom.wires_at[end])
        for end in connector.ends
        if end in loom.wires_at
    }


def drawings(loom: Loom) -> dict[str, bytes]:
    """Return every drawing of a loom by file name: ``loom.svg`` and a face for each connector."""
    files = {"loom.svg": loom_picture(loom).encode()}
    taken = {"loom.svg"}
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        plain = "".join(mark if mark.isalnum() or mark in "-_" else "_" for mark in connector.name)[:80]
        name, number = f"face_{plain}.svg", 1
        # Two names may differ only in case or in marks that no file name holds everywhere.
        while name.casefold() in taken:
            number += 1
            name = f"face_{plain}_{number}.svg"
        taken.add(name.casefold())
        files[name] = loom_face(loom, connector).encode()
    return files


def loom_picture(loom: Loom) -> str:
    """Return the whole loom as one SVG document: connectors, splices, wires and circuits."""
    return drawing_loom.picture(loom)
