"""Runs of a conductor as wires, of KBL and VEC alike, cut at every contact on the way; pairs and screens."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

from loomproof.loom.kbl.naming import Names
from loomproof.loom.model import End, Wire
from loomproof.loom.text import list_of


def runs_of(wire: Wire, placed: Sequence[tuple[float, End]], names: Names) -> Iterator[Wire]:
    """Yield a wire for each two neighbours of its ends, which stand with their positions along it.

    Of more than one each gets a name of its own and its share of the length, or none where the ends do not
    stand in a row (`in_a_row`). A run may end where it starts.
    """
    whole = placed[-1][0] - placed[0][0]
    shared = in_a_row(placed)
    for number, ((start, a), (stop, b)) in enumerate(pairwise(placed), 1):
        if len(placed) == 2:
            yield replace(wire, a=a, b=b)
            continue
        length_m = (
            round(wire.length_m * (stop - start) / whole, 9) if shared and wire.length_m is not None else None
        )
        yield replace(wire, name=names.give(f"{wire.name}.{number}"), a=a, b=b, length_m=length_m)


def in_a_row(placed: Sequence[tuple[float, End]]) -> bool:
    """Whether the positions of a wire's ends say in which order they stand along it, each at its own."""
    at = [position for position, _ in placed]
    return all(map(math.isfinite, at)) and all(start < stop for start, stop in pairwise(at))


def grouped(
    drafts: Sequence[tuple[str, Wire]],
    twisted: Mapping[str, Sequence[str]],
    screened_by: Mapping[str, str],
) -> tuple[Wire, ...]:
    """Fill in which wires are twisted together and which is the screen of which, by keys of conductors."""
    names: dict[str, list[str]] = {}
    for key, wire in drafts:
        names.setdefault(key, []).append(wire.name)
    done = []
    for key, wire in drafts:
        partners = [name for other in twisted.get(key, ()) if other != key for name in names.get(other, ())]
        screen = next(iter(names.get(screened_by[key], ())), "") if key in screened_by else ""
        done.append(replace(wire, twisted_with=list_of(partners), screened_by=screen))
    return tuple(done)
