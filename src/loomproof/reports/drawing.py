"""Drawings that people pin on the wall: connector faces and the loom as one picture, as SVG.

Everything here is a pure function from description values to SVG text.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import dataclass

from loomproof.loom.model import Connector, ConnectorKind, Loom
from loomproof.reports import drawing_face
from loomproof.results.document import ConnectorEntry, Document

UNKNOWN_COLOUR = "?"
"""Stands for a wire whose colour the description does not give."""

LEAST_PT = 6.0
_SCALES = (0.25, 0.204, 0.165)
_MOST_LINES = 10
"""Least size of printed text, the scales in mm per px that a face is tried at, roomiest first, and how many
lines of cavities with three wires each a page takes."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A connector's face or a part of it, with the cavities on it and how wide it is to be printed, mm.

    ``svg`` is without the letters in its cavities: they are in ``letters``, in mm from its upper left corner.
    Set as other texts are, they take a typesetter a third of the time that they take within a picture.
    """

    svg: str
    letters: tuple[drawing_face.Letters, ...]
    cavities: tuple[str, ...]
    wide_mm: float


def printed_faces(entry: ConnectorEntry, page_mm: float, *, marked: Collection[str] = ()) -> list[Piece]:
    """Return the face of a connector as a results document holds it, for a page so wide.

    No text on it is printed under `LEAST_PT`. A row stays whole where it then fits the page; a face with more
    lines than a page takes comes in pieces.
    """
    for mm_per_px in _SCALES:
        page_px = page_mm / mm_per_px
        small = math.ceil(LEAST_PT * 25.4 / 72 / mm_per_px * 10) / 10
        cut = drawing_face.cut(entry.rows, entry.colours, page_px, small)
        if len(cut) == len(entry.rows):
            break
    whole = len(cut) <= _MOST_LINES
    pieces = [entry.rows] if whole else [cut[at : at + _MOST_LINES] for at in range(0, len(cut), _MOST_LINES)]
    made = []
    for number, rows in enumerate(pieces, 1):
        which = "" if whole else f", piece {number} of {len(pieces)}, long rows cut"
        face = drawing_face.drawn(
            entry.name + which,
            entry.kind,
            rows,
            entry.colours,
            description=entry.description,
            marked=marked,
            page_px=page_px,
            small=small,
        )
        wide_mm = min(page_mm, face.wide * mm_per_px)
        scale = wide_mm / face.wide
        letters = tuple(
            each._replace(x=each.x * scale, y=each.y * scale, size=each.size * scale) for each in face.letters
        )
        cavities = tuple(cavity for row in rows for cavity in row if cavity)
        made.append(Piece(face.document(lettered=False), letters, cavities, wide_mm))
    return made


def loom_face(loom: Loom, connector: Connector) -> str:
    """Return the face of one connector of a loom."""
    return drawing_face.face(
        connector.name,
        connector.kind,
        connector.rows,
        wire_colours(loom, connector),
        description=connector.description,
    )


def wire_colours(loom: Loom, connector: Connector) -> dict[str, str]:
    """Return the wires of each cavity as colours, several separated by a space; "" where a part alone is."""
    held = {end for part in loom.components for end in part.ends} | set(loom.wires_at)
    return {
        end.cavity: " ".join(wire.colour or UNKNOWN_COLOUR for wire in loom.wires_at.get(end, ()))
        for end in connector.ends
        if end in held
    }


INDEX, WHOLE, PLACES = "index.html", "loom.svg", "places.svg"


def drawings(loom: Loom, document: Document | None = None) -> dict[str, bytes]:
    """Return every drawing of a loom by file name: ``loom.svg`` and a face for each connector.

    Where a run of it found places on wires, these stand to scale under the loom, else in ``places.svg``.

    Above `drawing_parts.LARGEST` wires there are ``index.html`` and a picture for each connector instead of
    ``loom.svg``.
    """
    from loomproof.reports import drawing_loom, drawing_parts, drawing_places

    taken: set[str] = set()
    plugs = [each for each in loom.connectors if each.kind is not ConnectorKind.SPLICE]
    faces = {each.name: _file("face", each, taken) for each in plugs}
    found = None if document is None else drawing_places.places(document)
    files: dict[str, bytes] = {}
    if len(loom.wires) <= drawing_parts.LARGEST:
        files[WHOLE] = drawing_loom.picture(loom).encode()
    else:
        parts = {each.name: _file("wires", each, taken) for each in plugs}
        listed = {name: (file, faces[name]) for name, file in parts.items()}
        files[INDEX] = drawing_parts.index_page(loom, listed, PLACES if found else "").encode()
        for each in plugs:
            part = drawing_parts.around(loom, each)
            files[parts[each.name]] = drawing_loom.picture(part, each.name, loom).encode()
    files |= {faces[each.name]: loom_face(loom, each).encode() for each in plugs}
    if found is not None and WHOLE in files:
        files[WHOLE] = drawing_places.with_places(files[WHOLE].decode(), found).encode()
    elif found is not None:
        files[PLACES] = found.encode()
    return files


def _file(kind: str, connector: Connector, taken: set[str]) -> str:
    """Return the name of a connector's drawing of a kind, and take it."""
    plain = "".join(mark if mark.isalnum() or mark in "-_" else "_" for mark in connector.name)[:80]
    name, number = f"{kind}_{plain}.svg", 1
    # Two names may differ only in case or in marks that no file name holds everywhere.
    while name.casefold() in taken:
        number += 1
        name = f"{kind}_{plain}_{number}.svg"
    taken.add(name.casefold())
    return name
