"""A pass of a low grade says what it means and what would have brought a better one, where that is so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import loomproof as lp
from loomproof.errors import Todo
from loomproof.jobs.plan import for_more
from loomproof.results.grade import Grade
from tests.cli.running import loomproof

pytestmark = pytest.mark.usefixtures("simulated_within")

MORE = "For a better grade: "


def shown(loom: Path, bench: str) -> str:
    return loomproof("prove", loom, "--bench", bench, "--made-safe").stdout


def test_a_coarse_bench_says_what_its_grade_means_and_how_to_get_further(fixtures: Path) -> None:
    told = " ".join(shown(fixtures / "tail_lamp", "sim:").split())
    assert "How good its joints are is shown only as far as this bench can tell" in told
    assert f"{MORE}Zero the leads with this meter: up to 6 of 6 limits are then decided. Run: " in told
    assert f"{MORE}Four wires, or a meter, within ±0.0062 Ω" in told


def test_a_bench_without_ohms_says_that_ohms_are_missing(fixtures: Path) -> None:
    told = " ".join(shown(fixtures / "tail_lamp", "sim:?no-ohms").split())
    assert "How good the joints are, or what every part is, this proof does not say." in told
    assert f"{MORE}A bench that measures ohms says how good the joints are." in told
    assert "Zero the leads" not in told, "nothing that could be zeroed was read"


def test_the_best_grade_and_what_is_no_pass_are_told_nothing_of_a_better_one(fixtures: Path) -> None:
    loom = lp.load(fixtures / "tail_lamp")
    for at in ("sim:?four-wire=0.001:0.001", "sim:?fault=open%20W2"):
        with lp.open_bench(at, loom=loom) as bench:
            assert for_more(lp.Job(loom, bench).prove().run().outcome) == ()


def test_a_part_of_which_no_reading_told_is_named(fixtures: Path) -> None:
    loom = lp.load(fixtures / "tail_lamp")
    with lp.open_bench("sim:?seed=1", loom=loom) as bench:
        outcome = lp.Job(loom, bench).prove().run().outcome
    assert any(each.do is not None and each.do.what is Todo.ZERO for each in for_more(outcome))
    document = outcome.document.model_copy(update={"grade": Grade.CONNECTIONS})
    untold = replace(outcome.measured, untold_parts=("D7",), unswept=outcome.measured.unswept)
    first, *_ = for_more(replace(outcome, document=document, measured=untold))
    assert first.text == "Take D7 out and meter it alone: no reading told."


def test_a_loom_that_passes_against_its_own_trace_is_not_said_to_be_right(fixtures: Path) -> None:
    """Whatever is wrong in a loom that is traced is wrong in its description: crossed, it passes."""
    loom = lp.load(fixtures / "tail_lamp")
    crossed = {"W1": "W2", "W2": "W1"}
    ends = {wire.name: wire.b for wire in loom.wires}
    wires = tuple(replace(wire, b=ends[crossed.get(wire.name, wire.name)]) for wire in loom.wires)
    traced = replace(loom, wires=wires, traced_in=("lamp.20310504-100000-3fa2c1",))
    with lp.open_bench("sim:?fault=swap%20BODY:1%20BODY:2", loom=loom) as bench:
        document = lp.Job(traced, bench).prove().run().document
    assert document.verdict == "pass"
    assert document.grade_text.endswith("equal to what was traced, which is not shown to be right")
    assert any("its description is what was traced on it" in text for text in document.not_tested)
    with lp.open_bench("sim:?seed=1", loom=loom) as bench:
        assert "traced" not in lp.Job(loom, bench).prove().run().document.grade_text
