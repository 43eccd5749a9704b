"""A study at a bench: rounds are added to its table, and the table is analysed."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.electrics.uncertainty import reading_budget
from loomproof.errors import InputError, UsageError
from loomproof.jobs import bench_study
from tests.cli.running import loomproof
from tests.upkeep.test_study import worked

PARTS = ("--resistor", "1,2,0.47", "--resistor", "3,4,0.68")


def test_rounds_are_added_and_analysed(tmp_path: Path) -> None:
    table = tmp_path / "study.csv"
    for who in ("Ada", "Ben", "Ada", "Ben"):
        done = loomproof("bench", "study", table, "--bench", "sim:", "--operator", who, *PARTS)
        assert done.returncode == 0, done.stderr
    assert "2 readings by Ben added, 8 in all" in done.stdout
    found = bench_study.read(table)
    assert (found.study.operators, found.study.parts, found.study.repeats) == (2, 2, 2)
    assert found.accuracy == (0.1, 0.01)
    shown = loomproof("bench", "study", table)
    assert shown.returncode == 0
    assert "another operator (reproducibility)" in shown.stdout
    other = loomproof("bench", "study", table, "--bench", "sim:?seed=9", "--operator", "Ada", *PARTS)
    assert other.returncode == 2
    assert "a study is of one bench" in other.stderr
    assert bench_study.read(table) == found


def written(path: Path, limits: str = "") -> Path:
    heads = "operator,part,ohm" + (",accuracy_ohm,accuracy_ratio" if limits else "")
    rows = [f"{each.operator},{each.part},{each.ohm}{limits}" for each in worked()]
    path.write_text("\n".join([heads, *rows]), encoding="utf-8")
    return path


def test_what_operators_add_stands_in_the_budget(tmp_path: Path) -> None:
    """By hand from the worked example's components: 0.511, 0.564 and 0.728 of variance."""
    found = bench_study.read(written(tmp_path / "x.csv", ",0.6,0"))
    text = " ".join(found.sentences)
    alone, whole = (2.0 * (0.12 + squares) ** 0.5 for squares in (0.5111, 0.5111 + 0.5643 + 0.7280))
    assert f"U = {alone:.2f} Ω with the repeatability of this study, {whole:.2f} Ω with" in text
    without = " ".join(bench_study.read(written(tmp_path / "y.csv")).sentences)
    assert "limits of error add is not in the table" in without
    assert "U =" not in without


def test_repeats_take_nothing_off_what_an_operator_adds() -> None:
    budget = reading_budget(0.0, 0.0, 1.0, repeatability_ohm=0.3, repeats=9, reproducibility_ohm=0.2)
    assert budget.standard_ohm == pytest.approx((0.1**2 + 0.2**2) ** 0.5)
    with pytest.raises(ValueError, match="0 or more"):
        reading_budget(0.0, 0.0, 1.0, reproducibility_ohm=-0.1)


def test_wrong_tables_are_named_by_cell(tmp_path: Path) -> None:
    path = tmp_path / "x.csv"
    path.write_text("operator,part,ohm\n,1,2\nA,1,inf\n", encoding="utf-8")
    with pytest.raises(InputError) as caught:
        bench_study.read(path)
    assert [(each.row, each.column) for each in caught.value.problems] == [(2, "operator"), (3, "ohm")]
    path.write_text("operator,part,ohm,bench\nA,1,2,b1\nA,1,2,b2\n", encoding="utf-8")
    with pytest.raises(UsageError, match="2 benches"):
        bench_study.read(path)


def test_readings_that_are_all_alike_say_nothing_of_the_spread(tmp_path: Path) -> None:
    """A meter whose last figure is coarse reads a part the same each time: that is no spread of 0 %."""
    path = tmp_path / "alike.csv"
    rows = [f"{who},{part},{ohm}" for who in "AB" for part, ohm in (("p", 0.1), ("q", 0.7), ("r", 1.3)) * 3]
    path.write_text(
        "\n".join(["operator,part,ohm,accuracy_ohm,accuracy_ratio", *(f"{r},0.1,0" for r in rows)])
    )
    text = " ".join(bench_study.read(path).sentences)
    assert "no spread was seen" in text
    assert "says nothing" in text
    assert "%" not in text
    assert "U =" not in text
