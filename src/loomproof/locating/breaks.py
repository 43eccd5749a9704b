"""Where a net is broken, from the capacitance of the pieces that it fell into.

What may have failed is one of these: a contact with its crimp (its point then holds no wire), the joint
at one end of a run, or a run of wire at some place. Each says how much wire a piece has, so what it should
read; the covariance of that has the wander of picofarads along the wire, what is not known of picofarads per
metre, and the readings' own uncertainty. All are weighed by Bayes' rule: each contact, joint and wire is as
likely as the other before the readings, each place on a wire as likely as the next. For one wire read from
both ends it comes to ``x = L C_A / (C_A + C_B)``: picofarads per metre cancel.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np

from loomproof.locating.interval import Spanning, most_probable
from loomproof.locating.tree import Run, Tree
from loomproof.locating.wander import PerMetre, covariance_m2, variance_m2
from loomproof.loom.model import End

TOLD_SHARE = 0.985
"""So probable one answer must be to be told alone."""

CELL_M = 0.001
MOST_CELLS = 2000
"""Places on a wire are weighed in cells of this length, and no more of them than these. An interval is of
whole cells, so it holds more than it says by half of its last one: in cells of 5 mm that was up to 1 %."""

NO_FIT = 1e-5
"""Where all answers make the readings stranger than this (probability of such a deviation), none is told."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A piece of a broken net: the cavities read together, F with leads taken off, standard uncertainty."""

    ends: frozenset[End]
    farad: float
    u_f: float


@dataclass(frozen=True, slots=True)
class Stretch(Spanning):
    """A part of a wire, in metres from its end ``a``, and how probable it is that the place lies in it."""

    wire: str
    low_m: float
    high_m: float
    share: float


@dataclass(frozen=True, slots=True)
class Failed:
    """One answer: the contact or joint at ``end`` (of ``run`` where several hang there), or a run of wire.

    ``share`` is its probability; ``stretches`` are known for wire.
    """

    end: End | None
    run: str
    share: float
    stretches: tuple[Stretch, ...] = ()


@dataclass(frozen=True, slots=True)
class BreakPlace:
    """Where a net broke: what may have failed, most probable first; together `TOLD_SHARE` or more.

    ``told``: the first is sure enough to stand alone. ``per_metre`` is what was reckoned with, after the
    readings. ``reason`` says why nothing is told where ``failed`` is empty.
    """

    failed: tuple[Failed, ...]
    per_metre: PerMetre
    reason: str = ""

    @property
    def told(self) -> bool:
        """Whether the first answer stands alone."""
        return bool(self.failed) and self.failed[0].share >= TOLD_SHARE


@dataclass(frozen=True, slots=True)
class _Sides:
    """A net in two: the tested cavities of each side, and the whole runs that hang there."""

    cavities: tuple[frozenset[End], frozenset[End]]
    length_m: tuple[float, float]
    variance_m2: tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Cut:
    """One answer: a contact or joint at ``end``, or a run in cells of ``width_m`` around ``places_m``.

    A contact or joint has one place.
    """

    sides: _Sides
    end: End | None
    run: Run | None
    places_m: np.ndarray
    width_m: float = 0.0

    def seen(self, pieces: Sequence[frozenset[End]]) -> list[int] | None:
        """Return the side of each piece; ``None`` where this cut does not part the cavities so."""
        held = [next((k for k in (0, 1) if piece <= self.sides.cavities[k]), -1) for piece in pieces]
        return held if -1 not in held and len(set(held)) == len(held) else None

    def wire(self, held: list[int], correlation_m: float) -> tuple[np.ndarray, np.ndarray]:
        """Return for each place how much wire each piece has, m, and its covariance as a unit process, m²."""
        lengths = np.tile(np.array(self.sides.length_m), (len(self.places_m), 1))
        spread = np.tile(np.diag(self.sides.variance_m2), (len(self.places_m), 1, 1))
        if self.run is not None:
            parts = np.column_stack([self.places_m, self.run.length_m - self.places_m])
            lengths = lengths + parts
            own = variance_m2(parts, correlation_m)
            both = covariance_m2(parts[:, 0], parts[:, 1], correlation_m)
            spread = spread + np.stack([own[:, 0], both, both, own[:, 1]], axis=1).reshape(-1, 2, 2)
        return lengths[:, held], spread[:, held][:, :, held]


def place_break(
    tree: Tree, pieces: Sequence[Piece], per_metre: PerMetre, unread: Sequence[frozenset[End]] = ()
) -> BreakPlace:
    """Return where a net broke that fell into these pieces, which were read against all else at 0 V.

    Of an ``unread`` piece no more is known than that it hangs together apart from those that were read.
    Cavities without a point belong to none.
    """
    found = [*(piece.ends for piece in pieces), *unread]
    cuts = [
        (cut, held[: len(pieces)])
        for cut in _cuts(tree, per_metre.wander_m)
        if (held := cut.seen(found)) is not None
    ]
    if not pieces or not cuts:
        return BreakPlace((), per_metre, "no single break parts these cavities so")
    after = _after(cuts[0], pieces, per_metre) if len(pieces) == 2 else per_metre
    weighed = [_weigh(*cut.wire(held, per_metre.wander_m), pieces, per_metre, after) for cut, held in cuts]
    if min(deviation.min() for _, deviation in weighed) > _most_deviation(len(pieces)):
        return BreakPlace(
            (), after, "what was read does not fit one break in wires as long as they are described"
        )
    most = max(float(logs.max()) for logs, _ in weighed)
    shares = [np.exp(logs - most) / len(logs) for logs, _ in weighed]  # each answer as likely as the next
    total = math.fsum(float(own.sum()) for own in shares)
    return BreakPlace(
        tuple(_answers([cut for cut, _ in cuts], [own / total for own in shares])),
        after,
    )


