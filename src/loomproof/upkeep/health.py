"""What one bench's charts come to, and which results a drift would have changed."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from loomproof.electrics.decision import judge
from loomproof.results.document import ClaimEntry
from loomproof.upkeep.charts import Chart, Point, chance_of, chart, spread_of

Kind = Literal["reference", "zero", "repeatability"]


@dataclass(frozen=True, slots=True)
class Series:
    """One quantity of one bench over time, Ω; that of a repeatability is charted as `charts.evened` says.

    ``what`` names it in words. ``at_ohm`` is the resistance that was read, 0 for zeros and repeatability.
    ``unread`` counts the times that it read open, which stand in no chart.
    """

    bench: str
    kind: Kind
    what: str
    at_ohm: float
    points: tuple[Point, ...]
    unread: int = 0


@dataclass(frozen=True, slots=True)
class Watched:
    """A series with its chart; ``None`` while it has too few readings for one."""

    series: Series
    chart: Chart | None

    @property
    def drift_ohm(self) -> float:
        """How far a reading of the bench has shifted, Ω, by the weighted mean.

        Two leads are in a reading, so a zero's shift counts twice. 0 for a repeatability.
        """
        if self.chart is None or self.series.kind == "repeatability":
            return 0.0
        return self.chart.shift * (2.0 if self.series.kind == "zero" else 1.0)

    def in_ohm(self, value: float) -> float:
        """Return a value of the chart in Ω."""
        return spread_of(value) if self.series.kind == "repeatability" else value


def watch(series: Sequence[Series]) -> tuple[Watched, ...]:
    """Chart all of these, so that false alarms of all together stay under the bound (`charts`)."""
    chance = chance_of(max(len(series), 1))
    return tuple(Watched(each, chart(each.points, chance)) for each in series)


@dataclass(frozen=True, slots=True)
class Changed:
    """A claim that a drift of the bench would have changed: what it says, and what it would say."""

    subject: str
    said: str
    would_be: str


def changed_by(claims: Iterable[ClaimEntry], drift_ohm: float, at_ohm: float) -> tuple[Changed, ...]:
    """Return the measured claims that come out otherwise with the drift taken off their readings.

    Nobody knows whether a drift that was seen at ``at_ohm`` is of the offset or of the gain: a claim counts
    where either changes it. An open path is none of them.
    """
    found = []
    for claim in claims:
        read, limit = claim.measured_ohm, claim.own_limit_ohm
        if claim.open or read is None or limit is None or claim.uncertainty_ohm is None:
            continue
        lower = claim.lower_limit_ohm or 0.0
        was = judge(read, claim.uncertainty_ohm, limit, lower)
        shifts = [drift_ohm, drift_ohm * read / at_ohm] if at_ohm > 0.0 else [drift_ohm]
        for shift in shifts:
            would = judge(read - shift, claim.uncertainty_ohm, limit, lower)
            if would != was:
                found.append(Changed(claim.subject, was, would))
                break
    return tuple(found)
