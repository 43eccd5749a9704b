"""What a retest showed, finding by finding."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from loomproof.screens.printing import line

if TYPE_CHECKING:
    from loomproof.jobs.retest import Retested
    from loomproof.results.document import Document


def show_retest(before: Document, again: Retested, numbers: Sequence[int], sense: str) -> None:
    """Show what became of the findings of ``before``; ``sense`` is the word for one vector of this bench."""
    from loomproof.jobs.became import NO_CERTIFICATE, lines_of
    from loomproof.reports.words import clean, headline

    said = again.judgement
    for number, each in enumerate(lines_of(before, again, numbers, sense)):
        line(clean(each), "  " if number else "")
    line(clean(headline(said.verdict, said.grade, said.grade_text)))
    line(clean(f"What was looked at: {', '.join(str(end) for end in again.reached)}"))
    line(NO_CERTIFICATE)


def show_places(before: Document, again: Retested, numbers: Sequence[int]) -> None:
    """Show where the findings of ``before`` lie, by what was read now; or why none can be told."""
    from loomproof.jobs.became import Became, fates
    from loomproof.reports.words import clean, place_text, plural

    own = {finding.identity: finding for finding in again.findings}
    read = plural(again.measured.resistance_readings, "reading")
    line(f"Places of the findings of {before.run}: {plural(again.measured.sense_vectors, 'sense')}, {read}.")
    for fate in fates(before, again, numbers):
        became = Became.GONE if fate.replaced else fate.became
        line(clean(f"finding {fate.number} {became}: {fate.finding.title}"), "  ")
        seen = own.get(fate.finding.identity) if fate.became is Became.STILL else None
        for finding in (seen,) if seen else fate.instead:
            where = place_text(finding.place) if finding.place else NOT_READ
            line(clean(where if finding is seen else f"new: {finding.title}: {where}"), "    ")
    line("This is no certificate.")


NOT_READ = "no place: this bench, or this kind of finding, has no readings that tell one"
