"""Deleting bodies by a rule, on a screen: what would go, what is not reached, and what was done."""

from __future__ import annotations

from collections.abc import Sequence

from loomproof.screens.printing import line
from loomproof.screens.terminal_operator import confirmed


def delete_asked(store: str | None, days: int, looms: Sequence[str], by: str, *, yes: bool) -> None:
    """Print what would go by a rule (`jobs.deleting.Rule`), ask unless ``yes``, and delete it.

    Without a yes nothing is changed. ``by`` is the workshop's person where nobody is named.
    """
    from loomproof.jobs.deleting import STAYS, Rule, delete, foresee
    from loomproof.jobs.workshop import find
    from loomproof.reports.words import clean

    rule = Rule(days, tuple(looms), by or find().workshop.person)
    foreseen = foresee(store, rule)
    for said in (*(said for one in foreseen for said in one.lines), *STAYS):
        line(clean(said))
    if any(one.runs for one in foreseen) and (yes or confirmed("Delete these bodies for good?")):
        for said in delete(store, rule, foreseen):
            line(clean(said))
