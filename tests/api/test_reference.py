"""The reference is that of the code, and the examples beside it run as they stand."""

from __future__ import annotations

import ast
import os
import subprocess
import sys
from pathlib import Path

import pytest

import loomproof as lp
from tests.api import reference

ROOT = Path(__file__).parents[2]


def test_every_public_name_stands_in_the_reference_once() -> None:
    named = [name for names in reference.GROUPS.values() for name in names]
    assert sorted(named) == sorted(lp.__all__)


def test_the_reference_is_that_of_the_code() -> None:
    told = "run: python -m tests.api.reference"
    assert reference.PAGE.read_text(encoding="utf-8") == reference.page(), told


def run(script: str, folder: Path, **more: str) -> str:
    (folder / "fixtures").symlink_to(ROOT / "fixtures", target_is_directory=True)
    command = [sys.executable, "-W", "error", str(ROOT / "docs" / "examples" / script)]
    done = subprocess.run(
        command,
        capture_output=True,
        text=True,
        cwd=folder,
        env={**os.environ, **more},
        timeout=120,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout


def test_the_ten_lines_run_as_a_script(tmp_path: Path) -> None:
    *events, verdict, path = run("ten_lines.py", tmp_path).splitlines()
    assert any(line.startswith("Reading(") for line in events)
    assert verdict == "fail ['W2 (black/red) open between BODY:2 and LAMP:2']"
    assert lp.verify(tmp_path / path).standing == "genuine", "sealed with the key of this test's home"


def test_the_notebook_runs_from_the_first_cell_to_the_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As a notebook does it: each cell is run, and its last value is what is shown."""
    text = (ROOT / "docs" / "examples" / "notebook.py").read_text(encoding="utf-8")
    (tmp_path / "fixtures").symlink_to(ROOT / "fixtures", target_is_directory=True)
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    shown: list[object] = []
    for cell in text.split("\n# %%")[1:]:
        *steps, last = ast.parse(cell.partition("\n")[2]).body
        exec(compile(ast.Module(steps, []), "cell", "exec"), names)
        assert isinstance(last, ast.Expr | ast.Assign | ast.With)
        if isinstance(last, ast.Expr):
            shown.append(eval(compile(ast.Expression(last.value), "cell", "eval"), names))
    pages = [value for value in shown if hasattr(value, "_repr_html_")]
    assert len(pages) == len(shown) - 1, "all but the path of the certificate"
    moved = shown[-2]
    assert set(moved.subject) == {"BODY:3 to LAMP:3"}  # type: ignore[attr-defined]  # a frame
    assert "ready" in str(pages[-1]._repr_html_())
