"""Each bug that three people met when they used the program, as they met it (from the eighteenth on).

number what went wrong                            test
18     a traceback from what is no journal        test_what_is_no_journal_is_refused
19     a traceback from a folder without entry    test_a_folder_that_may_not_be_entered_is_no_failing_loom
20     a reader that went away took the code      tests/cli/test_main.py: a reader that goes away
21     several exit codes for one cause           test_a_full_disk_has_one_code, test_nothing_is_left_behind
22     a full disk took the verdict               tests/cli/test_ending.py: whatever happens to its files
23     cures that do not work                     tests/cli/test_cures.py, test_a_cure_fits_its_cause
24     "There is adapter." of adapter             test_an_order_without_its_object_is_told_what_it_wants
25     row and column of another row's heading    test_a_cell_is_named_by_its_own_heading
26     validation errors of the inside            test_a_file_of_another_kind_is_called_what_it_is
27     [x<=None] in a help page                   test_no_help_page_has_a_limit_of_nothing
28     questions behind the line of progress      test_a_question_stands_on_a_line_of_its_own
29     words broken at the edge of the screen     test_no_word_is_broken
30     "Size" was no size                         tests/loom/test_from_to.py: headings Size, and test_a_size
31     a loom that nobody knows, a wrong ending   test_what_nobody_knows_is_said, test_a_name_promises
32     a simulator's self-test told of the next   tests/bench/test_bench_commands.py: reach the proof
33     a splice that reads high                   test_a_splice_has_no_point
34     a workbook without a comment               test_a_workbook_says_what_goes_where
"""

from __future__ import annotations

import errno
import json
import os
import re
import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import click
import openpyxl
import pytest

from loomproof.cli.main import cli, run
from loomproof.loom import writing
from loomproof.loom.columns import SHEETS
from loomproof.loom.reading import load
from loomproof.measuring.events import Progress
from loomproof.screens import terminal_operator
from loomproof.screens.progress import Screen
from loomproof.virtual.console import WORDS, Control
from loomproof.virtual.link import Device
from loomproof.virtual.noise import Noise
from loomproof.virtual.scanner import Make, Scanner
from tests.cli.running import loomproof

Output = pytest.CaptureFixture[str]


@pytest.fixture
def proved(fixtures: Path, tmp_path: Path) -> Path:
    """The folder of a proof, each file under a short name."""
    out = tmp_path / "out"
    assert loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:", "--out", out).returncode == 0
    for ending in ("journal.jsonl", "results.json", "record.json", "pdf"):
        (found,) = out.glob(f"*.{ending}")
        shutil.copy(found, tmp_path / f"x.{ending}")
    return tmp_path


def test_what_is_no_journal_is_refused(proved: Path, fixtures: Path) -> None:
    shutil.copy(fixtures / "tail_lamp" / "wires.csv", proved)
    (proved / "empty").touch()
    for name in ("x.results.json", "x.record.json", "x.pdf", "wires.csv", "empty", "."):
        done = loomproof("replay", proved / name, fixtures / "tail_lamp")
        assert done.returncode == (3 if name == "empty" else 2), name
        assert str(proved / name) in done.stderr
        assert "journal" in done.stderr


LOCKED = "/locked"
INTO_LOCKED = """
prove LOOM --bench sim: --store /locked/x.db|log --store /locked/x.db|report --store /locked/x.db
records check --store /locked/x.db|records restore /locked/b|records import /locked/b|check /locked/l
prove /locked/l --bench sim:|adapter check /locked/a.csv LOOM|prove LOOM --bench sim: --adapter /locked/a.csv
key know N /locked/x|findings /locked/x.json|replay /locked/j LOOM|import /locked/l.csv --to made
fit /locked/l|simulate /locked/l|prove LOOM --bench sim: --plan /locked/p.json|verify /locked/c.pdf
prove LOOM --bench sim: --out /locked/o|new /locked/n|draw LOOM --to /locked/d|info /locked/l
export LOOM --folder /locked/d|export LOOM --workbook /locked/d.xlsx|adapter new LOOM --to /locked/a.csv
records backup /locked/b.db|key export /locked/k|compare /locked/a.json /locked/b.json|nets /locked/l
bench zero --bench sim: --adapter /locked/a.csv|explain /locked/l A B|history /locked/l|wires /locked/a.json
retest /locked/r.json LOOM --bench sim:|trace --adapter /locked/a.csv --bench sim: --to made
fit LOOM --pdf /locked/f.pdf|fit LOOM --csv /locked/f.csv|plan LOOM --json /locked/p.json
""".strip().replace("\n", "|")


