"""Measuring one hook-up: the bench prepared, the plan run, loose ends read, insulation tested."""

from __future__ import annotations

from collections.abc import Callable, Generator, Sequence

from loomproof.bench.interface import Bench, TimedBench
from loomproof.bench.seam import points_of
from loomproof.errors import AdapterError, UnfitError, suggestion
from loomproof.loom.model import End
from loomproof.measuring import probe_ends as probing
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.events import Event, Progress, Prompt
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.insulation import measure_insulation
from loomproof.measuring.insulation_test import clean, run_insulation
from loomproof.measuring.placing import can_learn, followed
from loomproof.measuring.preparing import prepare
from loomproof.measuring.run import run_plan
from loomproof.planning.net_access import Scope
from loomproof.planning.request import InsulationTest, Request
from loomproof.results.insulation import Insulation


def measure(
    request: Request, bench: TimedBench, clearance: Clearance
) -> Generator[Event, None, HookUpResult]:
    """Measure what the request's adapter reaches. Raises as `prove` does."""
    loom = request.loom
    _known(request)
    if request.probed and clearance.capabilities.sense_ohm is None:
        raise UnfitError("this bench cannot sense; loose ends can't be read with the probe")
    if request.learn_capacitance:
        can_learn(request, clearance)
    ready = yield from prepare(request, bench, clearance)
    plan, expectation, scope = ready.plan, ready.expectation, ready.plan.scope
    measured = yield from run_plan(
        plan,
        expectation,
        bench,
        clearance,
        watch_s=request.watch_s,
        references=request.adapter.references,
    )
    measured = yield from followed(request, plan, expectation, bench, clearance, measured)
    touches = yield from _touches(request.probed, bench, clearance, scope)
    measured, touched = probing.with_touches(measured, expectation, scope, touches)
    insulation: Insulation | None = None
    if request.insulation is not None and clean(measured):
        yield Progress(f"testing insulation at {request.insulation.volts:g} V")
        insulation = run_insulation(
            loom, scope, request.insulation, _under_voltage(bench, clearance, request.insulation)
        )
    bench.confirm()
    statistics = bench.statistics()
    return HookUpResult(
        request,
        bench.address,
        clearance,
        ready.temperature_c,
        ready.check,
        expectation,
        plan,
        measured,
        statistics,
        bench.elapsed_s,
        touched,
        insulation,
    )


def _touches(
    ends: Sequence[End], bench: TimedBench, clearance: Clearance, scope: Scope
) -> Generator[Event, None, tuple[probing.Touch, ...]]:
    """Have each end touched in turn; one that nobody holds, or not steadily, is left out.

    An end that has a point is touched first, and last where one was silent: the probe must be seen there.
    """
    touches: list[probing.Touch] = []
    if not ends or not (yield from _probe_seen(bench, clearance, scope)):
        return ()
    for done, end in enumerate(ends):
        yield Progress("reading loose ends with the probe", done, len(ends))
        if bench.touched(str(end)):
            low = probing.read_touch(bench, clearance, scope)
            if low is not None:
                touches.append(probing.Touch(end, low))
    if any(not touch.low for touch in touches) and not (yield from _probe_seen(bench, clearance, scope)):
        touches = [touch for touch in touches if touch.low]
    yield from _probe_off(bench, scope)
    return tuple(touches)


ASKED = 3
"""So often a person is asked for the probe where the bench does not see what they say. Ours."""


def _probe_off(bench: TimedBench, scope: Scope) -> Generator[Event, None, None]:
    """Have the probe taken off, and see that it is. Raises `UnfitError` where it still touches the loom."""
    for left in reversed(range(ASKED)):
        if not bench.touched(None):
            break
        low = bench.sense([0])[0] & scope.points
        if not low:
            return
        if left:
            yield Prompt(f"The probe still touches the loom: {_ends(scope, low)} read low.")
    raise UnfitError(
        "points still read low after the probe was taken off", cure="Take it off the loom, and prove again."
    )


def _ends(scope: Scope, low: int) -> str:
    """Return the first ends that read low, as text."""
    ends = [str(scope.end_of[point]) for point in points_of(low)]
    return ", ".join(ends[:4]) + (f" and {len(ends) - 4} more" if len(ends) > 4 else "")


def _probe_seen(bench: TimedBench, clearance: Clearance, scope: Scope) -> Generator[Event, None, bool]:
    """Have an end touched that has a point; whether anybody does. Raises `UnfitError` if it is not seen."""
    point = min(scope.end_of)
    for left in reversed(range(ASKED)):
        if not bench.touched(str(scope.end_of[point])):
            return False
        low = probing.read_touch(bench, clearance, scope)
        if low is not None and low >> (point - 1) & 1:
            return True
        if left:
            yield Prompt(
                f"The probe is not seen on {scope.end_of[point]}. Is it joined to the scanner's 0 V through "
                "its resistor, and on bare metal?"
            )
    raise UnfitError(
        f"the probe was held on {scope.end_of[point]}, and its point {point} did not read low",
        cure="Is the probe joined to the scanner's 0 V through its resistor, and was it on bare metal? Prove "
        "again.",
    )


def _under_voltage(bench: Bench, clearance: Clearance, asked: InsulationTest) -> Callable[[int, int], float]:
    """Return the one measurement at a higher voltage: each is armed, and the loom discharged after it."""
    return lambda a, b: measure_insulation(bench, clearance, a, b, asked.volts, asked.dwell_ms)


def _known(request: Request) -> None:
    """Refuse waived and probed cavities that are not there, or that have a point."""
    for end in (*request.waived, *request.probed):
        if end not in set(request.loom.cavities):
            raise AdapterError(
                f"{end} is waived or to be probed, and the loom has no such cavity",
                cure=suggestion(str(end), map(str, request.loom.cavities)),
            )
        if end in request.adapter.point_of:
            raise AdapterError(
                f"{end} is waived or to be probed, but point {request.adapter.point_of[end]} goes to it"
            )
