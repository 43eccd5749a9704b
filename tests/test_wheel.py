"""The built sdist and wheel stand alone: the wheel, made of the sdist, does the job without the checkout."""

from __future__ import annotations

import email
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import zipfile
from pathlib import Path

import click
import pytest
from trove_classifiers import classifiers

import loomproof

ROOT = Path(__file__).parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the sdist, and of the wheel that is made of nothing but the sdist."""
    folder = tmp_path_factory.mktemp("dist")
    build = (sys.executable, "-m", "build", "--no-isolation", "--outdir", str(folder), str(ROOT))
    subprocess.run(build, check=True, capture_output=True)
    return folder


def test_the_sdist_has_all_that_is_kept_and_what_its_tests_want(built: Path) -> None:
    [archive] = built.glob("*.tar.gz")
    head = f"loomproof-{loomproof.__version__}/"
    assert archive.name == f"{head[:-1]}.tar.gz"
    with tarfile.open(archive) as packed:
        names = {name.removeprefix(head) for name in packed.getnames()}
    if (ROOT / ".git").exists() and shutil.which("git"):
        kept = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True)
        assert set(kept.stdout.splitlines()) <= names
    for wanted in ("tests/conftest.py", "tests/system_packages.sh", "requirements/dev.txt", "Makefile"):
        assert wanted in names
    assert not [name for name in names if name.startswith((".venv", "out/", "site/", ".git/"))]


def test_the_wheel_says_what_it_is(built: Path) -> None:
    [wheel] = built.glob("*.whl")
    assert wheel.name == f"loomproof-{loomproof.__version__}-py3-none-any.whl"
    with zipfile.ZipFile(wheel) as packed:
        names = {name for name in packed.namelist() if name.startswith("loomproof/")}
        [about] = [name for name in packed.namelist() if name.endswith(".dist-info/METADATA")]
        head, _, text = packed.read(about).decode().partition("\n\n")
    said = email.message_from_string(head)
    own = {path.relative_to(ROOT / "src").as_posix() for path in (ROOT / "src" / "loomproof").rglob("*")}
    files = {name for name in own if (ROOT / "src" / name).is_file() and "__pycache__" not in name}
    looms = {
        f"loomproof/{path.relative_to(ROOT).as_posix()}"
        for path in (ROOT / "fixtures").rglob("*")
        if path.is_file()
    }
    assert names == files | looms
    assert said["Version"] == loomproof.__version__
    assert said["Requires-Python"] == ">=3.11"
    assert said["License-Expression"] == "MIT"
    assert text == (ROOT / "README.md").read_text(encoding="utf-8")
    extras = {"fleet", "postgresql", "spark", "web"}
    assert set(said.get_all("Provides-Extra", [])) == extras == set(PROJECT["optional-dependencies"])
    assert set(said.get_all("Classifier", [])) == set(PROJECT["classifiers"]) <= set(classifiers)
    # Nothing says where the project lives on the net, as it lives nowhere yet.
    assert said["Project-URL"] is said["Home-page"] is None


def test_it_is_for_the_pythons_that_it_is_tried_on() -> None:
    head = "Programming Language :: Python :: 3."
    told = [each.removeprefix(head) for each in PROJECT["classifiers"] if each.startswith(head)]
    assert told == ["11", "12", "13", "14"]


def test_the_wheel_runs_the_demo(built: Path, tmp_path: Path) -> None:
    [wheel] = built.glob("*.whl")
    place = tmp_path / "env"
    subprocess.run([sys.executable, "-m", "venv", "--without-pip", str(place)], check=True)
    # The libraries come from the environment that runs the tests; loomproof itself from the wheel alone.
    paths = sysconfig.get_paths("venv", {"base": str(place), "platbase": str(place)})
    inside = Path(paths["purelib"])
    subprocess.run(
        [
            *(sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--no-index"),
            *("--target", str(inside), str(wheel)),
        ],
        check=True,
    )
    (inside / "libraries.pth").write_text(f"{Path(click.__file__).parents[1]}\n", encoding="utf-8")
    python = Path(paths["scripts"]) / "python"
    where = subprocess.run(
        [python, "-c", "import loomproof; print(loomproof.__file__)"],
        check=True,
        capture_output=True,
        text=True,
        cwd=tmp_path,
    )
    assert Path(where.stdout.strip()).is_relative_to(place)
    done = subprocess.run(
        [python, "-m", "loomproof", "demo"], check=False, capture_output=True, text=True, cwd=tmp_path
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert len(list((tmp_path / "out").glob("*.pdf"))) == 2