@pytest.mark.parametrize("words", INTO_LOCKED.split("|"))
def test_a_folder_that_may_not_be_entered_is_no_failing_loom(
    words: str, fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Code 1 says that the loom fails. Whoever may not look into a folder is told which, with code 2."""

    def refusing(name: str) -> None:
        whole = getattr(Path, name)

        def ask(path: Path, *more: object, **named: object) -> object:
            if str(path).startswith(LOCKED):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES), str(path))
            return whole(path, *more, **named)

        monkeypatch.setattr(Path, name, ask)

    for name in ("stat", "open", "mkdir", "unlink", "touch"):
        refusing(name)
    at = {"LOOM": str(fixtures / "tail_lamp"), "made": str(tmp_path / "made")}
    done = loomproof(*(at.get(word, word) for word in words.split()), cwd=tmp_path)
    assert done.returncode == 2
    named = [Path(word).name for word in words.split() if word.startswith(LOCKED)]
    assert any(name in done.stderr for name in (LOCKED, *named))


WRITERS = [
    "adapter new LOOM --to FILE.csv",
    "draw LOOM --to FILE",
    "new FILE",
    "export LOOM --folder FILE",
    "export LOOM --workbook FILE.xlsx",
    "export LOOM --kbl FILE.xml",
    "fit LOOM --pdf FILE.pdf",
    "fit LOOM --csv FILE.csv",
    "certificate last -o FILE.pdf",
    "label last -o FILE.pdf",
    "report --runs FILE.csv",
    "report --junit FILE.xml",
    "plan LOOM --json FILE.json",
    "wires last -o FILE.csv",
]


@pytest.mark.parametrize(("number", "code"), [(errno.ENOSPC, 3), (errno.EACCES, 2)])
def test_a_full_disk_has_one_code(
    number: int, code: int, proved: Path, fixtures: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whoever writes what: a full disk is trouble (3), a name that cannot be written to is wrong (2)."""

    def full(path: Path, content: bytes, *, private: bool = False) -> None:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr(writing, "put", full)
    at = {"LOOM": str(fixtures / "tail_lamp")}
    for words in WRITERS:
        told = [at.get(word, word).replace("FILE", str(proved / "made")) for word in words.split()]
        done = loomproof(*told)
        assert done.returncode == code, words
        assert os.strerror(number) in done.stderr, words
        assert "name another" in done.stderr.casefold(), words
        assert ("Make room" in done.stderr) == (number == errno.ENOSPC), words


def test_nothing_is_left_behind(proved: Path, fixtures: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No adapter table of no bytes that blocks the next try, and no store of nothing after a wrong backup."""
    whole = Path.write_bytes

    def full(path: Path, data: bytes) -> int:
        whole(path, data[:10])
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(Path, "write_bytes", full)
        made = loomproof("adapter", "new", fixtures / "tail_lamp", "--to", proved / "a.csv")
    assert made.returncode == 3
    assert not list(proved.glob("a.csv*"))
    wrong = loomproof("records", "restore", proved / "x.pdf", "--store", proved / "fresh.db")
    assert wrong.returncode == 2
    assert "x.pdf" in wrong.stderr
    assert not list(proved.glob("fresh.db*"))
    assert loomproof("key", "replace", "--with", proved / "x.results.json").returncode == 2


def test_a_cure_fits_its_cause(fixtures: Path, tmp_path: Path) -> None:
    """A missing folder is no lack of room."""
    gone = loomproof("adapter", "new", fixtures / "tail_lamp", "--to", tmp_path / "gone" / "a.csv")
    assert gone.returncode == 2
    assert "No such file or directory" in gone.stderr
    assert "in a folder that is there" in gone.stderr
    assert "Errno" not in gone.stderr


@pytest.mark.parametrize("word", ["fault", "load", "adapter", "touch", "seed", "line"])
def test_an_order_without_its_object_is_told_what_it_wants(word: str, fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    device = Device(Scanner(loom, Make(points=13)))
    control = Control(device, Noise(1), lambda _: loom)
    said = control.obey(word, 0.0)
    assert said.startswith(f"error: '{word}' is no whole order. It is written: {word} ")
    assert said.removeprefix(f"error: '{word}' is no whole order. It is written: ").rstrip(".") in WORDS
    assert "There is fault." in control.obey("faul open W2", 0.0)


def test_a_scheme_without_its_colon_is_told_with_it(fixtures: Path) -> None:
    done = loomproof("prove", fixtures / "tail_lamp", "--bench", "sim")
    assert done.returncode == 2
    assert "There is sim:." in done.stderr


def test_a_cell_is_named_by_its_own_heading(tmp_path: Path) -> None:
    """Two rows of an address stand above the headings."""
    rows = "Customer: Mueller,,,\n,,,\nFrom,To,Colour,Section\nX1:1,X2:1,xx,0.5\nX1:2,X2:2,RD,0.5\n"
    (tmp_path / "list.csv").write_text(rows, encoding="utf-8")
    words = ("--heading-row", "3", "--yes", "--to", tmp_path / "made")
    done = loomproof("import", tmp_path / "list.csv", *words)
    assert "row 4, column Colour: 'xx'" in " ".join(done.stderr.split())
    assert "ustomer" not in done.stderr


def test_a_file_of_another_kind_is_called_what_it_is(proved: Path, fixtures: Path) -> None:
    """No word of the inside: not how many errors a model has, not which key of a dictionary is missing."""
    loom = fixtures / "tail_lamp"
    plan = proved / "plan.json"
    assert loomproof("plan", loom, "--points", "12", "--json", plan).returncode == 0
    for words, said in (
        (("findings", proved / "x.record.json"), "holds no results: it is a sealed record"),
        (("findings", proved / "x.pdf"), "holds no results: it is no JSON"),
        (("compare", proved / "x.results.json", plan), "plan.json holds no results: verdict is missing"),
        (("wires", proved / "x.journal.jsonl"), "holds no results"),
        (
            ("prove", loom, "--bench", "sim:", "--plan", plan),
            "plan.json is no saved plan: schema: Input should be 2",
        ),
        (("prove", loom, "--bench", "sim:", "--plan", proved / "x.results.json"), "is no saved plan"),
    ):
        done = loomproof(*words)
        assert done.returncode == 2
        assert said in done.stderr
        assert "validation error" not in done.stderr


def pages(command: click.Command, name: str = "") -> Iterator[tuple[str, str]]:
    if isinstance(command, click.Group):
        for word in command.list_commands(click.Context(command)):
            inner = command.get_command(click.Context(command), word)
            assert inner is not None
            yield from pages(inner, f"{name} {word}")
    else:
        yield name, command.get_help(click.Context(command))


def test_no_help_page_has_a_limit_of_nothing() -> None:
    found = dict(pages(cli))
    assert len(found) > 40
    assert not [name for name, page in found.items() if "None" in page]


def test_a_question_stands_on_a_line_of_its_own(capsys: Output, monkeypatch: pytest.MonkeyPatch) -> None:
    """On a terminal progress is a line without an end; a question takes it away before it is asked."""
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)

    def asked(question: str, **_: object) -> str:
        click.echo(question, err=True)
        return ""

    monkeypatch.setattr(click, "prompt", asked)
    monkeypatch.setattr(click, "confirm", asked)
    screen = Screen()
    for probing in (True, False):
        screen.show(Progress("sensing again"))
        if probing:
            terminal_operator.TerminalOperator().hold_probe(None)
        else:
            terminal_operator.confirmed("Is it plugged so?")
        lines = seen(capsys.readouterr().err)
        assert lines[-1] in ("Take the probe off the loom, then Enter", "Is it plugged so?")
        assert not any("sensing again" in line for line in lines)


def seen(text: str) -> list[str]:
    """What is left on a screen: a line that was taken away is gone."""
    return [re.sub(r"^.*\r\x1b\[K", "", line) for line in text.rstrip("\n").split("\n")]


@pytest.mark.parametrize("width", [40, 80])
@pytest.mark.parametrize(
    "words", ["check LOOM", "plan LOOM --bench sim:", "info LOOM", "prove nowhere --bench sim:"]
)
def test_no_word_is_broken(
    words: str, width: int, fixtures: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What stands on a screen is what a program reads, folded between words alone."""
    at = {"LOOM": str(fixtures / "hillclimb_engine")}
    asked = [at.get(word, word) for word in words.split()]
    monkeypatch.setenv("COLUMNS", str(width))
    run(asked)
    whole = "".join(capsys.readouterr()).split()
    for stream in (sys.stdout, sys.stderr):
        monkeypatch.setattr(stream, "isatty", lambda: True, raising=False)
    run(asked)
    shown = re.sub(r"\x1b\[[0-9;?]*\w", "", "".join(capsys.readouterr()))
    lines = [line for line in shown.splitlines() if "─" not in line]
    assert all(len(line) <= width for line in lines)
    long = {word for word in whole if len(word) > width - 14}
    broken = [word for word in shown.split() if word not in whole and not any(word in name for name in long)]
    assert not [word for word in broken if "─" not in word]


def test_a_size(tmp_path: Path) -> None:
    """Squares of millimetres and gauges under one heading, decimals parted by a comma."""
    rows = "From;To;Size\nX1:1;X2:1;0,5\nX1:2;X2:2;18 AWG\nX1:3;X2:3;0,75 mm²\n"
    (tmp_path / "list.csv").write_text(rows, encoding="utf-8")
    assert loomproof("import", tmp_path / "list.csv", "--yes", "--to", tmp_path / "made").returncode == 0
    sizes = [(wire.csa_mm2, wire.section) for wire in load(tmp_path / "made").loom.wires]
    assert [size for size, _ in sizes] == [0.5, pytest.approx(0.823, abs=0.001), 0.75]


def test_what_nobody_knows_is_said(proved: Path) -> None:
    for words in (("log",), ("history",), ("report", "--loom")):
        done = loomproof(*words, "left tail lamb")
        assert done.returncode == 2
        assert "nothing is kept of 'left tail lamb'" in done.stderr
        assert "There is Left tail lamp." in done.stderr
        assert done.stdout == ""


PROMISES = (
    ("export LOOM --workbook x.csv", ".xlsx"),
    ("export LOOM --kbl x.csv", ".kbl or .xml"),
    ("fit LOOM --pdf x.txt", ".pdf"),
    ("fit LOOM --csv x.pdf", ".csv"),
    ("report --runs x.txt", ".csv, .xlsx or .parquet"),
    ("report --pdf x.txt", ".pdf"),
    ("report --workbook x.csv", ".xlsx"),
    ("report --junit x.txt", ".xml"),
    ("report --plot x.pdf", ".svg or .png"),
    ("wires last -o x.pdf", ".csv, .xlsx or .parquet"),
)


def test_a_name_promises(proved: Path, fixtures: Path) -> None:
    """A workbook that is called .csv is no table, whatever reads it next."""
    at = {"LOOM": str(fixtures / "tail_lamp")}
    for words, right in PROMISES:
        done = loomproof(*(at.get(word, word) for word in words.split()), cwd=proved)
        assert done.returncode == 2, words
        assert re.search(rf"x\.\w+: .*{re.escape(right)}", done.stderr), words
    assert not list(proved.glob("x.txt")) + list(proved.glob("x.csv"))


def test_a_splice_has_no_point(fixtures: Path) -> None:
    loom = fixtures / "hillclimb_engine"
    for pair in (("ECU-B:1", "S-F1"), ("ECU-A:1", "S-F1"), ("S-5V", "S-F1")):
        said = loomproof("explain", loom, *pair).stdout
        assert "a splice has no point of a bench" in " ".join(said.split())
        assert "reads high" not in said
        assert "reads low" not in said
    assert "reads low while ECU-A:1 is driven" in " ".join(
        loomproof("explain", loom, "ECU-A:1", "ECU-A:2").stdout.split()
    )


def test_a_workbook_says_what_goes_where(tmp_path: Path) -> None:
    """Each heading has its comment, and what is one of a few words has them to choose from."""
    assert loomproof("new", tmp_path / "x.xlsx").returncode == 0
    book = openpyxl.load_workbook(tmp_path / "x.xlsx")
    for sheet in book:
        for cell in sheet[1]:
            column = next(known for known in SHEETS[sheet.title] if known.name == cell.value)
            assert cell.comment is not None
            assert column.help in cell.comment.text
        among = [column for column in SHEETS[sheet.title] if column.among]
        lists = {rule.formula1 for rule in sheet.data_validations.dataValidation}
        assert lists == {f'"{",".join(column.among)}"' for column in among}
        assert all(len(text) <= 257 for text in lists), "a spreadsheet takes no more than 255 letters"
    assert loomproof("check", tmp_path / "x.xlsx").returncode == 0
    assert json.dumps(load(tmp_path / "x.xlsx").loom.name) == '"x"'
