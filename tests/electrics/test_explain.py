"""How a limit comes about, as values and as the command shows it."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.cli.main import run
from loomproof.electrics.expectation import Expectation, expect
from loomproof.loom.model import ComponentKind, End, end_of
from loomproof.planning.explain_pair import Explanation, Reads, explain
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import scope_of

from .looms import loom_of, part

FINE, COARSE = (
    Meter(Accuracy(ohm, ratio), None, (0.0, math.inf), {}) for ohm, ratio in ((0.001, 0.001), (0.1, 0.01))
)


def told(expectation: Expectation, a: End, b: End, meter: Meter = COARSE) -> Explanation:
    """What is explained of a bench with a point on every cavity."""
    able = Capabilities(100)
    scope = scope_of(expectation, in_order(expectation.loom.cavities).point_of, able.clear_ohm)
    return explain(expectation, a, b, scope, able, meter)


FIXTURES = Path(__file__).parents[2] / "fixtures"


def test_steps_follow_the_current_and_add_up_to_the_expected_value() -> None:
    loom = loom_of("W1 A:1 S1 1m 0.5mm2\nW2 S2 S1\nW3 S2 B:1 2m 1mm2\nW4 S1 C:1 1m 1mm2")
    expectation = expect(loom, 30.0)
    found = told(expectation, end_of("A:1"), end_of("B:1"))
    assert [step.name for step in found.steps] == ["W1", "W2", "W3"]
    assert [str(step.start) for step in found.steps] == ["A:1", "S1", "S2"]
    assert sum(step.nominal_ohm for step in found.steps) + found.contacts_ohm == pytest.approx(
        found.between.expected_ohm
    )
    assert found.steps[1].defaulted == ("length_m", "csa_mm2")
    assert found.same_net
    assert found.reads is Reads.LOW


def test_the_limit_stays_whatever_the_bench_and_what_it_can_show_is_said_beside_it() -> None:
    expectation = expect(loom_of("W1 A:1 B:1 1m 0.5mm2"))
    found = told(expectation, end_of("A:1"), end_of("B:1"))
    fine, coarse = (
        told(expectation, end_of("A:1"), end_of("B:1"), meter).reading for meter in (FINE, COARSE)
    )
    assert fine is not None
    assert coarse is not None
    assert fine.decided
    assert not coarse.decided
    assert fine.limit_ohm == coarse.limit_ohm == found.between.limit_ohm
    sound_ohm = found.between.sound_ohm
    assert coarse.shown_ohm == pytest.approx(sound_ohm + 2 * COARSE.uncertainty_ohm(sound_ohm, 2))


def test_wires_in_parallel_are_named_as_not_shown() -> None:
    expectation = expect(loom_of("W1 A:1 B:1 1m 1mm2\nW2 A:1 B:1 1m 1mm2"))
    found = told(expectation, end_of("A:1"), end_of("B:1"))
    assert [(step.name, step.shows) for step in found.steps] == [("W1", False), ("W2", False)]
    assert found.steps[0].share == pytest.approx(0.5)


def test_a_component_on_the_way() -> None:
    parts = (part(ComponentKind.RESISTOR, "R1", "B:1", "C:1", 470.0),)
    expectation = expect(loom_of("W1 A:1 B:1 1m 1mm2\nW2 C:1 D:1 1m 1mm2", parts))
    found = told(expectation, end_of("D:1"), end_of("A:1"))
    assert [step.name for step in found.steps] == ["W2", "R1", "W1"]
    assert not found.same_net
    assert not told(expect(loom_of("W1 A:1 B:1\nW2 C:1 D:1")), end_of("A:1"), end_of("C:1")).joined


def test_the_command_shows_path_limit_and_zones(capsys: pytest.CaptureFixture[str]) -> None:
    assert (
        run(["explain", str(FIXTURES / "hillclimb_engine"), "BULK:1", "FUSES:4A", "--temperature", "35"]) == 0
    )
    shown = capsys.readouterr().out
    for word in (
        "W1",
        "W3",
        "S-B+",
        "35 °C",
        "1.0590",
        "IEC 60228",
        "contacts",
        "shown",
        "undecided",
        "k = 2",
    ):
        assert word in shown
    assert "its limits of error ±(0.100 Ω + 1.00%)" in " ".join(shown.split()), "nobody gave an accuracy"


def test_two_nets_show_what_a_sense_and_an_isolation_reading_prove(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(["explain", str(FIXTURES / "hillclimb_engine"), "ECU-A:1", "ECU-A:6"]) == 0
    shown = " ".join(capsys.readouterr().out.split())
    assert "reads open" in shown
    assert "high proves none under 12.5 kΩ" in shown
    assert "at least 1.00 MΩ" in shown


@pytest.mark.parametrize("columns", ["40", "60", "80", "120"])
def test_no_figure_is_broken_on_a_narrow_screen(
    columns: str, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    assert (
        run(["explain", str(FIXTURES / "hillclimb_engine"), "BULK:1", "FUSES:4A", "--temperature", "35"]) == 0
    )
    out = capsys.readouterr().out
    assert all(len(line) <= int(columns) for line in out.splitlines())
    for whole in (
        "BULK:1 –",
        "FUSES:4A",
        "10 mm²",
        "0.25 m",
        "0.0076 Ω",
        "100%",
        "250 kΩ",
        "at 20 °C",
    ):
        assert whole in out
    assert not any(re.match(r"\s*([mkM]?Ω|mm²|m|°C)\b", line) for line in out.splitlines())


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["BULK:1", "FUSES:4a"], "There is FUSES:4A"),
        (["BULK 1", "FUSES:4A"], "two cavities are expected"),
        (["BULK:1", "FUSES:4A", "--accuracy", "0.1"], "OHM:RATIO"),
        (["BULK:1", "FUSES:4A", "--temperature", "900"], "-50 to 150"),
        (["BULK:1", "FUSES:4A", "--lead", "-1"], "0 or more"),
    ],
)
def test_what_cannot_be_meant_is_said_and_exits_with_2(
    arguments: list[str], said: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["explain", str(FIXTURES / "hillclimb_engine"), *arguments]) == 2
    assert said in capsys.readouterr().err
