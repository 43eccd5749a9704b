"""Looking back over kept proofs: one loom over time, many looms at once, and the files that come of both."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from functools import cached_property
from pathlib import Path

from loomproof.errors import UsageError, suggestion
from loomproof.jobs.archive import Shelf
from loomproof.jobs.files import write_file
from loomproof.records.history import Trend, trends
from loomproof.records.lines import Run
from loomproof.records.trusted import found_in
from loomproof.reports import exports, summary_tables
from loomproof.reports.listing import Cell
from loomproof.reports.plots import Series, bars_plot, trend_plot
from loomproof.reports.words import uncertain
from loomproof.results.figures import ohms


def joints_of(shelf: Shelf, wanted: Sequence[str] = ()) -> tuple[Trend, ...]:
    """Return how the joints of a loom moved, or these of them, the one that changed most first.

    Raises `UsageError` for a joint of which no resistance was kept.
    """
    found = trends(shelf.runs)
    subjects = {trend.subject for trend in found}
    for joint in wanted:
        if joint not in subjects:
            raise UsageError(f"no resistance of {joint!r} was kept", cure=suggestion(joint, subjects))
    return tuple(trend for trend in found if not wanted or trend.subject in wanted)


JOINT_HEADS = ("joint", "readings", "first", "last", "change", "limit")
"""What `joint_texts` has in each row; all but the first are figures."""


def joint_texts(joints: Sequence[Trend]) -> Iterator[tuple[str | Cell, ...]]:
    """Yield a row of texts for each joint; a change beyond its uncertainty is marked."""
    for trend in joints:
        first, last, change = trend.points[0], trend.points[-1], trend.change_ohm
        said = "" if change is None else f"{'+' if change > 0 else ''}{ohms(change)}"
        yield (
            trend.subject,
            str(len(trend.points)),
            ohms(first.measured_ohm),
            uncertain(last.measured_ohm, last.uncertainty_ohm),
            Cell(f"{said} moved".lstrip(), "yellow") if trend.moved else said,
            "" if last.limit_ohm is None else ohms(last.limit_ohm),
        )


def plot_joints(path: Path, loom: str, joints: Sequence[Trend]) -> None:
    """Draw how joints moved, as SVG or PNG.

    Raises `UsageError` for another ending and where there is nothing to draw, `StoreError`.
    """
    if not joints:
        raise UsageError(f"no resistance of {loom!r} was kept; there is nothing to plot")

    def number(value: float | None) -> float:
        return math.nan if value is None else value

    series = [
        Series(
            trend.subject,
            [point.ended for point in trend.points],
            [number(point.measured_ohm) for point in trend.points],
            [number(point.uncertainty_ohm) for point in trend.points],
            [number(point.limit_ohm) for point in trend.points],
        )
        for trend in joints
    ]
    trend_plot(path, f"Resistance of joints in {loom}", series)


class Fleet:
    """Many looms summed up, of the runs that can be relied on; corrections hold the same proof once more."""

    def __init__(self, shelf: Shelf) -> None:
        self.shelf = shelf
        self._proofs = tuple(one for one in shelf.counted if one.run.kind == "proof")
        self._found = found_in(shelf.counted)

    @property
    def runs(self) -> tuple[Run, ...]:
        """The proofs."""
        return tuple(one.run for one in self._proofs)

    @property
    def looms(self) -> int:
        """How many looms they are of."""
        return len({(run.loom, run.serial) for run in self.runs})

    @property
    def passed(self) -> int:
        """How many of the proofs were passed."""
        return sum(run.verdict == "pass" for run in self.runs)

    @cached_property
    def faults(self) -> dict[str, list[tuple[str, int]]]:
        """How many faults there are by kind, connector, wire and loom."""
        return summary_tables.counts(self._found)

    def write_runs(self, path: Path) -> None:
        """Write every run as .csv, .xlsx or .parquet; `UsageError` for another ending, or `StoreError`."""
        table = summary_tables.runs_table(self.runs, [one.grade for one in self._proofs])
        write_file(path, exports.table_bytes(table, path.suffix.lower()))

    def write_findings(self, path: Path) -> None:
        """Write every finding. Raises as `write_runs` does."""
        write_file(path, exports.table_bytes(summary_tables.findings_table(self._found), path.suffix.lower()))

    def write_junit(self, path: Path) -> None:
        """Write every claim as JUnit XML, corrections among them. Raises `StoreError`."""
        counted = [one.verified.document() for one in self.shelf.counted if one.verified]
        write_file(path, exports.junit_xml(counted))

    def plot(self, path: Path) -> None:
        """Draw the counts of faults, as SVG or PNG. Raises as `plot_joints` does."""
        bars_plot(path, "Faults found", self.faults)
