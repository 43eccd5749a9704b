"""Find the alignment of two looms under which most of their cavities agree.

An alignment takes each connector of the traced loom to one of the known loom, or to none, and each net
likewise. A cavity agrees where its connector and its net go to connector and net of one known cavity: the
score of an alignment is the number of such cavities, and two for each part that lies between the same nets.
Given the connectors the best nets are an assignment, and given the nets the best connectors are one; both
are found exactly by `scipy`. To begin near the best, the two are first held softly, as shares of 1, and
sharpened step by step (graduated assignment: S. Gold and A. Rangarajan, IEEE Trans. PAMI 18 (1996) 377).
Then every connector is tried at every place where it might belong, which finds what is better, and how much
worse each other place is.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from loomproof.electrics.component_kinds import Path
from loomproof.matching.products import Index, Products
from loomproof.matching.shape import Matrix, Shape, alike

PART_WEIGHT = 2.0
"""A part between two nets tells as much as a cavity at each of its ends."""

NAME_WEIGHT = 1.0
"""A cavity of the same name on the same net, where names are known to mean the same in both looms."""

SHARPEST, SHARPEN = 24.0, 1.35
"""How sharply shares are told apart at the end, and by what factor from step to step (found by trial over
random looms: slower sharpening finds no more)."""

BEGINNINGS, DEEP, TRIED = 8, 5, 30
"""From so many beginnings the best is looked for; so many other places of a connector are tried from shares,
so many from the best alignment alone."""

MANY = 4
"""A net that so many cavities share holds a group of plugs together."""

EARLY = 4.0
"""How sharply shares are told apart as long as only the plainest is told."""

GAIN = 1e-9


@dataclass(frozen=True)
class Alignment:
    """Where each connector and each net of the traced loom goes in the known one, -1 for nowhere."""

    connectors: tuple[int, ...]
    nets: tuple[int, ...]
    score: float


@dataclass(frozen=True)
class Pinned:
    """What is not asked: connectors and nets of the traced loom that a person knows in the known one."""

    connectors: Mapping[int, int] = field(default_factory=dict)
    nets: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class Explored:
    """The best alignment found, and for each other place of a connector the best alignment that has it."""

    best: Alignment
    others: Mapping[tuple[int, int], Alignment]


class Aligner:
    """Two looms, and what an alignment of them is worth. Holds nothing that changes.

    ``likely`` is what speaks for two connectors besides their nets, under 1 in all, so that it decides
    between equals and never against a cavity: their numbers of cavities, kinds and housings.
    """

    def __init__(self, traced: Shape, known: Shape, likely: Matrix, *, names: bool = False) -> None:
        self.traced, self.known, self.likely = traced, known, likely
        levels = list(zip(traced.levels, known.levels, strict=False))
        self._by_nets = Products(levels, likely.shape)
        self._by_connectors = Products(
            [(mine.T, theirs.T) for mine, theirs in levels], (len(traced.nets), len(known.nets))
        )
        pairs = [(p, q) for p in traced.parts for q in known.parts if alike(p, q)]
        rows = [(p.a, q.a, p.b, q.b) for p, q in pairs]
        rows += [(p.a, q.b, p.b, q.a) for p, q in pairs if p.path is not Path.DIODE]
        self._parts = np.array(rows, dtype=np.int64).reshape(-1, 4)
        self._named = np.array(list(_named(traced, known)) if names else [], dtype=np.int64).reshape(-1, 4)

    def of_connectors(self, nets: Matrix) -> Matrix:
        """Return what it is worth that a connector goes to another, the nets given as shares."""
        found = self.likely + self.agreeing(nets)
        a, n, b, m = self._named.T
        _add(found, a, b, NAME_WEIGHT * nets[n, m])
        return found

    def agreeing(self, nets: Matrix) -> Matrix:
        """Return how many cavities agree where a connector goes to another, the nets given as shares."""
        return self._by_nets.of(nets)

    def of_nets(self, connectors: Matrix, nets: Matrix) -> Matrix:
        """Return how many cavities and parts agree where a net goes to another, all else given as shares."""
        found = self._by_connectors.of(connectors)
        c, n, d, m = self._named.T
        _add(found, n, m, NAME_WEIGHT * connectors[c, d])
        a, m, b, n = self._parts.T
        _add(found, a, m, PART_WEIGHT / 2 * nets[b, n])
        _add(found, b, n, PART_WEIGHT / 2 * nets[a, m])
        return found

    def settled(self, nets: Matrix, pinned: Pinned) -> Alignment:
        """Return where exact rounds between connectors and nets end, from these shares of nets."""
        best: Alignment | None = None
        worth = self.of_connectors(nets)
        a, m, b, n = self._parts.T
        while True:
            f = tuple(assigned(worth, pinned.connectors))
            if best is not None and f == best.connectors and not len(a):
                # Without parts the nets follow from the connectors alone, which are those of the last round.
                return best
            f_hard = hard(f, len(self.known.connectors))
            h = assigned(self.of_nets(f_hard, nets), pinned.nets)
            nets = hard(h, len(self.known.nets))
            worth = self.of_connectors(nets)
            score = float((worth * f_hard).sum()) + PART_WEIGHT * float((nets[a, m] * nets[b, n]).sum())
            if best is not None and score <= best.score + GAIN:
                return best
            best = Alignment(f, tuple(h), score)

    def softened(self, pinned: Pinned, start: Alignment | None = None, noise: Matrix | None = None) -> Matrix:
        """Return shares of nets, sharpened from none, or from an alignment that is half believed.

        ``noise`` is a factor on what each pair of connectors is worth, so that a beginning is another one.
        """
        nets, beta = self.none_known, 0.5
        if start is not None:
            nets, beta = 0.5 * nets + 0.5 * hard(start.nets, len(self.known.nets)), 4.0
        while beta < SHARPEST:
            worth = self.of_connectors(nets)
            connectors = shares(worth if noise is None else worth * noise, beta, pinned.connectors)
            nets = shares(self.of_nets(connectors, nets), beta, pinned.nets)
            beta *= SHARPEN
        return nets

    def early(self) -> Matrix:
        """Return what pairs of connectors are worth as long as only the plainest is told."""
        nets = self.none_known
        for beta in (1.0, 2.0, EARLY, EARLY):
            connectors = shares(self.of_connectors(nets), beta, {})
            nets = shares(self.of_nets(connectors, nets), beta, {})
        return self.of_connectors(nets)

    @property
    def none_known(self) -> Matrix:
        """Shares of nets while nothing is known: all the same."""
        shape = len(self.traced.nets), len(self.known.nets)
        return np.full(shape, 1.0 / max(1, *shape))


def _named(traced: Shape, known: Shape) -> Iterator[tuple[int, int, int, int]]:
    """Yield connector and net of each traced cavity with those of each known one of the same name."""
    there: dict[str, list[tuple[int, int]]] = {}
    for row, connector in enumerate(known.connectors):
        for end in connector.ends:
            if end in known.net_at:
                there.setdefault(end.cavity, []).append((row, known.net_at[end]))
    for row, connector in enumerate(traced.connectors):
        for end in connector.ends:
            if end in traced.net_at:
                for other, net in there.get(end.cavity, ()):
                    yield row, traced.net_at[end], other, net


def _add(found: Matrix, rows: Index, columns: Index, worth: Matrix) -> None:
    """Add each worth where its row and column meet; what meets at one place is added up in order."""
    if len(rows):
        # On one axis numpy adds many times as fast as on two.
        np.add.at(found.reshape(-1), rows * found.shape[1] + columns, worth)


def hard(chosen: Sequence[int], columns: int) -> Matrix:
    """Return choices as a matrix of 0 and 1; a row that goes nowhere is empty."""
    found = np.zeros((len(chosen), columns))
    to = np.array(chosen, dtype=np.int64)
    rows = np.flatnonzero(to >= 0)
    found[rows, to[rows]] = 1.0
    return found


def shares(worth: Matrix, beta: float, pinned: Mapping[int, int]) -> Matrix:
    """Return shares of 1 in rows and columns that favour what is worth more (Sinkhorn's iteration).

    A spare row and column take what goes nowhere.
    """
    rows, columns = worth.shape
    if not rows or not columns:
        return np.zeros(worth.shape)
    padded = np.empty((rows + 1, columns + 1))
    by_row, by_column, found = padded[:rows], padded[:, :columns], padded[:rows, :columns]
    # Each row by its own best, else a connector of two cavities would wait for the last step.
    np.divide(worth, np.maximum(worth.max(axis=1, keepdims=True), 1e-9), out=found)
    np.subtract(found, 1.0, out=found)
    np.multiply(found, beta, out=found)
    np.exp(found, out=found)
    padded[rows, :], padded[:, columns] = 1e-6, 1e-6
    for row, column in pinned.items():
        padded[row, :], padded[:rows, column] = 0.0, 0.0
        padded[row, column] = 1.0
    row_sum, column_sum = np.empty((rows, 1)), np.empty((1, columns))
    # Most of a match's time is spent here: nothing is laid out anew from step to step.
    for _ in range(12):
        np.add.reduce(by_row, axis=1, keepdims=True, out=row_sum)
        np.divide(by_row, row_sum, out=by_row)
        np.add.reduce(by_column, axis=0, keepdims=True, out=column_sum)
        np.divide(by_column, column_sum, out=by_column)
    return np.asarray(found)


def assigned(worth: Matrix, pinned: Mapping[int, int]) -> list[int]:
    """Return for each row the column of the best assignment, -1 where nothing speaks for one."""
    from scipy.optimize import linear_sum_assignment

    found = np.full(worth.shape[0], -1)
    if worth.size:
        wanted = worth
        if pinned:
            wanted = worth.copy()
            top = float(worth.max()) + 1.0
            for row, column in pinned.items():
                wanted[row, :], wanted[:, column] = 0.0, 0.0
                wanted[row, column] = top * len(found)
        rows, columns = linear_sum_assignment(wanted, maximize=True)
        found[rows] = np.where(wanted[rows, columns] > 1e-9, columns, -1)
    return found.tolist()


def best_alignment(aligner: Aligner, pinned: Pinned, seed: int = 0) -> Alignment:
    """Return the best alignment that is found from some beginnings; the same seed finds the same."""
    rng = np.random.default_rng(seed)
    shape = len(aligner.traced.connectors), len(aligner.known.connectors)
    noises = [None, *(rng.uniform(0.7, 1.3, shape) for _ in range(BEGINNINGS - 1))]
    found = [aligner.settled(aligner.softened(pinned, noise=noise), pinned) for noise in noises]
    return max(found, key=lambda alignment: alignment.score)


def explored(aligner: Aligner, best: Alignment, pinned: Pinned) -> Explored:
    """Try every likely other place of every connector and of every net that many share.

    Two groups of look-alike plugs change places by one net, the feed that each group shares, and by no one
    connector. A better alignment that turns up takes over. What is found for one connector says of all
    others that have another place in it, too, what that costs at most.
    """
    said = set(pinned.connectors.values())
    likely = [p for p in _places(aligner) if p[0] not in pinned.connectors and p[1] not in said]
    shared = list(_shared_nets(aligner, pinned))
    while True:
        others: dict[tuple[int, int], Alignment] = {}
        for found in _tried(aligner, best, pinned, likely, shared):
            if found.score > best.score + GAIN:
                again = aligner.settled(hard(found.nets, len(aligner.known.nets)), pinned)
                best = max(found, again, key=lambda alignment: alignment.score)
                break
            for mine, theirs in enumerate(found.connectors):
                if theirs in (best.connectors[mine], -1) or mine in pinned.connectors:
                    continue
                before = others.get((mine, theirs))
                if before is None or found.score > before.score + GAIN:
                    others[mine, theirs] = found
        else:
            return Explored(best, others)


def _tried(
    aligner: Aligner,
    best: Alignment,
    pinned: Pinned,
    likely: Sequence[tuple[int, int, bool]],
    shared: Sequence[tuple[int, int]],
) -> Iterator[Alignment]:
    for net, other in shared:
        if other != best.nets[net]:
            pins = Pinned(pinned.connectors, {**pinned.nets, net: other})
            yield aligner.settled(aligner.softened(pins, best), pins)
    for mine, theirs, deep in likely:
        if theirs != best.connectors[mine]:
            yield _forced(aligner, best, pinned, mine, theirs, deep)


def _shared_nets(aligner: Aligner, pinned: Pinned) -> Iterator[tuple[int, int]]:
    """Yield nets of the traced loom that many share, with each net that it may be, likeliest first."""
    worth = aligner.of_nets(shares(aligner.early(), EARLY, {}), aligner.none_known)
    taken = set(pinned.nets.values())
    for net, row in enumerate(worth):
        if net in pinned.nets or len(aligner.traced.nets[net].cavities) < MANY:
            continue
        fitting = [k for k in np.argsort(-row, kind="stable").tolist() if k not in taken]
        for other in fitting[:DEEP]:
            if row[other] > GAIN:
                yield net, other


def _forced(
    aligner: Aligner, best: Alignment, pinned: Pinned, mine: int, theirs: int, deep: bool
) -> Alignment:
    """Return the best alignment found in which one connector goes elsewhere than in the best one."""
    pins = Pinned({**pinned.connectors, mine: theirs}, pinned.nets)
    swapped = list(best.connectors)
    if theirs in swapped:
        swapped[swapped.index(theirs)] = swapped[mine]
    swapped[mine] = theirs
    columns = len(aligner.known.nets)
    worth = aligner.of_nets(hard(swapped, len(aligner.known.connectors)), hard(best.nets, columns))
    near = aligner.settled(hard(assigned(worth, pins.nets), columns), pins)
    if not deep:
        return near
    far = aligner.settled(aligner.softened(pins, best), pins)
    return max(near, far, key=lambda alignment: alignment.score)


def _places(aligner: Aligner) -> Iterator[tuple[int, int, bool]]:
    """Yield where each connector might belong by its cavities, likeliest first, and whether to look deep."""
    traced, known, near = aligner.traced, aligner.known, aligner.early()
    for mine in range(len(traced.connectors)):
        many = int(traced.wired[mine])
        fitting = [
            theirs
            for theirs in np.argsort(-near[mine], kind="stable").tolist()
            if abs(int(known.sizes[theirs] - traced.sizes[mine])) <= 1
            and abs(int(known.wired[theirs]) - many) <= max(3, max(many, int(known.wired[theirs])) // 4)
        ]
        for rank, theirs in enumerate(fitting[:TRIED]):
            yield mine, theirs, rank < DEEP