def _cuts(tree: Tree, correlation_m: float) -> Iterator[_Cut]:
    """Yield every place where a net may be cut: contacts, joints at runs' ends, cells of wire."""
    cavities = frozenset(tree.cavities)
    spreads = {run.name: float(variance_m2(run.length_m, correlation_m)) for run in tree.runs}
    whole = (tree.length_m, sum(spreads.values()))
    for end in tree.cavities:
        alone = frozenset((end,))
        yield _Cut(
            _Sides((alone, cavities - alone), (0.0, whole[0]), (0.0, whole[1])), end, None, np.zeros(1)
        )
    for run in tree.runs:
        parts = tree.sides(run)
        within = [tree.within(side, run) for side in parts]
        sides = _Sides(
            (parts[0] & cavities, parts[1] & cavities),
            (sum(each.length_m for each in within[0]), sum(each.length_m for each in within[1])),
            (sum(spreads[each.name] for each in within[0]), sum(spreads[each.name] for each in within[1])),
        )
        for end, place_m in ((run.a, 0.0), (run.b, run.length_m)):
            if end not in cavities or len(tree.at[end]) > 1:  # else it is the crimp of the contact above
                yield _Cut(sides, end, run, np.array([place_m]))
        if run.length_m:
            count = min(math.ceil(run.length_m / CELL_M), MOST_CELLS)
            places_m = (np.arange(count) + 0.5) * run.length_m / count
            yield _Cut(sides, None, run, places_m, run.length_m / count)


def _after(cut: tuple[_Cut, list[int]], pieces: Sequence[Piece], before: PerMetre) -> PerMetre:
    """Return what one metre has, seen that both pieces together are all the wire of the net."""
    lengths, spread = cut[0].wire(cut[1], before.wander_m)
    length_m, strays_m2 = float(lengths[0].sum()), float(spread[0].sum())
    if not length_m:
        return before
    read = sum(piece.farad for piece in pieces)
    u2 = sum(piece.u_f**2 for piece in pieces) + (before.f_per_m * before.wander_ratio) ** 2 * strays_m2
    known = (before.f_per_m * before.ratio * length_m) ** 2
    mean = before.f_per_m + (read / length_m - before.f_per_m) * known / (known + u2)
    return replace(
        before,
        f_per_m=max(mean, before.f_per_m / 10),
        ratio=before.ratio * math.sqrt(u2 / (known + u2)),
    )


def _weigh(
    lengths_m: np.ndarray, spread_m2: np.ndarray, pieces: Sequence[Piece], before: PerMetre, after: PerMetre
) -> tuple[np.ndarray, np.ndarray]:
    """Return for each place the logarithm of how probable the readings are, and their squared deviation."""
    strays = np.array([piece.farad for piece in pieces]) - before.f_per_m * lengths_m
    known = (before.f_per_m * before.ratio) ** 2 * lengths_m[:, :, None] * lengths_m[:, None, :]
    covariance = known + (after.f_per_m * before.wander_ratio) ** 2 * spread_m2
    covariance = covariance + np.diag([piece.u_f**2 for piece in pieces])
    solved = np.linalg.solve(covariance, strays[:, :, None])[:, :, 0]
    deviation = (strays * solved).sum(axis=1)
    # In picofarads, so that the determinant of farads squared does not vanish.
    return -0.5 * (deviation + np.linalg.slogdet(covariance * 1e24)[1]), deviation


def _most_deviation(freedom: int) -> float:
    """Return the squared deviation beyond which `NO_FIT` of so many readings lie (exact for one and two)."""
    if freedom == 1:
        return NormalDist().inv_cdf(NO_FIT / 2) ** 2
    return -2.0 * math.log(NO_FIT)


def _answers(cuts: Sequence[_Cut], shares: Sequence[np.ndarray]) -> Iterator[Failed]:
    """Yield the answers, most probable first, until together they are sure enough to be told."""
    ranked = sorted(zip(cuts, shares, strict=True), key=lambda each: -each[1].sum())
    held = 0.0
    for cut, own in ranked:
        if held >= TOLD_SHARE:
            return
        share = float(own.sum())
        held += share
        found = () if cut.end is not None else tuple(_stretches(cut, own / share))
        yield Failed(cut.end, cut.run.name if cut.run else "", share, found)


def _stretches(cut: _Cut, shares: np.ndarray) -> Iterator[Stretch]:
    """Yield the parts of one wire that hold `INTERVAL_SHARE` of its probability, the most probable cells."""
    chosen = most_probable(shares)
    assert cut.run is not None
    for start in sorted(k for k in chosen if k - 1 not in chosen):
        stop = start
        while stop + 1 in chosen:
            stop += 1
        yield Stretch(
            cut.run.name,
            max(float(cut.places_m[start]) - cut.width_m / 2, 0.0),
            min(float(cut.places_m[stop]) + cut.width_m / 2, cut.run.length_m),
            float(shares[start : stop + 1].sum()),
        )
