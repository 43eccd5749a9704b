"""A span of days summed up on paper and in a workbook: first-pass yield, faults, times to mend."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from pathlib import Path

from loomproof.errors import UsageError
from loomproof.jobs.archive import Archive, Shelf, Wanted
from loomproof.jobs.files import ends_in, now, write_file
from loomproof.jobs.looking_back import Fleet, marked_words
from loomproof.records.first_pass import Item, Yield, standing, yield_of
from loomproof.records.order import started_moment
from loomproof.records.store import Standing
from loomproof.reports import summary
from loomproof.reports.words import VERDICTS, duration, plural, when


@dataclass(frozen=True)
class SummedUp:
    """Proofs of a span of days, on real benches or on simulated ones, and what came of their looms."""

    wanted: Wanted
    fleet: Fleet
    came: Yield
    where: str

    def write_pdf(self, path: Path) -> None:
        """Write it as PDF on A4. Raises `StoreError`, `UsageError` for another ending."""
        ends_in(path, ".pdf")
        write_file(path, summary.summary_pdf(self._page(), now().replace(microsecond=0)))

    def write_workbook(self, path: Path) -> None:
        """Write it as a workbook with charts. Raises as `write_pdf` does."""
        ends_in(path, ".xlsx")
        fleet = self.fleet
        tables = {
            "proofs": fleet.runs_table,
            "findings": fleet.findings_table,
            "repairs": fleet.repairs_table,
        }
        write_file(path, summary.summary_workbook(self._page(), tables))

    def _page(self) -> summary.Page:
        came, runs = self.came, self.fleet.runs
        share = f"{came.first_pass} of {came.started}"
        if came.started:
            share += f" ({100 * came.first_pass / came.started:.0f} %)"
        half = came.median_mend_s
        nameless = sum(not item.serial and len(item.proofs) > 1 for item in came.items)
        verdicts = ", ".join(
            f"{sum(run.verdict == verdict for run in runs)} {word}"
            for verdict, word in VERDICTS.items()
            if any(run.verdict == verdict for run in runs)
        )
        figures = [
            ("proofs", f"{len(runs)}" + (f": {verdicts}" if verdicts else "")),
            ("looms", str(len(came.items))),
            ("passed at the first proof", share),
            ("mended", plural(len(came.mended_s), "time") if came.mended_s else "none"),
            ("time to mend, half of them at most", "" if half is None else duration(half)),
            ("time to mend, the longest", duration(max(came.mended_s)) if came.mended_s else ""),
            ("failing, not passed since", str(len(came.open))),
            ("repairs noted", str(sum(each.standing is Standing.STANDS for each in self.fleet.repairs))),
        ]
        notes = [
            "Passed at the first proof: of the looms whose first proof of all lies in these days. Undecided "
            "and incomplete count as not passed.",
            "Time to mend: from the end of a failed proof to the end of the next one that was passed, nights "
            "and days off included.",
            "A fault counts once for each loom, however many proofs found it. Looms are told apart by name "
            "and serial.",
        ]
        if nameless:
            notes.append(
                f"{plural(nameless, 'name')} without a serial stand for several proofs, and count as one "
                "loom each."
            )
        return summary.Page(
            f"Proofs, {_span(self.wanted)}{', simulated' if self.wanted.simulated else ''}",
            [(name, text) for name, text in self._scope() if text],
            [(name, text) for name, text in figures if text],
            {name: rows for name, rows in self.fleet.faults.items() if rows},
            _by_week(came, self.wanted),
            _mending(came),
            [_row(item) for item in came.items],
            [_row(item) for item in came.open],
            [
                (when(each.done)[:16], each.run, str(each.finding or ""), marked_words(each), each.person)
                for each in self.fleet.repairs
            ],
            notes,
        )

    def _scope(self) -> list[tuple[str, str]]:
        wanted = self.wanted
        return [
            ("days", _span(wanted)),
            ("benches", wanted.bench or ("simulated ones" if wanted.simulated else "all real ones")),
            ("person", wanted.person),
            ("records", self.where),
            ("made", when(now().isoformat(timespec="seconds"))),
        ]


def summed_up(archive: Archive, loom: str | None, wanted: Wanted) -> SummedUp:
    """Sum up the proofs of some days, on real benches unless simulated ones are asked for.

    Raises `UsageError` where only some verdicts or grades are wanted: no yield can be told from those.
    """
    if wanted.verdict or wanted.grade:
        raise UsageError(
            "of one verdict or grade alone no first-pass yield can be told",
            cure="Leave verdict and grade out; the pages count all of them.",
        )
    wanted = replace(wanted, simulated=bool(wanted.simulated))
    ever = archive.shelf(loom, wanted=replace(wanted, first=None, last=None))
    within = Shelf(tuple(filter(wanted.takes, ever.runs)), (), ever.troubles)
    came = yield_of(standing(ever.counted), wanted.first, wanted.last)
    return SummedUp(wanted, Fleet(within, archive.repairs()), came, archive.where()[0])


def _span(wanted: Wanted) -> str:
    first, last = wanted.first, wanted.last
    if first is None and last is None:
        return "all days"
    if first is None or last is None:
        return f"since {first}" if first else f"until {last}"
    following = last + datetime.timedelta(days=1)
    if (first.day, following.day) == (1, 1) and (first.year, first.month) == (last.year, last.month):
        return f"{_MONTHS[first.month - 1]} {first.year}"
    return str(first) if first == last else f"{first} to {last}"


_MONTHS = (
    *("January", "February", "March", "April", "May", "June", "July", "August"),
    *("September", "October", "November", "December"),
)
"""In English, whatever the machine's locale says."""


def _row(item: Item) -> summary.LoomRow:
    return (
        item.loom,
        item.serial,
        when(item.first.run.ended)[:10],
        VERDICTS[item.first.run.verdict],
        str(len(item.proofs)),
        VERDICTS[item.last.run.verdict],
        when(item.last.run.ended)[:10],
        ", ".join(duration(took) for _, took in item.mended_s),
    )


def _by_week(came: Yield, wanted: Wanted) -> list[tuple[str, int, int]]:
    """Return, week by week (ISO 8601), how many first proofs there were and how many were passed."""
    found: dict[str, list[int]] = {}
    for item in came.items:
        day = started_moment(item.first.run.ended).date()
        if (wanted.first or day) <= day <= (wanted.last or day):
            year, week, _ = day.isocalendar()
            counts = found.setdefault(f"{year}-W{week:02d}", [0, 0])
            counts[0] += 1
            counts[1] += item.first.run.verdict == "pass"
    return [(week, counts[0], counts[1]) for week, counts in sorted(found.items())]


_CLASSES = (
    ("within an hour", 3600.0),
    ("within 4 hours", 4 * 3600.0),
    ("within a day", 86_400.0),
    ("within a week", 7 * 86_400.0),
    ("longer", float("inf")),
)


def _mending(came: Yield) -> list[tuple[str, int]]:
    """Return how many were mended in which time."""
    if not came.mended_s:
        return []
    least, made = -1.0, []
    for words, most in _CLASSES:
        made.append((words, sum(least < took <= most for took in came.mended_s)))
        least = most
    return made
