"""How the benches of a shop have read over time: their charts, and the runs that a drift casts doubt on."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime
from pathlib import Path

from loomproof.errors import UsageError
from loomproof.jobs.archive import Archive, Shelf, Wanted
from loomproof.jobs.files import now
from loomproof.jobs.gate import zeros
from loomproof.jobs.workshop import calibration_said, find
from loomproof.measuring.selftests_kept import SelfTest
from loomproof.measuring.zeros_kept import Zero, kept_zeros
from loomproof.records.order import started_moment
from loomproof.reports.control_charts import Panel, charts_plot
from loomproof.reports.listing import Cell
from loomproof.reports.words import clean, plural, when
from loomproof.results.document import BenchEntry, Document
from loomproof.results.figures import ohms
from loomproof.upkeep.charts import ALARMS_A_YEAR, BASELINE, Alarm, Chart, Point, evened
from loomproof.upkeep.health import Changed, Series, Watched, changed_by, watch

HEALTH_HEADS = ("bench", "quantity", "read", "middle", "now", "limits", "state")
"""What stands in a row of `Health.texts`."""


@dataclass(frozen=True, slots=True)
class Doubtful:
    """A run since a drift began, with the claims of it that the drift would have changed."""

    run: str
    ended: str
    loom: str
    changed: tuple[Changed, ...]


@dataclass(frozen=True, slots=True)
class Told:
    """A quantity with an alarm, and the runs of its bench since the drift began: how many, which in doubt."""

    watched: Watched
    chart: Chart
    runs: int
    doubtful: tuple[Doubtful, ...]

    @property
    def sentences(self) -> Iterator[str]:
        """What is to be known of it, the alarm first."""
        series, chart = self.watched.series, self.chart
        for alarm in sorted(chart.alarms, key=lambda alarm: alarm.at):
            yield f"{series.bench}, {series.what}: {_alarm(alarm, chart, self.watched)}"
        begun = _begun(chart)
        now = "still outside" if chart.out_now else "inside the limits again"
        yield f"Began after {begun}; at the last reading, {_day(chart.points[-1].date)}, {now}."
        if series.kind == "repeatability":
            yield "More spread means wider uncertainty; no result can be worked out again from it alone."
            return
        yield (
            f"A reading of this bench has shifted by {_signed(self.watched.drift_ohm)}, by the weighted mean "
            "now. Either bench or reference has: read another reference to tell which."
        )
        yield f"Since then {plural(self.runs, 'run')} on it" + (
            f", {len(self.doubtful)} with a result that this would change:" if self.doubtful else
            ", none with a result that this would change." if self.runs else "."
        )  # fmt: skip
        for one in self.doubtful:
            first = one.changed[0]
            more = f" and {len(one.changed) - 1} more" if len(one.changed) > 1 else ""
            yield (
                f"  {one.run}, {when(one.ended)[:16]}, {one.loom}: {first.subject} "
                f"{first.said}, would be {first.would_be}{more}"
            )


@dataclass(frozen=True, slots=True)
class Health:
    """All charts, what alarms came to, and the shelf of runs that was looked through, where it was.

    ``calibration`` says what was entered of the workshop's meter and reference, and when it is due.
    """

    watched: tuple[Watched, ...]
    told: tuple[Told, ...]
    shelf: Shelf
    calibration: tuple[str, ...] = ()

    @property
    def texts(self) -> Iterator[tuple[str | Cell, ...]]:
        """A row of texts for each quantity, as `HEALTH_HEADS` names them."""
        for each in self.watched:
            yield (clean(each.series.bench), clean(each.series.what), *_row(each))

    @property
    def rule(self) -> str:
        """By which rule an alarm is given."""
        return (
            f"Middle line and spread are those of the first {BASELINE} readings. Outside is a single reading "
            "or a weighted mean beyond its limit; the limits are such that all "
            f"{plural(len(self.watched), 'chart')} together give at most {ALARMS_A_YEAR:g} false alarms in a "
            "year of daily tests, for readings that scatter independently."
        )

    @property
    def sentences(self) -> Iterator[str]:
        """What is to be known of each alarm, and of quantities that can't be judged yet."""
        for each in self.told:
            yield from map(clean, each.sentences)
        yield from map(clean, self.calibration)
        if early := sum(each.chart is None for each in self.watched):
            of_all = "none of them can be judged" if not self.judged else f"{early} can't be judged"
            yield (
                f"Too few readings: of {plural(len(self.watched), 'quantity', 'quantities')} {of_all} yet. A "
                f"chart takes {BASELINE + 1} of one: the first {BASELINE} make its middle line and spread."
            )

    @property
    def judged(self) -> bool:
        """Whether any quantity has readings enough for a chart."""
        return any(each.chart is not None for each in self.watched)

    def plot(self, path: Path) -> None:
        """Draw each chart. Raises `UsageError` for another ending or where there is no chart yet."""
        panels = [_panel(each, each.chart) for each in self.watched if each.chart is not None]
        if not panels:
            raise UsageError(
                "there is nothing to draw: no quantity has been read often enough",
                cure=f"A chart begins with {BASELINE + 1} self-tests of one kind.",
            )
        charts_plot(path, "Control charts", panels)


