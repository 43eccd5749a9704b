"""How a shop's looms came through: passed at the first proof, mended in what time, and what is still open."""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from loomproof.records.order import started_moment
from loomproof.records.trusted import Trusted


@dataclass(frozen=True, slots=True)
class Item:
    """One loom: by name and serial, so that looms of one name without a serial count as one.

    ``proofs`` are all that were kept of it, oldest first; ``mended_s`` are the times in which it went from
    the end of a failed proof to the end of the next passed one, in seconds, by when it was passed.
    """

    loom: str
    serial: str
    proofs: tuple[Trusted, ...]
    mended_s: tuple[tuple[str, float], ...]

    @property
    def first(self) -> Trusted:
        """Its first proof."""
        return self.proofs[0]

    @property
    def last(self) -> Trusted:
        """Its last proof."""
        return self.proofs[-1]

    @property
    def failing_since(self) -> str:
        """When the first proof that failed since the last passed one ended; "" where it does not fail."""
        since = ""
        for one in self.proofs:
            if one.run.verdict == "pass":
                since = ""
            elif one.run.verdict == "fail" and not since:
                since = one.run.ended
        return since


@dataclass(frozen=True, slots=True)
class Yield:
    """What came of the proofs of a span of days.

    ``items`` are the looms that were proved in it; ``started`` of them had their first proof of all in it,
    ``first_pass`` of those passed it. ``mended_s`` are the times to mend of what was passed in it, seconds.
    """

    items: tuple[Item, ...]
    started: int
    first_pass: int
    mended_s: tuple[float, ...]

    @property
    def open(self) -> tuple[Item, ...]:
        """The looms that failed and have not passed since."""
        return tuple(item for item in self.items if item.failing_since)

    @property
    def median_mend_s(self) -> float | None:
        """The time to mend that half of them took at most, seconds; ``None`` where nothing was mended."""
        return median(self.mended_s) if self.mended_s else None


def standing(runs: Sequence[Trusted]) -> tuple[Trusted, ...]:
    """Return each proof once, as it was last corrected, in the order of the proofs."""
    by_corrected = {}
    for one in runs:
        told = one.verified.body.get("corrects") if one.verified is not None else None
        if isinstance(told, dict):
            by_corrected[str(told.get("record"))] = one
    found = []
    for one in runs:
        if one.run.kind == "correction":
            continue
        seen = {one.run.hash}
        while (other := by_corrected.get(one.run.hash)) is not None and other.run.hash not in seen:
            one = other
            seen.add(one.run.hash)
        found.append(one)
    return tuple(found)


def yield_of(
    runs: Iterable[Trusted], first: datetime.date | None = None, last: datetime.date | None = None
) -> Yield:
    """Return what came of the looms that were proved from the first to the last day, both counted in.

    ``runs`` are all proofs that were kept, each once, oldest first: what was proved before tells a first
    proof from a later one. What came after the last day is left out.
    """

    def within(moment: str) -> bool:
        day = started_moment(moment).date()
        return (first or day) <= day <= (last or day)

    kept: dict[tuple[str, str], list[Trusted]] = {}
    for one in runs:
        if last is None or started_moment(one.run.ended).date() <= last:
            kept.setdefault((one.run.loom, one.run.serial), []).append(one)
    items = tuple(
        Item(loom, serial, tuple(proofs), _mended(proofs))
        for (loom, serial), proofs in kept.items()
        if any(within(one.run.ended) for one in proofs)
    )
    new = [item for item in items if within(item.first.run.ended)]
    return Yield(
        items,
        len(new),
        sum(item.first.run.verdict == "pass" for item in new),
        tuple(took for item in items for passed, took in item.mended_s if within(passed)),
    )


def _mended(proofs: Sequence[Trusted]) -> tuple[tuple[str, float], ...]:
    found, since = [], ""
    for one in proofs:
        if one.run.verdict == "fail" and not since:
            since = one.run.ended
        elif one.run.verdict == "pass" and since:
            took = started_moment(one.run.ended) - started_moment(since)
            found.append((one.run.ended, max(took.total_seconds(), 0.0)))
            since = ""
    return tuple(found)
