"""Values of parts as people write them, with the prefixes of ISO 80000-1 (table 4)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from loomproof.errors import DescriptionError
from loomproof.loom.model import ComponentKind, Loom
from loomproof.loom.reading import load, load_files, load_workbook
from loomproof.loom.suspicions import warnings
from loomproof.loom.writing import folder_files, workbook_bytes
from loomproof.results.figures import value_of
from tests.measuring.scanner_bench import loom_of

HEAD = "component,kind,terminals,resistance_ohm,capacitance_f\n"


def loom(kind: str, ohm: str = "", farad: str = "") -> Loom:
    files = folder_files(loom_of("1 2"))
    files["components.csv"] = f"{HEAD}X1,{kind},1=A:1 2=A:2,{ohm},{farad}\n".encode()
    return load_files(files, "parts").loom


@pytest.mark.parametrize(
    ("said", "farad"),
    [
        ("1e-7", 1e-7),
        ("100 nF", 1e-7),
        ("100n", 1e-7),
        ("0.1 µF", 1e-7),
        ("0.1 μF", 1e-7),  # the Greek letter, which keyboards and fonts mix up with the micro sign
        ("0.1uF", 1e-7),
        ("22 pF", 2.2e-11),
        ("4.7 mF", 4.7e-3),
        ("2 F", 2.0),
        ("", None),
    ],
)
def test_farads_are_read_with_their_unit_and_come_back(said: str, farad: float | None) -> None:
    read = loom("capacitor", farad=said)
    assert read.components[0].capacitance_f == farad
    assert load_files(folder_files(read), "parts").loom == read
    assert load_workbook(workbook_bytes(read), "parts.xlsx").loom == read


def test_a_workbook_may_write_them_too(tmp_path: Path) -> None:
    file = tmp_path / "parts.xlsx"
    file.write_bytes(workbook_bytes(loom("capacitor", farad="1e-7")))
    book = openpyxl.load_workbook(file)
    (cell,) = [cell for row in book["components"] for cell in row if cell.value in (1e-7, "1e-07")]
    cell.value = "470 µF"
    book.save(file)
    assert load(file).loom.components[0].capacitance_f == 470e-6


@pytest.mark.parametrize(
    ("said", "ohm"),
    [("4700", 4700.0), ("4.7 kΩ", 4700.0), ("4.7k", 4700.0), ("1 MΩ", 1e6), ("20 mOhm", 0.02)],
)
def test_ohms_are_read_with_their_unit(said: str, ohm: float) -> None:
    assert loom("resistor", ohm=said).components[0].resistance_ohm == ohm


@pytest.mark.parametrize(
    ("column", "said"),
    [
        ("farad", "100 nV"),
        ("farad", "100 nΩ"),
        ("farad", "n"),
        ("farad", "-1 nF"),
        ("ohm", "5 F"),
        ("ohm", "5 K"),
    ],
)
def test_another_unit_is_refused_at_its_cell(column: str, said: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        loom("capacitor", **{column: said})
    assert any(said in problem.message for problem in caught.value.problems)


def test_as_many_farads_as_no_loom_has_are_asked_about() -> None:
    """100 in a column of farads was meant as nanofarads or microfarads; a loom's largest are millifarads."""
    assert any("100 F" in problem.message for problem in warnings(loom("capacitor", farad="100")))
    assert not [problem for problem in warnings(loom("capacitor", farad="4.7 mF")) if "X1" in problem.message]


@pytest.mark.parametrize(
    ("field", "value", "said"),
    [
        ("capacitance_f", 1e-7, "100 nF"),
        ("capacitance_f", 2.2e-11, "22 pF"),
        ("capacitance_f", 4.7e-3, "4700 µF"),
        ("capacitance_f", 1.0, "1 F"),
        ("capacitance_f", None, ""),
        ("resistance_ohm", 4700.0, "4.7 kΩ"),
        ("resistance_ohm", 0.02, "0.02 Ω"),
        ("rating_a", 7.5, "7.5 A"),
        ("forward_v", 0.65, "0.65 V"),
    ],
)
def test_a_value_is_shown_as_people_write_it(field: str, value: float | None, said: str) -> None:
    kind = {
        "capacitance_f": ComponentKind.CAPACITOR,
        "resistance_ohm": ComponentKind.RESISTOR,
        "rating_a": ComponentKind.FUSE,
        "forward_v": ComponentKind.DIODE,
    }[field]
    part = replace(loom("resistor").components[0], kind=kind)
    # What is stated of another quantity is no value of this kind.
    part = replace(part, resistance_ohm=3.0, rating_a=3.0, forward_v=3.0)
    stated: dict[str, Any] = {field: value}
    assert value_of(replace(part, **stated)) == said
