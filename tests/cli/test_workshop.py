"""``workshop.toml`` as a user has it: it stands in for options, and options go before it."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from tests.cli.running import loomproof

SHOP = """
bench = "sim:"
person = "A. Tester"
authoriser = "B. Signer"
place = "bench 2"
store = "kept.sqlite"

[laboratory]
name = "Back Lane Looms"
"""


@pytest.fixture
def looms(fixtures: Path, tmp_path: Path) -> Path:
    """A folder with a loom and a workshop's file beside it."""
    folder = tmp_path / "looms"
    shutil.copytree(fixtures / "tail_lamp", folder / "tail_lamp")
    (folder / "workshop.toml").write_text(SHOP, encoding="utf-8")
    return folder


def results(out: Path) -> dict[str, Any]:
    (found,) = out.glob("*.results.json")
    plain: dict[str, Any] = json.loads(found.read_text(encoding="utf-8"))
    return plain


def test_a_proof_needs_no_option_where_the_workshop_says_all(looms: Path, tmp_path: Path) -> None:
    done = loomproof("prove", looms / "tail_lamp", "--out", tmp_path / "a")
    assert done.returncode == 0, done.stderr
    kept = results(tmp_path / "a")
    assert kept["bench"]["address"] == "sim:"
    assert (kept["person"], kept["place"]) == ("A. Tester", "bench 2")
    assert (kept["entered"]["authoriser"], kept["entered"]["laboratory"]) == ("B. Signer", "Back Lane Looms")
    assert kept["run"] in loomproof("log", cwd=looms).stdout
    assert kept["run"] not in loomproof("log", cwd=tmp_path).stdout
    assert kept["run"] in loomproof("log", "--store", looms / "kept.sqlite", cwd=tmp_path).stdout
    again = loomproof("retest", "last", "tail_lamp", "--also", "LAMP:1", cwd=looms)
    assert again.returncode == 0, again.stderr


def test_options_go_before_the_file(looms: Path, tmp_path: Path) -> None:
    words = ("--bench=sim:?seed=3", "--person=C. Other", "--place=outside", "--authoriser=D. Boss")
    store = tmp_path / "other.sqlite"
    done = loomproof("prove", looms / "tail_lamp", "--out", tmp_path, *words, LOOMPROOF_STORE=str(store))
    assert done.returncode in (0, 4), done.stderr  # another meter: a reading may be undecided
    kept = results(tmp_path)
    assert kept["bench"]["address"] == "sim:?seed=3"
    assert (kept["person"], kept["place"], kept["entered"]["authoriser"]) == (
        "C. Other",
        "outside",
        "D. Boss",
    )
    assert store.exists()
    assert not (looms / "kept.sqlite").exists()


def test_info_says_which_file_holds_and_what_it_says(looms: Path, tmp_path: Path) -> None:
    shown = loomproof("info", looms / "tail_lamp", cwd=tmp_path).stdout
    assert f"workshop   {looms / 'workshop.toml'}\n           bench: sim:\n" in shown
    assert "laboratory name: Back Lane Looms" in shown
    assert f"store      {looms / 'kept.sqlite'} (0 runs)\n" in shown
    none = loomproof("info", cwd=tmp_path).stdout
    assert f"workshop   none; no workshop.toml in {tmp_path}, " in none


def test_a_workshop_that_can_not_be_read_is_told_by_line(looms: Path) -> None:
    with (looms / "workshop.toml").open("a", encoding="utf-8") as file:
        file.write("adress = 3\n")
    done = loomproof("prove", looms / "tail_lamp", cwd=looms)
    assert done.returncode == 2
    assert "row 10, column laboratory.adress: 'adress' is not known here. There is address." in done.stderr
    assert "Traceback" not in done.stderr


def test_no_bench_anywhere_is_told_with_both_cures(fixtures: Path, tmp_path: Path) -> None:
    for words in (("prove", fixtures / "tail_lamp"), ("bench", "selftest"), ("trace", "--adapter", "x")):
        done = loomproof(*words, cwd=tmp_path)
        assert done.returncode == 2, done.stderr
        assert "no bench is named" in done.stderr
        assert '--bench ADDRESS, or write bench = "ADDRESS" into a workshop.toml' in done.stderr
