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
    from loomproof.jobs.became import Became, fates
    from loomproof.reports.words import clean, headline, plural

    measured, said = again.measured, again.judgement
    line(
        f"Retest after {before.run}: {again.nets} of {again.of_nets} nets, "
        f"{plural(measured.sense_vectors, sense)}, {plural(measured.resistance_readings, 'resistance')}."
    )
    told = tuple(fates(before, again, numbers))
    for fate in told:
        besides = "" if fate.asked else ", which was not asked for,"
        line(clean(f"finding {fate.number}{besides} {fate.became}: {fate.finding.title}"), "  ")
    still = {fate.finding.identity for fate in told if fate.became is Became.STILL}
    for finding in again.findings:
        if finding.identity not in still:
            line(clean(f"{finding.severity}: {finding.title}"), "  ")
    for reason in again.other_reasons:
        line(clean(reason), "  ")
    line(clean(headline(said.verdict, said.grade, said.grade_text)))
    line(clean(f"What was looked at: {', '.join(str(end) for end in again.reached)}"))
    line(
        "This is no certificate. Prove the whole loom for one: what a repair did elsewhere is not seen here."
    )
