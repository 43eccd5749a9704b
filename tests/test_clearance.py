"""Nothing is driven without a clearance, and nothing but its checks makes one."""

from __future__ import annotations

import copy
import importlib
import inspect
import math
import pkgutil
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from typing import Any

import pytest

import loomproof
from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.journal import JournaledBench
from loomproof.bench.questions import (
    Answer,
    Carried,
    Confirm,
    Diode,
    Insulation,
    Question,
    Release,
    Resistance,
    Sense,
    Temperature,
    Voltage,
)
from loomproof.bench.references import Reference
from loomproof.bench.seam import Accuracy, Capabilities, Opening
from loomproof.electrics.expectation import expect
from loomproof.errors import LoomproofError, SafetyError
from loomproof.jobs import prove as proving
from loomproof.jobs import retest as retesting
from loomproof.jobs import trace as tracing
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Settings, Wire
from loomproof.measuring import (
    by_hand,
    insulation,
    placing,
    preparing,
    run,
    selfcheck,
    selftest,
    trace,
    undriven,
    wiggle,
    zero,
)
from loomproof.measuring import counting_bench as asking
from loomproof.measuring import measure as measuring
from loomproof.measuring import plausibility as sensible
from loomproof.measuring import probe as touching
from loomproof.measuring import probe_ends as probing
from loomproof.measuring.clearance import Clearance, clear_replay
from loomproof.planning.conductors import Conductors
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import plan_proof
from loomproof.planning.request import Request
from loomproof.results.measured import Measured
from tests.cleared import cleared, cleared_empty
from tests.memory_bench import MemoryBench

ABLE = Capabilities(
    64,
    volt_max=30.0,
    ohms=(0.001, 1e8),
    accuracy=Accuracy(0.1, 0.01),
    diode=True,
    insulation_v=1000.0,
    watch_us=1000,
)


@dataclass
class Counting(MemoryBench):
    """A real bench, as far as anybody can tell, that only counts what it is asked to do."""

    able: Capabilities = ABLE
    driven: int = 0
    opened: Opening = field(default_factory=Opening)
    model = "counting bench"

    def touched(self, end: str | None) -> bool:
        return True

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Temperature | Carried | Confirm | Release):
            return super()._answer(question)
        self.driven += 1
        match question:
            case Sense(drives):
                return [0] * len(drives)
            case Resistance() | Diode() | Insulation():
                return math.inf
            case Voltage():
                return 0.0
        return None


LOOM = Loom(
    "two wires",
    connectors=tuple(
        Connector(name, ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE) for name in ("A", "B")
    ),
    wires=tuple(Wire(f"W{n}", End("A", n), End("B", n), csa_mm2=0.5, length_m=1.0) for n in ("1", "2")),
    settings=Settings(insulation_test_v=500.0),
)
ADAPTER = in_order(LOOM.cavities)
REQUEST = Request(LOOM, ADAPTER, "run", "2031-05-04T00:00:00Z")
EXPECTED = expect(LOOM)
SCOPE = scope_of(EXPECTED, ADAPTER.point_of, ABLE.clear_ohm)
PLAN = plan_proof(EXPECTED, ADAPTER.point_of, ABLE, None, isolation_ohm=1e6)
METERED = replace(PLAN, meter=Meter(Accuracy(0.1, 0.01), None, (0.001, 1e8), {}))
TOUCHING = Measured(tuple(frozenset(net.ends) for net in EXPECTED.nets), (frozenset(LOOM.cavities),), True)
NETS = [1, 2]
POINTS = Conductors((1, 2))

ARGUMENTS: Mapping[Any, tuple[Any, ...]] = {
    proving.prove: (REQUEST, "bench", "clearance"),
    measuring.measure: (REQUEST, "bench", "clearance"),
    preparing.prepare: (REQUEST, "bench", "clearance"),
    preparing.checked: ("bench", "clearance", POINTS),
    retesting.retest: (REQUEST, [LOOM.cavities[0]], "bench", "clearance"),
    tracing.trace: (REQUEST, "bench", "clearance"),
    tracing.looked_at: (REQUEST, "bench", "clearance"),
    run.run_plan: (PLAN, EXPECTED, "bench", "clearance"),
    wiggle.wiggle: (PLAN, "bench", "clearance", wiggle.WiggleLog(1.0)),
    trace.trace: ("bench", "clearance", ADAPTER.end_of, None),
    trace.look: ("bench", "clearance", ADAPTER.end_of, None),
    asking.Asker: ("bench", "clearance", 3),
    probing.read_touch: ("bench", "clearance", SCOPE),
    selfcheck.self_check: ("bench", "clearance", POINTS),
    undriven.look_undriven: ("bench", "clearance", POINTS, 0.5),
    undriven.drive_alone: ("bench", "clearance", POINTS, 0.5),
    selfcheck.find_settle: ("bench", "clearance", NETS),
    selfcheck.check_points: ("bench", "clearance", NETS),
    sensible.see_open: ("bench", "clearance", 1, 64),
    insulation.measure_insulation: ("bench", "clearance", 1, 2, 50.0, 100),
    touching.resting: ("bench", "clearance"),
    touching.touches: ("bench", "clearance"),
    touching.feeling: ("bench", "clearance"),
    by_hand.run_by_hand: (PLAN, EXPECTED, "bench", "clearance"),
    placing.followed: (REQUEST, METERED, EXPECTED, "bench", "clearance", TOUCHING),
    placing.read_for_places: (METERED, EXPECTED, "bench", "clearance", ADAPTER, TOUCHING),
    zero.learn_leads: ("bench", "clearance", (1, 2, 3)),
    zero.learn_farads: ("bench", "clearance", (1, 2, 3)),
    selftest.try_empty: ("bench", "clearance"),
    selftest.try_shorted: ("bench", "clearance", (1, 2)),
    selftest.try_references: ("bench", "clearance", [Reference(1, 2, 1.0)], {}),
    selftest.repeatability: ("bench", "clearance", 1, 2),
}
"""Everything that drives a bench, with what it is called with."""

