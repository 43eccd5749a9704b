"""Whether an adapter fits: each of its leads to loom and bench, and each cavity to a lead."""

from __future__ import annotations

import re
from collections.abc import Sequence

from loomproof.bench.adapter import Adapter, Lead, places_of
from loomproof.errors import AdapterError, Do, Problem, Todo
from loomproof.loom.model import End
from loomproof.loom.text import first_of

FEW_LINES = 3
"""So many misfits are told one by one, whatever share of an adapter they are."""

HARDLY = 10
"""Hardly a lead fits where fewer than one in so many does: it is the adapter of another loom."""


def problems_of(
    adapter: Adapter, cavities: Sequence[End], points: int, *, every: bool = False
) -> tuple[Problem, ...]:
    """Return what does not fit between adapter, loom and bench.

    Errors: a connector or cavity that the loom lacks, a point that the bench lacks. A warning: the cavities
    without a point, which stay untested. Where hardly a lead fits the loom, one error says so in place of
    all those, unless ``every`` is asked for.
    """
    file = adapter.file or adapter.name
    known = {str(end) for end in cavities}
    strange = [lead for lead in adapter.entries if str(lead.end) not in known]
    misfits = _misfits(strange, cavities, file)
    fitting = len(adapter.entries) - len(strange)
    if not every and len(misfits) > FEW_LINES and HARDLY * fitting < len(adapter.entries):
        names = first_of(list(dict.fromkeys(lead.end.connector for lead in adapter.entries)))
        few = "none of its" if not fitting else f"{fitting} of its"
        message = f"{few} {len(adapter.entries)} leads {'fit' if fitting > 1 else 'fits'} this loom; "
        message += f"it goes to {names}"
        cure = "Is it the adapter of another loom?"
        other = Problem(message, file, cure=cure, do=Do(Todo.NEW_ADAPTER))
        return (*_beyond(adapter, points, file), other)
    problems = [*_beyond(adapter, points, file), *misfits]
    blank = [end for end in cavities if end not in adapter.point_of]
    if blank:
        stay = "it stays" if len(blank) == 1 else "they stay"
        problems.append(
            Problem(
                f"no point goes to {first_of(blank)}; {stay} untested",
                file,
                cure="Add leads, read them with the probe, or waive them by name.",
                severity="warning",
                do=Do(Todo.PROBE),
            )
        )
    return tuple(problems)


def _beyond(adapter: Adapter, points: int, file: str) -> list[Problem]:
    """Return the one error of all points that the bench lacks, if there are any."""
    over = [lead for lead in adapter.entries if lead.point > points]
    if not over:
        beyond = [p for each in adapter.references for p in (each.a, each.b) if p > points]
        message = f"a reference is on point {', '.join(map(str, beyond))}, and the bench has {points} points"
        return [Problem(message, file, column="reference_to")] if beyond else []
    row = min((lead.row for lead in over if lead.row), default=None)
    message = f"{_going(over)} to {first_of([lead.end for lead in over])}, and the bench has {points} points"
    cure = "Take a bench with more points, or an adapter for this one."
    return [Problem(message, file, row=row, column="point", cure=cure)]


def _misfits(strange: Sequence[Lead], cavities: Sequence[End], file: str) -> list[Problem]:
    """Return an error for each lead to a cavity that is not there; one for all to a strange connector."""
    problems = []
    connectors = list(dict.fromkeys(end.connector for end in cavities))
    elsewhere: dict[str, list[Lead]] = {}
    for lead in strange:
        if lead.end.connector not in connectors:
            elsewhere.setdefault(lead.end.connector, []).append(lead)
            continue
        own = [str(end) for end in cavities if end.connector == lead.end.connector]
        cases = [text for text in own if text.casefold() == str(lead.end).casefold()]
        problems.append(
            Problem(
                f"{_going([lead])} to {lead.end}, and the loom has no such cavity",
                file,
                row=lead.row or None,
                column="cavity",
                cure=f"There is {cases[0] if cases else first_of(own)}.",
            )
        )
    for name, leads in elsewhere.items():
        near = [each for each in connectors if _is_slip(name, each)]
        problems.append(
            Problem(
                f"{_going(leads)} to {name}, and the loom has no such connector",
                file,
                row=min((lead.row for lead in leads if lead.row), default=None),
                column="connector",
                cure=f"There is {first_of(near)}." if near else "",
            )
        )
    return problems


def _going(leads: Sequence[Lead]) -> str:
    """Return ``point 3 goes`` or ``points 3, 4 go``."""
    listed = first_of([lead.point for lead in leads])
    return f"point {listed} goes" if len(leads) == 1 else f"points {listed} go"


def _is_slip(wrong: str, right: str) -> bool:
    """Whether two names differ in case, blanks and dashes only, or by one slip of the finger.

    A different number is no slip: C1 and C2 are two connectors.
    """
    a, b = wrong.casefold(), right.casefold()
    if re.sub(r"[\s_-]", "", a) == re.sub(r"[\s_-]", "", b):
        return True
    if min(len(a), len(b)) < 3 or re.sub(r"\D", "", a) != re.sub(r"\D", "", b):
        return False
    start = next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))
    a, b = a[start:], b[start:]
    return b in (a[1:], a[1::-1] + a[2:]) or a[1:] in (b, b[1:]) or a == b[1:]


def check_adapter(adapter: Adapter, cavities: Sequence[End], points: int) -> tuple[Problem, ...]:
    """Return the warnings of `problems_of`. Raises `AdapterError` with all of them where one is an error."""
    problems = problems_of(adapter, cavities, points)
    errors = [problem for problem in problems if problem.severity == "error"]
    if errors:
        raise AdapterError(
            f"the adapter {adapter.name} does not fit: {places_of(errors)}",
            problems=errors,
            do=Todo.CHECK_ADAPTER,
        )
    return problems
