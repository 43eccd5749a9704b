"""Completing the picture after a failing proof: which points really are one conductor.

Two ways, both through a function ``ask`` that senses drive sets and returns the points that read low:

- *arbitration* within classes of equal readings, all classes at once: O(log faults) vectors, right
  where connection works both ways (THEORY.md, completion);
- *one at a time* over representatives and points that read wrongly: one vector each, right whatever
  conducts one way or through components.

What arbitration finds is confirmed by a proof of the found groups; where that fails, the second way
decides, so that a resistive or one-way effect is never reported as wiring.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from loomproof.bench.seam import singles
from loomproof.electrics.graph import DisjointSets
from loomproof.planning.test_vectors import Group, Vector, sense_vectors

Ask = Callable[[Sequence[int]], Sequence[int]]


@dataclass(frozen=True, slots=True)
class Found:
    """The groups found, as point sets, and pairs (source, sink) that conduct one way only, by point sets.

    ``vectors`` were asked in all, ``confirming`` of them only to prove what had been found.
    """

    groups: tuple[int, ...]
    one_way: tuple[tuple[int, int], ...] = ()
    vectors: int = 0
    confirming: int = 0


def learn(ask: Ask, points: int) -> tuple[int, ...]:
    """Return the groups of an unknown loom in ceil(log2 N) vectors, by bit-serial arbitration."""
    return arbitrate(ask, [(points, tuple(singles(points)))])


def arbitrate(ask: Ask, classes: Sequence[tuple[int, Sequence[int]]]) -> tuple[int, ...]:
    """Split classes into conductors, all classes at once.

    Each class is (points, candidates): candidates are one-point sets, and every conductor of the class
    holds at least one. Points of different classes must be known not to be connected. Candidates carry
    numbers; bit by bit from the highest, those with the bit are driven, and a candidate that was not
    driven but reads low gives way. Each conductor ends with its highest number, spelt by its readings.
    """
    rounds = max((len(candidates) - 1).bit_length() for _, candidates in classes) if classes else 0
    alive = [sum(candidates) for _, candidates in classes]
    parts = [members for members, _ in classes]
    for bit in reversed(range(rounds)):
        drives = [
            sum(c for number, c in enumerate(candidates) if number >> bit & 1) & alive[k]
            for k, (_, candidates) in enumerate(classes)
        ]
        [low] = ask([sum(drives)])
        for k, drive in enumerate(drives):
            alive[k] &= ~(low & ~drive)
        parts = [piece for part in parts for piece in (part & low, part & ~low) if piece]
    return tuple(parts)


def complete(
    ask: Ask,
    groups: Sequence[Group],
    vectors: Sequence[Vector],
    lows: Sequence[int],
    reach: Sequence[frozenset[int]] = (),
) -> Found:
    """Return what is really connected, after the proof ``vectors`` read ``lows``.

    ``groups`` and ``reach`` are the expectation that the vectors were made from. The result joins points
    that read low both ways; groups coupled by components may come out joined, to be told apart by ohms.
    """
    asked = 0

    def counted(drives: Sequence[int]) -> Sequence[int]:
        nonlocal asked
        asked += len(drives)
        return ask(drives)

    found = _by_classes(counted, groups, vectors, lows, reach)
    by_classes = asked
    if found is not None and _confirmed(counted, found, groups, reach):
        return Found(found, vectors=asked, confirming=asked - by_classes)
    suspects = 0
    for vector, low in zip(vectors, lows, strict=True):
        suspects |= vector.wrong(low)
    for group in groups:
        if group.points & suspects:
            suspects |= group.points
    result = one_at_a_time(counted, groups, suspects, reach)
    return Found(result.groups, result.one_way, asked)


def _by_classes(
    ask: Ask,
    groups: Sequence[Group],
    vectors: Sequence[Vector],
    lows: Sequence[int],
    reach: Sequence[frozenset[int]],
) -> tuple[int, ...] | None:
    """Arbitrate inside classes of equal readings; ``None`` where components leave that undecided."""
    coupled = {i for i, others in enumerate(reach) if others} | {j for others in reach for j in others}
    wrong = 0
    for vector, low in zip(vectors, lows, strict=True):
        wrong |= vector.wrong(low)
    if any(groups[i].points & wrong for i in coupled):
        return None
    kept = [groups[i].points for i in sorted(coupled)]
    points = sum(group.points for i, group in enumerate(groups) if i not in coupled)
    # One class for each pattern of readings: split by one vector after the other.
    classes = [(points, 0)] if points else []
    for b, low in enumerate(lows):
        classes = [
            (piece, word | bit << b)
            for part, word in classes
            for piece, bit in ((part & low, 1), (part & ~low, 0))
            if piece
        ]
    dark = [part for part, word in classes if not word]
    lit: list[tuple[int, Sequence[int]]] = []
    for part, word in classes:
        if word:
            columns = [tuple(singles(part & vectors[b].drive)) for b in range(len(lows)) if word >> b & 1]
            fewest = min(columns, key=len)
            if not fewest:
                return None
            lit.append((part, fewest))
    lit += _split_dark(ask, dark[0], groups) if dark else []
    return tuple(kept) + arbitrate(ask, lit)


def _split_dark(ask: Ask, dark: int, groups: Sequence[Group]) -> list[tuple[int, Sequence[int]]]:
    """Return the classes of points that lost their representative.

    Where it pays, one vector drives one leader for each expected net: what reads low hangs on a leader.
    """
    leaders = [part & -part for part in (group.points & dark for group in groups) if part]
    everyone = tuple(singles(dark))
    if (len(everyone) - 1).bit_length() <= 1 + (len(leaders) - 1).bit_length():
        return [(dark, everyone)]
    [low] = ask([sum(leaders)])
    led, rest = dark & low, dark & ~low
    classes: list[tuple[int, Sequence[int]]] = [(led, leaders)] if led else []
    if rest:
        classes.append((rest, tuple(singles(rest))))
    return classes


def _confirmed(
    ask: Ask, found: Sequence[int], groups: Sequence[Group], reach: Sequence[frozenset[int]]
) -> bool:
    """Prove the found groups, one-way couplings excluded, components where they are expected.

    A pass says that every point reaches the head that was driven. What joins pieces of several expected
    groups must conduct both ways, so each piece gives the head once.
    """
    net = {p: i for i, group in enumerate(groups) for p in singles(group.points)}
    heads = [tuple({net[p]: p for p in singles(points)}.values()) for points in found]
    part_reach = _reach_of_parts(found, groups, reach)
    for turn in range(max(map(len, heads), default=0)):
        parts = [Group(points, mine[turn % len(mine)]) for points, mine in zip(found, heads, strict=True)]
        vectors = sense_vectors(parts, part_reach)
        lows = ask([vector.drive for vector in vectors])
        if any(vector.wrong(low) for vector, low in zip(vectors, lows, strict=True)):
            return False
    return True


def _reach_of_parts(
    found: Sequence[int], groups: Sequence[Group], reach: Sequence[frozenset[int]]
) -> tuple[frozenset[int], ...]:
    """Carry the expected reach of groups over to the parts that hold points of them."""
    if not any(reach):
        return ()
    net = {p: i for i, group in enumerate(groups) for p in singles(group.points)}
    nets = [frozenset(net[p] for p in singles(part)) for part in found]
    parts_of: dict[int, set[int]] = {}
    for k, mine in enumerate(nets):
        for i in mine:
            parts_of.setdefault(i, set()).add(k)
    return tuple(
        frozenset(k for i in mine for j in reach[i] for k in parts_of.get(j, ()) if k != own)
        for own, mine in enumerate(nets)
    )


def one_at_a_time(
    ask: Ask, groups: Sequence[Group], suspects: int, reach: Sequence[frozenset[int]] = ()
) -> Found:
    """Drive each group's head and each suspect point alone, and join what reads low both ways."""
    followers = {group.head: group.points & ~suspects for group in groups}
    heads = list(dict.fromkeys([*followers, *singles(suspects)]))
    lows = dict(zip(heads, ask(heads), strict=True))
    # A point that conformed follows its head; one that now does not read low with it is asked itself.
    strays = [p for head, points in followers.items() for p in singles(points & ~lows[head] & ~head)]
    if strays:
        lows.update(zip(strays, ask(strays), strict=True))
        heads += strays
    own = {head: head | (followers.get(head, 0) & lows[head] & ~sum(strays)) for head in heads}
    joined = DisjointSets(heads)
    one_way: list[tuple[int, int]] = []
    net = {p: i for i, group in enumerate(groups) for p in singles(group.points)}
    everything = sum(heads)
    for sink in heads:
        for source in singles(lows[sink] & everything & ~sink):
            if lows[source] & sink:
                joined.join(source, sink)
            elif not (reach and net[sink] in reach[net[source]]):
                one_way.append((source, sink))
    return Found(tuple(sum(own[head] for head in one) for one in joined.sets()), tuple(one_way))
