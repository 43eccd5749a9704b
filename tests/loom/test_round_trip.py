"""Any loom survives folder and workbook and back, and writing it a second time gives the same bytes."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import openpyxl
import pytest
from hypothesis import example, given, settings

from loomproof.loom.cavities import Rows, read_rows, write_rows
from loomproof.loom.checking import errors
from loomproof.loom.model import Circuit, Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire
from loomproof.loom.reading import load, load_files, load_workbook
from loomproof.loom.writing import folder_files, workbook_bytes, write_folder
from tests.loom.strategies import looms

FIXTURES = Path(__file__).parents[2] / "fixtures"


def survives(loom: Loom) -> None:
    """Hold a loom to its folder, its workbook and what both give back."""
    assert errors(loom) == []
    files = folder_files(loom)
    from_folder = load_files(files, "folder").loom
    assert from_folder == loom
    assert folder_files(from_folder) == files
    book = workbook_bytes(loom)
    from_book = load_workbook(book, "loom.xlsx").loom
    assert from_book == loom
    assert workbook_bytes(from_book) == book
    assert from_book.digest == loom.digest == from_folder.digest


@given(looms())
@example(
    Loom(
        "a splice called by a colon",
        connectors=(Connector(":", ConnectorKind.SPLICE), Connector("E", ConnectorKind.RING, (("1",),))),
        wires=(Wire("W1", End(":"), End("E", "1")),),
        components=(Component("F", ComponentKind.FUSE, (("1", End(":")), ("2", End("E", "1")))),),
    )
)
@settings(max_examples=60, deadline=None)
def test_any_loom_survives_folder_and_workbook(loom: Loom) -> None:
    """A workbook takes most of the time; ``make fuzz`` tries as many looms as there is time for."""
    survives(loom)


@pytest.mark.parametrize("name", ["tail_lamp", "hillclimb_engine"])
def test_the_demo_looms_survive_on_disk(name: str, tmp_path: Path) -> None:
    loom = load(FIXTURES / name).loom
    write_folder(loom, tmp_path / "copy")
    assert load(tmp_path / "copy").loom == loom
    first = {path.name: path.read_bytes() for path in (tmp_path / "copy").iterdir()}
    write_folder(loom, tmp_path / "copy", over=True)
    assert {path.name: path.read_bytes() for path in (tmp_path / "copy").iterdir()} == first


def test_a_written_workbook_bears_no_date_of_its_making() -> None:
    book = workbook_bytes(load(FIXTURES / "tail_lamp").loom)
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        assert {info.date_time for info in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        assert archive.testzip() is None
    properties = openpyxl.load_workbook(io.BytesIO(book)).properties
    assert properties.modified == properties.created


def test_a_text_that_looks_like_a_formula_is_written_as_text() -> None:
    loom = Loom("=1+1", connectors=(Connector("=C1", ConnectorKind.PLUG, (("01", "+"),)),))
    sheet = openpyxl.load_workbook(io.BytesIO(workbook_bytes(loom)))["connectors"]
    assert [(cell.value, cell.data_type) for cell in sheet["A"]] == [("connector", "s"), ("=C1", "s")]


@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("1-16 / 17-32", (tuple(map(str, range(1, 17))), tuple(map(str, range(17, 33))))),
        ("01-09", (tuple(f"0{n}" for n in range(1, 10)),)),
        ("8-1/16-9", (tuple(map(str, range(8, 0, -1))), tuple(map(str, range(16, 8, -1))))),
        ("A1-A3 . B-D", (("A1", "A2", "A3", "", "B", "C", "D"),)),
        ("A1-3", (("A1", "A2", "A3"),)),
        ("98-101", (("98", "99", "100", "101"),)),
        ('+ NC "1-3" "a/b" "."', (("+", "NC", "1-3", "a/b", "."),)),
        ("X-1 1A-2B", (("X-1", "1A-2B"),)),
    ],
)
def test_cavity_rows_read_as_they_look(text: str, rows: Rows) -> None:
    assert read_rows(text) == rows
    assert read_rows(write_rows(rows)) == rows


@pytest.mark.parametrize("text", ["1 / / 2", "1-999999", "01-9", '"1', '"a"b', '""', "1 /"])
def test_cavity_rows_that_mean_nothing_are_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011  (each message differs; that there is one is the point)
        read_rows(text)


@pytest.mark.parametrize(
    "text", ["a\x00", "a\x1f", "a\nb", "a\rb", "\ud800", "a\ufffe", " a", "a ", "x" * 32_768, "\x7f"]
)
def test_the_model_refuses_texts_that_no_table_can_hold(text: str) -> None:
    with pytest.raises(ValueError, match="connector"):
        Connector(text, ConnectorKind.PLUG, (("1",),))
    with pytest.raises(ValueError, match="circuit"):
        Circuit("c", purpose=text)
    with pytest.raises(ValueError, match="wire"):
        Wire("W1", End("A", text), End("B", "1"))


@pytest.mark.parametrize("value", [float("nan"), float("inf"), -1.0])
def test_the_model_refuses_numbers_that_are_none(value: float) -> None:
    with pytest.raises(ValueError, match="length_m"):
        Wire("W1", End("A", "1"), End("B", "1"), length_m=value)


def test_writing_over_a_loom_has_to_be_said(tmp_path: Path) -> None:
    loom = load(FIXTURES / "tail_lamp").loom
    write_folder(loom, tmp_path)
    with pytest.raises(ValueError, match="exists already"):
        write_folder(loom, tmp_path)
    bare = Loom("bare", connectors=(Connector("C1", ConnectorKind.PLUG, (("1",),)),))
    write_folder(bare, tmp_path, over=True)
    assert load(tmp_path).loom == bare
