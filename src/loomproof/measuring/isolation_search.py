"""Isolation by ohms: ceil(log2 k) readings prove k conductors apart, and a leak is found by halving.

Conductors carry numbers; reading b puts those whose number has bit b on one bus and the rest on the
other. Every pair differs in some bit, so a reading above the limit for each bit proves every pair.
A single leak shows in exactly the bits in which its two numbers differ: x, their exclusive-or. Only the
pairs (i, i xor x) remain, and halving that matching takes ceil(log2 k) − 1 readings more (THEORY.md).
Further leaks are found with the known ones subtracted as conductances.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from loomproof.errors import Todo, UnfitError

Measure = Callable[[int, int], float]
"""Measure between two joined point sets, Ω; inf where open or over range."""

LEAST_OHM = -1.0
"""So far below nothing a dead short may read: meters are out of zero by less. Our convention."""

MOST_LEAKS = 2
"""So many leaks for each conductor are looked for; with more it is wet through or the bench at fault."""

SHORT_OHM = 1e-3
"""What reads less counts as this: a conductance is taken from it. A convention of this project."""


def believed(ohm: float, least_ohm: float = LEAST_OHM) -> float:
    """Return a reading between conductors that are to be apart, Ω, as a resistance that can be.

    Raises `UnfitError` for one below ``least_ohm``: its conductance would be negative, and a leak that is
    taken off the readings would leave more of them behind.
    """
    if not ohm >= least_ohm:
        raise UnfitError(
            f"isolation: {ohm:.3g} ohm were read, less than nothing: the meter's zero is off, its leads are "
            "the wrong way round, or there is a voltage on the loom",
            cure="Look for a voltage on the loom, then test the bench.",
            do=Todo.SELFTEST,
        )
    return max(ohm, SHORT_OHM)


@dataclass(frozen=True, slots=True)
class Leak:
    """A path found between conductors ``i`` and ``j`` (positions in the list given), Ω.

    ``read``: this pair was read by itself. Otherwise it follows from the other readings if there is just
    one leak, and whoever asked reads it for evidence anyway; should that show nothing, measure again
    with the pair in ``ruled_out``.
    """

    i: int
    j: int
    ohm: float
    read: bool = True


@dataclass(frozen=True, slots=True)
class Isolation:
    """The readings, one a bit (the lowest of them is the worst case), and the leaks found.

    ``unresolved`` says that a reading stayed under the limit with no single pair to blame.
    """

    readings_ohm: tuple[float, ...]
    leaks: tuple[Leak, ...]
    measured: int
    unresolved: bool = False


@dataclass(slots=True)
class _Search:
    measure: Measure
    groups: Sequence[int]
    limit_ohm: float
    error_ratio: float
    ruled_out: frozenset[tuple[int, int]]
    least_ohm: float
    known: list[Leak] = field(default_factory=list)
    measured: int = 0

    def ohm(self, a: Sequence[int], b: Sequence[int]) -> float:
        self.measured += 1
        read = self.measure(sum(self.groups[i] for i in a), sum(self.groups[i] for i in b))
        return believed(read, self.least_ohm)

    def add(self, leak: Leak | None) -> bool:
        """Take a leak as known, and say whether it was a new one; there are only so many."""
        known = {(each.i, each.j) for each in self.known}
        if leak is None or (leak.i, leak.j) in known or len(known) >= MOST_LEAKS * len(self.groups):
            return False
        self.known.append(leak)
        return True

    def leaks(self, ohm: float, a: Sequence[int], b: Sequence[int]) -> bool:
        """Whether a reading shows a leak beyond the known ones and their error."""
        across = self.across(a, b)
        beyond = 1 / ohm - across
        return beyond > max(1 / self.limit_ohm, across * self.error_ratio)

    def across(self, a: Sequence[int], b: Sequence[int]) -> float:
        """Return the conductance of the known leaks between two sides, S."""
        left, right = set(a), set(b)
        return sum(
            1 / leak.ohm
            for leak in self.known
            if (leak.i in left and leak.j in right) or (leak.j in left and leak.i in right)
        )


def measure_isolation(
    measure: Measure,
    groups: Sequence[int],
    limit_ohm: float,
    error_ratio: float = 0.02,
    ruled_out: frozenset[tuple[int, int]] = frozenset(),
    least_ohm: float = LEAST_OHM,
) -> Isolation:
    """Measure that all pairs of ``groups`` (point sets) are above ``limit_ohm``, and find what is not.

    ``error_ratio`` is how far two readings of one leak may differ. Where the error of known leaks could
    cover another, the conductors with leaks are measured again without their known partners. ``least_ohm``
    is the lowest that a sound meter reads of nothing: `UnfitError` below.
    """
    rounds = (len(groups) - 1).bit_length()
    search = _Search(measure, groups, limit_ohm, error_ratio, ruled_out, least_ohm)
    everyone = range(len(groups))
    splits = [
        ([i for i in everyone if i >> b & 1], [i for i in everyone if not i >> b & 1]) for b in range(rounds)
    ]
    readings = [search.ohm(*split) for split in splits]
    unresolved = False
    while failing := [b for b in range(rounds) if search.leaks(readings[b], *splits[b])]:
        if not (
            search.add(_by_matching(search, {b: readings[b] for b in failing}))
            or search.add(_by_halving(search, *splits[failing[0]]))
        ):
            unresolved = True
            break
    if not unresolved and any(search.across(*split) * error_ratio > 1 / limit_ohm for split in splits):
        _search_in_shadow(search)
    return Isolation(tuple(readings), tuple(search.known), search.measured, unresolved)


def _search_in_shadow(search: _Search) -> None:
    """Find leaks that the error of known ones covers: leave the known ones out of the readings.

    What is found so may cover others in turn, so whatever it leads to is looked at as well.
    """
    looked: set[int] = set()
    known = -1
    while len(search.known) > known:
        known = len(search.known)
        while ahead := {i for leak in search.known for i in (leak.i, leak.j)} - looked:
            i = min(ahead)
            looked.add(i)
            _search_beside(search, i)
        _search_among(search, [i for i in range(len(search.groups)) if i not in looked])


def _search_beside(search: _Search, i: int) -> None:
    """Find the leaks of one conductor to all but those that are known to leak to it."""
    while True:
        partners = {leak.i + leak.j - i for leak in search.known if i in (leak.i, leak.j)}
        others = [j for j in range(len(search.groups)) if j != i and j not in partners]
        if not others or not search.leaks(search.ohm([i], others), [i], others):
            return
        if not search.add(_by_halving(search, [i], others)):
            return


def _search_among(search: _Search, rest: Sequence[int]) -> None:
    """Find the leaks among conductors without a known one."""
    for b in range((len(search.groups) - 1).bit_length()):
        a, c = [i for i in rest if i >> b & 1], [i for i in rest if not i >> b & 1]
        while a and c and search.leaks(search.ohm(a, c), a, c):
            if not search.add(_by_halving(search, a, c)):
                break


def _by_matching(search: _Search, failing: Mapping[int, float]) -> Leak | None:
    """Find a leak among the pairs (i, i xor x), x of the failing bits; ``None`` where there is none."""
    x = sum(1 << b for b in failing)
    pairs = [(i, i ^ x) for i in range(len(search.groups)) if i < i ^ x < len(search.groups)]
    if not pairs:
        return None
    smallest, last = len(pairs) + 1, 0.0
    while len(pairs) > 1:
        # A full power of two first: what is left when nothing leaked needs one reading to be sure.
        cut = 1 << ((len(pairs) - 1).bit_length() - 1)
        half = pairs[:cut]
        a, b = [i for i, _ in half], [j for _, j in half]
        ohm = search.ohm(a, b)
        if search.leaks(ohm, a, b):
            pairs, smallest, last = half, len(half), ohm
        else:
            pairs = pairs[cut:]
    i, j = pairs[0]
    if smallest == 1:
        return Leak(i, j, last)
    alone = not search.known and all(
        abs(ohm - last) <= search.error_ratio * last for ohm in (last, *failing.values())
    )
    if last and alone and (i, j) not in search.ruled_out:
        # Alone, the leak is this pair's: the rest of the smallest set that leaked was read and did not.
        return Leak(i, j, last, read=False)
    return _closed(search, i, j)


def _by_halving(search: _Search, a: Sequence[int], b: Sequence[int]) -> Leak | None:
    """Find a leak between two sides that is known to be there, halving one side, then the other.

    ``a`` stays on the first bus and ``b`` on the second, so that a path that conducts one way is followed.
    """
    while len(a) > 1:
        half = a[: len(a) // 2]
        a = half if search.leaks(search.ohm(half, b), half, b) else a[len(a) // 2 :]
    while len(b) > 1:
        half = b[: len(b) // 2]
        b = half if search.leaks(search.ohm(a, half), a, half) else b[len(b) // 2 :]
    return _closed(search, a[0], b[0])


def _closed(search: _Search, i: int, j: int) -> Leak | None:
    """Read the one pair left by itself, from i to j, and judge it."""
    first, second = min(i, j), max(i, j)
    if any((leak.i, leak.j) == (first, second) for leak in search.known):
        return None
    ohm = search.ohm([i], [j])
    return Leak(first, second, ohm) if search.leaks(ohm, [i], [j]) else None
