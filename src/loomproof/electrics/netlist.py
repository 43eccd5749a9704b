"""The expected netlist as rows, and as CSV or JSON for other programs."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass

from loomproof.electrics.nets import nets_of
from loomproof.loom.model import Loom
from loomproof.loom.tables import csv_bytes
from loomproof.loom.text import list_of


@dataclass(frozen=True, slots=True)
class NetRow:
    """One conductor: its number from 1, cavities, splices, wires, their circuits, parts that end on it."""

    net: int
    cavities: tuple[str, ...]
    splices: tuple[str, ...]
    wires: tuple[str, ...]
    circuits: tuple[str, ...]
    parts: tuple[str, ...]

    def __str__(self) -> str:
        wires = f"  by {' '.join(self.wires)}" if self.wires else "  no wire"
        parts = f"; at {' '.join(self.parts)}" if self.parts else ""
        return f"{self.net:>4}  {' '.join([*self.cavities, *self.splices])}{wires}{parts}"


def netlist(loom: Loom) -> tuple[NetRow, ...]:
    """Return which cavities are one conductor, by which wires, in the description's order."""
    wires = loom.wire_by_name
    return tuple(
        NetRow(
            number,
            tuple(str(end) for end in net.cavities),
            tuple(str(end) for end in net.ends if loom.is_splice(end)),
            tuple(net.wires),
            tuple(dict.fromkeys(wires[name].circuit for name in net.wires if wires[name].circuit)),
            tuple(part.name for part in loom.components if not set(part.ends).isdisjoint(net.ends)),
        )
        for number, net in enumerate(nets_of(loom), 1)
    )


def netlist_json(loom: Loom) -> str:
    """Return the netlist as JSON: a list of objects with the names of `NetRow`."""
    return json.dumps([asdict(row) for row in netlist(loom)], ensure_ascii=False, indent=2)


def netlist_csv(loom: Loom) -> bytes:
    """Return the netlist as CSV; cavities with blanks between, the rest as in a loom's tables."""
    headings = ("net", "cavities", "splices", "wires", "circuits", "parts")
    rows = [
        [
            str(row.net),
            " ".join(row.cavities),
            " ".join(row.splices),
            list_of(row.wires),
            list_of(row.circuits),
            list_of(row.parts),
        ]
        for row in netlist(loom)
    ]
    return csv_bytes(headings, rows)
