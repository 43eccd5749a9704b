"""What a form asks of a proof: the values that the command line gives a job, or words beside the form."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.planning.request import InsulationTest
from loomproof.results.grade import Grade
from loomproof.web.answers import Asked
from loomproof.web.wanted import assured_of, more_of, stated_of, stopped_runs
from tests.web.asking import LOOMS


@pytest.fixture(scope="module")
def engine() -> Loom:
    return load(LOOMS / "hillclimb_engine").loom


def test_an_empty_form_asks_what_the_command_asks_without_options(engine: Loom) -> None:
    more = more_of(Asked(), engine)
    assert (more["waived"], more["inspection"], more["insulation"], more["grade"]) == ((), (), None, None)
    assert (more["repeats"], more["locate"], more["place_within_m"], more["watch_s"]) == (1, True, 0.0, 0.0)
    assert more["probe"] is False
    assert more["answers"] == {choice.name: choice.default for choice in engine.choices if choice.default}
    assert stated_of(Asked()) == {}


def test_what_is_typed_is_what_a_job_gets(engine: Loom) -> None:
    end = engine.cavities[0]
    choice = engine.choices[0]
    form = {
        "waived": f" {end} ",
        "seen": "tape worn at BULK\n\n  green at FUSES  ",
        "repeats": "3",
        "no places": "yes",
        "places within": "7,5",
        "watch": "20",
        "insulation": "500",
        "grade": "wire",
        "probe": "yes",
        f"choice {choice.name}": choice.answers[-1].name,
        "customer": "Torvald <& sons>",
        "order": "A/17",
        "humidity": "45,5",
        "meter volts": "0,02",
        "self-test days": "30",
    }
    more = more_of(Asked(form=form), engine)
    assert more["waived"] == (end,)
    assert more["inspection"] == ("tape worn at BULK", "green at FUSES")
    assert (more["repeats"], more["locate"], more["watch_s"]) == (3, False, 20.0)
    assert more["place_within_m"] == pytest.approx(0.075)
    assert more["insulation"] == InsulationTest(500.0)
    assert (more["grade"], more["probe"]) == (Grade.WIRE, True)
    assert more["answers"][choice.name] == choice.answers[-1].name
    assert stated_of(Asked(form=form)) == {
        "customer": "Torvald <& sons>",
        "order": "A/17",
        "humidity_pct": 45.5,
    }
    assured = assured_of(Asked(form=form), {})
    assert (assured.meter_v, assured.selftest_max_age_days) == (0.02, 30.0)


@pytest.mark.parametrize(
    ("name", "said", "told"),
    [
        ("waived", "NOWHERE:1", "no cavity NOWHERE:1"),
        ("waived", "ECU:", "a cavity is missing"),
        ("watch", "0.5", "no number from 1 to 3600"),
        ("watch", "nan", "no number"),
        ("repeats", "2.5", "no whole number"),
        ("repeats", "1e9", "no number"),
        ("insulation ms", "200", "a dwell goes with a voltage"),
        ("grade", "best", "no grade"),
        ("seen", "bell \x07", "seen: the text"),
        ("choice fan", "nobody", "is no answer"),
    ],
)
def test_what_can_not_be_meant_is_refused_in_words(engine: Loom, name: str, said: str, told: str) -> None:
    assert {choice.name for choice in engine.choices} >= {"fan"}
    with pytest.raises(UsageError, match=told):
        more_of(Asked(form={name: said}), engine)


def test_stopped_runs_are_those_that_wait_in_the_folder(tmp_path: Path) -> None:
    assert stopped_runs(tmp_path / "none") == []
    for run in ("20260101-1", "20260102-2", "20260103-3"):
        (tmp_path / f"{run}.hook-ups.json").write_text("{}")
    (tmp_path / "20260102-2.results.json").write_text("{}")
    assert stopped_runs(tmp_path) == ["20260103-3", "20260101-1"]


def test_an_end_is_text(engine: Loom) -> None:
    """Cavity ``01`` of a form is not ``1``."""
    assert End("BULK", "1") in engine.cavities
    with pytest.raises(UsageError, match="BULK:01"):
        more_of(Asked(form={"waived": "BULK:01"}), engine)
