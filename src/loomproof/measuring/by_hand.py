"""A proof by hand: a person sweeps with the beep, net by net, then net against net, and types a few ohms.

What was not expected is touched again before it counts: of three touches that do not agree the last
decides, and what still contradicts itself then is told as unsteady. Where clips joined several nets, a beep
is followed down to the net that it came from.
"""

from __future__ import annotations

from collections.abc import Generator, Iterable
from dataclasses import dataclass, field

from loomproof.bench.interface import Bench
from loomproof.bench.seam import singles
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.graph import DisjointSets
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.doubting import refuse_one_cause
from loomproof.measuring.events import Event, NetsFound, Progress
from loomproof.measuring.ohmmeter import Ohmmeter, is_diode, judge_conductor, judge_diode, judge_part
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.planning.touches import Picture, Step, effort_of, next_step, picture_of, settle, wholes
from loomproof.results.measured import Judged, JudgedDiode, Measured


@dataclass
class _Sweeps:
    """Asks sweeps, counts questions and touches, and remembers where black is."""

    asker: Asker
    asked: int = 0
    touches: int = 0
    held: int = 0
    unsteady: int = 0
    left_out: list[Step] = field(default_factory=list)

    def ask(self, step: Step) -> int | None:
        """Return where it beeped, ``None`` where it was left out."""
        self.asked += 1
        self.touches += step.touches(self.held)
        beeped = self.asker.bench.sweep(step.black, step.red_points, chained=step.chained)
        self.held = step.black | (step.red_points & ~(beeped or 0) if step.chained else 0)
        return beeped

    def beeps(self, black: int, red: int, *, said: bool) -> bool:
        """Touch a pair again that was said to beep, or not; where that differs once more, a third time."""
        again = self.ask(Step(black, (red,)))
        if again is None or bool(again) == said:
            return said
        return bool(self.ask(Step(black, (red,))))


def run_by_hand(
    plan: Plan,
    expectation: Expectation,
    bench: Bench,
    clearance: Clearance,
    *,
    untouched: frozenset[int] = frozenset(),
) -> Generator[Event, None, Measured]:
    """Have a person ask all that the plan holds, and follow what is not as it should be.

    ``untouched``: nets that rest, whole and apart from each other, on the proof before. Raises `SafetyError`
    without a clearance for this loom on this bench, and what the person's bench raises.
    """
    require(clearance, bench, expectation.loom)
    scope, able = plan.scope, clearance.capabilities
    asker = Asker(bench, clearance, scope.points)
    sweeps = _Sweeps(asker)
    total = effort_of(scope, able.clips).touches
    pieces = yield from _pieces(scope, sweeps, untouched, total)
    picture = picture_of(scope, pieces, untouched)
    while (step := next_step(picture, able.clips)) is not None:
        yield Progress("touches: net against net", sweeps.touches, max(total, sweeps.touches))
        _take(picture, sweeps, step)
    groups = tuple(scope.ends(picture.points[k]) for k in sorted(picture.points))
    expected = tuple(scope.ends(group.points) for group in scope.groups)
    yield NetsFound(groups, as_described=set(groups) == set(expected))
    judged, diodes, untold = yield from _in_ohms(plan, expectation, asker)
    return Measured(
        expected=expected,
        groups=groups,
        complete=True,
        judged=tuple(judged),
        diodes=tuple(diodes),
        unstable=tuple(sorted(scope.ends(sweeps.unsteady), key=scope.place_of.__getitem__)),
        untested=scope.untested,
        untold_parts=tuple(dict.fromkeys((*plan.unmeasured_parts, *untold))),
        sense_vectors=sweeps.asked,
        resistance_readings=asker.readings,
        unswept=_named(scope, picture),
    )


