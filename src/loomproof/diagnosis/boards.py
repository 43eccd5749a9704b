"""The bench before the loom: boards of the scanner dead, or the adapter's plugs on the wrong boards.

A scanner has its points on boards, and an adapter plugs into each. Where all that is wrong lies on one board,
or comes right when two are exchanged or one is turned, that is one slip, and it is looked at first.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.structure import Hypothesis
from loomproof.diagnosis.weights import Weights

BOARDS = (8, 16, 32, 64)
"""Points on one board of a scanner, or in one plug of an adapter; common practice, no source."""

MOST_BOARDS = 16
"""Exchanges are tried among up to so many boards that are amiss; more of them are not a slip of two plugs."""


def board_slips(points: Mapping[int, int], amiss: Collection[int], weights: Weights) -> list[Hypothesis]:
    """Return the slips with whole boards; ``points`` by leaf, from 1; ``amiss`` are unsound leaves.

    Boards exchanged or turned cost what connectors do: where both say the same, both are listed. Points that
    carried several cavities, plugged one after the other, count for dead boards only.
    """
    carried = Counter(points.values())
    found: dict[tuple[tuple[int, int | None], ...], Hypothesis] = {}
    for size in BOARDS:
        every: dict[int, list[int]] = {}
        single: dict[int, dict[int, int]] = {}
        for leaf, point in sorted(points.items()):
            board, place = divmod(point - 1, size)
            every.setdefault(board, []).append(leaf)
            if carried[point] == 1:
                single.setdefault(board, {})[place] = leaf
        if len(every) < 2:
            continue
        for slip in (*_dead(every, size, weights), *_misplaced(single, size, amiss, weights)):
            found.setdefault(slip.moves, slip)
    return list(found.values())


def _name(board: int, size: int) -> str:
    return f"points {board * size + 1} to {(board + 1) * size}"


def _dead(on: Mapping[int, Sequence[int]], size: int, weights: Weights) -> Iterator[Hypothesis]:
    for board, leaves in on.items():
        if len(leaves) > 2:
            moves = tuple((leaf, None) for leaf in leaves)
            yield Hypothesis(Cause.ADAPTER_BOARD, (), moves, weights.lead, _name(board, size))


def _misplaced(
    on: Mapping[int, Mapping[int, int]], size: int, amiss: Collection[int], weights: Weights
) -> Iterator[Hypothesis]:
    """Yield boards turned, and pairs of boards exchanged, where most of what is on them is amiss."""
    bad = [b for b, leaves in on.items() if 2 * sum(leaf in amiss for leaf in leaves.values()) > len(leaves)]
    for board in bad:
        turned = {leaf: on[board].get(size - 1 - place) for place, leaf in on[board].items()}
        yield from _slip(turned, f"{_name(board, size)} turned end for end", weights.whole_connector)
    for k, one in enumerate(bad if len(bad) <= MOST_BOARDS else ()):
        for other in bad[k + 1 :]:
            crossed = {leaf: on[other].get(place) for place, leaf in on[one].items()}
            crossed |= {leaf: on[one].get(place) for place, leaf in on[other].items()}
            yield from _slip(
                crossed, f"{_name(one, size)} and {_name(other, size)} exchanged", weights.exchange_alike
            )


def _slip(where: Mapping[int, int | None], detail: str, cost: int) -> Iterator[Hypothesis]:
    moves = tuple(sorted((leaf, at) for leaf, at in where.items() if leaf != at))
    if len(moves) > 2:
        yield Hypothesis(Cause.ADAPTER, (), moves, cost, detail)
