"""What of an alignment is sure: how much worse every other place of a connector would be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from loomproof.matching.aligning import Aligner, Alignment, Explored, hard
from loomproof.matching.shape import Matrix
from loomproof.results.matching import Standing

SURE_BY = 1.01
"""Where every other place costs more than one cavity, one fault of the loom does not make up for it."""

A_CAVITY = 0.99
"""One cavity, allowing for the little that sizes and names weigh."""

NO_WORSE = 0.01


@dataclass(frozen=True)
class Judged:
    """The standing of a connector, and the other places that are no worse, or hardly, best first."""

    standing: Standing
    agreed: int
    others: tuple[int, ...]
    rivals: tuple[Alignment, ...]


def judged(aligner: Aligner, explored: Explored, known_by_touch: Mapping[int, int]) -> tuple[Judged, ...]:
    """Return for each connector of the traced loom how sure its place is."""
    best, others = explored.best, explored.others
    agreed, there = _agreeing(aligner, best)
    gaining: dict[Alignment, bool] = {}

    def gains(other: Alignment) -> bool:
        """Whether some connector agrees better in another alignment: a change could be the reason."""
        if other not in gaining:
            mine, theirs = _agreeing(aligner, other)
            gaining[other] = bool((mine > agreed + 0.5).any() or (theirs > there + 0.5).any())
        return gaining[other]

    def one(mine: int, place: int) -> Judged:
        rated = sorted(_rated(best, others, mine), key=lambda row: row[:2])
        count = round(float(agreed[mine]))
        if mine in known_by_touch:
            return Judged(Standing.SURE, count, (), ())
        if place < 0 or not count:
            return Judged(Standing.UNTOLD, 0, tuple(theirs for cost, theirs, _ in rated if cost < 1), ())
        equal = [row for row in rated if row[0] < NO_WORSE]
        doubted = [row for row in rated if row[0] < A_CAVITY or (row[0] < SURE_BY and gains(row[2]))]
        full = max(int(aligner.traced.wired[mine]), int(aligner.known.wired[place]))
        # What agrees in less than half of its cavities was changed too much for any other place to be out.
        standing = (
            Standing.ALIKE if equal else Standing.OPEN if doubted or 2 * count < full else Standing.SURE
        )
        return Judged(
            standing, count, tuple(theirs for _, theirs, _ in doubted), tuple(row[2] for row in doubted)
        )

    return tuple(one(mine, place) for mine, place in enumerate(best.connectors))


def told_nets(aligner: Aligner, best: Alignment, standings: Sequence[Judged]) -> frozenset[int]:
    """Return the nets of the traced loom whose place is sure: exchanged with another one, a cavity is lost.

    A net that goes elsewhere in an alignment that is no worse, or hardly, is not sure either.
    """
    columns = len(aligner.known.nets)
    worth = aligner.of_nets(hard(best.connectors, len(aligner.known.connectors)), hard(best.nets, columns))
    holder = {known: net for net, known in enumerate(best.nets) if known >= 0}
    rivals = [rival for judgement in standings for rival in judgement.rivals]
    told = set()
    for known, net in holder.items():
        if any(rival.nets[net] != known for rival in rivals):
            continue
        costs = [
            worth[net, known] - worth[net, other] + _left(worth, holder.get(other), other, known)
            for other in range(columns)
            if other != known
        ]
        costs += [worth[net, known] - worth[row, known] for row, at in enumerate(best.nets) if at < 0]
        if min(costs, default=1.0) >= A_CAVITY:
            told.add(net)
    return frozenset(told)


def _left(worth: Matrix, net: int | None, other: int, known: int) -> float:
    """What it costs that the net at ``other`` makes room and goes to ``known``."""
    return 0.0 if net is None else float(worth[net, other] - worth[net, known])


def _rated(
    best: Alignment, others: Mapping[tuple[int, int], Alignment], mine: int
) -> Iterator[tuple[float, int, Alignment]]:
    for (row, theirs), other in others.items():
        if row == mine:
            yield best.score - other.score, theirs, other


def _agreeing(aligner: Aligner, alignment: Alignment) -> tuple[Matrix, Matrix]:
    """Return how many cavities agree at each connector of the traced loom, and at each of the known one."""
    worth = aligner.agreeing(hard(alignment.nets, len(aligner.known.nets)))
    places = worth * hard(alignment.connectors, len(aligner.known.connectors))
    return np.asarray(places.sum(axis=1)), np.asarray(places.sum(axis=0))
