"""Covers grown unit by unit, fewer by growing some sets anew, and trimmed of what no row needs.

For problems with too many maximal sets to list (``THEORY.md``, E2). Equal input gives equal output: chance is
seeded, and what bounds the search is counted, not timed.
"""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import dataclass, field

from loomproof.planning.hookup_problem import Problem, units_of

WORK = 3_000_000.0
"""How much a search may look at: a unit beside a set counts one, and one more for each thousand rows."""

LEAST_TRIES, DEAR = 6, 10_000_000.0
"""So many covers are grown from nothing whatever they cost, fewer only where they cost more than this."""

MOST_ROUNDS = 2_400
"""So often a few sets are taken out and grown anew, whatever that costs."""

MOST_AT_BOUND = 300
"""The same where no fewer sets can do, only for a choice of covers."""

ENOUGH = 80
"""So many covers that reach the bound are enough to look among for the fewest plug-ins."""

MOST_KEPT = 120
"""So many covers of the fewest sets are kept: the fewest plug-ins are looked for among them."""


_Option = tuple[int, int, int, int, float, float]


@dataclass
class Grower:
    """Grows covers of one problem. Rows are bits of an ``int``: ``left`` and ``right`` by unit."""

    problem: Problem
    rng: random.Random
    left: list[int] = field(init=False)
    right: list[int] = field(init=False)
    every_row: int = field(init=False)
    spent: float = field(init=False, default=0.0)

    def __post_init__(self) -> None:
        rows = self.problem.rows
        units = len(self.problem.sizes)
        sides = [[bytearray(len(rows) // 8 + 1) for _ in range(units)] for _ in range(2)]
        for r, row in enumerate(rows):
            for side, mask in zip(sides, row, strict=True):
                for u in units_of(mask):
                    side[u][r >> 3] |= 1 << (r & 7)
        self._held: dict[int, int] = {}
        self.left, self.right = ([int.from_bytes(bits, "little") for bits in side] for side in sides)
        self.every_row = (1 << len(rows)) - 1
        self._price = 1.0 + len(rows) / 1000

    def covered(self, chosen: int) -> int:
        """Return the rows of which a set holds a unit of each side."""
        found = self._held.get(chosen)
        if found is None:
            a, b = self._sides(chosen)
            found = self._held[chosen] = a & b
        return found

    def _sides(self, chosen: int) -> tuple[int, int]:
        """Return the rows of which a set holds a unit of the one side, and of the other."""
        a = b = 0
        left, right = self.left, self.right
        while chosen:
            low = chosen & -chosen
            u = low.bit_length() - 1
            a |= left[u]
            b |= right[u]
            chosen ^= low
        return a, b

    def covers(self, sets: Sequence[int]) -> bool:
        """Whether these sets cover all rows."""
        done = 0
        for chosen in sets:
            done |= self.covered(chosen)
        return done == self.every_row

    def trimmed(self, sets: Sequence[int], order: Sequence[int]) -> list[int]:
        """Take out of each set the units that no row needs there, looking at units in this order."""
        kept = list(sets)
        for k, whole in enumerate(sets):
            others = 0
            for other in (*kept[:k], *kept[k + 1 :]):
                others |= self.covered(other)
            needed = self.every_row & ~others
            chosen = whole
            for u in order:
                if not chosen >> u & 1 or self.problem.stay >> u & 1:
                    continue
                if not needed & ~self.covered(chosen & ~(1 << u)):
                    chosen &= ~(1 << u)
            kept[k] = chosen
        return kept

    def search(
        self, tries: int, bound: int, work: float = WORK, known: Sequence[tuple[int, ...]] = ()
    ) -> list[tuple[int, ...]]:
        """Return the covers of the fewest sets that were found, each sorted, in a fixed order.

        ``known`` are covers to begin with. It ends at the ``bound``, once there is a choice of such covers.
        """
        found: dict[int, dict[tuple[int, ...], None]] = {}

        def keep(sets: Sequence[int]) -> None:
            covers = found.setdefault(len(sets), {})
            if len(covers) < MOST_KEPT:
                covers[tuple(sorted(sets))] = None

        for sets in known:
            keep(sets)
        for k in range(tries):
            if (k >= LEAST_TRIES and self.spent > work / 2) or self.spent > DEAR:
                break
            keep(self.pruned(self.grown(self.every_row)))
        starts = list(found[min(found)])
        current = list(starts[0])
        # The fewer rows the weakest set alone covers, the sooner it is not needed at all.
        weakest = min(self._alone(current))
        rounds = 0
        while self.spent < work and rounds < MOST_ROUNDS:
            reached = len(current) <= bound
            if len(current) == 1 or (reached and (rounds >= MOST_AT_BOUND or len(found[bound]) >= ENOUGH)):
                break
            rounds += 1
            if rounds % 100 == 0:
                starts = list(found[min(found)])
                current = list(self.rng.choice(starts))
                weakest = min(self._alone(current))
            other = self._regrown(current)
            if len(other) > len(current):
                continue
            keep(other)
            its_weakest = min(self._alone(other))
            if (len(other), its_weakest) <= (len(current), weakest):
                current, weakest = other, its_weakest
        return sorted(found[min(found)])

    def _regrown(self, sets: Sequence[int]) -> list[int]:
        """Take a few sets out, fill the others up with what is then open, and grow what is left anew."""
        count = min(len(sets) - 1, self.rng.choice((2, 2, 3, 4)))
        order = self.rng.sample(range(len(sets)), len(sets))
        if self.rng.random() < 0.5:
            alone = self._alone(sets)
            weakest = alone.index(min(alone))
            order.remove(weakest)
            order.insert(0, weakest)
        kept = [sets[k] for k in order[count:]]
        open_rows = self.every_row
        for chosen in kept:
            open_rows &= ~self.covered(chosen)
        filled = []
        touching = self._touching(open_rows)
        for chosen in kept:
            fuller, done = self._filled(chosen, open_rows, touching)
            if done:
                open_rows &= ~done
                touching = self._touching(open_rows)
            filled.append(fuller)
        return self.pruned([*filled, *self.grown(open_rows)])

    def _alone(self, sets: Sequence[int]) -> list[int]:
        """Return for each set how many rows it alone covers."""
        once = more = 0
        for chosen in sets:
            done = self.covered(chosen)
            more |= once & done
            once |= done
        once &= ~more
        return [(self.covered(chosen) & once).bit_count() for chosen in sets]

    def grown(self, open_rows: int) -> list[int]:
        """Return sets that cover these rows, each grown by the unit that covers most for its size."""
        sets: list[int] = []
        while open_rows:
            chosen = self.problem.stay
            if not self.covered(chosen) & open_rows:
                # Begin with a row that is not covered yet, by a pair that fits.
                chosen |= self._pair(open_rows)
            chosen, done = self._filled(chosen, open_rows, self._touching(open_rows))
            open_rows &= ~done
            sets.append(chosen)
        return sets

    def _pair(self, open_rows: int) -> int:
        """Return a pair of units that fits and covers one of these rows, both by chance."""
        # A random start among the rows, none behind the last open one, and the first open one from there on.
        start = self.rng.randrange(open_rows.bit_length())
        above = open_rows >> start
        a, b = self.problem.rows[start + (above & -above).bit_length() - 1]
        fits = self.problem.partners
        return self.rng.choice(
            [1 << u | 1 << v for u in units_of(a) for v in units_of(b) if fits[u] >> v & 1]
        )

    def _touching(self, open_rows: int) -> list[_Option]:
        """Return the units of open rows: unit, its open rows by side, its size, and what weighs its gain."""
        found: list[_Option] = []
        for u, (left, right, size) in enumerate(zip(self.left, self.right, self.problem.sizes, strict=True)):
            if (left | right) & open_rows:
                la, ra = left & open_rows, right & open_rows
                # A row of which one side is held counts a little: another unit may cover it later.
                found.append((u, la, ra, size, (la | ra).bit_count() / 64, size**-0.5))
        return found

    def _filled(self, chosen: int, open_rows: int, touching: Sequence[_Option]) -> tuple[int, int]:
        """Return a set with units added while one covers an open row or half of one, and what it covers."""
        problem, random_ = self.problem, self.rng.random
        room = problem.capacity - problem.size(chosen | problem.stay)
        options = self._fitting(chosen, room, touching)
        if not options:
            return chosen, self.covered(chosen) & open_rows
        a, b = self._sides(chosen)
        a, b = a & open_rows, b & open_rows
        while options:
            done = (a & b).bit_count()
            self.spent += self._price * len(options)
            best, best_score = options[0], 0.0
            for option in options:
                _, la, ra, _, half, shrunk = option
                gain = ((a | la) & (b | ra)).bit_count() - done
                score = (gain + half) * (0.7 + 0.6 * random_()) * shrunk
                if score > best_score:
                    best, best_score = option, score
            if best_score <= 0:
                break
            u, la, ra, size, _, _ = best
            chosen |= 1 << u
            a, b, room = a | la, b | ra, room - size
            options = self._fitting(chosen, room, options)
        return chosen, a & b

    def _fitting(self, chosen: int, room: int, options: Sequence[_Option]) -> list[_Option]:
        """Return the options that a set still has room for, and that no limit bars from it."""
        barred = chosen
        for group, most in self.problem.limits:
            if ((chosen | self.problem.stay) & group).bit_count() >= most:
                barred |= group
        return [o for o in options if o[3] <= room and not barred >> o[0] & 1]

    def pruned(self, sets: Sequence[int]) -> list[int]:
        """Leave out sets whose rows the others cover, looked at in an order by chance."""
        done = [self.covered(chosen) for chosen in sets]
        kept = set(range(len(sets)))
        for k in self.rng.sample(range(len(sets)), len(sets)):
            rest = 0
            for other in kept:
                if other != k:
                    rest |= done[other]
            if rest == self.every_row and len(kept) > 1:
                kept.remove(k)
        return [sets[k] for k in sorted(kept)]
