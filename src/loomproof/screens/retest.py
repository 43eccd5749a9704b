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
