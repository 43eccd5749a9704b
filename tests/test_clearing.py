"""What stands in the way of a clearance: hazards, voltages, self-tests, and what a person confirms."""

from __future__ import annotations

from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.seam import Capabilities, Identity, Opening, opening_of
from loomproof.errors import AdapterError, SafetyError, UnfitError
from loomproof.loom.model import Hazard, Loom, Settings
from loomproof.loom.reading import load
from loomproof.measuring import (
    selfcheck,
    selftests_kept,
)
from loomproof.measuring.clearance import Clearance, clear, clear_empty
from loomproof.planning.request import Request
from tests.cleared import NOW, Answers, cleared
from tests.test_clearance import ABLE, ADAPTER, LOOM, Counting


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
