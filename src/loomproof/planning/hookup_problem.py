"""What hook-ups must bring together, as a covering problem: units with sizes, and rows that sets must cover.

A row is a pair of unit masks: some chosen set must hold a unit of each. A net is told by the units that it
comes to (its signature). Statements and proofs stand in ``THEORY.md`` (E1, E2).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import product

from loomproof.bench.seam import singles

Row = tuple[int, int]

MOST_CUTS = 6
"""Nets on up to this many connectors get all their cuts at once, others those that a plan leaves open."""

MOST_MEETINGS = 4_000
"""So many meetings of nets are rows from the start; of more, those that a plan leaves open become rows."""

MOST_SUBSETS = 512
"""Smaller rows within a row are looked up one by one up to so many; else all kept rows are gone through."""


@dataclass(frozen=True)
class Problem:
    """What must meet. ``limits`` are (mask, most of them in one set); ``stay`` is in every set."""

    sizes: tuple[int, ...]
    capacity: int
    rows: tuple[Row, ...]
    limits: tuple[tuple[int, int], ...] = ()
    stay: int = 0

    def size(self, mask: int) -> int:
        """The points that a set takes."""
        points = 0
        while mask:
            low = mask & -mask
            points += self.sizes[low.bit_length() - 1]
            mask ^= low
        return points

    def fits(self, mask: int) -> bool:
        """Whether a set with all that stays is within capacity and limits."""
        whole = mask | self.stay
        return self.size(whole) <= self.capacity and all(
            (whole & group).bit_count() <= most for group, most in self.limits
        )

    @cached_property
    def partners(self) -> tuple[int, ...]:
        """For each unit the mask of those with which it fits in one set, itself among them where it fits."""
        units = range(len(self.sizes))
        found = [0] * len(self.sizes)
        room = self.capacity - self.size(self.stay)
        beside = [0 if self.stay >> u & 1 else size for u, size in enumerate(self.sizes)]
        for u in units:
            for v in units[u:]:
                within = beside[u] + (beside[v] if v != u else 0) <= room
                if within and (not self.limits or self.fits(1 << u | 1 << v)):
                    found[u] |= 1 << v
                    found[v] |= 1 << u
        return tuple(found)

    def impossible(self) -> tuple[Row, ...]:
        """The rows that no fitting set covers: no pair of units, one of each side, fits."""
        partners = self.partners
        return tuple((a, b) for a, b in self.rows if not any(partners[u] & b for u in units_of(a)))


def units_of(mask: int) -> Iterator[int]:
    """Yield the units of a mask, lowest first."""
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def mask_of(units: Iterable[int]) -> int:
    """Return units, by their numbers, as a mask."""
    return _union(1 << unit for unit in units)


def covers(sets: Iterable[int], row: Row) -> bool:
    """Whether one of the sets holds a unit of each side."""
    return any(chosen & row[0] and chosen & row[1] for chosen in sets)


def undominated(rows: Iterable[Row]) -> tuple[Row, ...]:
    """Return the rows that are not covered whenever another is, those with the fewest units first."""
    whole = sorted({(min(row), max(row)) for row in rows}, key=lambda r: (sum(m.bit_count() for m in r), r))
    # A set that holds a unit of both sides covers a row: none is wanted for a unit that is plugged anyway.
    plugged = 0
    for a, b in whole:
        if not a & b:
            plugged |= (a if a.bit_count() == 1 else 0) | (b if b.bit_count() == 1 else 0)
    kept: dict[Row, None] = {}
    wider: list[Row] = []
    pairs: dict[int, int] = {}
    for a, b in whole:
        if a & b & plugged or any(pairs.get(u, 0) & b for u in singles(a)) or _within(a, b, kept, wider):
            continue
        kept[a, b] = None
        if a.bit_count() == b.bit_count() == 1:
            pairs[a] = pairs.get(a, 0) | b
            pairs[b] = pairs.get(b, 0) | a
        else:
            wider.append((a, b))
    return tuple(kept)


def _within(a: int, b: int, kept: dict[Row, None], wider: Sequence[Row]) -> bool:
    """Whether a row that is kept, wider than a pair of units, has its sides within these."""
    if 1 << (a.bit_count() + b.bit_count()) <= MOST_SUBSETS:
        return any((min(row), max(row)) in kept for row in product(_parts(a), _parts(b)))
    return any((not x & ~a and not y & ~b) or (not x & ~b and not y & ~a) for x, y in wider)


def _parts(mask: int) -> Iterator[int]:
    """Yield every part of a mask but the empty one."""
    part = mask
    while part:
        yield part
        part = (part - 1) & mask


def rows_of(signatures: Sequence[int], wanted: Sequence[int] | None = None) -> tuple[Row, ...]:
    """Return what must meet from the start: cuts of nets up to `MOST_CUTS` units, and each two nets.

    A net whose units hold all those of another meets whatever the other meets. Where more than
    `MOST_MEETINGS` are not implied by cuts, they are left to `unmet`.

    Where only the ``wanted`` nets are to be proved: their cuts, and what they meet.
    """
    if wanted is not None and set(wanted) != set(signatures):
        cuts = [row for mask in wanted if 1 < mask.bit_count() <= MOST_CUTS for row in _cuts(mask)]
        return undominated([*cuts, *((mask, other) for mask in wanted for other in signatures)])
    cuts = [row for mask in signatures if 1 < mask.bit_count() <= MOST_CUTS for row in _cuts(mask)]
    least = _minimal(signatures)
    # What is within one unit, or on two, has units that surely meet.
    alone = [mask for mask in least if mask.bit_count() == 1]
    pairs = [row for row in cuts if row[0].bit_count() == row[1].bit_count() == 1]
    pairs += [(a, b) for k, a in enumerate(alone) for b in alone[k + 1 :]]
    surely: dict[int, int] = {}
    for a, b in pairs:
        surely[a] = surely.get(a, 0) | a | b
        surely[b] = surely.get(b, 0) | a | b
    near = [_union(surely.get(one, 0) for one in singles(mask)) for mask in least]
    meetings = [(a, b) for k, a in enumerate(least) for b in least[k + 1 :] if not near[k] & b]
    if len(least) == 1:
        meetings = [(least[0], least[0])]
    return undominated(pairs + cuts + meetings[:: 1 + len(meetings) // MOST_MEETINGS])


def _minimal(signatures: Sequence[int]) -> list[int]:
    """Return the signatures that hold no other whole, those of the fewest units first."""
    kept: dict[int, None] = {}
    for mask in sorted(set(signatures), key=lambda mask: (mask.bit_count(), mask)):
        if 1 << mask.bit_count() <= MOST_SUBSETS:
            holds = any(part in kept for part in _parts(mask))
        else:
            holds = any(not other & ~mask for other in kept)
        if not holds:
            kept[mask] = None
    return list(kept)


def _cuts(mask: int) -> Iterator[Row]:
    members = list(singles(mask))
    for word in range(1, 1 << (len(members) - 1)):
        part = _union(one for k, one in enumerate(members) if word >> k & 1)
        yield part, mask & ~part


def _union(masks: Iterable[int]) -> int:
    whole = 0
    for mask in masks:
        whole |= mask
    return whole


def open_cuts(sets: Sequence[int], signature: int) -> list[Row]:
    """Return a cut for each part of a net that shares no hook-up with the rest of it."""
    if not signature & (signature - 1):  # one unit, or none
        return []
    parts = list(singles(signature))
    for chosen in sets:
        touched = chosen & signature
        if not touched & (touched - 1):  # it brings no two units together, so no two parts
            continue
        together = [part for part in parts if part & chosen]
        if len(together) > 1:
            parts = [part for part in parts if not part & chosen] + [sum(together)]
    return [(part, signature & ~part) for part in parts] if len(parts) > 1 else []


def unmet(sets: Sequence[int], signatures: Sequence[int], wanted: Sequence[int] | None = None) -> list[Row]:
    """Return each two nets of which no set holds a unit of both, and each net of which no set holds any.

    Where only the ``wanted`` nets are to be proved, these and what they should meet.
    """
    chosen = None if wanted is None or set(wanted) == set(signatures) else set(wanted)
    whole = _union([*sets, *signatures])
    met = dict.fromkeys(singles(whole), 0)
    for together in sets:
        for one in singles(together):
            met[one] |= together
    near = [_union(met[one] for one in singles(mask)) for mask in signatures]
    pairs = [
        (a, b)
        for k, (a, beside) in enumerate(zip(signatures, near, strict=True))
        if beside != whole
        for b in signatures[k + 1 :]
        if not beside & b
    ]
    if chosen is not None:
        pairs = [(a, b) for a, b in pairs if a in chosen or b in chosen]
    alone = [mask for mask, beside in zip(signatures, near, strict=True) if not beside]
    return pairs + [(mask, mask) for mask in alone if chosen is None or mask in chosen]


def proves(sets: Sequence[int], signatures: Sequence[int], wanted: Sequence[int] | None = None) -> bool:
    """Whether these sets of units prove a loom with nets on these units: both conditions, checked anew.

    Where only the ``wanted`` nets are to be proved, these and what they meet.
    """
    chosen = signatures if wanted is None else wanted
    return not unmet(sets, signatures, wanted) and not any(open_cuts(sets, mask) for mask in chosen)
