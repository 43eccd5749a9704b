"""``adapter build`` on a scanner in memory: leads made one by one, by touch and by a shorting plug."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import pypdf
import pytest

from loomproof.bench import opening
from loomproof.bench.adapter import read_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.scanner import ScannerBench
from loomproof.cli.main import run
from loomproof.errors import LinkError
from loomproof.jobs import learn_adapter
from loomproof.jobs.learn_adapter import Patience, Word
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom
from loomproof.measuring.clearance import Clearance
from loomproof.planning.kit import left_to_make
from tests.bench.device import Clock, MemoryLine, Scanner
from tests.bench.test_touch_command import TAIL, held, serve

POINTS = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 12, 11, 13]
"""Of the ends in the loom's order: the leads of LAMP:5 and LAMP:6 went to each other's points."""


def build(table: Path, *more: str) -> int:
    words = ["adapter", "build", TAIL, "--to", str(table), "--bench", "tcp:memory:1", "--made-safe"]
    return run([*words, "--wait", "5", *more])


def test_leads_are_asked_for_with_their_label_and_a_wrong_one_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "mine.csv"
    serve(held(*POINTS), monkeypatch)
    assert build(table) == 0
    out, err = capsys.readouterr()
    assert "Lead 1 of 13, BODY:1 (0.75 mm² GY/BK grey/black), point 1: make it and touch its end" in err
    assert "LAMP:5: it is at point 12, not 11; label it so" in err
    assert err.count("label it so") == 2
    assert "No lead is left to make." in out
    assert {lead.point: str(lead.end) for lead in read_adapter(table).entries}[12] == "LAMP:5"
    assert build(table) == 2
    assert "has a lead for every cavity" in capsys.readouterr().err


def test_each_lead_is_saved_before_the_next_is_asked_for_and_the_same_command_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "mine.csv"
    real, saved = learn_adapter._next_touch, []

    def breaking(reader: Bench, clearance: Clearance, patience: Patience) -> int | Word | None:
        saved.append(len(read_adapter(table).entries) if table.exists() else 0)
        if len(saved) == 4:
            raise LinkError("the line went dead")
        return real(reader, clearance, patience)

    monkeypatch.setattr(learn_adapter, "_next_touch", breaking)
    serve(held(*POINTS[:3]), monkeypatch)
    assert build(table) == 3
    assert saved == [0, 1, 2, 3]
    assert "3 of 13 ends learned" in capsys.readouterr().err
    monkeypatch.setattr(learn_adapter, "_next_touch", real)
    serve(held(*POINTS[3:]), monkeypatch)
    assert build(table) == 0
    assert "Lead 1 of 10, BODY:4" in capsys.readouterr().err
    assert len(read_adapter(table).entries) == 13


def test_of_several_points_at_once_the_loom_is_thought_of(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    both = [0b1001 if low == 1 else low for low in held(1)]
    serve([*both, *held(*POINTS)], monkeypatch)
    assert build(tmp_path / "mine.csv") == 0
    said = " ".join(capsys.readouterr().err.split())
    assert "reaches point 1, 4; one is expected. Is a loom on the bench? Take it off." in said


@dataclass
class UnderAPlug(Scanner):
    """Nothing driven: what is touched in turn. A point driven: what the shorting plug joins, in turn."""

    touched: list[int] = field(default_factory=list)
    joined: list[int] = field(default_factory=list)

    def low(self, drive: int) -> int:
        script = self.joined if drive else self.touched
        return drive | (script.pop(0) if script else 0)


def test_a_shorting_plug_proves_from_the_second_lead_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """BODY:1 and LAMP:1 and EARTH:1 are touched. A lead that lets go meanwhile is waited for, two new ones
    at once are refused, and so is what was refused for as long as it stays."""
    body = [1 << n for n in range(6)]
    joined: list[int] = [0, 0]
    for n in range(1, 6):
        before = sum(body[:n])
        if n == 2:
            joined += [0b000101] * 5  # point 2 has let go: nothing is believed
            joined += [0b001111] * 6  # two at once
        joined += [before | body[n]] * 3
    for n in range(1, 6):
        joined += [((1 << (n + 1)) - 1) << 6] * 3
    scanner = UnderAPlug(Clock(), points=16, touched=held(1, 7, 13), joined=joined)
    bench = ScannerBench(lambda: MemoryLine(scanner, scanner.clock), "tcp:memory:1", clock=scanner.clock)
    monkeypatch.setattr(opening, "open_bench", lambda *_, **__: bench.connect())
    table = tmp_path / "mine.csv"
    assert build(table, "--shorted") == 0
    err = capsys.readouterr().err
    assert [lead.point for lead in read_adapter(table).entries] == list(range(1, 14))
    assert [str(lead.end) for lead in read_adapter(table).entries][:3] == ["BODY:1", "BODY:2", "BODY:3"]
    assert "touching it reaches point 3, 4" not in err
    assert "BODY:3: point 3, 4 came at once; one is expected" in err
    assert err.count("push it into its plug, the shorting plug on") == 5 + 1 + 5
    assert err.count("make it and touch its end") == 3


def test_what_is_left_is_shown_and_printed_without_a_bench(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, page = tmp_path / "mine.csv", tmp_path / "left.pdf"
    words = ["adapter", "build", TAIL, "--to", str(table)]
    assert run([*words, "--left", str(page)]) == 0
    assert "13 leads left to make." in capsys.readouterr().out
    assert not table.exists()
    table.write_text("point,connector,cavity\n1,BODY,1\n2,BODY,2\n", encoding="utf-8")
    assert run([*words, "--left", str(page)]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert "11 leads left to make." in out
    assert "BODY BP6 2 4 3, 4, 5, 6" in out
    text = "".join(each.extract_text() for each in pypdf.PdfReader(page).pages)
    assert "2 of 13 leads made." in text
    assert "LAMP LP6" in text
    assert run([*words, "--left", str(tmp_path / "left.doc")]) == 2
    assert ".pdf" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("table", "bench", "said"),
    [
        ("point,connector,cavity\n1,ECU,1\n", "tcp:memory:1", "which the loom has not"),
        ("point,connector,cavity\nx,BODY,1\n", "tcp:memory:1", "is no point"),
        ("", "sim:", "nobody can touch anything on a simulator"),
    ],
)
def test_wrong_tables_and_benches_are_refused(
    table: str,
    bench: str,
    said: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    file = tmp_path / "mine.csv"
    if table:
        file.write_text(table, encoding="utf-8")
        serve([], monkeypatch)
    assert run(["adapter", "build", TAIL, "--to", str(file), "--bench", bench, "--made-safe"]) == 2
    assert said in capsys.readouterr().err


def test_no_lead_is_made_for_what_must_never_be_driven() -> None:
    bag = Connector("BAG", ConnectorKind.PLUG, (("1",),), hazard=Hazard.PYROTECHNIC)
    lamp = Connector("L", ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE)
    (left,) = left_to_make(Loom("one", connectors=(bag, lamp)), [End("L", "2")])
    assert (left.connector, left.made, left.ends) == ("L", 1, (End("L", "1"),))


def test_a_first_lead_that_is_taken_back_is_in_no_table(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "mine.csv"
    said: list[int | Word | BaseException] = [1 << 4, Word.UNDO, LinkError("the line went dead")]

    def next_touch(*_: object) -> int | Word:
        word = said.pop(0)
        if isinstance(word, BaseException):
            assert not table.exists()
            raise word
        return word

    monkeypatch.setattr(learn_adapter, "_next_touch", next_touch)
    serve([], monkeypatch)
    assert build(table) == 3
    assert "BODY:1: taken back" in capsys.readouterr().err
