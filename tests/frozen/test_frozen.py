"""What others build on is there still: commands, codes, Python, columns, link, record."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest

from tests.frozen.surface import KEPT, calls_gone, gone, surface

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "reference" / "frozen.md").read_text(encoding="utf-8")
THEN: dict[str, Any] = json.loads(KEPT.read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def now() -> dict[str, Any]:
    return surface()


@pytest.mark.parametrize("part", [part for part in THEN if part not in ("python", "columns needed")])
def test_nothing_that_was_frozen_is_gone(part: str, now: dict[str, Any]) -> None:
    assert list(gone(THEN[part], now[part])) == []


def test_a_call_that_was_right_is_right(now: dict[str, Any]) -> None:
    for name, taken in THEN["python"].items():
        assert name in now["python"], name
        assert taken is None or list(calls_gone(taken, now["python"][name])) == [], name


def test_a_call_that_is_right_no_more_is_seen() -> None:
    assert list(calls_gone(["a", "b="], ["a", "b=", "c=", "*d="])) == []
    assert list(calls_gone(["a"], ["a="])) == []
    assert list(calls_gone(["a", "*b="], ["a"])) == ["b"]
    assert list(calls_gone(["a", "b="], ["b=", "a="])) == ["['a', 'b'] were placed so, now ['b', 'a']"]
    assert list(calls_gone(["a", "*b="], ["a", "*b", "*c"])) == ["b must be given now", "c must be given now"]


def test_no_table_that_was_whole_lacks_a_column(now: dict[str, Any]) -> None:
    for table, needed in now["columns needed"].items():
        assert table not in THEN["columns"] or set(needed) <= set(THEN["columns needed"][table]), table


def test_what_is_taken_away_is_seen(now: dict[str, Any]) -> None:
    less = json.loads(json.dumps(THEN))
    less["commands"]["prove"].remove("--bench")
    del less["link"]["commands"][0]
    less["exit codes"]["fail"] = 7
    assert list(gone(THEN, less)) == [
        " exit codes fail 1, now 7",
        " commands prove --bench",
        " link commands *IDN?",
    ]


WRITE = "not frozen yet: run python -m tests.frozen.surface"


def test_until_a_version_is_out_all_that_it_has_is_written_down(now: dict[str, Any]) -> None:
    """What came after its surface was written would else be frozen by nobody, and go unseen."""
    head = re.search(
        r"^## (\S+)( \(unreleased\))?", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.M
    )
    assert head
    if head[1] != "1.0.0" or not head[2]:
        pytest.skip("1.0 is out: what came since is frozen with the next major version")
    assert list(added(THEN, now)) == [], WRITE


def added(then: dict[str, Any], now: dict[str, Any]) -> list[str]:
    """What is there and not written down; of a Python call the name alone, as Pythons differ in the rest."""
    found = [each for part in then if part != "python" for each in gone(now[part], then[part], f" {part}")]
    return [*found, *(f" python {name}" for name in now["python"] if name not in then["python"])]


def test_what_is_added_is_seen(now: dict[str, Any]) -> None:
    more = json.loads(json.dumps(now))
    more["commands"]["report"].append("--more")
    more["commands"]["report more"] = ["--to"]
    more["python"]["more"] = []
    told = [" commands report --more", " commands report more", " python more"]
    assert list(added(now, more)) == told
    del more["commands"]["prove"]
    assert list(gone(now, more)) == [" commands prove"]


def test_the_page_of_what_stays_names_each_part_and_a_test_that_is_there() -> None:
    rows = [line for line in PAGE.splitlines() if line.startswith("| ") and "`tests/" in line]
    assert len(rows) >= 8
    for row in rows:
        for file, _, test in re.findall(r"`(tests/[\w/]+\.py)(::(\w+))?`", row):
            text = (ROOT / file).read_text(encoding="utf-8")
            assert not test or f"def {test.removeprefix('::')}(" in text, row
    for part in ("Exit codes", "Commands", "Python", "link", "record", "results document", "columns"):
        assert part in PAGE
