"""The command as a whole: help, unknown commands, and that every command is documented."""

from __future__ import annotations

import contextlib
import errno
import importlib
import io
import os
import re
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Generator, Iterator
from pathlib import Path

import click
import pytest

from loomproof.cli.main import COMMANDS, main, run
from loomproof.jobs.events import Event, Progress
from loomproof.screens.progress import Screen, on_screen
from loomproof.screens.terminal_operator import TerminalOperator
from tests.cli.running import loomproof, process

ROOT = Path(__file__).parents[2]


def commands() -> list[tuple[str, click.Command]]:
    found: list[tuple[str, click.Command]] = []
    for name, entry in COMMANDS.items():
        module, _, attribute = entry.where.partition(":")
        command = getattr(importlib.import_module(module), attribute)
        found.append((name, command))
        if isinstance(command, click.Group):
            found += [(f"{name} {sub}", each) for sub, each in command.commands.items()]
    return found


@pytest.mark.parametrize(("name", "command"), commands(), ids=str)
def test_every_command_is_documented(name: str, command: click.Command) -> None:
    assert command.help, f"{name} has no help text"
    for parameter in command.params:
        if isinstance(parameter, click.Option):
            assert parameter.help, f"loomproof {name} {parameter.opts[0]} has no help text"


@pytest.mark.parametrize("words", [[], ["--help"], *[[*name.split(), "--help"] for name, _ in commands()]])
def test_help_pages(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert run(words) in (0, 2)
    out, err = capsys.readouterr()
    assert "Usage:" in out + err
    assert all(len(line) <= 80 for line in (out + err).splitlines())


def test_help_imports_nothing_heavy() -> None:
    """What makes a command start slowly is what it imports; wall time is measured by make figures."""
    script = (
        "import sys; from loomproof.cli.main import run; run(['--help']); "
        "print([m for m in ('numpy', 'scipy', 'pandas', 'pydantic', 'sqlalchemy', 'lxml', 'rich', 'serial',"
        " 'pyvisa', 'typst', 'cryptography') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_planning_hook_ups_loads_no_store_and_no_keys(fixtures: Path) -> None:
    """Whether it can be done is told as soon as the loom is read; a store and its keys take half as long."""
    script = (
        "import sys; from loomproof.cli.main import run; "
        f"run(['plan', {str(fixtures / 'tail_lamp')!r}, '--points', '12']); "
        "print([m for m in ('scipy', 'pandas', 'sqlalchemy', 'serial', 'pyvisa', 'typst', 'cryptography')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_a_misspelt_command_gets_a_near_miss() -> None:
    done = process("prov")
    assert done.returncode == 2
    assert "There is prove." in done.stderr


def test_a_misspelt_option_is_an_error_of_the_command() -> None:
    done = loomproof("prove", "somewhere", "--bensh", "sim:")
    assert done.returncode == 2
    assert "--bench" in done.stderr


def test_the_documentation_tells_the_exit_codes() -> None:
    page = (ROOT / "docs" / "reference" / "exit_codes.md").read_text(encoding="utf-8")
    for code in range(6):
        assert re.search(rf"^\| {code} \|", page, re.MULTILINE), f"exit code {code} is not in {page}"


def test_every_command_has_a_whole_sentence_for_the_list() -> None:
    for name, command in commands():
        short = COMMANDS[name].help if name in COMMANDS else command.get_short_help_str(limit=60)
        assert short.endswith("."), name
        assert not short.endswith("..."), name


def test_an_alphabet_that_lacks_a_sign_and_a_closed_input_end_in_no_traceback(tmp_path: Path) -> None:
    environment = os.environ | {"PYTHONIOENCODING": "latin-1", "LOOMPROOF_HOME": str(tmp_path)}
    tail = str(ROOT / "fixtures" / "tail_lamp")
    words = [sys.executable, "-m", "loomproof", "explain", tail, "BODY:1", "LAMP:1"]
    plain = subprocess.run(words, capture_output=True, env=environment, check=False)
    assert plain.returncode == 0, plain.stderr
    assert b"0.064 ?" in plain.stdout
    out = str(tmp_path / "out")
    prove = f"prove {tail} --bench tcp:127.0.0.1:9 --adapter in-order --out {out}"
    shell = f"exec {sys.executable} -m loomproof {prove} <&-"
    closed = subprocess.run(["sh", "-c", shell], capture_output=True, env=environment, check=False)
    assert closed.returncode == 3
    assert b"Traceback" not in closed.stderr


def test_a_results_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    tail, out = ROOT / "fixtures" / "tail_lamp", tmp_path / "file" / "out"
    done = loomproof("prove", tail, "--bench", "sim:", "--out", out)
    assert done.returncode == 2
    assert "cannot be made" in done.stderr


@pytest.mark.parametrize("closed", ["2>&-", ">&-", ">&- 2>&- <&-"])
def test_closed_streams_change_no_verdict(fixtures: Path, tmp_path: Path, closed: str) -> None:
    """Exit code 1 says that the loom fails; a stream that is not there says nothing of the loom."""
    shell = f'exec "$0" -m loomproof prove "$1" --bench sim: --out "$2" {closed}'
    words = ["sh", "-c", shell, sys.executable, str(fixtures / "tail_lamp"), str(tmp_path)]
    assert subprocess.run(words, capture_output=True, check=False).returncode == 0
    (journal,) = tmp_path.glob("*.journal.jsonl")
    assert all(line.startswith("{") for line in journal.read_text(encoding="utf-8").splitlines())


def codes_with_the_reader_gone(tmp_path: Path, *words: str | Path) -> int:
    """The exit code of a command whose reader takes nothing and goes away."""
    shell = 'out="$1"; shift; ("$0" -m loomproof "$@"; echo $? > "$out/code") | true'
    subprocess.run(
        ["sh", "-c", shell, sys.executable, str(tmp_path), *map(str, words)], capture_output=True, check=False
    )
    return int((tmp_path / "code").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("fault", "code"), [("", 0), ("?fault=open%20W2", 1)])
def test_a_reader_that_goes_away_changes_no_verdict(
    fixtures: Path, tmp_path: Path, fault: str, code: int
) -> None:
    words = ("prove", fixtures / "tail_lamp", "--bench", f"sim:{fault}", "--out", tmp_path)
    assert codes_with_the_reader_gone(tmp_path, *words) == code


def test_a_reader_of_everything_that_goes_away_leaves_the_proof_whole_and_kept(
    fixtures: Path, tmp_path: Path
) -> None:
    """As ``prove LOOM 2>&1 | head -1``: what is measured goes on unseen, is sealed and stands in the log."""
    shell = '("$0" -m loomproof prove "$1" --bench sim: --out "$2" 2>&1; echo $? > "$2/code") | head -1'
    words = ["sh", "-c", shell, sys.executable, str(fixtures / "tail_lamp"), str(tmp_path)]
    shown = subprocess.run(words, capture_output=True, text=True, check=False)
    assert len(shown.stdout.splitlines()) == 1
    assert (tmp_path / "code").read_text(encoding="utf-8") == "0\n"
    assert len(list(tmp_path.glob("*.pdf"))) == 1
    assert "BROKEN OFF" not in loomproof("log").stdout


def test_where_the_reader_went_away_nobody_answers_for_the_loom(monkeypatch: pytest.MonkeyPatch) -> None:
    """A question that nobody can read is answered no, whatever happens to be typed."""

    class Keys(io.StringIO):
        def isatty(self) -> bool:
            return True

    class Gone(Screen):
        def show(self, event: Event) -> None:
            raise BrokenPipeError

    def job() -> Generator[Event, None, bool]:
        yield Progress("checking the bench")
        return TerminalOperator().confirm("Is all of that done?")

    monkeypatch.setattr(sys, "stdin", Keys("y\n" * 3))
    monkeypatch.setattr(sys, "stdout", io.StringIO())
    monkeypatch.setattr(sys, "stderr", io.StringIO())
    assert on_screen(job(), Screen(), lambda _: None)
    assert not on_screen(job(), Gone(), lambda _: None)


def test_a_reader_that_goes_away_hides_no_trouble_in_the_log(fixtures: Path, tmp_path: Path) -> None:
    """Whoever reads the first line only, as ``log | head -1`` does, gets the code of what was found."""
    store = tmp_path / "kept.db"
    kept = ("--store", store)
    tail = fixtures / "tail_lamp"
    assert loomproof("prove", tail, "--bench", "sim:", "--out", tmp_path, *kept).returncode == 0
    assert codes_with_the_reader_gone(tmp_path, "log", *kept) == 0
    assert codes_with_the_reader_gone(tmp_path, "nets", tail) == 0
    with sqlite3.connect(store) as connection:
        (guards,) = zip(
            *connection.execute("select name from sqlite_master where type = 'trigger'"), strict=True
        )
        for guard in guards:
            connection.execute(f"drop trigger {guard}")
        connection.execute("update runs set person = 'Nobody'")
    connection.close()
    assert loomproof("log", *kept).returncode == 5
    assert codes_with_the_reader_gone(tmp_path, "log", *kept) == 5


def test_a_file_that_cannot_be_read_is_named_without_a_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def refused(*_: object, **__: object) -> None:
        raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), "mine.pem")

    monkeypatch.setattr("loomproof.jobs.signing.Station.signer", refused)
    assert run(["key", "show"]) == 2
    assert capsys.readouterr().err == "loomproof: command: mine.pem: Permission denied\n"


@pytest.mark.parametrize(
    "words", [("history", "\udcff"), ("prove", "LOOM", "--bench", "sim:", "--person", "\udcff")]
)
def test_what_is_no_text_is_refused_by_its_bytes(fixtures: Path, words: tuple[str, ...]) -> None:
    done = process(*(fixtures / "tail_lamp" if word == "LOOM" else word for word in words))
    assert done.returncode == 2
    assert "\\xff is no text in UTF-8" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no device that is always full")
@pytest.mark.parametrize("full", ["2>/dev/full", ">/dev/full", ">/dev/full 2>&1"])
def test_a_full_disk_behind_a_stream_is_no_failing_loom(fixtures: Path, tmp_path: Path, full: str) -> None:
    shell = f'exec "$0" -m loomproof prove "$1" --bench sim: --out "$2" {full}'
    words = ["sh", "-c", shell, sys.executable, str(fixtures / "tail_lamp"), str(tmp_path)]
    assert subprocess.run(words, capture_output=True, check=False).returncode == 3


ORDERS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@contextlib.contextmanager
def orders_as_before() -> Iterator[None]:
    """The command's own end ignores orders for good: processes that later tests start would inherit that."""
    before = [signal.getsignal(number) for number in ORDERS]
    try:
        yield
    finally:
        for number, handler in zip(ORDERS, before, strict=True):
            signal.signal(number, handler)


def test_an_order_to_stop_that_comes_as_the_command_ends_is_told_by_its_code(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def late(_: object) -> int:
        raise KeyboardInterrupt

    monkeypatch.setattr("loomproof.cli.main.run", late)
    with orders_as_before():
        with pytest.raises(SystemExit) as ended:
            main(["info"])
        assert [signal.getsignal(number) for number in ORDERS] == [signal.SIG_IGN] * 3, "none comes later"
    assert ended.value.code == 3
    assert "stopped before the end" in capsys.readouterr().err


def test_a_mistake_of_the_program_is_no_failing_loom(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def mistaken(_: object) -> int:
        raise KeyError("W1")

    monkeypatch.setattr("loomproof.cli.main.run", mistaken)
    with orders_as_before(), pytest.raises(SystemExit) as ended:
        main(["info"])
    assert ended.value.code == 3
    said = capsys.readouterr().err
    assert "KeyError: 'W1'" in said
    assert "a mistake of the program; it claims nothing of a loom" in said
