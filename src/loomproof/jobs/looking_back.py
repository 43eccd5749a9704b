"""Looking back over kept proofs: one loom over time, many looms at once, and the files that come of both."""

from __future__ import annotations

import math
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from loomproof.diagnosis import changes
from loomproof.diagnosis.changes import Changes
from loomproof.errors import UsageError, suggestion
from loomproof.jobs.archive import Repair, Shelf
from loomproof.jobs.files import ends_in, write_file
from loomproof.records.first_pass import standing
from loomproof.records.history import Trend, trends
from loomproof.records.lines import Run
from loomproof.records.store import Standing
from loomproof.records.trusted import found_in
from loomproof.reports import exports, summary_tables
from loomproof.reports.listing import Cell
from loomproof.reports.plots import Series, bars_plot, trend_plot
from loomproof.reports.words import VERDICTS, plural, uncertain, when
from loomproof.results.document import Document
from loomproof.results.figures import ohms

if TYPE_CHECKING:
    import pandas as pd


def joints_of(shelf: Shelf, wanted: Sequence[str] = ()) -> tuple[Trend, ...]:
    """Return how the joints of a loom moved, or these of them, the one that changed most first.

    On real benches, where it was on any, else on simulated ones.

    Raises `UsageError` for a joint of which no resistance was kept.
    """
    # What a simulator read is no reading of a loom that was on a bench.
    apart = shelf.apart
    found = trends(apart[0][1].runs if apart else ())
    names = {name for each, trend in _named(found) for name in (each, trend.subject)}
    for joint in wanted:
        if joint not in names:
            raise UsageError(f"no resistance of {joint!r} was kept", cure=suggestion(joint, names))
    meant = set(wanted)
    return tuple(trend for each, trend in _named(found) if not meant or meant & {each, trend.subject})


JOINT_HEADS = ("joint", "readings", "first", "last", "change", "limit")
"""What `joint_texts` has in each row; all but the first are figures."""


def joint_texts(joints: Sequence[Trend]) -> Iterator[tuple[str | Cell, ...]]:
    """Yield a row of texts for each joint; a change beyond its uncertainty is marked."""
    for name, trend in _named(joints):
        first, last, change = trend.points[0], trend.points[-1], trend.change_ohm
        said = "" if change is None else f"{'+' if change > 0 else ''}{ohms(change)}"
        yield (
            name,
            str(len(trend.points)),
            ohms(first.measured_ohm),
            uncertain(last.measured_ohm, last.uncertainty_ohm),
            Cell(f"{said} moved".lstrip(), "yellow") if trend.moved else said,
            "" if last.limit_ohm is None else ohms(last.limit_ohm),
        )


def _named(joints: Sequence[Trend]) -> Iterator[tuple[str, Trend]]:
    """Yield each joint with its name, and with its item's serial where they are of several items."""
    several = len({trend.serial for trend in joints}) > 1
    for trend in joints:
        yield f"{trend.serial or 'no serial'}: {trend.subject}" if several else trend.subject, trend


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
            name,
            [point.ended for point in trend.points],
            [number(point.measured_ohm) for point in trend.points],
            [number(point.uncertainty_ohm) for point in trend.points],
            [number(point.limit_ohm) for point in trend.points],
        )
        for name, trend in _named(joints)
    ]
    trend_plot(path, f"Resistance of joints in {loom}", series)


def joints_picture(loom: str, joints: Sequence[Trend]) -> bytes:
    """Return the same picture as PNG, for who has no file to put it in. Raises `UsageError`, `StoreError`."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trend.png"
        plot_joints(path, loom, joints)
        return path.read_bytes()


@dataclass(frozen=True)
class Compared:
    """One proof beside a later one of the same loom."""

    before: Document
    after: Document

    @cached_property
    def changed(self) -> Changes:
        """What changed from the one to the other."""
        return changes(self.before, self.after)

    @property
    def lines(self) -> Iterator[str]:
        """Both proofs, then the findings that are gone, still there or new, and the readings that moved."""
        for word, run in (("before", self.before), ("after", self.after)):
            yield f"{word}: {run.run}, {when(run.ended)}: {VERDICTS[run.verdict.value]}"
        changed = self.changed
        groups = (("gone", changed.gone), ("still there", changed.standing), ("new", changed.new))
        for word, entries in groups:
            for entry in entries:
                yield f"{word}: {entry.title}" + (" (note)" if entry.severity.value == "note" else "")
        if not any(entries for _, entries in groups):
            yield "No findings before or after."
        for moved in changed.moved:
            figures = (ohms(math.inf if ohm is None else ohm) for ohm in (moved.before_ohm, moved.after_ohm))
            yield f"reading: {moved.subject}: {' -> '.join(figures)}"


def marked_words(repair: Repair) -> str:
    """Return a note's words in a row of its own, far from the entry that withdrew it."""
    return f"(withdrawn) {repair.words}" if repair.standing is Standing.WITHDRAWN else repair.words


