"""Folders, tables and cells that cannot be read as they are, and what is said of them."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import DescriptionError, Do, Todo
from loomproof.loom import checking
from loomproof.loom.reading import load, load_files
from tests.loom.test_descriptions import TAIL, changed, problems


def test_a_loom_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match="there is no such loom"):
        load(tmp_path / "nothing")
    (tmp_path / "list.csv").write_text("a,b\n")
    with pytest.raises(DescriptionError) as caught:
        load(tmp_path / "list.csv")
    assert caught.value.do == Do(Todo.IMPORT)


def test_an_empty_folder_names_every_missing_file(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError) as caught:
        load(tmp_path)
    assert [problem.file for problem in caught.value.problems] == [
        "loom.toml",
        "connectors.csv",
        "wires.csv",
        "components.csv",
        "circuits.csv",
    ]


def test_a_table_that_is_wrong_in_every_row_is_told_so_with_few_comparisons(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    asked: list[str] = []

    def near_miss(wrong: str, names: object) -> str:
        asked.append(wrong)
        return ""

    monkeypatch.setattr(checking, "near_miss", near_miss)
    rows = "".join(f"X{n},BODDY{n},1,LAMPP{n},1\n" for n in range(500))
    files = TAIL | {"wires.csv": f"wire,from_connector,from_cavity,to_connector,to_cavity\n{rows}".encode()}
    assert len(problems(files)) == 1000
    assert len(asked) <= checking.MOST_NEAR_MISSES


def test_decimals_are_parted_as_the_description_says() -> None:
    files = {name: data.replace(b",", b";") for name, data in TAIL.items()}
    for name in ("wires.csv", "circuits.csv"):
        files[name] = files[name].replace(b".", b",")
    files["loom.toml"] = TAIL["loom.toml"].replace(b"[tables]", b'[tables]\ndecimal = ","')
    found = load_files(files, "tail").loom
    assert found.wires == load_files(TAIL, "tail").loom.wires


def test_a_column_of_ones_own_is_let_be_and_named() -> None:
    files = changed("components.csv", "note", "note,#price")
    loaded = load_files(files, "tail")
    assert loaded.loom == load_files(TAIL, "tail").loom
    assert [(problem.file, problem.column) for problem in loaded.left_out] == [("components.csv", "#price")]


def test_a_number_of_thousands_of_digits_is_said() -> None:
    files = changed("loom.toml", "[tables]", f"[defaults]\nwire_length_m = {'9' * 5000}\n[tables]")
    assert "it is not TOML" in str(problems(files)[0])


def test_a_folder_in_the_place_of_a_table_is_said_once(tmp_path: Path) -> None:
    for name, data in TAIL.items():
        (tmp_path / name).mkdir() if name == "wires.csv" else (tmp_path / name).write_bytes(data)
    with pytest.raises(DescriptionError) as caught:
        load(tmp_path)
    assert [str(problem) for problem in caught.value.problems] == ["wires.csv: it is not a file"]


def test_circuits_that_need_each_other_in_a_circle_are_said() -> None:
    files = changed("circuits.csv", "7.4,,,needed", "7.4,,fog,needed")
    assert [str(problem) for problem in problems(files)] == [
        "circuits.csv, row 7, column needs: circuits need each other in a circle: "
        "earth needs fog needs earth. Take out the one that is no need."
    ]


def test_part_number_and_revision_are_of_the_description_and_leave_older_digests_as_they_were() -> None:
    """The digest below was written down before a description could state either."""
    plain = load_files(TAIL, "tail").loom
    assert (plain.part_number, plain.revision) == ("", "")
    assert plain.digest == "d87c0bd90c8565342723867d2f6b1f8194f14496673c1e18875c2bc5c621473c"
    stated = changed("loom.toml", "[loom]", '[loom]\npart_number = "TL-100"\nrevision = "C"')
    loom = load_files(stated, "tail").loom
    assert (loom.part_number, loom.revision) == ("TL-100", "C")
    other = load_files(stated | {"loom.toml": stated["loom.toml"].replace(b'"C"', b'"D"')}, "tail").loom
    assert len({plain.digest, loom.digest, other.digest}) == 3


def test_a_revision_that_is_no_text_is_named_by_line() -> None:
    stated = changed("loom.toml", "[loom]", "[loom]\nrevision = 3")
    line = stated["loom.toml"].decode().splitlines().index("revision = 3") + 1
    assert f"loom.toml, row {line}, column loom.revision: 3 is not text. Put it in double quotes." in [
        str(problem) for problem in problems(stated)
    ]
