"""What a person with a meter and two probes is asked, in the fewest touches.

The model. A *touch* is laying one probe, or one clip, on one cavity. A meter on its beep says of the two ends
that it touches whether a path under its threshold joins them; so while one lead stays on a cavity (the black
one), each touch of the other (the red one) asks one pair, and a *sweep* asks as many as it goes over. What it
shows is at which of them it beeped. Clips may join several nets under the black lead: one touch of red then
asks all of them at once, and a beep says no more than that one of them is meant. In a *chain* the nets are
joined one after the other, each after red has found it silent against those before it: two touches a net, and
all pairs among them are asked.

The bound. Every net of m cavities needs m - 1 beeps that join something new, every pair of nets one silent
touch, and the first touch closes nothing. A touch asks one pair, or with clips over c nets c pairs. So no
plan has fewer than Σ(m - 1) + ⌈pairs / max(c, 1)⌉ + 1 touches, nor fewer than there are cavities (THEORY.md).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from loomproof.bench.seam import points_of, singles
from loomproof.planning.net_access import Scope

MOST_RED = 24
"""A sweep goes over so many ends at the most: what a person can keep count of. The black lead stays."""

FEWEST_CLIPS = 3
"""Joining fewer nets than this saves no touch over two probes."""


@dataclass(frozen=True, slots=True)
class Step:
    """One question: black on all of ``black``, joined, then red over ``red`` one by one; point sets.

    ``chained``: each of ``red`` that is silent is clipped to black before the next. ``whole``: one net is
    asked for its own wires, and should beep everywhere; else nothing should.
    """

    black: int
    red: tuple[int, ...]
    chained: bool = False
    whole: bool = False

    @property
    def red_points(self) -> int:
        """All of ``red`` as one set."""
        return sum(self.red)

    def touches(self, held: int) -> int:
        """Return how many touches it takes while black is on ``held`` already."""
        return (self.black & ~held).bit_count() + len(self.red) * (2 if self.chained else 1)


@dataclass
class Picture:
    """What is known of the pieces that conductors fell into, by number: which are apart, which were one.

    ``points`` has the points of each piece, ``rep`` the one that is touched for it, ``bundle`` what parts
    couple, of which beeps say nothing. ``clipped`` is the bunch that black is on.
    """

    points: dict[int, int]
    rep: dict[int, int]
    bundle: dict[int, int]
    apart: set[frozenset[int]] = field(default_factory=set)
    left_out: set[frozenset[int]] = field(default_factory=set)
    clipped: tuple[int, ...] = ()
    net_of: dict[int, int] = field(default_factory=dict)

    def open(self, i: int, j: int) -> bool:
        """Whether nobody knows yet whether these two pieces touch, and it is to be asked."""
        pair = frozenset((i, j))
        return i != j and pair not in self.apart and pair not in self.left_out and not self.coupled(i, j)

    def coupled(self, i: int, j: int) -> bool:
        """Whether parts join the two: a beep may come through them. Pieces of one net are never coupled."""
        return self.bundle[i] >= 0 and self.bundle[i] == self.bundle[j] and not self._one_net(i, j)

    def _one_net(self, i: int, j: int) -> bool:
        return self.net_of.get(i) == self.net_of.get(j)

    def number_at(self, point: int) -> int:
        """Return the piece that holds a one-point set."""
        return next(number for number, points in self.points.items() if points & point)

    def join(self, i: int, j: int) -> None:
        """Take two pieces for one conductor; what either is apart from, both are."""
        first, second = sorted((i, j))
        self.points[first] |= self.points.pop(second)
        if self.bundle[second] >= 0 and self.bundle[first] < 0:
            self.bundle[first] = self.bundle[second]
        for known in (self.apart, self.left_out):
            moved = {pair for pair in known if second in pair}
            known -= moved
            known |= {pair - {second} | {first} for pair in moved}
        self.apart = {pair for pair in self.apart if len(pair) == 2}
        self.left_out = {pair for pair in self.left_out if len(pair) == 2} - self.apart
        self.clipped = tuple(k for k in self.clipped if k != second)

    def pairs_open(self) -> Iterator[tuple[int, int]]:
        """Yield every pair that is still to be asked."""
        return ((i, j) for i, j in combinations(sorted(self.points), 2) if self.open(i, j))


def wholes(scope: Scope, nets: frozenset[int] | None = None) -> tuple[Step, ...]:
    """Return the sweeps that ask each net for its own wires, of these nets where any are named."""
    found = []
    for group, net in zip(scope.groups, scope.net_of_group, strict=True):
        if group.size < 2 or (nets is not None and net not in nets):
            continue
        rest = sorted(singles(group.points & ~group.head), key=lambda p: _place(scope, p))
        found += [Step(group.head, part, whole=True) for part in _parts(rest)]
    return tuple(found)


def picture_of(scope: Scope, pieces: Sequence[int], untouched: frozenset[int] = frozenset()) -> Picture:
    """Return what is known once each net was asked for its own wires; ``pieces`` is what they fell into.

    Pairs of ``untouched`` nets rest on the proof before.
    """
    by_plug = _representatives(scope, pieces)
    order = sorted(range(len(pieces)), key=lambda k: _place(scope, by_plug[k]))
    group_of = {point: k for k, group in enumerate(scope.groups) for point in singles(group.points)}
    homes = [group_of[pieces[k] & -pieces[k]] for k in order]
    single = [scope.bundle_of.count(scope.bundle_of[home]) == 1 for home in homes]
    made = Picture(
        {n: pieces[k] for n, k in enumerate(order)},
        {n: by_plug[k] for n, k in enumerate(order)},
        {n: -1 if single[n] else scope.bundle_of[home] for n, home in enumerate(homes)},
    )
    made.net_of = dict(enumerate(homes))
    resting = [n for n, home in enumerate(homes) if scope.net_of_group[home] in untouched]
    made.apart |= {frozenset(pair) for pair in combinations(resting, 2)}
    return made


def next_step(picture: Picture, clips: int) -> Step | None:
    """Return the next question about which pieces touch; ``None`` once every pair is known.

    ``clips`` is how many nets can be joined under the black lead.
    """
    numbers = sorted(picture.points)
    asked = {i: [j for j in numbers if picture.open(i, j)] for i in numbers}
    if clips >= FEWEST_CLIPS:
        if step := _over_bunch(picture):
            return step
        picture.clipped = ()
        if step := _chain(picture, asked, clips):
            return step
    first = max((i for i in numbers if asked[i]), key=lambda i: (len(asked[i]), -i), default=None)
    if first is None:
        return None
    held = [i for i in numbers if picture.clipped == (i,) and asked[i]]
    first = held[0] if held else first
    picture.clipped = (first,)
    return Step(picture.rep[first], _parts([picture.rep[j] for j in asked[first]])[0])


def _over_bunch(picture: Picture) -> Step | None:
    """Go over all that is open against the bunch, and that no part joins to any of it."""
    bunch = picture.clipped
    if len(bunch) < FEWEST_CLIPS - 1:
        return None
    wanted = [
        j
        for j in sorted(picture.points)
        if j not in bunch
        and sum(picture.open(i, j) for i in bunch) > 1
        and not any(picture.coupled(i, j) for i in bunch)
        and not any(frozenset((i, j)) in picture.left_out for i in bunch)
    ]
    if not wanted:
        return None
    return Step(sum(picture.rep[i] for i in bunch), _parts([picture.rep[j] for j in wanted])[0])


def _chain(picture: Picture, asked: Mapping[int, Sequence[int]], clips: int) -> Step | None:
    """Join as many pieces as there are clips for, each of which is open against all before it."""
    for first in sorted(asked, key=lambda i: (-len(asked[i]), i)):
        bunch = [first]
        for j in asked[first]:
            if len(bunch) < min(clips, MOST_RED + 1) and all(picture.open(i, j) for i in bunch):
                bunch.append(j)
        if len(bunch) >= FEWEST_CLIPS:
            picture.clipped = (first,)
            return Step(picture.rep[first], tuple(picture.rep[j] for j in bunch[1:]), chained=True)
        if len(asked[first]) < FEWEST_CLIPS:
            break
    return None


def settle(picture: Picture, step: Step, beeped: int) -> None:
    """Take up what was silent: ``red`` but ``beeped`` is apart from the bunch, and joins it where chained."""
    bunch = [picture.number_at(one) for one in singles(step.black)]
    for red in step.red:
        if red & beeped:
            continue
        j = picture.number_at(red)
        picture.apart |= {frozenset((i, j)) for i in bunch if i != j}
        if step.chained and j not in bunch:
            bunch.append(j)
    if step.chained:
        picture.clipped = tuple(bunch)


@dataclass(frozen=True, slots=True)
class Effort:
    """What a sound loom takes: questions, touches of them all, and what no plan of this model is under."""

    questions: int
    touches: int
    bound: int
    pairs: int


def steps_if_sound(scope: Scope, clips: int) -> tuple[Step, ...]:
    """Return every sweep that a loom without a fault is asked."""
    steps = list(wholes(scope))
    picture = picture_of(scope, [group.points for group in scope.groups])
    while (step := next_step(picture, clips)) is not None:
        steps.append(step)
        settle(picture, step, 0)
    return tuple(steps)


def effort_of(scope: Scope, clips: int, singly: int = 0) -> Effort:
    """Return what a sound loom takes; ``singly`` readings of two probes each are typed besides."""
    steps = steps_if_sound(scope, clips)
    touches, held = 0, 0
    for step in steps:
        touches += step.touches(held)
        held = step.black | (step.red_points if step.chained else 0)
    picture = picture_of(scope, [group.points for group in scope.groups])
    pairs = sum(1 for _ in picture.pairs_open())
    joins = sum(group.size - 1 for group in scope.groups)
    at_once = clips if clips >= FEWEST_CLIPS else 1
    bound = max(joins + -(-pairs // at_once) + 1, sum(group.size for group in scope.groups))
    return Effort(len(steps) + singly, touches + 2 * singly, bound + singly, pairs)


def _parts(red: Sequence[int]) -> list[tuple[int, ...]]:
    """Cut a sweep where a person would lose count, in parts of about the same length."""
    count = -(-len(red) // MOST_RED)
    size = -(-len(red) // count) if count else 0
    return [tuple(red[k : k + size]) for k in range(0, len(red), size)] if count else []


def _place(scope: Scope, point: int) -> int:
    return scope.place_of[scope.end_of[point.bit_length()]]


def _representatives(scope: Scope, pieces: Sequence[int]) -> list[int]:
    """Return for each piece the point that is touched for it: few plugs, so that a sweep goes along them."""
    plugs: dict[str, set[int]] = {}
    for k, points in enumerate(pieces):
        for point in points_of(points):
            plugs.setdefault(scope.end_of[point].connector, set()).add(k)
    found: dict[int, int] = {}
    while len(found) < len(pieces):
        plug = max(plugs, key=lambda name: (len(plugs[name] - found.keys()), name))
        for k in plugs[plug] - found.keys():
            mine = [p for p in points_of(pieces[k]) if scope.end_of[p].connector == plug]
            found[k] = 1 << (min(mine, key=lambda p: scope.place_of[scope.end_of[p]]) - 1)
    return [found[k] for k in range(len(pieces))]
