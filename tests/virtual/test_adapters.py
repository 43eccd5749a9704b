"""The simulator's own reading of an adapter table."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import AdapterError
from loomproof.loom.model import End
from loomproof.virtual.adapters import read_hookup
from tests.virtual.looms import small_loom


def table(folder: Path, text: str) -> Path:
    path = folder / "adapter.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_points_join_the_cavities_named_through_their_leads(tmp_path: Path) -> None:
    path = table(tmp_path, "point,connector,cavity,lead_ohm\n3,P1,1,0.05\n7,P2,3,\n")
    hookup = read_hookup(path, small_loom())
    assert hookup.points == 7
    assert hookup.ends == {3: End("P1", "1"), 7: End("P2", "3")}
    assert hookup.lead_ohm == {3: 0.05, 7: 0.0}
    assert read_hookup(path, small_loom(), points=64).points == 64


def test_every_problem_is_told_with_its_row(tmp_path: Path) -> None:
    path = table(
        tmp_path,
        "point,connector,cavity,lead_ohm\nx,P1,1,\n2,P1,9,\n3,P2,1,thin\n3,P2,2,\n99,P2,3,\n",
    )
    with pytest.raises(AdapterError) as caught:
        read_hookup(path, small_loom(), points=10)
    told = [str(problem) for problem in caught.value.problems]
    assert [text.split(": ")[0] for text in told] == [
        "adapter.csv, row 2, column point",
        "adapter.csv, row 3, column cavity",
        "adapter.csv, row 4, column lead_ohm",
        "adapter.csv, row 5, column point",
        "adapter.csv, row 6, column point",
    ]


def test_a_missing_column_is_named(tmp_path: Path) -> None:
    with pytest.raises(AdapterError, match="the column cavity is missing"):
        read_hookup(table(tmp_path, "point,connector\n1,P1\n"), small_loom())


def test_what_is_no_table_is_told(tmp_path: Path) -> None:
    (tmp_path / "binary.csv").write_bytes(bytes(range(16)) * 9)
    table(tmp_path, "point,connector,cavity\n1,P1," + 140_000 * "x")
    for name, says in (
        ("", "it is not a file"),
        ("none.csv", "there is no such file"),
        ("binary.csv", "a binary file, and no CSV"),
        ("adapter.csv", "a cell is longer"),
    ):
        with pytest.raises(AdapterError) as caught:
            read_hookup(tmp_path / name, small_loom())
        assert says in " ".join([str(caught.value), *map(str, caught.value.problems)])


def test_semicolons_part_cells_as_in_the_benchs_own_reading(tmp_path: Path) -> None:
    path = table(tmp_path, "point;connector;cavity\n3;P1;1\n")
    assert read_hookup(path, small_loom()).ends == {3: End("P1", "1")}
