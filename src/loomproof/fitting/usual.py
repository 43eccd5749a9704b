"""What a conversion of this kind normally needs and the description lacks: as questions, never as facts."""

from __future__ import annotations

from loomproof.loom.model import Circuit, Loom
from loomproof.loom.patterns import Usual, Without, pattern, usual_of

ENGINE = "engine"

ENOUGH = 6
"""A description that speaks of so many circuits of an engine is taken for an engine's. Our convention."""

_RUNS = {Without.NO: "it does not run without", Without.POORLY: "it runs poorly without"}


def usual_questions(loom: Loom) -> tuple[str, ...]:
    """Return what an engine's loom normally has and no circuit of this one speaks of.

    A circuit that this conversion does not use is described, and not asked for. What an engine does without
    is one question for all.
    """
    missing = _missing(loom.circuits)
    asked = [
        f"{one.ask} No circuit speaks of {one.purpose}; an engine normally has it, and {_RUNS[one.without]}."
        for one in missing
        if one.ask and one.without is not Without.YES
    ]
    rest = [f"{one.purpose} ({one.usually})" for one in missing if one.ask and one.without is Without.YES]
    if rest:
        asked.append(
            f"Many engines' looms also have these, and this description has none: {'; '.join(rest)}. "
            "Are they left out on purpose?"
        )
    return tuple(asked)


def _missing(circuits: tuple[Circuit, ...]) -> tuple[Usual, ...]:
    rows = pattern(ENGINE)
    there = {found for circuit in circuits if (found := usual_of(rows, circuit)) is not None}
    return tuple(one for one in rows if one not in there) if len(there) >= ENOUGH else ()
