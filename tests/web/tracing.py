"""What a traced loom is held to: which cavities the tables of the loom on the simulator join, by networkx.

Read with `csv` from the tables as they lie there; nothing of what traces or describes a loom takes part.
"""

from __future__ import annotations

import csv
from pathlib import Path

import networkx as nx

End = tuple[str, str]


def rows(table: Path) -> list[dict[str, str]]:
    with table.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def joined(loom: Path) -> set[frozenset[End]]:
    """Return the sets of two or more cavities that wires, through splices, join."""
    graph: nx.Graph[End] = nx.Graph()
    for row in rows(loom / "wires.csv"):
        graph.add_edge(
            (row["from_connector"], row["from_cavity"]),
            (row["to_connector"], row["to_cavity"]),
        )
    nets = (frozenset(end for end in net if end[1]) for net in nx.connected_components(graph))
    return {net for net in nets if len(net) > 1}


def cavities(loom: Path) -> list[End]:
    """Return every cavity that the table of connectors names, one by one or as a run of figures."""
    found: list[End] = []
    for row in rows(loom / "connectors.csv"):
        for part in row["cavities"].replace("/", " ").split() if row["kind"] != "splice" else ():
            first, dash, last = part.partition("-")
            run = dash and first.isdecimal() and last.isdecimal()
            names = map(str, range(int(first), int(last) + 1)) if run else (part,)
            found += [(row["connector"], name) for name in names]
    return found


def table(ends: list[End]) -> bytes:
    """Return an adapter table as a person writes it: point 1 to the first end, and so on."""
    lines = (f"{number},{connector},{cavity}" for number, (connector, cavity) in enumerate(ends, start=1))
    return "\n".join(("point,connector,cavity", *lines, "")).encode()