ABILITIES = {
    by_hand.run_by_hand: replace(ABLE, beep_ohm=(30.0, 60.0)),
    zero.learn_farads: replace(ABLE, farads=(1e-12, 1e-6)),
}
"""What a bench must be able to besides, to be driven by these."""

WITHOUT_A_LOOM = {
    zero.learn_leads,
    zero.learn_farads,
    selftest.try_empty,
    selftest.try_shorted,
    selftest.try_references,
    selftest.repeatability,
}
ANY = {touching.resting, touching.touches, touching.feeling}
"""A touch drives nothing and is looked for with a loom on and without."""

UNDRIVEN = {
    "loomproof.measuring.plausibility.temperature_of": "a thermometer drives no point",
    "loomproof.bench.journal.writing.JournaledBench": "it is a bench itself: it passes on what it is asked",
    "loomproof.measuring.clearance.require": "a check",
    "loomproof.measuring.clearance.require_loom": "a check",
    "loomproof.measuring.clearance.require_empty": "a check",
    "loomproof.measuring.clearance.clear": "the checks that make a clearance",
    "loomproof.measuring.clearance.clear_empty": "the checks that make a clearance",
    "loomproof.jobs.gate.cleared": "the checks that make a clearance",
    "loomproof.jobs.gate.cleared_empty": "the checks that make a clearance",
    "loomproof.jobs.gate.hand_for": "says who holds the probe",
    "loomproof.api.plans.plan": "it asks only what the bench can do",
    "loomproof.jobs.trace.refuse_a_hand": "a check of an address: nothing is opened",
    "loomproof.jobs.plan.bench_to_plan_for": "it asks only what the bench can do",
    "loomproof.jobs.at_bench.journaled": "passes on what it is asked, and writes it down",
    "loomproof.jobs.at_bench.reached": "opens it",
    "loomproof.jobs.by_hand.answered": "has a person answer what a run asks, and the run is cleared",
    "loomproof.jobs.by_hand.clock_of": "asks how long was worked",
    "loomproof.jobs.by_hand.known_meter": "opens none",
    "loomproof.jobs.by_hand.written": "forgets what stands elsewhere",
    "loomproof.jobs.at_bench.Setup": "holds it for a job, which clears it itself",
    "loomproof.jobs.at_bench.starts_its_own": "asks whether it is a simulator",
    "loomproof.jobs.hookups.begin_hook_ups": "it clears the bench itself",
    "loomproof.jobs.hookups.continue_hook_ups": "it clears the bench itself",
    "loomproof.jobs.hookups.hook_ups_for": "asks how many points it has",
    "loomproof.jobs.hookups.prove_hook_ups": "it clears the bench itself",
    "loomproof.jobs.job.Job": "it clears the bench itself",
    "loomproof.jobs.build_adapter.build_adapter": "it clears the bench itself",
    "loomproof.jobs.learn_adapter.learn_adapter": "it clears the bench itself",
    "loomproof.jobs.learn_adapter.name_touched": "it clears the bench itself",
    "loomproof.jobs.learn_adapter.somebody_there": "asks whether it is a simulator",
    "loomproof.jobs.naming.name_ends": "it clears the bench itself",
    "loomproof.jobs.prove.prove_and_keep": "it clears the bench itself",
    "loomproof.jobs.retest.retest_after": "it clears the bench itself",
    "loomproof.jobs.trace.trace_to": "it clears the bench itself",
    "loomproof.jobs.trace.refuse_place": "asks whether it is a simulator",
    "loomproof.jobs.trace_hookups.trace_hook_ups": "it clears the bench itself",
    "loomproof.jobs.prove.fits": "a check",
    "loomproof.jobs.prove.prove_on": "it clears the bench itself",
    "loomproof.jobs.wiggle.watch_while_moved": "it clears the bench itself",
}
"""What takes a bench and never has a point driven; that it does not is seen below where it can be called."""


