"""What a person with a meter will be asked, before a probe is laid: every sweep, and how many touches."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from loomproof.bench.seam import points_of
from loomproof.loom.model import End
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.planning.touches import effort_of, steps_if_sound
from loomproof.reports.words import plural

A_FEW_CLIPS = 5
"""So many clip leads are in most workshops: what they would save is said to whoever has named none."""


def by_plug(ends: Iterable[End]) -> str:
    """Return ends shortly, plug by plug: ``INJ1 1 2, BULK 4``."""
    plugs: dict[str, list[str]] = {}
    for end in ends:
        plugs.setdefault(end.connector, []).append(end.cavity)
    return ", ".join(" ".join(filter(None, (name, *cavities))) for name, cavities in plugs.items())


def sweeps(plan: Plan, clips: int) -> Iterator[tuple[str, ...]]:
    """Yield a row of texts for each sweep of a sound loom: number, black, red, what it should do, touches."""
    held = 0
    for number, step in enumerate(steps_if_sound(plan.scope, clips), start=1):
        black, red = (_ends(plan.scope, points) for points in (step.black, step.red_points))
        should = "beep" if step.whole else "be silent, each clipped on then" if step.chained else "be silent"
        on = by_plug(black) if len(black) == 1 else f"{len(black)} clips: {by_plug(black)}"
        yield str(number), on, by_plug(red), should, str(step.touches(held))
        held = step.black | (step.red_points if step.chained else 0)


def effort(plan: Plan, clips: int) -> Iterator[str]:
    """Yield how much a sound loom takes, and what no plan is under, as sentences."""
    singly = len(plan.conductors) + len(plan.parts)
    made = effort_of(plan.scope, clips, singly)
    how = f"with {clips} clips that join nets" if clips else "with two probes"
    typed = f", {plural(singly, 'reading')} in ohms or volts among them" if singly else ""
    questions, touches = plural(made.questions, "question"), plural(made.touches, "touch", "touches")
    yield (
        f"A sound loom takes {questions} and {touches} {how}{typed}; no plan of this kind takes fewer than "
        f"{made.bound}. {plural(made.pairs, 'pair')} of nets are swept against each other."
    )
    if clips < A_FEW_CLIPS:
        fewer = effort_of(plan.scope, A_FEW_CLIPS, singly).touches
        if fewer < made.touches:
            few = A_FEW_CLIPS
            yield f"With {few} clips that join nets it is {fewer} (clips={few} in the address)."


def _ends(scope: Scope, points: int) -> tuple[End, ...]:
    return tuple(sorted((scope.end_of[p] for p in points_of(points)), key=scope.place_of.__getitem__))
