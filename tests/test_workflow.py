"""The workflow file holds together, and runs this project's own scripts on all that it is said to be for."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
FILE = ROOT / ".github" / "workflows" / "tests.yml"
TEXT = FILE.read_text(encoding="utf-8")
CHECKER = Path(sys.prefix) / "workflow"


def looked_over(file: Path) -> subprocess.CompletedProcess[str]:
    node = shutil.which("node")
    if node is None or not (CHECKER / "node_modules").is_dir():
        pytest.skip(
            "node and what npm brings to look over workflow files are not here (make test brings them)"
        )
    command = [node, str(ROOT / ".ci" / "workflow.cjs"), str(CHECKER), str(file)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_it_holds_together() -> None:
    done = looked_over(FILE)
    assert (done.returncode, done.stdout) == (0, ""), done.stdout + done.stderr


def test_what_is_wrong_with_one_is_seen(tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.yml"
    wrong.write_text(TEXT.replace("matrix.python }}", "matrix.pyton }}", 1), encoding="utf-8")
    done = looked_over(wrong)
    assert done.returncode == 1
    assert "pyton" in done.stdout


def test_it_is_for_the_systems_and_pythons_of_the_package() -> None:
    told = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["classifiers"]
    pythons = re.findall(r"Python :: (3\.\d+)", " ".join(told))
    for matrix in re.findall(r"python: \[(.*)\]", TEXT):
        assert re.findall(r'"([\d.]+)"', matrix) == pythons
    assert len(re.findall(r"python: \[", TEXT)) == 2
    systems = {
        "MacOS": "macos-latest",
        "Microsoft :: Windows": "windows-latest",
        "POSIX :: Linux": "ubuntu-latest",
    }
    named = {
        each.partition("Operating System :: ")[2] for each in told if each.startswith("Operating System")
    }
    assert named == set(systems)
    assert all(runner in TEXT for runner in systems.values())


def test_it_runs_what_is_there() -> None:
    """Scripts, files and targets of its own lines; nothing is fetched but by a package's name."""
    runs = re.findall(r"run: (.+)", TEXT)
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    for line in runs:
        for word in line.split():
            if re.match(r"(\.ci|requirements)/", word):
                assert (ROOT / word).is_file(), line
        if line.startswith("make "):
            assert f"\n{line.split()[1]}:" in makefile
    assert any(".ci/run" in line for line in runs)
    assert any("pytest" in line for line in runs)
    assert "://" not in TEXT


def test_the_lock_of_the_checker_names_no_host_and_has_its_hash() -> None:
    lock = (ROOT / ".ci" / "package-lock.json").read_text(encoding="utf-8")
    assert "://" not in lock
    assert lock.count('"integrity": "sha512-') == 1 == lock.count('"node_modules/')