def taking_a_bench() -> dict[str, Any]:
    """Every public callable of the library that takes a bench, by its full name; not those of a terminal."""
    found: dict[str, Any] = {}
    for module in pkgutil.walk_packages(loomproof.__path__, "loomproof."):
        if module.name.startswith(
            ("loomproof.cli", "loomproof.screens", "loomproof.virtual", "loomproof.__main__")
        ):
            continue
        loaded = importlib.import_module(module.name)
        for name, value in vars(loaded).items():
            if name.startswith("_") or getattr(value, "__module__", "") != module.name:
                continue
            if not callable(value) or not (inspect.isfunction(value) or inspect.isclass(value)):
                continue
            made = value if inspect.isfunction(value) else value.__init__
            if made is object.__init__:
                continue
            noted = inspect.signature(made).parameters.values()
            if any(re.search(r"\b((Timed)?Bench(At)?|Setup)\b", str(each.annotation)) for each in noted):
                found[f"{module.name}.{name}"] = value
    return found


def called(function: Any, bench: Counting, clearance: object) -> object:
    """Call it, and where it makes steps or touches, take the first."""
    given = {"bench": bench, "clearance": clearance}
    answer = function(*(given[each] if isinstance(each, str) else each for each in ARGUMENTS[function]))
    return next(answer) if inspect.isgenerator(answer) else answer


def name_of(function: Any) -> str:
    return f"{function.__module__}.{function.__name__}"


def test_everything_that_takes_a_bench_is_known_here() -> None:
    assert set(taking_a_bench()) == {name_of(each) for each in ARGUMENTS} | set(UNDRIVEN)


def wrong_clearances(bench: Counting) -> Iterator[object]:
    """Yield what is no clearance of this loom on this bench, as it is open."""
    yield None
    yield object()
    yield cleared(LOOM, Counting(), ADAPTER, insulation=(500.0, 100))
    bench.opened, before = Opening(), bench.opened
    earlier = cleared(LOOM, bench, ADAPTER, insulation=(500.0, 100))
    bench.opened = before
    yield earlier


@pytest.mark.parametrize("function", ARGUMENTS, ids=name_of)
def test_nothing_drives_without_a_clearance(function: Any) -> None:
    bench = Counting(able=ABILITIES.get(function, ABLE))
    for clearance in wrong_clearances(bench):
        with pytest.raises(SafetyError, match="clearance"):
            called(function, bench, clearance)
    assert bench.driven == 0
    right = cleared_empty(bench) if function in WITHOUT_A_LOOM else cleared_whole(bench)
    other = cleared_whole(bench) if function in WITHOUT_A_LOOM else cleared_empty(bench)
    if function not in ANY:
        with pytest.raises(SafetyError):
            called(function, bench, other)
    assert bench.driven == 0
    answer = to_the_end(function, bench, right)
    assert bench.driven > 0 or isinstance(answer, asking.Asker)


def cleared_whole(bench: Counting) -> Clearance:
    return cleared(LOOM, bench, ADAPTER, insulation=(500.0, 100))


def to_the_end(function: Any, bench: Counting, clearance: Clearance) -> object:
    """Call it so that it drives; what a bench that reads nothing is then told does not matter here."""
    given = {"bench": bench, "clearance": clearance}
    try:
        answer = function(*(given[each] if isinstance(each, str) else each for each in ARGUMENTS[function]))
        if inspect.isgenerator(answer):
            for _ in range(100):
                next(answer)
    except SafetyError:
        raise
    except (LoomproofError, StopIteration):
        return None
    return answer


@pytest.mark.parametrize(
    "function",
    [proving.prove, measuring.measure, preparing.prepare, retesting.retest, run.run_plan],
    ids=name_of,
)
def test_a_clearance_is_for_one_loom(function: Any) -> None:
    bench = Counting()
    another = replace(LOOM, serial="another")
    with pytest.raises(SafetyError, match="another loom than two wires"):
        called(function, bench, cleared(another, bench, in_order(another.cavities)))
    assert bench.driven == 0


def test_a_clearance_is_for_one_adapter() -> None:
    bench = Counting()
    turned = Adapter("turned", tuple(replace(lead, point=5 - lead.point) for lead in ADAPTER.entries))
    with pytest.raises(SafetyError, match="another adapter"):
        called(proving.prove, bench, cleared(LOOM, bench, turned))
    assert bench.driven == 0


def test_a_journal_bench_is_the_bench_that_was_cleared(tmp_path: Path) -> None:
    bench = Counting()
    clearance = cleared_whole(bench)
    with JournaledBench(bench, tmp_path / "j.jsonl") as journaled:
        next(proving.prove(REQUEST, journaled, clearance))


def test_a_clearance_is_made_by_its_checks_only() -> None:
    bench = Counting()
    made = cleared_whole(bench)
    values = {each.name: getattr(made, each.name) for each in fields(made)}
    with pytest.raises(SafetyError, match="made by its checks"):
        Clearance(**values)
    with pytest.raises(SafetyError, match="made by its checks"):
        replace(made, loom_digest="another")
    with pytest.raises(AttributeError):
        made.loom_digest = "another"  # type: ignore[misc]  # that it is frozen is what is tested
    assert copy.copy(made) == made
    with pytest.raises(SafetyError, match="only a journal"):
        clear_replay(LOOM, bench, ADAPTER)  # type: ignore[arg-type]  # a bench is no journal
    assert bench.driven == 0
