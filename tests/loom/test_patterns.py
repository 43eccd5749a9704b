"""The table of what looms usually hold: readable, sourced, and no word of it catches two circuits."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.errors import InputError
from loomproof.loom.conversion import Circuit, Need
from loomproof.loom.designations import TERMINALS
from loomproof.loom.patterns import Usual, Without, pattern, patterns, usual_of
from loomproof.loom.reading import load

Captured = pytest.CaptureFixture[str]


def test_every_row_says_what_it_is_whence_and_what_to_ask() -> None:
    assert patterns() == ("engine",)
    rows = pattern("engine")
    assert len({row.circuit for row in rows}) == len(rows) > 25
    for row in rows:
        assert row.purpose
        assert row.usually
        assert all(row.words), row
        assert "common practice" in row.source or "DIN 72552" in row.source, row
        assert not row.designation or row.designation in TERMINALS, row
        assert not row.ask or row.ask.endswith((".", "?")), row


@pytest.mark.parametrize("row", pattern("engine"), ids=lambda row: row.circuit)
def test_a_circuit_of_each_row_is_known_as_that_row(row: Usual) -> None:
    assert usual_of(pattern("engine"), Circuit(row.circuit, row.purpose)) is row
    assert usual_of(pattern("engine"), Circuit("x", row.purpose.upper())) is row


def test_what_no_row_speaks_of_is_none_of_them() -> None:
    assert usual_of(pattern("engine"), Circuit("reading-lamp", "lamp over the map")) is None


def test_a_pattern_that_is_not_there_is_refused() -> None:
    with pytest.raises(InputError, match="there is no pattern 'boat'"):
        pattern("boat")


def test_a_starter_of_a_pattern_holds_its_circuits(tmp_path: Path, capsys: Captured) -> None:
    assert run(["new", str(tmp_path / "loom"), "--pattern", "engine"]) == 0
    loom = load(tmp_path / "loom").loom
    for row in pattern("engine"):
        circuit = loom.circuit_by_name[row.circuit]
        assert (circuit.purpose, circuit.designation) == (row.purpose, row.designation)
        assert circuit.need is (Need.OPTIONAL if row.without is Without.YES else Need.NEEDED)
    assert run(["check", str(tmp_path / "loom")]) == 0
    assert run(["new", str(tmp_path / "other"), "--pattern", "boat"]) == 2
    assert "There is engine." in capsys.readouterr().err