def bench_health(archive: Archive, bench: str = "", since: date | None = None) -> Health:
    """Return how benches have read, by their self-tests and zeros kept here and in the store.

    ``bench`` is a part of the names of those that are meant, ``since`` the day from which readings count
    (after a bench was mended or calibrated, all begins anew). Raises `UsageError` where none is kept of
    such a bench, `InputError` for a file that cannot be read.
    """
    tests, learned = archive.selftests(), tuple(kept_zeros(zeros()))
    found = tuple(
        series
        for series in (*_of_tests(tests, since), *_of_zeros(learned, since))
        if bench.casefold() in series.bench.casefold()
    )
    if not found:
        meant = f" of a bench with {bench!r} in its name" if bench else ""
        raise UsageError(
            f"no readings{meant} are kept{f' since {since}' if since else ''}",
            cure="Self-tests with a shorting plug or reference resistors, and zeros, keep what they read.",
        )
    watched = watch(found)
    alarmed = [(each, each.chart) for each in watched if each.chart is not None and each.chart.alarms]
    troubles = archive.not_vouched_for()
    if not alarmed:
        return Health(watched, (), Shelf((), (), troubles), _calibration())
    first = min(started_moment(_onset(chart)) for _, chart in alarmed).date()
    # A run's day is told in its own zone, which is less than a day from any other.
    shelf = archive.shelf(wanted=Wanted(first=date.fromordinal(first.toordinal() - 1)))
    shelf = replace(shelf, troubles=tuple(dict.fromkeys((*troubles, *shelf.troubles))))
    runs = [one.verified.document() for one in shelf.counted if one.verified is not None]
    told = tuple(_told(each, chart, runs) for each, chart in alarmed)
    return Health(watched, told, shelf, _calibration())


def _calibration() -> tuple[str, ...]:
    """Say of the workshop's meter and reference when their calibration is due; raises as `workshop.find`."""
    shop, today = find().workshop, now().date()
    return (
        calibration_said("meter", shop.meter, today),
        calibration_said("reference", shop.reference, today),
    )


def _told(watched: Watched, chart: Chart, runs: Iterable[Document]) -> Told:
    series, begun = watched.series, started_moment(_onset(chart))
    mine = [
        run
        for run in runs
        if _named(run.bench) == series.bench
        and started_moment(run.ended) >= begun
        # Leads that were zeroed since have the shift in them, and it is taken off with them.
        and not (series.kind == "zero" and run.adapter.leads_zeroed > _onset(chart)[:10])
    ]
    doubtful = []
    if series.kind != "repeatability":
        for run in mine:
            changed = changed_by(run.claims, watched.drift_ohm, series.at_ohm)
            if changed:
                doubtful.append(Doubtful(run.run, run.ended, run.loom.name, changed))
    return Told(watched, chart, len(mine), tuple(doubtful))


def _named(bench: BenchEntry | SelfTest | Zero) -> str:
    return " ".join(filter(None, (bench.maker, bench.model, bench.serial))) or "a bench without a name"


def _of_tests(tests: Iterable[SelfTest], since: date | None) -> Iterator[Series]:
    errors: dict[tuple[str, str, str, float], list[tuple[str, float | None]]] = {}
    spreads: dict[tuple[str, str, str], list[tuple[str, float | None]]] = {}
    for test in tests:
        if _before(test.date, since):
            continue
        bench = _named(test)
        through = f", adapter {test.wiring[:8]}" if test.wiring else ""
        for one in test.read:
            what = f"reference of {ohms(one.ohm)} at {one.a}, {one.b}{through}"
            errors.setdefault((bench, what, "reference", one.ohm), []).append((test.date, one.error_ohm))
        if test.repeatability_ohm is not None:
            first = f" {ohms(test.read[0].ohm)}" if test.read else ""
            what = f"repeatability, {test.plugged}{first}{through}"
            spreads.setdefault((bench, what, "repeatability"), []).append(
                (test.date, evened(test.repeatability_ohm))
            )
    for (bench, what, _, ohm), read in errors.items():
        yield Series(bench, "reference", what, ohm, *_points(read))
    for (bench, what, _), read in spreads.items():
        yield Series(bench, "repeatability", what, 0.0, *_points(read))


