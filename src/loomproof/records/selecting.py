"""Which of the kept runs a person means: by day, bench, person, verdict, grade, real or simulated."""

from __future__ import annotations

import calendar
import datetime
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.records.trusted import Trusted
    from loomproof.records.unfinished_runs import Started


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a run must be to be meant; "" and ``None`` ask nothing.

    ``first`` and ``last`` are days on which it ended, both counted in, by the run's own zone as lists show
    it. ``bench`` and ``person`` are parts of the names, in any case of letters.
    """

    first: datetime.date | None = None
    last: datetime.date | None = None
    bench: str = ""
    person: str = ""
    verdict: str = ""
    grade: str = ""
    simulated: bool | None = None

    def __bool__(self) -> bool:
        return self != Wanted()

    def takes(self, one: Trusted) -> bool:
        """Whether a run is meant. One whose record does not hold is, whatever is asked: nobody can tell."""
        if one.trouble:
            return True
        run = one.run
        return (
            self._within(run.ended)
            and self.bench.casefold() in run.bench.casefold()
            and self.person.casefold() in run.person.casefold()
            and self.verdict in ("", run.verdict)
            and self.grade in ("", one.grade)
            and self.simulated in (None, one.simulated)
        )

    def takes_started(self, one: Started) -> bool:
        """Whether a run that was broken off is meant: only where nothing but days is asked."""
        return self == Wanted(self.first, self.last) and self._within(one.started)

    def _within(self, moment: str) -> bool:
        if self.first is None and self.last is None:
            return True
        try:
            day = datetime.datetime.fromisoformat(moment).date()
        except ValueError:
            return False
        return (self.first or day) <= day <= (self.last or day)


_FORMS = {
    "YYYY-MM-DD": (),
    "DD.MM.YYYY": (r"(?P<d>\d{1,2})\.(?P<m>\d{1,2})\.(?P<y>\d{4})", r"(?P<m>\d{1,2})\.(?P<y>\d{4})"),
    "DD/MM/YYYY": (r"(?P<d>\d{1,2})/(?P<m>\d{1,2})/(?P<y>\d{4})", r"(?P<m>\d{1,2})/(?P<y>\d{4})"),
    "MM/DD/YYYY": (r"(?P<m>\d{1,2})/(?P<d>\d{1,2})/(?P<y>\d{4})", r"(?P<m>\d{1,2})/(?P<y>\d{4})"),
    "DD Mon YYYY": (r"(?P<d>\d{1,2}) (?P<n>[A-Za-z]{3}) (?P<y>\d{4})", r"(?P<n>[A-Za-z]{3}) (?P<y>\d{4})"),
}
_ISO = (r"(?P<y>\d{4})-(?P<m>\d{2})-(?P<d>\d{2})", r"(?P<y>\d{4})-(?P<m>\d{2})", r"(?P<y>\d{4})")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


def days(text: str, form: str = "YYYY-MM-DD") -> tuple[datetime.date, datetime.date]:
    """Return the first and the last day of a day, month or year that a person wrote.

    ISO 8601 (``2026-11-28``, ``2026-11``, ``2026``), or a workshop's own form of dates. Raises `UsageError`.
    """
    for pattern in (*_ISO, *_FORMS.get(form, ())):
        found = re.fullmatch(pattern, text.strip())
        if not found:
            continue
        parts = found.groupdict()
        named = (parts.get("n") or "").casefold()
        month = parts.get("m") or (str(_MONTHS.index(named) + 1) if named in _MONTHS else None)
        if named and month is None:
            break
        try:
            year = int(parts["y"])
            if month is None:
                return datetime.date(year, 1, 1), datetime.date(year, 12, 31)
            first = int(parts.get("d") or 1)
            last = first if parts.get("d") else calendar.monthrange(year, int(month))[1]
            return datetime.date(year, int(month), first), datetime.date(year, int(month), last)
        except (ValueError, calendar.IllegalMonthError):
            break
    own = "" if form == "YYYY-MM-DD" else f", or {form}"
    raise UsageError(f"{text!r} is no day, month or year", cure=f"Write 2026-11-28, 2026-11 or 2026{own}.")
