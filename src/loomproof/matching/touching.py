"""Which end of the known loom to touch next: the one whose answer leaves the fewest alternatives."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from loomproof.loom.model import End
from loomproof.matching.aligning import Alignment
from loomproof.matching.judging import Judged
from loomproof.matching.shape import Shape
from loomproof.results.matching import Touch


def best_touch(mine: Shape, theirs: Shape, best: Alignment, standings: Sequence[Judged]) -> Touch | None:
    """Return the touch that parts the alternatives most, `None` where nothing is left to decide.

    The alternatives are whole alignments: one touch at the plug of one cylinder may place a whole computer
    plug, and with it all others. Each net that may answer counts once, since the alternatives kept are those
    that one connector at a time has, and not all permutations of look-alikes.
    """
    ways = [best, *dict.fromkeys(rival for judgement in standings for rival in judgement.rivals)]
    answering = {known: Counter(_answer(way, known) for way in ways) for known in range(len(theirs.nets))}
    open_nets = [known for known, counts in answering.items() if len(counts) > 1]
    if not open_nets:
        return None
    known = min(open_nets, key=lambda net: (-len(answering[net]), max(answering[net].values()), net))
    return Touch(
        _handiest(theirs, best, standings, known),
        tuple(mine.nets[net].cavities if net >= 0 else () for net in sorted(answering[known])),
    )


def _answer(way: Alignment, known: int) -> int:
    return way.nets.index(known) if known in way.nets else -1


def _handiest(theirs: Shape, best: Alignment, standings: Sequence[Judged], known: int) -> End:
    """An end of the net on the smallest plug: that is the one whose place in the car tells what it is."""
    size = {connector.name: len(connector.cavities) for connector in theirs.connectors}
    doubtful = {
        theirs.connectors[column].name
        for column, judgement in zip(best.connectors, standings, strict=True)
        if column >= 0 and judgement.rivals
    }
    return min(
        theirs.nets[known].cavities,
        key=lambda end: (end.connector not in doubtful, size[end.connector]),
    )