def _of_zeros(learned: Iterable[Zero], since: date | None) -> Iterator[Series]:
    means: dict[tuple[str, str, frozenset[int]], list[tuple[str, float | None]]] = {}
    for zero in learned:
        if _before(zero.date, since) or not zero.leads:
            continue
        points = frozenset(lead.point for lead in zero.leads)
        mean = sum(lead.ohm for lead in zero.leads) / len(zero.leads)
        means.setdefault((_named(zero), zero.wiring, points), []).append((zero.date, mean))
    for (bench, wiring, points), read in means.items():
        what = f"zero, mean of {plural(len(points), 'lead')}, adapter {wiring[:8]}"
        yield Series(bench, "zero", what, 0.0, *_points(read))


def _points(read: Iterable[tuple[str, float | None]]) -> tuple[tuple[Point, ...], int]:
    ordered = sorted(read, key=lambda each: started_moment(each[0]))
    points = tuple(Point(moment, value) for moment, value in ordered if value is not None)
    return points, len(ordered) - len(points)


def _before(moment: str, since: date | None) -> bool:
    return since is not None and datetime.fromisoformat(moment).date() < since


def _onset(chart: Chart) -> str:
    return chart.points[chart.onset or 0].date


def _begun(chart: Chart) -> str:
    return _day(_onset(chart))


def _day(moment: str) -> str:
    return when(moment)[:10]


def _signed(ohm: float) -> str:
    return f"{'+' if ohm > 0 else ''}{ohms(ohm)}"


def _shown(value: float, watched: Watched) -> str:
    if watched.series.kind == "repeatability":
        return ohms(watched.in_ohm(value))
    return _signed(value) if watched.series.kind == "reference" else ohms(value)


def _alarm(alarm: Alarm, chart: Chart, watched: Watched) -> str:
    moment, side = _day(chart.points[alarm.at].date), "above" if alarm.above else "below"
    if alarm.rule == "single reading":
        value, half = chart.points[alarm.at].value, chart.half
        named = "a single reading of"
    else:
        place = alarm.at - (len(chart.points) - len(chart.weighted))
        value, half = chart.weighted[place], chart.weighted_half[place]
        named = "the weighted mean of"
    limit = chart.middle + (half if alarm.above else -half)
    return (
        f"ALARM on {moment}: {named} {_shown(value, watched)} is {side} its limit, {_shown(limit, watched)}"
    )


def _row(each: Watched) -> tuple[str | Cell, ...]:
    count = len(each.series.points)
    read = f"{count}" + (f" ({each.series.unread} open)" if each.series.unread else "")
    if each.chart is None:
        left = BASELINE + 1 - count
        last = _shown(each.series.points[-1].value, each) if count else ""
        return read, "", last, "", Cell(f"no chart yet: {left} to come", "yellow")
    chart = each.chart
    limits = " to ".join(_shown(chart.middle + side * chart.half, each) for side in (-1.0, 1.0))
    state = Cell("steady", "green")
    if chart.alarms:
        first = min(chart.alarms, key=lambda alarm: alarm.at)
        state = Cell(f"ALARM {_day(chart.points[first.at].date)}", "red")
    return read, _shown(chart.middle, each), _shown(chart.points[-1].value, each), limits, state


def _panel(each: Watched, chart: Chart) -> Panel:
    def ohm(value: float) -> float:
        return each.in_ohm(value)

    def both(middle: float, half: float) -> tuple[float, float]:
        return ohm(middle - half), ohm(middle + half)

    return Panel(
        f"{each.series.bench}: {each.series.what}",
        "spread, Ω" if each.series.kind == "repeatability" else "error, Ω" if each.series.at_ohm else "Ω",
        tuple(point.date for point in chart.points),
        tuple(ohm(point.value) for point in chart.points),
        ohm(chart.middle),
        both(chart.middle, chart.half),
        tuple(map(ohm, chart.weighted)),
        tuple(both(chart.middle, half) for half in chart.weighted_half),
        tuple(sorted(alarm.at for alarm in chart.alarms)),
        chart.onset,
    )