def _pieces(
    scope: Scope, sweeps: _Sweeps, untouched: frozenset[int], total: int
) -> Generator[Event, None, list[int]]:
    """Ask each net for its own wires; return what the nets fall into, as point sets."""
    nets = frozenset(scope.net_of_group) - untouched
    joined = DisjointSets(range(scope.points.bit_length()))
    for group, net in zip(scope.groups, scope.net_of_group, strict=True):
        if net in untouched:
            for one in singles(group.points):
                joined.join(group.head.bit_length() - 1, one.bit_length() - 1)
    for step in wholes(scope, nets):
        yield Progress("touches: the wires of each net", sweeps.touches, total)
        beeped = sweeps.ask(step) or 0
        for red in step.red:
            if red & beeped or sweeps.beeps(step.black, red, said=False):
                joined.join(step.black.bit_length() - 1, red.bit_length() - 1)
    found = [sum(1 << k for k in members) & scope.points for members in joined.sets()]
    return [points for points in found if points]


def _take(picture: Picture, sweeps: _Sweeps, step: Step) -> None:
    """Ask one sweep and take up what it showed; follow each beep to what it came from."""
    before = [picture.number_at(one) for one in singles(step.black)]
    beeped = sweeps.ask(step)
    if beeped is None:
        everyone = [*before, *(picture.number_at(red) for red in step.red)] if step.chained else before
        for red in step.red:
            j = picture.number_at(red)
            picture.left_out |= {frozenset((i, j)) for i in everyone if picture.open(i, j)}
        picture.clipped = ()
        return
    bunches: dict[int, list[int]] = {}
    bunch = list(before)
    for red in step.red:
        bunches[red] = list(bunch)
        if step.chained and not red & beeped:
            bunch.append(picture.number_at(red))
    settle(picture, step, beeped)
    for red in step.red:
        if red & beeped:
            _follow(picture, sweeps, red, [k for k in bunches[red] if k in picture.points])


def _follow(picture: Picture, sweeps: _Sweeps, red: int, bunch: Iterable[int]) -> None:
    """Find which of a bunch a beep came from, and join it; what stays silent is apart."""
    j = picture.number_at(red)
    asked = [i for i in bunch if picture.open(i, j)]
    if not asked:
        return
    if len(asked) == 1:
        found = [i for i in asked if sweeps.beeps(picture.rep[i], red, said=True)]
    else:
        told = sweeps.ask(Step(red, tuple(picture.rep[i] for i in asked))) or 0
        found = [i for i in asked if told & picture.rep[i]]
        if not found and sweeps.ask(Step(sum(picture.rep[i] for i in asked), (red,))):
            sweeps.unsteady |= red  # it beeps against all of them joined, and against none alone
    picture.apart |= {frozenset((i, j)) for i in asked if i not in found}
    for i in found:
        if i in picture.points and j in picture.points:
            picture.join(i, j)
            j = min(i, j)


def _in_ohms(
    plan: Plan, expectation: Expectation, asker: Asker
) -> Generator[Event, None, tuple[list[Judged], list[JudgedDiode], list[str]]]:
    """Have typed what the plan reads in ohms: wires where it has any, and parts."""
    judged: list[Judged] = []
    diodes: list[JudgedDiode] = []
    untold: list[str] = []
    if plan.meter is None:
        return judged, diodes, untold
    ohmmeter = Ohmmeter(asker, plan.meter, plan.scope)
    total = len(plan.conductors) + len(plan.parts)
    for done, reading in enumerate(plan.conductors):
        yield Progress("readings in ohms", done, total)
        judged.append(judge_conductor(ohmmeter, reading))
        yield judged[-1]
    refuse_one_cause(judged, expectation.net_of)
    for done, part in enumerate(plan.parts, start=len(plan.conductors)):
        yield Progress("readings in ohms", done, total)
        said = (
            judge_diode(ohmmeter, part, has_diode_test=True) if is_diode(part) else judge_part(ohmmeter, part)
        )
        if said is None:
            untold.append(part.part.component)
        elif isinstance(said, Judged):
            judged.append(said)
        else:
            diodes.append(said)
    yield from asker.told(plan.scope.end_of)
    return judged, diodes, untold


def _named(scope: Scope, picture: Picture) -> tuple[tuple[End, End], ...]:
    """Return the pairs that were never swept, by the cavities that stand for them, in the described order."""
    found = []
    for pair in picture.left_out:
        a, b = (scope.end_of[picture.rep[k].bit_length()] for k in sorted(pair))
        found.append((a, b))
    return tuple(sorted(found, key=lambda ends: [scope.place_of[end] for end in ends]))
