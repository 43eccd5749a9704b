"""Wires whose open a sense can't see: the cavities that it would part hang together without them."""

from __future__ import annotations

from collections.abc import Collection

from loomproof.electrics.expectation import Expectation
from loomproof.loom.model import End


def hidden_from_sense(expectation: Expectation, tested: Collection[End]) -> tuple[str, ...]:
    """Return the wires of tested nets whose open would part no two ``tested`` cavities of their net.

    Others run beside them, parts make a way round (a diode's one way is counted as one: its drop has no
    margin against an input's threshold), or they lead to no tested cavity: to a part, or to a splice.
    """
    beside: dict[End, list[tuple[End, str]]] = {}
    edges = [
        (a, b, conductor.name if conductor.kind == "wire" else "")
        for listed in expectation.conductors.values()
        for a, b, conductor in listed
    ]
    edges += [(coupling.a, coupling.b, "") for coupling in expectation.couplings]
    for a, b, name in edges:
        beside.setdefault(a, []).append((b, name))
        beside.setdefault(b, []).append((a, name))
    hidden = []
    for net in expectation.nets:
        cavities = {end for end in net.cavities if end in tested}
        if cavities:
            hidden += [name for name in net.wires if cavities <= _reached(beside, next(iter(cavities)), name)]
    return tuple(hidden)


def _reached(beside: dict[End, list[tuple[End, str]]], start: End, without: str) -> set[End]:
    """Return what hangs together with ``start`` while one wire is open."""
    seen, todo = {start}, [start]
    while todo:
        for other, name in beside.get(todo.pop(), ()):
            if name != without and other not in seen:
                seen.add(other)
                todo.append(other)
    return seen
