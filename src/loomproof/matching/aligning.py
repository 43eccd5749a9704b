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
        from scipy.sparse import csr_array

        self.traced, self.known, self.likely = traced, known, likely
        # A plug holds few of all nets: as dense matrices these products take twenty times as long.
        self._levels = [
            (csr_array(mine), csr_array(mine.T), csr_array(theirs), csr_array(theirs.T))
            for mine, theirs in zip(traced.levels, known.levels, strict=False)
        ]
        pairs = [(p, q) for p in traced.parts for q in known.parts if alike(p, q)]
        rows = [(p.a, q.a, p.b, q.b) for p, q in pairs]
        rows += [(p.a, q.b, p.b, q.a) for p, q in pairs if p.path is not Path.DIODE]
        self._parts = np.array(rows, dtype=np.int64).reshape(-1, 4)
        self._named = np.array(list(_named(traced, known)) if names else [], dtype=np.int64).reshape(-1, 4)

    def of_connectors(self, nets: Matrix) -> Matrix:
        """Return what it is worth that a connector goes to another, the nets given as shares."""
        found = self.likely + self.agreeing(nets)
        a, n, b, m = self._named.T
        np.add.at(found, (a, b), NAME_WEIGHT * nets[n, m])
        return found

    def agreeing(self, nets: Matrix) -> Matrix:
        """Return how many cavities agree where a connector goes to another, the nets given as shares."""
        found = np.zeros(self.likely.shape)
        for mine, _, _, theirs_t in self._levels:
            found += np.asarray((mine @ nets) @ theirs_t)
        return found

    def of_nets(self, connectors: Matrix, nets: Matrix) -> Matrix:
        """Return how many cavities and parts agree where a net goes to another, all else given as shares."""
        found = np.zeros((len(self.traced.nets), len(self.known.nets)))
        for _, mine_t, theirs, _ in self._levels:
            found += np.asarray((mine_t @ connectors) @ theirs)
        c, n, d, m = self._named.T
        np.add.at(found, (n, m), NAME_WEIGHT * connectors[c, d])
        a, m, b, n = self._parts.T
        np.add.at(found, (a, m), PART_WEIGHT / 2 * nets[b, n])
        np.add.at(found, (b, n), PART_WEIGHT / 2 * nets[a, m])
        return found

    def score(self, connectors: Sequence[int], nets: Sequence[int]) -> float:
        """Return the cavities and parts that agree under an alignment."""
        f, h = hard(connectors, len(self.known.connectors)), hard(nets, len(self.known.nets))
        a, m, b, n = self._parts.T
        parts = PART_WEIGHT * float((h[a, m] * h[b, n]).sum())
        return float((self.of_connectors(h) * f).sum()) + parts

    def settled(self, nets: Matrix, pinned: Pinned) -> Alignment:
        """Return where exact rounds between connectors and nets end, from these shares of nets."""
        best: Alignment | None = None
        while True:
            f = assigned(self.of_connectors(nets), pinned.connectors)
            h = assigned(self.of_nets(hard(f, len(self.known.connectors)), nets), pinned.nets)
            score = self.score(f, h)
            if best is not None and score <= best.score + 1e-9:
                return best
            best = Alignment(tuple(f), tuple(h), score)
            nets = hard(h, len(self.known.nets))

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


def hard(chosen: Sequence[int], columns: int) -> Matrix:
    """Return choices as a matrix of 0 and 1; a row that goes nowhere is empty."""
    found = np.zeros((len(chosen), columns))
    rows = [k for k, column in enumerate(chosen) if column >= 0]
    found[rows, [chosen[k] for k in rows]] = 1.0
    return found


def shares(worth: Matrix, beta: float, pinned: Mapping[int, int]) -> Matrix:
    """Return shares of 1 in rows and columns that favour what is worth more (Sinkhorn's iteration).

    A spare row and column take what goes nowhere.
    """
    rows, columns = worth.shape
    if not rows or not columns:
        return np.zeros(worth.shape)
    # Each row by its own best, else a connector of two cavities would wait for the last step.
    best = np.maximum(worth.max(axis=1, keepdims=True), 1e-9)
    padded = np.ones((rows + 1, columns + 1))
    padded[:rows, :columns] = np.exp(beta * (worth / best - 1.0))
    padded[rows, :], padded[:, columns] = 1e-6, 1e-6
    for row, column in pinned.items():
        padded[row, :], padded[:rows, column] = 0.0, 0.0
        padded[row, column] = 1.0
    for _ in range(12):
        padded[:rows] /= padded[:rows].sum(axis=1, keepdims=True)
        padded[:, :columns] /= padded[:, :columns].sum(axis=0, keepdims=True)
    return np.asarray(padded[:rows, :columns])


def assigned(worth: Matrix, pinned: Mapping[int, int]) -> list[int]:
    """Return for each row the column of the best assignment, -1 where nothing speaks for one."""
    from scipy.optimize import linear_sum_assignment

    found = [-1] * worth.shape[0]
    if not worth.size:
        return found
    wanted = worth.copy()
    top = float(worth.max()) + 1.0
    for row, column in pinned.items():
        wanted[row, :], wanted[:, column] = 0.0, 0.0
        wanted[row, column] = top * len(found)
    rows, columns = linear_sum_assignment(wanted, maximize=True)
    for row, column in zip(rows.tolist(), columns.tolist(), strict=True):
        if wanted[row, column] > 1e-9:
            found[row] = column
    return found


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
