"""What an engine normally has and a description lacks is asked, once, and only of an engine."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from loomproof.fitting.sheet import fitting_sheet
from loomproof.fitting.usual import ENOUGH, usual_questions
from loomproof.loom.model import Circuit, Loom
from loomproof.loom.patterns import Without, pattern
from loomproof.loom.reading import load

FIXTURES = Path(__file__).parents[2] / "fixtures"


def test_the_demo_engine_is_asked_for_what_it_lacks_and_nothing_it_has() -> None:
    loom = load(FIXTURES / "hillclimb_engine").loom
    (asked,) = usual_questions(loom)
    assert "oxygen sensor" in asked
    assert "diagnostic plug" in asked
    assert "crankshaft" not in asked
    assert asked in fitting_sheet(loom).questions


def test_a_circuit_without_which_no_engine_runs_is_asked_for_by_itself() -> None:
    loom = load(FIXTURES / "hillclimb_engine").loom
    without = replace(loom, circuits=tuple(c for c in loom.circuits if c.name != "crank-sensor"))
    assert any(
        "crankshaft position" in text and "does not run without" in text for text in usual_questions(without)
    )
    named = replace(without, circuits=(*without.circuits, Circuit("x", "Kurbelwelle")))
    assert not any("crankshaft" in text for text in usual_questions(named))


def test_a_loom_of_another_kind_is_asked_nothing() -> None:
    assert usual_questions(load(FIXTURES / "tail_lamp").loom) == ()
    rows = pattern("engine")[: ENOUGH - 1]
    few = Loom("few", circuits=tuple(Circuit(row.circuit, row.purpose) for row in rows))
    assert usual_questions(few) == ()
    enough = replace(
        few, circuits=tuple(Circuit(row.circuit, row.purpose) for row in pattern("engine")[:ENOUGH])
    )
    assert len(usual_questions(enough)) > 10


def test_what_the_description_says_is_unused_is_not_asked_for() -> None:
    everything = Loom("all", circuits=tuple(Circuit(row.circuit, row.purpose) for row in pattern("engine")))
    assert usual_questions(everything) == ()
    assert any(row.without is Without.YES for row in pattern("engine"))
