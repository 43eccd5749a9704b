"""Drawings that people pin on the wall: connector faces and the loom as one picture, as SVG.

Everything here is a pure function from description values to SVG text.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence

from loomproof.loom.model import Connector, Loom
from loomproof.reports import drawing_face
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
) -> str:
    """Return a connector's face as an SVG document; `drawing_face.face` says what the arguments are."""
    return drawing_face.face(name, kind, rows, colours, description=description, marked=marked)


def entry_face(entry: ConnectorEntry, *, marked: Collection[str] = ()) -> str:
    """Return the face of a connector as a results document holds it."""
    return connector_face(
        entry.name, entry.kind, entry.rows, entry.colours, description=entry.description, marked=marked
    )


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
