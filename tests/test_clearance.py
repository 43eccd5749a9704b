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
from loomproof.bench.seam import Accuracy, Capabilities, Identity, Opening, opening_of
from loomproof.electrics.expectation import expect
from loomproof.errors import AdapterError, LoomproofError, SafetyError, UnfitError
from loomproof.jobs import prove as proving
from loomproof.jobs import retest as retesting
from loomproof.jobs import trace as tracing
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Settings, Wire
from loomproof.loom.reading import load
from loomproof.measuring import (
    by_hand,
    insulation,
    placing,
    preparing,
    run,
    selfcheck,
    selftest,
    selftests_kept,
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
from loomproof.measuring.clearance import Clearance, clear, clear_empty, clear_replay
from loomproof.planning.conductors import Conductors
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import scope_of
from loomproof.planning.plan import plan_proof
from loomproof.planning.request import Request
from loomproof.results.measured import Measured
from tests.cleared import NOW, Answers, cleared, cleared_empty
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


def asked_to_clear(
    loom: Loom, bench: Counting, person: Answers, adapter: Adapter | None = None, **more: Any
) -> Clearance:
    leads = adapter or in_order(loom.cavities)
    return clear(loom, bench, leads, person, selftests=Path("none"), now=NOW, **more)


def marked(hazard: Hazard) -> Loom:
    return replace(LOOM, connectors=(replace(LOOM.connectors[0], hazard=hazard), LOOM.connectors[1]))


@pytest.mark.parametrize("simulated", [False, True])
@pytest.mark.parametrize("hazard", [Hazard.PYROTECHNIC, Hazard.ELECTRONICS])
def test_a_hazard_is_cleared_on_no_bench_whatever_anybody_says(hazard: Hazard, simulated: bool) -> None:
    bench, person = Counting(opened=Opening(simulated)), Answers()
    with pytest.raises(SafetyError, match="A"):
        asked_to_clear(marked(hazard), bench, person)
    with pytest.raises(SafetyError, match="A"):
        asked_to_clear(marked(hazard), bench, person, hazards={"A": Hazard.NONE})
    assert person.asked == [], "refused first, asked after"
    assert bench.driven == 0


def test_on_a_real_bench_every_connector_is_answered_for() -> None:
    bench = Counting()
    only_b = in_order([end for end in LOOM.cavities if end.connector == "B"])
    with pytest.raises(SafetyError, match="nobody has said what is at A"):
        asked_to_clear(marked(Hazard.UNKNOWN), bench, Answers(), only_b)  # current goes on through wires
    with pytest.raises(SafetyError, match="nobody has said what is at A"):
        asked_to_clear(marked(Hazard.UNKNOWN), bench, Answers())
    assert asked_to_clear(marked(Hazard.UNKNOWN), bench, Answers(), hazards={"A": Hazard.NONE})
    assert asked_to_clear(marked(Hazard.UNKNOWN), Counting(opened=Opening(simulated=True)), Answers())


@pytest.mark.parametrize(
    ("able", "settings"),
    [
        (replace(ABLE, test_current_a=0.01), Settings(test_current_a=0.001)),
        (replace(ABLE, test_voltage_v=24.0), Settings()),
    ],
)
def test_a_stimulus_that_the_loom_may_not_see_is_not_cleared(able: Capabilities, settings: Settings) -> None:
    person = Answers()
    with pytest.raises(SafetyError, match="the loom's limit"):
        asked_to_clear(replace(LOOM, settings=settings), Counting(able), person)
    assert person.asked == []


def test_an_adapter_that_does_not_fit_is_not_cleared() -> None:
    with pytest.raises(AdapterError):
        asked_to_clear(LOOM, Counting(replace(ABLE, points=3)), Answers())


def test_a_bench_that_failed_its_self_test_is_not_cleared(tmp_path: Path) -> None:
    bench, path = Counting(), tmp_path / "selftests.jsonl"
    check = selfcheck.Check("stuck inputs", False, "point 3")
    selftests_kept.keep(
        selftests_kept.SelfTest("the tests", "counting bench", "1", "2031-05-01T00:00:00Z", "", (check,)),
        path,
    )

    def ask(bench: Counting, **more: Any) -> Clearance:
        return clear(LOOM, bench, ADAPTER, Answers(), selftests=path, now=NOW, **more)

    with pytest.raises(UnfitError, match="failed its self-test"):
        ask(bench)
    made = ask(Counting(opened=Opening(simulated=True)))
    assert made.selftest_failures == "", "the next simulator is another one, under the same serial"
    with pytest.raises(UnfitError, match="had no self-test"):
        asked_to_clear(LOOM, bench, Answers(), selftest_max_age_days=7.0)


@pytest.mark.parametrize(("simulated", "asked"), [(False, ["Is all of that done?"]), (True, [])])
def test_on_a_real_bench_a_person_confirms_the_cautions(simulated: bool, asked: list[str]) -> None:
    person = Answers(yes=simulated)
    bench = Counting(opened=Opening(simulated))
    if simulated:
        assert asked_to_clear(LOOM, bench, person).simulated
    else:
        with pytest.raises(SafetyError, match="nobody has confirmed the cautions"):
            asked_to_clear(LOOM, bench, person)
    assert person.asked == asked
    assert bench.driven == 0


def test_on_a_real_bench_somebody_types_the_voltage() -> None:
    person = Answers(typed=False)
    with pytest.raises(SafetyError, match="500 V"):
        asked_to_clear(LOOM, Counting(), person, insulation=(500.0, 1000))
    assert person.asked == ["Is all of that done?", "500 V"]
    assert asked_to_clear(LOOM, Counting(), Answers(), insulation=(500.0, 1000)).insulation_v == 500.0
    with pytest.raises(UnfitError, match="1000 V"):
        asked_to_clear(LOOM, Counting(), person, insulation=(5000.0, 1000))
    simulated = Counting(opened=Opening(simulated=True))
    assert asked_to_clear(LOOM, simulated, person, insulation=(500.0, 1000)).insulation_v == 500.0
    assert len(person.asked) == 2, "a simulated loom hurts nobody"


def test_a_bench_without_volts_asks_what_a_meter_shows() -> None:
    blind = replace(ABLE, volt_max=None)
    assert asked_to_clear(LOOM, Counting(blind), Answers(meter_v=0.02)).meter_v == 0.02
    assert asked_to_clear(LOOM, Counting(blind), Answers(), meter_v=13.0).meter_v == 13.0
    assert asked_to_clear(LOOM, Counting(), Answers(meter_v=0.02)).meter_v is None


def test_a_bench_by_itself_is_cleared_once_somebody_says_that_no_loom_is_on() -> None:
    person = Answers(yes=False)
    with pytest.raises(SafetyError, match="no loom is on the bench"):
        clear_empty(Counting(), person)
    assert person.asked == ["Is it so?"]
    assert clear_empty(Counting(opened=Opening(simulated=True)), person).loom_digest == ""


@pytest.mark.parametrize(
    ("identity", "simulated"),
    [
        (Identity("loomproof", "simulated scanner", "SIM000001", "1.0"), True),
        (Identity("Invented Instruments", "simulated scanner", "1", "1"), False),
        (Identity("loomproof", "pin scanner", "1", "1"), False),
    ],
)
def test_that_a_bench_is_simulated_comes_from_the_bench(identity: Identity, simulated: bool) -> None:
    assert opening_of(identity).simulated is simulated
    assert opening_of(identity, started_here=True).simulated
    assert "simulated" not in {each.name for each in fields(Request)}


def test_the_library_proves_no_airbag_loom_on_a_simulator(fixtures: Path) -> None:
    from loomproof.bench.opening import open_bench

    described = load(fixtures / "tail_lamp").loom
    lamp = tuple(
        replace(each, hazard=Hazard.PYROTECHNIC) if each.name == "LAMP" else each
        for each in described.connectors
    )
    described = replace(described, connectors=lamp)
    with (
        open_bench("sim:", loom_path=fixtures / "tail_lamp") as bench,
        pytest.raises(SafetyError, match="pyrotechnic circuits end at LAMP"),
    ):
        cleared(described, bench)
