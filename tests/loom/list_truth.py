"""What a loom joins, worked out by networkx, for holding lists to the truth."""

from __future__ import annotations

from collections.abc import Iterable

import networkx

from loomproof.loom.lists.questions import Answers
from loomproof.loom.lists.reading import Reading, understand
from loomproof.loom.model import Loom

Nets = set[frozenset[tuple[str, str]]]


def read(data: bytes | str, file: str = "list.csv", **answers: object) -> Reading:
    """Read a list under answers."""
    raw = data.encode() if isinstance(data, str) else data
    return understand(raw, file, answers=Answers(**answers))  # type: ignore[arg-type]  # by the field's name


def loom_of(reading: Reading) -> Loom:
    """Return the loom of a list that leaves nothing open."""
    assert reading.loom is not None, (reading.questions, reading.problems)
    return reading.loom


def nets_of(loom: Loom) -> Nets:
    """Return the sets of two or more cavities that wires join, splices left out."""
    graph: networkx.Graph[tuple[str, str]] = networkx.Graph()
    for wire in loom.wires:
        graph.add_edge((wire.a.connector, wire.a.cavity), (wire.b.connector, wire.b.cavity))
    found = (frozenset(end for end in part if end[1]) for part in networkx.connected_components(graph))
    return {net for net in found if len(net) > 1}


def nets(*texts: str) -> Nets:
    """Return nets written as ``A:1 B:2``."""
    return {frozenset(_end(text) for text in line.split()) for line in texts}


def _end(text: str) -> tuple[str, str]:
    connector, _, cavity = text.replace("_", " ").rpartition(":")
    return connector, cavity


def names(questions: Iterable[object]) -> list[str]:
    """Return the names of questions."""
    return [str(getattr(question, "name", "")) for question in questions]
