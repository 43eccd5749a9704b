"""Commands that one finds: the page without a command, help by job, near misses, completion in shells.

How the shells ask is theirs: bash's COMP_WORDS and COMP_CWORD (bash manual, Programmable Completion).
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
import sys
from pathlib import Path

import pytest

from loomproof.cli.main import COMMANDS, GROUPS, JOBS
from tests.cli.running import loomproof, process

HEAVY = "'numpy', 'pydantic', 'sqlalchemy', 'rich', 'cryptography', 'lxml', 'serial', 'openpyxl'"


@pytest.fixture
def folder(fixtures: Path, tmp_path: Path) -> Path:
    shutil.copytree(fixtures / "tail_lamp", tmp_path / "tail_lamp")
    return tmp_path


def completed(folder: Path, *words: str, shell: str = "bash") -> list[str]:
    """What the shell is offered for the last of the words; each as ``type,value`` or lines of zsh."""
    done = loomproof(
        cwd=folder,
        LOOMPROOF_HOME=str(folder / "home"),
        _LOOMPROOF_COMPLETE=f"{shell}_complete",
        COMP_WORDS=" ".join(("loomproof", *words)),
        COMP_CWORD=str(len(words)),
    )
    assert done.returncode == 0
    return [line for line in done.stdout.splitlines() if line]


def test_every_command_stands_under_one_job() -> None:
    listed = [name for names in GROUPS.values() for name in names.split()]
    assert sorted(listed) == sorted(COMMANDS)
    for said in JOBS.values():
        assert set(said.replace(";", ",").replace(" or ", ", ").replace(", ", ",").split(",")) <= set(
            COMMANDS
        )


def test_in_an_empty_folder_there_is_something_to_begin_with(tmp_path: Path) -> None:
    done = loomproof(cwd=tmp_path, LOOMPROOF_HOME=str(tmp_path / "home"))
    assert done.returncode == 0
    assert "No loom lies in this folder" in done.stdout
    assert "loomproof demo" in done.stdout
    assert not (tmp_path / "home").exists(), "who only looks makes no folder"
    for job in JOBS:
        assert job in done.stdout


def test_the_next_step_follows_what_was_proved(folder: Path) -> None:
    home = str(folder / "home")
    first = loomproof(cwd=folder, LOOMPROOF_HOME=home).stdout
    assert "no proof of it is listed; no adapter table of it lies here" in " ".join(first.split())
    assert "loomproof check tail_lamp" in first
    words = ("prove", "tail_lamp", "--bench", "sim:?fault=open%20W2")
    assert loomproof(*words, cwd=folder, LOOMPROOF_HOME=home).returncode == 1
    failed = loomproof(cwd=folder, LOOMPROOF_HOME=home).stdout
    assert "listed as FAIL" in " ".join(failed.split())
    (run,) = [path.name.partition(".")[0] for path in (folder / "out").glob("*.journal.jsonl")]
    assert f"loomproof findings {run}" in failed
    assert loomproof("prove", "tail_lamp", "--bench", "sim:", cwd=folder, LOOMPROOF_HOME=home).returncode == 0
    passed = loomproof(cwd=folder, LOOMPROOF_HOME=home).stdout
    assert "listed as PASS" in " ".join(passed.split())
    assert "loomproof fit tail_lamp" in passed
    assert f"plain,{run}" in completed(folder, "findings", "")
    assert f"plain,{run}" in completed(folder, "certificate", run[:8])


def test_an_adapter_table_that_lies_here_is_seen_whatever_parts_its_cells(folder: Path) -> None:
    (folder / "mine.csv").write_text("point;connector;cavity\n1;BODY;1\n", encoding="utf-8")
    said = " ".join(loomproof(cwd=folder, LOOMPROOF_HOME=str(folder / "home")).stdout.split())
    assert "mine.csv is an adapter table for it" in said
    (folder / "mine.csv").write_text("point,connector,cavity\n1,ECU,1\n", encoding="utf-8")
    said = " ".join(loomproof(cwd=folder, LOOMPROOF_HOME=str(folder / "home")).stdout.split())
    assert "no adapter table of it lies here" in said


@pytest.mark.parametrize("broken", ["[loom", "[loom]\nname = 3\n", "loom = 5\n"])
def test_broken_files_are_passed_over(folder: Path, broken: str) -> None:
    (folder / "tail_lamp" / "loom.toml").write_text(broken, encoding="utf-8")
    (folder / "workshop.toml").write_text("bench = ", encoding="utf-8")
    (folder / "x.csv").write_bytes(b"\xff\xfe\x00point")
    (folder / "home").mkdir()
    (folder / "home" / "records.db").write_bytes(b"no database at all" * 100)
    done = loomproof(cwd=folder, LOOMPROOF_HOME=str(folder / "home"))
    assert done.returncode == 0
    assert "tail_lamp" in done.stdout


def test_a_store_without_its_tables_and_a_database_elsewhere(folder: Path) -> None:
    sqlite3.connect(folder / "empty.db").close()
    done = loomproof(cwd=folder, LOOMPROOF_STORE=str(folder / "empty.db"), LOOMPROOF_HOME=str(folder))
    assert done.returncode == 0
    where = "postgresql://nobody@nowhere.invalid/records"
    done = loomproof(cwd=folder, LOOMPROOF_STORE=where, LOOMPROOF_HOME=str(folder))
    assert "The store is a database, not looked into here." in done.stdout


def test_a_command_of_a_group_is_named_with_its_group() -> None:
    done = loomproof("selftest")
    assert done.returncode == 2
    assert "There is loomproof bench selftest." in done.stderr
    assert "'selftest'" in loomproof("bench", "selftes").stderr


def test_what_can_follow_is_completed_from_what_is_there(folder: Path) -> None:
    assert completed(folder, "ad") == ["plain,adapter"]
    assert completed(folder, "check", "") == ["plain,tail_lamp"]
    assert completed(folder, "check", "x") == ["file,x"]
    assert completed(folder, "explain", "tail_lamp", "LAMP:") == [f"plain,LAMP:{n}" for n in range(1, 7)]
    plugs = ["plain,BODY", "plain,LAMP", "plain,EARTH"]
    assert completed(folder, "adapter", "new", "tail_lamp", "--connector", "") == plugs
    assert completed(folder, "prove", "tail_lamp", "--split", "L") == ["plain,LAMP"]
    assert completed(folder, "findings", "") == ["plain,last"]
    assert completed(folder, "explain", "nowhere", "L") == []
    assert completed(folder, "explain", "tail_lamp", "LAMP:6", shell="powershell") == ["plain", "LAMP:6", "_"]
    assert completed(folder, "explain", "tail_lamp", "LAMP:6", shell="zsh")[1] in ("LAMP:6", r"LAMP\:6")


def test_a_name_that_a_shell_would_read_otherwise_is_not_offered(folder: Path) -> None:
    table = folder / "tail_lamp" / "connectors.csv"
    table.write_text(
        "connector,kind,cavities\nFUSE BOX,plug,1-3\nA$B,plug,1\nOK,plug,01-03\n", encoding="utf-8"
    )
    words = ("adapter", "new", "tail_lamp", "--connector", "")
    assert completed(folder, *words) == ["plain,OK"]
    assert completed(folder, "explain", "tail_lamp", "OK") == ["plain,OK:01", "plain,OK:02", "plain,OK:03"]


def test_neither_the_page_nor_completion_imports_what_is_heavy(folder: Path) -> None:
    """What makes them slow is what they import; processor time is measured apart."""
    script = (
        "import sys; from loomproof.cli.main import run; run([]); "
        f"print('\\n', [m for m in ({HEAVY}) if m in sys.modules])"
    )
    asked = {"_LOOMPROOF_COMPLETE": "bash_complete", "COMP_CWORD": "3"}
    for words in ("explain tail_lamp L", "log --last ", "findings x --store ", "prove tail_lamp --split "):
        for more in ({}, {**asked, "COMP_WORDS": f"loomproof {words}"}):
            environment = os.environ | {"LOOMPROOF_HOME": str(folder)} | more
            done = subprocess.run(
                [sys.executable, "-c", script],
                capture_output=True,
                text=True,
                cwd=folder,
                env=environment,
                check=True,
            )
            assert done.stdout.splitlines()[-1].strip() == "[]", words


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish", "powershell"])
def test_a_script_for_each_shell(shell: str, tmp_path: Path) -> None:
    done = process("completion", shell)
    assert done.returncode == 0
    assert "_LOOMPROOF_COMPLETE" in done.stdout
    if shutil.which(shell) and shell != "powershell":
        file = tmp_path / "script"
        file.write_text(done.stdout, encoding="utf-8")
        assert subprocess.run([shell, "-n", str(file)], check=False).returncode == 0


def test_bash_itself_completes_a_cavity(folder: Path) -> None:
    """A colon parts words in bash unless the script says otherwise; asked of bash itself."""
    if shutil.which("bash") is None:
        pytest.skip("there is no bash")
    (folder / "loomproof").write_text(
        f'#!/bin/sh\nexec "{sys.executable}" -m loomproof "$@"\n', encoding="utf-8"
    )
    (folder / "loomproof").chmod(0o755)
    script = (
        'eval "$(loomproof completion bash)"; COMP_WORDS=(loomproof explain tail_lamp LAMP:); COMP_CWORD=3; '
        '_loomproof_completion loomproof; printf "%s\\n" "${COMPREPLY[@]}"; '
        "case $COMP_WORDBREAKS in *:*) echo colon;; esac"
    )
    environment = os.environ | {"PATH": f"{folder}:{os.environ['PATH']}", "LOOMPROOF_HOME": str(folder)}
    done = subprocess.run(
        ["bash", "-c", script], capture_output=True, text=True, cwd=folder, env=environment, check=False
    )
    assert done.stdout.split() == [f"LAMP:{n}" for n in range(1, 7)], done.stderr


def test_an_unknown_shell_is_refused() -> None:
    done = loomproof("completion", "cmd")
    assert done.returncode == 2
    assert "'bash', 'zsh', 'fish', 'powershell'" in done.stderr
