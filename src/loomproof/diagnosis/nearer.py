"""Which of the places where two conductors could touch their readings speak for.

From a cavity ``p`` of one conductor to a cavity ``q`` of the other, joined at ``a`` and ``b``, a meter reads
the wire from ``p`` to ``a``, what they touch with, and the wire from ``b`` to ``q``. What they touch with is
the same in every such reading: of a place that is the right one the readings leave the same over, within
their uncertainty (k = 2, of independent readings as JCGM 100 adds them), and nothing below zero.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import combinations

from loomproof.diagnosis.touch import Conductor, Touch
from loomproof.electrics.joints import contact_ohm
from loomproof.loom.model import End, Loom
from loomproof.results.measured import Judged, Path

_Reading = Judged | Path


@dataclass(frozen=True, slots=True)
class Weighed:
    """A place with how badly readings fit it: beyond 1 they rule it out, ``None`` where they say nothing."""

    touch: Touch
    misfit: float | None

    @property
    def ruled_out(self) -> bool:
        """Whether the readings say that it is not this place."""
        return self.misfit is not None and self.misfit > 1.0


def weighed(
    loom: Loom,
    pair: tuple[Conductor, Conductor],
    touching: Iterable[Touch],
    across: Sequence[Path],
    judged: Sequence[Judged],
) -> tuple[Weighed, ...]:
    """Return the places, those that the readings rule out last, else by cost and then by how well they fit.

    ``across`` are readings from one conductor to the other, ``judged`` those within each.
    """
    inside = {
        frozenset((each.a, each.b)): each
        for each in judged
        if not each.component and math.isfinite(each.measured_ohm)
    }
    found = [Weighed(touch, _misfit(loom, pair, touch, across, inside)) for touch in touching]
    return tuple(sorted(found, key=lambda each: (each.ruled_out, each.touch.cost, each.misfit or 0.0)))


def _misfit(
    loom: Loom,
    pair: tuple[Conductor, Conductor],
    touch: Touch,
    across: Sequence[Path],
    inside: dict[frozenset[End], Judged],
) -> float | None:
    if len(touch.ends) != 2:
        return None
    a, b = touch.ends if touch.ends[0] in pair[0].ends else touch.ends[::-1]
    left = []
    for path in across:
        p, q = (path.a, path.b) if path.a in pair[0].ends else (path.b, path.a)
        way = [inside.get(frozenset(ends)) for ends in ((p, a), (q, b)) if ends[0] != ends[1]]
        known = [reading for reading in way if reading is not None]
        if len(known) == len(way):
            terms = Counter[_Reading]([path])
            terms.subtract(known)
            left.append(terms)
    if len(left) < 2:
        return None
    # A contact stands in the reading of its own wire, and not between the wires behind it.
    slack_ohm = 2 * max(contact_ohm(loom, end) for path in across for end in (path.a, path.b))
    unlike = [_beyond(_less(one, other), slack_ohm) for one, other in combinations(left, 2)]
    return max((*(abs(each) for each in unlike), *(-_beyond(each, slack_ohm) for each in left)))


def _less(one: Counter[_Reading], other: Counter[_Reading]) -> Counter[_Reading]:
    return Counter({reading: one[reading] - other[reading] for reading in {**one, **other}})


def _beyond(terms: Counter[_Reading], slack_ohm: float) -> float:
    """Return a sum of readings over what it may be off zero."""
    ohm = math.fsum(n * _ohm(reading) for reading, n in terms.items())
    u_ohm = math.hypot(*(n * reading.uncertainty_ohm for reading, n in terms.items()))
    return ohm / max(u_ohm + slack_ohm, 1e-12)


def _ohm(reading: _Reading) -> float:
    return reading.ohm if isinstance(reading, Path) else reading.measured_ohm
