"""``adapter touch`` on a scanner in memory whose points a person touches in turn."""

from __future__ import annotations

import shutil
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from loomproof.bench import opening
from loomproof.bench.adapter import in_order, read_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.scanner import ScannerBench
from loomproof.cli.main import run
from loomproof.errors import LinkError
from loomproof.jobs import events, learn_adapter
from loomproof.jobs.gate import Assured
from loomproof.jobs.learn_adapter import Patience, Word
from loomproof.jobs.operator import ScriptedOperator
from loomproof.loom.reading import load
from loomproof.measuring.clearance import Clearance
from tests.bench.device import Clock, MemoryLine, Scanner

TAIL = str(Path(__file__).parents[2] / "fixtures" / "tail_lamp")


@dataclass
class Touched(Scanner):
    """What is touched at each reading in turn, and nothing after that."""

    script: list[int] = field(default_factory=list)

    def low(self, drive: int) -> int:
        return self.script.pop(0) if self.script else 0


def serve(script: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    scanner = Touched(Clock(), points=16, script=script)
    line = MemoryLine(scanner, scanner.clock)
    bench = ScannerBench(lambda: line, "tcp:memory:1", clock=scanner.clock)
    monkeypatch.setattr(opening, "open_bench", lambda *_, **__: bench.connect())


def test_an_adapter_is_learned_in_the_looms_order(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    table = tmp_path / "learned.csv"
    points = [7, 3, 5, 1, 2, 4, 6, 8, 9, 10, 11, 12, 13]
    # A probe that bounces, holds, and is lifted.
    serve([low for p in points for low in (1 << (p - 1), 0, *[1 << (p - 1)] * 4, 0)], monkeypatch)
    assert run(["adapter", "touch", TAIL, "--bench", "tcp:memory:1", "--to", str(table), "--made-safe"]) == 0
    learned = read_adapter(table)
    assert {str(lead.end): lead.point for lead in learned.entries} == dict(
        zip([f"{c}:{i}" for c in ("BODY", "LAMP") for i in range(1, 7)] + ["EARTH:1"], points, strict=True)
    )


def learn(table: Path, wait: str = "0.05") -> int:
    words = ["adapter", "touch", TAIL, "--bench", "tcp:memory:1", "--to", str(table), "--made-safe"]
    return run([*words, "--wait", wait])


def held(*points: int) -> list[int]:
    return [low for p in points for low in [*[1 << (p - 1)] * 4, 0, 0]]


def test_two_points_at_one_touch_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "learned.csv"
    serve([0b11] * 4, monkeypatch)
    assert learn(table) == 2
    assert "point 1, 2" in capsys.readouterr().err
    assert not table.exists()


def test_a_wrong_touch_is_asked_again_and_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "learned.csv"
    points = [7, 3, 5, 1, 2, 4, 6, 8, 9, 10, 11, 12, 13]
    serve(held(7, 3) + held(3) + [*[0b110000] * 4, 0, 0] + held(*points[2:]), monkeypatch)
    assert learn(table, "5") == 0
    assert [lead.point for lead in sorted(read_adapter(table).entries, key=lambda lead: str(lead.end))] == [
        *points[:6],
        points[12],
        *points[6:12],
    ]
    err = capsys.readouterr().err
    assert "point 3 is BODY:2 already" in err
    assert err.count("Touch BODY:3") == 3


def test_a_point_that_stays_low_ends_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "learned.csv"
    serve(held(7) + [0b11] * 10_000, monkeypatch)
    assert learn(table) == 2
    assert "Take the loom off" in capsys.readouterr().err
    assert [lead.point for lead in read_adapter(table).entries] == [7]


@pytest.mark.parametrize("ending", [KeyboardInterrupt(), LinkError("the line went dead")])
def test_what_was_learned_is_kept_whatever_ends_it(
    ending: BaseException,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    table = tmp_path / "learned.csv"
    serve(held(7, 3), monkeypatch)
    real = learn_adapter._next_touch
    asked: list[float] = []

    def breaking(reader: Bench, clearance: Clearance, patience: Patience) -> int | Word | None:
        asked.append(patience.wait_s)
        if len(asked) > 2:
            raise ending
        return real(reader, clearance, patience)

    monkeypatch.setattr(learn_adapter, "_next_touch", breaking)
    assert learn(table, "5") == 3
    assert [str(lead.end) for lead in read_adapter(table).entries] == ["BODY:2", "BODY:1"]
    assert "2 of 13 ends" in capsys.readouterr().err


def test_learning_goes_on_where_it_stopped_takes_back_and_leaves_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """BODY:1 and :2 are known; then 9 was a slip and is taken back, and LAMP:6 is left out."""
    table = tmp_path / "learned.csv"
    table.write_text(
        "point,connector,cavity,lead_ohm,lead_u_ohm,zeroed\n7,BODY,1,0.21,0.02,2026-01-05\n3,BODY,2,,,\n"
    )
    assert learn(table) == 2
    assert "--resume goes on with it" in capsys.readouterr().err
    words = iter([None, Word.UNDO, *[None] * 8, Word.SKIP])
    real = learn_adapter._next_touch

    def between(reader: Bench, clearance: Clearance, patience: Patience) -> int | Word | None:
        word = next(words, None)
        said = Patience(patience.wait_s, patience.clock, patience.pause, lambda: word)
        return real(reader, clearance, said)

    def quiet(*points: int) -> list[int]:
        return [low for p in points for low in [*[1 << (p - 1)] * 4, 0]]

    monkeypatch.setattr(learn_adapter, "_next_touch", between)
    # What is typed is heard between two looks, when nothing is touched.
    serve([*quiet(9), 0, *quiet(5, 1, 2, 4, 6, 8, 10, 11), 0, *quiet(13)], monkeypatch)
    words_given = ["adapter", "touch", TAIL, "--bench", "tcp:memory:1", "--to", str(table), "--made-safe"]
    assert run([*words_given, "--resume", "--wait", "5"]) == 0
    leads = {str(lead.end): lead for lead in read_adapter(table).entries}
    assert {name: lead.point for name, lead in leads.items()} == {
        "BODY:1": 7,
        "BODY:2": 3,
        **dict(zip([f"BODY:{k}" for k in range(3, 7)], (5, 1, 2, 4), strict=True)),
        **dict(zip([f"LAMP:{k}" for k in range(1, 5)], (6, 8, 10, 11), strict=True)),
        "LAMP:6": 13,
    }, "LAMP:5 and EARTH:1 were left out"
    assert leads["BODY:1"].lead_ohm == 0.21, "what was learned before stays"
    err = capsys.readouterr().err
    assert "BODY:3: taken back" in err
    assert err.count("Touch BODY:3") == 2
    assert "LAMP:5: left out" in err
    assert run([*words_given[:-2], str(tmp_path / "none.csv"), "--made-safe", "--resume"]) == 2


def test_who_has_enough_keeps_what_was_learned(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The third end is not asked for: the run ends well, and the table holds two."""
    words = iter([None, None, Word.DONE])
    real = learn_adapter._next_touch

    def between(reader: Bench, clearance: Clearance, patience: Patience) -> int | Word | None:
        word = next(words)
        return real(reader, clearance, Patience(60.0, patience.clock, patience.pause, lambda: word))

    monkeypatch.setattr(learn_adapter, "_next_touch", between)
    serve([low for p in (7, 3) for low in [*[1 << (p - 1)] * 4, 0]], monkeypatch)
    assert learn(tmp_path / "learned.csv", "5") == 0
    assert [lead.point for lead in read_adapter(tmp_path / "learned.csv").entries] == [3, 7]


def test_a_table_that_has_no_folder_is_refused_before_anything_is_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    serve(held(7), monkeypatch)
    assert learn(tmp_path / "nodir" / "learned.csv") == 2
    err = capsys.readouterr().err
    assert "there is no folder" in err
    assert "Touch" not in err


def test_a_touch_names_the_net(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    table = tmp_path / "a.csv"
    assert run(["adapter", "new", TAIL, "--to", str(table)]) == 0
    serve([0b1000001] * 4, monkeypatch)
    touch = ["adapter", "touch", TAIL, "--bench", "tcp:memory:1", "--adapter", str(table), "--wait", "0.3"]
    assert run(touch) == 3
    assert "nobody has confirmed the cautions; nothing was driven" in capsys.readouterr().err
    assert run([*touch, "--made-safe"]) == 0
    assert "BODY:1, LAMP:1" in capsys.readouterr().out


def test_of_each_net_it_is_told_when_the_probe_is_off_it(monkeypatch: pytest.MonkeyPatch) -> None:
    """It is lifted from the first; it slips from the second on to a third, and stays there."""
    loom, seconds = load(Path(TAIL)).loom, iter(range(10_000))
    serve([0b1] * 4 + [0] + [0b10] * 5 + [0b100] * 10_000, monkeypatch)
    job = learn_adapter.name_touched(
        loom,
        "tcp:memory:1",
        in_order(loom.cavities),
        ScriptedOperator(),
        assured=Assured(meter_v=0.0),
        patience=Patience(20.0, clock=lambda: float(next(seconds)), pause=lambda _: None),
    )
    told: list[tuple[int, ...] | str] = []
    for event in job:
        if isinstance(event, events.Touched):
            told.append(event.points)
        elif isinstance(event, events.Lifted):
            told.append("off")
        if len(told) == 6:
            break
    assert told == [(1,), "off", (2,), "off", (3,), (3,)]


def test_a_loom_that_must_not_be_energised_is_not_touched(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Another connector's hazard is enough: the current goes on through the wires."""
    loom, table = tmp_path / "loom", tmp_path / "a.csv"
    shutil.copytree(TAIL, loom)
    said = (loom / "connectors.csv").read_text(encoding="utf-8")
    assert said.count(",none,") >= 2
    assert run(["adapter", "new", TAIL, "--to", str(table), "--connector", "BODY"]) == 0
    touch = [
        "adapter",
        "touch",
        str(loom),
        "--bench",
        "tcp:memory:1",
        "--adapter",
        str(table),
        "--wait",
        "0.3",
        "--made-safe",
    ]
    for hazard, answers, code in (
        ("pyrotechnic", [], 3),
        ("electronics in place", [], 3),
        ("", [], 3),
        ("", ["--hazard", "LAMP=none"], 0),
        ("", ["--hazard", "NOPE=none"], 2),
    ):
        lines = [
            line.replace(",none,", f",{hazard},", 1) if line.startswith("LAMP,") else line
            for line in said.splitlines()
        ]
        (loom / "connectors.csv").write_text("\n".join([*lines, ""]), encoding="utf-8")
        serve([0b1] * 4, monkeypatch)
        assert run([*touch, *answers]) == code, (hazard, answers)
        assert ("BODY:1" in capsys.readouterr().out) == (code == 0)


def test_a_wait_that_is_no_time_is_refused() -> None:
    for wait in ("nan", "inf", "-1"):
        touch = ["adapter", "touch", TAIL, "--bench", "tcp:memory:1", "--to", "a.csv", "--wait", wait]
        assert run(touch) == 2