class Fleet:
    """Many looms summed up, of the runs that can be relied on, each proof once as it was last corrected."""

    def __init__(self, shelf: Shelf, noted: Iterable[tuple[str, Repair]] = ()) -> None:
        self.shelf = shelf
        self.proofs = standing(shelf.counted)
        hashes = {one.run.hash: one.run.run for one in shelf.counted}
        self.repairs = tuple(repair for digest, repair in noted if digest in hashes)
        self._found = found_in(self.proofs)

    @property
    def apart(self) -> Iterator[tuple[str, Fleet]]:
        """What was proved on real benches, then, with its heading, what was on simulated ones."""
        for head, shelf in self.shelf.apart:
            yield head, Fleet(shelf)

    @property
    def runs(self) -> tuple[Run, ...]:
        """The proofs."""
        return tuple(one.run for one in self.proofs)

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

    @property
    def runs_table(self) -> pd.DataFrame:
        """A row for each proof."""
        entered = [(one.verified.document().place if one.verified else "") for one in self.proofs]
        simulated = [one.simulated for one in self.proofs]
        grades = [one.grade for one in self.proofs]
        return summary_tables.runs_table(self.runs, grades, zip(entered, simulated, strict=True))

    @property
    def findings_table(self) -> pd.DataFrame:
        """A row for each finding, with what was noted as done about it."""
        noted: dict[tuple[str, int], str] = {}
        for repair in self.repairs:
            said = f"{marked_words(repair)} ({repair.person}, {repair.done[:10]})"
            key = (repair.run, repair.finding)
            noted[key] = f"{noted[key]}; {said}" if key in noted else said
        return summary_tables.findings_table(self._found, noted)

    @property
    def repairs_table(self) -> pd.DataFrame:
        """A row for each repair that was noted."""
        named = {one.run.run: one.run for one in self.shelf.counted}
        titles = {(row.run, row.number): row.title for row in self._found}
        return summary_tables.repairs_table(
            (
                named[each.run].loom,
                named[each.run].serial,
                each.run,
                titles.get((each.run, each.finding), "" if each.finding else "the whole run"),
                each.finding,
                each.person,
                each.done,
                each.words,
            )
            for each in self.repairs
        )

    @property
    def lines(self) -> Iterator[tuple[str, bool]]:
        """What the proofs sum up to, a line each, and whether it is a heading."""
        for head, part in tuple(self.apart) or (("", self),):
            if head:
                yield head, True
            yield (
                f"{plural(part.looms, 'loom')}, {plural(len(part.runs), 'run')}, {part.passed} passed",
                False,
            )
            for name, counts in part.faults.items():
                yield name, True
                yield from ((f"  {count:5d}  {label}", False) for label, count in counts)

    def write_runs(self, path: Path) -> None:
        """Write every run as .csv, .xlsx or .parquet; `UsageError` for another ending, or `StoreError`."""
        _write(path, self.runs_table)

    def write_findings(self, path: Path) -> None:
        """Write every finding. Raises as `write_runs` does."""
        _write(path, self.findings_table)

    def write_repairs(self, path: Path) -> None:
        """Write every repair that was noted. Raises as `write_runs` does."""
        _write(path, self.repairs_table)

    def write_junit(self, path: Path) -> None:
        """Write every claim as JUnit XML, corrections among them. Raises `StoreError`."""
        ends_in(path, ".xml")
        counted = [one.verified.document() for one in self.shelf.counted if one.verified]
        write_file(path, exports.junit_xml(counted))

    def plot(self, path: Path) -> None:
        """Draw the counts of faults, as SVG or PNG, of real benches where there are any.

        Raises as `plot_joints` does.
        """
        head, drawn = next(iter(self.apart), ("", self))
        bars_plot(path, "Faults found, simulated" if head else "Faults found", drawn.faults)


def _write(path: Path, table: pd.DataFrame) -> None:
    ends_in(path, ".csv", ".xlsx", ".parquet")
    write_file(path, exports.table_bytes(table, path.suffix.lower()))
