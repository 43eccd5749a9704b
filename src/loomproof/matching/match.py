"""Match a traced loom to a known one: which connector and cavity is which, and what is otherwise there."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from loomproof.errors import InputError
from loomproof.loom.model import End, Loom
from loomproof.matching.aligning import Aligner, Alignment, Pinned, best_alignment, explored
from loomproof.matching.judging import Judged, judged, told_nets
from loomproof.matching.shape import Matrix, Shape, shape_of
from loomproof.matching.touching import best_touch
from loomproof.results.matching import CavityPlace, Difference, Match, Place, Standing, Unlike

NAMES_FROM, NAMES_SHARE, NAMES_PLUG = 10, 0.8, 4
"""Cavity names count where so many cavities are told by their nets, in plugs of at least so many, and such a
share of them bears the same name in both looms. By chance one in the size of the plug would."""


def match(
    traced: Loom,
    known: Loom,
    touched: Sequence[tuple[End, End]] = (),
    placed: Mapping[str, str] | None = None,
) -> Match:
    """Return which connector and cavity of a traced loom is which of a known one.

    ``touched`` are pairs of ends, traced and known, that a person has found to be one and the same: an end
    of the known loom was touched with the probe, and answered on the net of the traced one. ``placed`` are
    connectors, traced to known, of which a person knows the place.
    Raises `InputError` for an end that its loom does not have, or two touches that contradict each other.
    """
    mine, theirs = shape_of(traced), shape_of(known)
    pinned = Pinned(_places_said(mine, theirs, placed or {}), _nets_said(mine, theirs, touched))
    likely = _likely(mine, theirs)
    aligner = Aligner(mine, theirs, likely)
    best = best_alignment(aligner, pinned)
    by_names = _names_mean_the_same(mine, theirs, best)
    if by_names:
        aligner = Aligner(mine, theirs, likely, names=True)
        best = best_alignment(aligner, pinned)
    found = explored(aligner, best, pinned)
    standings = judged(aligner, found, pinned.connectors)
    best = found.best
    agreed = sum(judgement.agreed for judgement in standings)
    return Match(
        traced,
        known,
        tuple(_places(mine, theirs, best, standings)),
        tuple(_cavities(mine, theirs, best, standings, told_nets(aligner, best, standings))),
        tuple(_differences(mine, theirs, best, standings)),
        agreed / max(1, int(theirs.wired.sum())),
        by_names,
        best_touch(mine, theirs, best, standings),
    )


def _places_said(mine: Shape, theirs: Shape, placed: Mapping[str, str]) -> dict[int, int]:
    rows = {connector.name: row for row, connector in enumerate(mine.connectors)}
    columns = {connector.name: column for column, connector in enumerate(theirs.connectors)}
    for shape, known, name in (
        *((mine, rows, name) for name in placed),
        *((theirs, columns, name) for name in placed.values()),
    ):
        if name not in known:
            raise InputError(
                f"{shape.loom.name}: there is no connector {name}", cure=f"There are {', '.join(known)}."
            )
    if len(set(placed.values())) < len(placed):
        raise InputError("two connectors were said to be one and the same", cure="Leave one of them out.")
    return {rows[name]: columns[other] for name, other in placed.items()}


def _nets_said(mine: Shape, theirs: Shape, touched: Sequence[tuple[End, End]]) -> dict[int, int]:
    nets: dict[int, int] = {}
    for here, there in touched:
        for shape, end in ((mine, here), (theirs, there)):
            if end not in shape.loom.cavities:
                raise InputError(
                    f"{shape.loom.name}: there is no end {end}", cure="Name a cavity as the loom names it."
                )
        if here in mine.net_at and there in theirs.net_at:
            net, known = mine.net_at[here], theirs.net_at[there]
            if nets.get(net, known) != known or any(k == known and n != net for n, k in nets.items()):
                raise InputError(
                    f"{here} was said to be {there}, which another touch contradicts",
                    cure="Touch both again, and leave out the one that is wrong.",
                )
            nets[net] = known
    return nets


def _likely(mine: Shape, theirs: Shape) -> Matrix:
    """Return what speaks for two connectors besides their nets; under 1 in all: any net outweighs it."""
    apart = np.abs(mine.sizes[:, None] - theirs.sizes[None, :])
    found = 0.4 / (1.0 + apart)
    for row, connector in enumerate(mine.connectors):
        names = set(connector.cavities)
        for column, other in enumerate(theirs.connectors):
            if connector.housing and connector.housing == other.housing:
                found[row, column] += 0.3
            union = names | set(other.cavities)
            found[row, column] += 0.05 * len(names & set(other.cavities)) / max(1, len(union))
    return np.asarray(found)


def _names_mean_the_same(mine: Shape, theirs: Shape, best: Alignment) -> bool:
    same = told = 0
    for row, column in enumerate(best.connectors):
        if column < 0 or min(mine.sizes[row], theirs.sizes[column]) < NAMES_PLUG:
            continue
        for here, there in _one_to_one(mine, theirs, best, row, column):
            told += 1
            same += here.cavity == there.cavity
    return told >= NAMES_FROM and same >= NAMES_SHARE * told


def _one_to_one(
    mine: Shape, theirs: Shape, best: Alignment, row: int, column: int
) -> Iterator[tuple[End, End]]:
    for here, there in _by_net(mine, theirs, best, row, column):
        if len(here) == len(there) == 1:
            yield here[0], there[0]


def _by_net(
    mine: Shape, theirs: Shape, best: Alignment, row: int, column: int
) -> Iterator[tuple[list[End], list[End]]]:
    """Yield the cavities of two connectors that are on two nets taken for one."""
    there: dict[int, list[End]] = {}
    for end in theirs.connectors[column].ends:
        if end in theirs.net_at:
            there.setdefault(theirs.net_at[end], []).append(end)
    here: dict[int, list[End]] = {}
    for end in mine.connectors[row].ends:
        if end in mine.net_at:
            here.setdefault(mine.net_at[end], []).append(end)
    for net, ends in here.items():
        if best.nets[net] in there:
            yield ends, there[best.nets[net]]


def _places(mine: Shape, theirs: Shape, best: Alignment, standings: Sequence[Judged]) -> Iterator[Place]:
    names = [connector.name for connector in theirs.connectors]
    for row, (column, judgement) in enumerate(zip(best.connectors, standings, strict=True)):
        yield Place(
            mine.connectors[row].name,
            names[column] if column >= 0 else "",
            judgement.standing,
            judgement.agreed,
            int(mine.wired[row]),
            tuple(names[other] for other in judgement.others),
        )


def _cavities(
    mine: Shape, theirs: Shape, best: Alignment, standings: Sequence[Judged], told: frozenset[int]
) -> Iterator[CavityPlace]:
    for row, (column, judgement) in enumerate(zip(best.connectors, standings, strict=True)):
        if column < 0 or judgement.standing is Standing.UNTOLD:
            continue
        for here, there in _by_net(mine, theirs, best, row, column):
            left = [end for end in there if end.cavity not in {one.cavity for one in here}]
            for end in here:
                named = next((one for one in there if one.cavity == end.cavity), None)
                other = named or (left.pop(0) if left else None)
                if other is not None:
                    yield CavityPlace(end, other, len(here) == len(there) == 1 and mine.net_at[end] in told)


def _differences(
    mine: Shape, theirs: Shape, best: Alignment, standings: Sequence[Judged]
) -> Iterator[Difference]:
    """Yield what is missing and extra, net by net; where nothing speaks for a connector nothing is said."""
    told = {k for k, judgement in enumerate(standings) if judgement.standing is not Standing.UNTOLD}
    place = {mine.connectors[k].name: best.connectors[k] for k in told}
    seen = {theirs.connectors[column].name for column in place.values() if column >= 0}
    taken = {known: net for net, known in enumerate(best.nets) if known >= 0}
    for known, net in enumerate(theirs.nets):
        here = list(mine.nets[taken[known]].cavities) if known in taken else []
        there = [end for end in net.cavities if end.connector in seen]
        both: list[End] = []
        for end in list(here):
            column = place.get(end.connector, -1)
            name = theirs.connectors[column].name if column >= 0 else ""
            same = next((one for one in there if one.connector == name), None)
            if same is not None:
                there.remove(same)
                here.remove(end)
                both.append(same)
        here = [end for end in here if end.connector in place]
        if there and (both or len(there) > 1):
            yield Difference(Unlike.MISSING, tuple(there), (), tuple(both))
        if here:
            yield Difference(Unlike.EXTRA, (), tuple(here), tuple(both))
    for row, other in enumerate(best.nets):
        ends = tuple(end for end in mine.nets[row].cavities if end.connector in place)
        if other < 0 and len(ends) > 1:
            yield Difference(Unlike.EXTRA, (), ends, ())
