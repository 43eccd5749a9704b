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


def test_the_page_of_what_stays_names_each_part_and_a_test_that_is_there() -> None:
    rows = [line for line in PAGE.splitlines() if line.startswith("| ") and "`tests/" in line]
    assert len(rows) >= 8
    for row in rows:
        for file, _, test in re.findall(r"`(tests/[\w/]+\.py)(::(\w+))?`", row):
            text = (ROOT / file).read_text(encoding="utf-8")
            assert not test or f"def {test.removeprefix('::')}(" in text, row
    for part in ("Exit codes", "Commands", "Python", "link", "record", "results document", "columns"):
        assert part in PAGE
