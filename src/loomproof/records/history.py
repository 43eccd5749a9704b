"""A loom's readings over time, from its sealed records."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from loomproof.records.first_pass import standing
from loomproof.records.trusted import Trusted


@dataclass(frozen=True, slots=True)
class Point:
    """One reading of a joint: when, in which run, and what (Ω, k = 2); ``None`` is open."""

    run: str
    ended: str
    measured_ohm: float | None
    uncertainty_ohm: float | None
    limit_ohm: float | None


@dataclass(frozen=True, slots=True)
class Trend:
    """Readings of one joint of one item, oldest first. A joint is named as the claims name it.

    ``serial`` is the item's, "" where it has none.
    """

    subject: str
    points: tuple[Point, ...]
    serial: str = ""

    @property
    def change_ohm(self) -> float | None:
        """Last minus first reading; ``None`` where either is open or there are fewer than two."""
        first, last = self.points[0].measured_ohm, self.points[-1].measured_ohm
        if len(self.points) < 2 or first is None or last is None:
            return None
        return last - first

    @property
    def change_uncertainty_ohm(self) -> float:
        """Expanded uncertainty of the change, both readings taken as independent (JCGM 100, 5.1.2)."""
        ends = (self.points[0].uncertainty_ohm or 0.0, self.points[-1].uncertainty_ohm or 0.0)
        return math.hypot(*ends)

    @property
    def moved(self) -> bool:
        """Whether the joint changed by more than the uncertainty of the change, or opened or closed."""
        first, last = self.points[0].measured_ohm, self.points[-1].measured_ohm
        if (first is None) != (last is None):
            return True
        change = self.change_ohm
        return change is not None and abs(change) > self.change_uncertainty_ohm


def trends(runs: Iterable[Trusted]) -> tuple[Trend, ...]:
    """Return the trend of every joint of a loom's runs, oldest first, the one that changed most first.

    Items of different serials age apart; a serial that was corrected counts as it was corrected last.
    Readings come from the sealed records. A record that does not hold, and one by a signer that nobody here
    knows, adds nothing.
    """
    found: dict[tuple[str, str], list[Point]] = {}
    for one in standing([one for one in runs if one.signer and not one.trouble]):
        run, verified = one.run, one.verified
        if verified is None:
            continue
        for claim in verified.document().claims:
            if claim.kind != "resistance" or (claim.measured_ohm is None and not claim.open):
                continue
            found.setdefault((run.serial, claim.subject), []).append(
                Point(run.run, run.ended, claim.measured_ohm, claim.uncertainty_ohm, claim.own_limit_ohm)
            )
    made = [Trend(subject, tuple(points), serial) for (serial, subject), points in found.items()]

    def size(trend: Trend) -> float:
        change = trend.change_ohm
        return -abs(change) if change is not None else (-math.inf if trend.moved else 0.0)

    return tuple(sorted(made, key=size))
