"""Values of the rooms as they stand in the results document."""

from __future__ import annotations

from collections.abc import Generator

from loomproof.loom.model import ConnectorKind, Loom
from loomproof.measuring.selfcheck import SelfCheck
from loomproof.reports.drawing import wire_colours
from loomproof.results import document as doc


def wire_entries(loom: Loom) -> tuple[doc.WireEntry, ...]:
    """Return the wire list."""
    return tuple(doc.WireEntry(name=wire.name, ends=wire.ends, colour=wire.colour) for wire in loom.wires)


def connector_entries(loom: Loom) -> Generator[doc.ConnectorEntry, None, None]:
    """Yield connectors as they are drawn: cavities in rows, colours of the wires in each."""
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        yield doc.ConnectorEntry(
            name=connector.name,
            kind=connector.kind,
            description=connector.description,
            rows=connector.rows,
            colours=wire_colours(loom, connector),
        )


def check_entries(check: SelfCheck) -> tuple[doc.CheckEntry, ...]:
    """Return the bench's self-checks as they stand in the document."""
    return tuple(doc.CheckEntry(name=c.name, passed=c.passed, text=c.text) for c in check.checks)
