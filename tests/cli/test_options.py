"""A number that is none is refused where it is given, by name, and is never taken for a verdict."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.screens.terminal_operator import TerminalOperator
from tests.cli.running import loomproof


@pytest.mark.parametrize("value", ["nan", "inf", "-inf"])
@pytest.mark.parametrize("option", ["--meter-volts", "--watch", "--selftest-max-age", "--insulation"])
def test_prove_refuses_what_is_no_finite_number(
    fixtures: Path, tmp_path: Path, option: str, value: str
) -> None:
    words = ("--bench", "sim:", "--out", tmp_path / "out", option, value)
    done = loomproof("prove", fixtures / "tail_lamp", *words)
    assert done.returncode == 2
    assert option in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("seconds", ["0.001", "0.99", "3601"])
def test_a_watch_too_short_to_move_a_loom_in_is_none(fixtures: Path, tmp_path: Path, seconds: str) -> None:
    words = ("--bench", "sim:", "--out", tmp_path / "out", "--watch", seconds)
    done = loomproof("prove", fixtures / "tail_lamp", *words)
    assert done.returncode == 2
    assert "--watch" in done.stderr


@pytest.mark.parametrize("option", ["--inspected", "--waive"])
@pytest.mark.parametrize("text", ["", "   "])
def test_a_blank_is_neither_a_note_nor_a_cavity(
    fixtures: Path, tmp_path: Path, option: str, text: str
) -> None:
    words = ("--bench", "sim:", "--out", tmp_path / "out", option, text)
    done = loomproof("prove", fixtures / "tail_lamp", *words)
    assert done.returncode == 2
    assert option in done.stderr
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    "words",
    [
        ("simulate", "LOOM", "--temperature", "nan"),
        ("simulate", "LOOM", "--insulation", "nan"),
        ("simulate", "LOOM", "--acc", "nan:0.01"),
        ("simulate", "LOOM", "--acc", "0.1:inf"),
        ("fit", "LOOM", "--running", "nan"),
        ("fit", "LOOM", "--ampacity", "TABLE"),
    ],
)
def test_other_commands_refuse_it_as_well(fixtures: Path, tmp_path: Path, words: tuple[str, ...]) -> None:
    table = tmp_path / "ampacity.csv"
    table.write_text("csa_mm2,ampacity_a,source,conditions\n1.0,nan,ours,free air\n", encoding="utf-8")
    given = {"LOOM": fixtures / "tail_lamp", "TABLE": table}
    done = loomproof(*(given.get(word, word) for word in words))
    assert done.returncode == 2, done.stderr
    assert "nan" in done.stderr or "inf" in done.stderr or "numbers" in done.stderr


@pytest.mark.parametrize("plan", [".", "binary"])
def test_what_is_no_plan_is_told_with_a_cure(fixtures: Path, tmp_path: Path, plan: str) -> None:
    (tmp_path / "binary").write_bytes(b"\x7fELF\xff\xfe")
    words = ("--bench", "sim:", "--out", tmp_path / "out", "--plan", tmp_path / plan)
    done = loomproof("prove", fixtures / "tail_lamp", *words)
    assert done.returncode == 2
    assert "loomproof plan LOOM --json FILE writes one" in done.stderr
    assert "codec" not in done.stderr
    assert "Errno" not in done.stderr


def test_a_waiver_names_a_cavity(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:", "--out", tmp_path, "--waive", "")
    assert done.returncode == 2
    assert "a blank says nothing" in done.stderr


def test_a_bench_without_volts_asks_what_a_meter_shows(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    for typed, volts in (("0", 0.0), ("12,6", 12.6), ("", None), ("nan", None), ("none", None)):
        monkeypatch.setattr("click.prompt", lambda *_, said=typed, **__: said)
        assert TerminalOperator().read_meter() == volts
    monkeypatch.setattr("sys.stdin.isatty", lambda: False, raising=False)
    assert TerminalOperator().read_meter() is None


def test_without_a_terminal_the_way_to_say_it_is_named(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:?no-volts", "--out", tmp_path)
    assert done.returncode == 3
    assert "--meter-volts" in done.stderr


def test_a_dwell_without_a_voltage_is_asked_back(fixtures: Path, tmp_path: Path) -> None:
    words = ("--bench", "sim:", "--out", tmp_path / "out", "--insulation-ms", "50")
    done = loomproof("prove", fixtures / "tail_lamp", *words)
    assert done.returncode == 2
    assert "--insulation VOLT" in done.stderr
    assert not (tmp_path / "out").exists()
