"""Wherever a person types a figure, a comma parts decimals as well as a point does."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.adapter import parse_adapter
from loomproof.loom.reading import load
from loomproof.loom.text import pointed
from loomproof.virtual.faults import quantity
from tests.cli.running import loomproof


@given(st.decimals(0, 99_999, places=2), st.sampled_from(["", "-", "+"]))
def test_a_comma_before_two_digits_is_a_point(value: object, sign: str) -> None:
    text = f"{sign}{value}"
    assert pointed(text.replace(".", ",")) == text


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("0,125", "0.125"),
        ("1,5e-3", "1.5e-3"),
        ("1,000", "1,000"),
        ("12,345", "12,345"),
        ("1,2,3", "1,2,3"),
        ("a,b", "a,b"),
    ],
)
def test_what_may_be_a_thousand_or_a_list_stays(text: str, read: str) -> None:
    assert pointed(text) == read


def test_tables_of_looms_and_adapters_take_commas(fixtures: Path, tmp_path: Path) -> None:
    for path in (fixtures / "tail_lamp").iterdir():
        text = path.read_text(encoding="utf-8")
        (tmp_path / path.name).write_text(text.replace(",0.75,1.4,", ',"0,75","1,4",'), encoding="utf-8")
    assert '"0,75"' in (tmp_path / "wires.csv").read_text(encoding="utf-8")
    assert load(tmp_path).loom.wires == load(fixtures / "tail_lamp").loom.wires
    text = "point;connector;cavity;lead_ohm;lead_u_ohm;zeroed\n1;A;1;0,31;0,02;2026-01-05\n"
    (lead,) = parse_adapter(text, name="a").entries
    assert (lead.lead_ohm, lead.lead_u_ohm) == (0.31, 0.02)


def test_options_and_orders_take_commas(fixtures: Path, tmp_path: Path) -> None:
    assert quantity("4,7k") == quantity("4.7k") == 4700.0
    bench = ("--bench", "sim:?acc=0,1:0,01&fault=high%204,7%20W2", "--out", tmp_path)
    done = loomproof("prove", fixtures / "tail_lamp", *bench, "--humidity", "41,5", "--json", "-")
    assert done.returncode == 1, done.stderr
    assert '"humidity_pct": 41.5' in done.stdout
    assert '"accuracy_ohm": 0.1' in done.stdout
    test = ("bench", "selftest", "--bench", "sim:?points=4", "--made-safe", "--resistor")
    assert loomproof(*test, "1;2;100,5;0,1").returncode == 0
    wrong = loomproof(*test, "1;2;abc")
    assert wrong.returncode == 2
    assert '"1;2;100;0,1"' in wrong.stderr, "a shell ends a command at ;"
