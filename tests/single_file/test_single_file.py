"""The single file in small: unpacked once, whole or not at all, found by what it starts; refused in words."""

from __future__ import annotations

import ast
import json
import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from loomproof.records.data_folder import home
from tests.single_file import start
from tests.single_file.build import digest, pack

PROGRAM = """
import subprocess, sys
def main():
    print(sys.argv[0], *sys.argv[1:])
    print(__file__)
    print(subprocess.run([sys.executable, "-m", "loomproof.child"], capture_output=True, text=True).stdout)
    sys.exit(4)
"""


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("single")
    for name, text in (
        ("__init__", ""),
        ("child", "print('child')"),
        ("cli/main", PROGRAM),
        ("cli/__init__", ""),
    ):
        path = folder / "libraries" / "loomproof" / f"{name}.py"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    return pack(folder / "libraries", folder / "dist")


def started(file: Path, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    # Isolated: neither this checkout nor what the tests are installed in is found.
    environment = {**os.environ, "LOOMPROOF_HOME": str(folder)}
    command = [sys.executable, "-I", "-S", str(file), *words]
    return subprocess.run(command, capture_output=True, text=True, env=environment, check=False)


def test_it_unpacks_once_and_what_it_starts_finds_it(made: Path, tmp_path: Path) -> None:
    first, second = (started(made, tmp_path / "home", "prove", "a loom") for _ in range(2))
    assert first.returncode == second.returncode == 4, first.stderr
    program, where, child, *_ = first.stdout.splitlines()
    assert program == "loomproof prove a loom"
    assert Path(where).is_relative_to(tmp_path / "home" / "unpacked")
    assert child == "child"
    assert "unpacking once" in first.stderr
    assert second.stderr == ""
    assert len(list((tmp_path / "home" / "unpacked").iterdir())) == 1


def test_what_was_broken_off_is_not_taken_for_whole(made: Path, tmp_path: Path) -> None:
    (tmp_path / "unpacked" / ".new-broken" / "libraries").mkdir(parents=True)
    assert started(made, tmp_path).returncode == 4


@pytest.mark.parametrize(("key", "other"), [("python", "3.9"), ("system", "Plan9"), ("machine", "vax")])
def test_another_machine_is_told_what_it_is_for(made: Path, tmp_path: Path, key: str, other: str) -> None:
    file = tmp_path / "other.pyz"
    with zipfile.ZipFile(made) as packed, zipfile.ZipFile(file, "w") as changed:
        for name in packed.namelist():
            data = packed.read(name)
            if name == "about.json":
                data = json.dumps({**json.loads(data), key: other}).encode()
            changed.writestr(name, data)
    done = started(file, tmp_path)
    assert done.returncode == 2
    assert other in done.stderr
    assert "this is Python" in done.stderr
    assert "Traceback" not in done.stderr
    assert not (tmp_path / "unpacked").exists()


def test_a_folder_that_cannot_be_written_is_told(made: Path, tmp_path: Path) -> None:
    (tmp_path / "unpacked").write_text("a file is in the way")
    done = started(made, tmp_path)
    assert done.returncode == 2
    assert "LOOMPROOF_HOME" in done.stderr
    assert "Traceback" not in done.stderr


def test_another_content_has_another_place(made: Path, tmp_path: Path) -> None:
    (tmp_path / "a").write_text("x")
    first = digest(tmp_path)
    (tmp_path / "a").rename(tmp_path / "b")
    second = digest(tmp_path)
    (tmp_path / "b").write_text("y")
    assert len({first, second, digest(tmp_path)}) == 3


@pytest.mark.parametrize(
    ("system", "end"),
    [
        ("linux", ".cache/loomproof"),
        ("darwin", "Library/Caches/loomproof"),
        ("win32", "AppData/Local/loomproof/unpacked"),
    ],
)
def test_it_is_unpacked_apart_from_what_a_person_keeps(
    system: str, end: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("LOOMPROOF_HOME")
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")  # to be ignored, by the specification
    monkeypatch.setattr(sys, "platform", system)
    assert start.cache().as_posix().endswith(end)
    assert start.cache() != home({}, system)


def test_an_older_python_can_read_what_tells_it() -> None:
    ast.parse(Path(start.__file__).read_text(encoding="utf-8"), feature_version=(3, 6))
