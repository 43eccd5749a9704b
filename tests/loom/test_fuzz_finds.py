"""What fuzzing found once is tried for ever, and a short run goes with every test."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz import loom_fuzz

OTHERS = (".kbl", ".vec")
"""Finds of the harness files, which tests of their own try."""

FINDS = [path for path in sorted(loom_fuzz.FINDS.glob("*")) if path.suffix not in OTHERS]


@pytest.mark.parametrize("find", FINDS, ids=[path.name for path in FINDS])
def test_a_find_is_read_or_refused(find: Path) -> None:
    _, kind, name = find.name.split(".", 2)
    assert loom_fuzz.attempt(kind, name, find.read_bytes()) in ("read", "refused")


def test_a_short_run_finds_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    assert loom_fuzz.main(["--short", "--seed", "2"]) == 0, capsys.readouterr().out
