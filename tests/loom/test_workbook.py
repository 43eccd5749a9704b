"""Workbooks as people and spreadsheets make them, and as somebody with bad intent does."""

from __future__ import annotations

import datetime
import io
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from loomproof.errors import DescriptionError
from loomproof.loom.model import End
from loomproof.loom.reading import LoadedLoom, load, load_workbook
from loomproof.loom.writing import workbook_bytes

TAIL = load(Path(__file__).parents[2] / "fixtures/tail_lamp").loom


def edited(change: Callable[[Any], None]) -> LoadedLoom:
    """Return what is read of the tail lamp's workbook after a spreadsheet changed it and saved it."""
    book = openpyxl.load_workbook(io.BytesIO(workbook_bytes(TAIL)))
    change(book)
    saved = io.BytesIO()
    book.save(saved)
    return load_workbook(saved.getvalue(), "tail.xlsx")


def says(change: Callable[[Any], None]) -> list[str]:
    with pytest.raises(DescriptionError) as caught:
        edited(change)
    return [str(problem) for problem in caught.value.problems]


def cell(book: Any, sheet: str, heading: str, row: int) -> Any:
    found: Worksheet = book[sheet]
    column = next(c.column for c in found[1] if c.value == heading)
    return found.cell(row, column)


def set_cell(sheet: str, heading: str, row: int, value: object, number_format: str = "General") -> Any:
    def change(book: Any) -> None:
        where = cell(book, sheet, heading, row)
        where.value = value
        where.number_format = number_format

    return change


def test_a_workbook_saved_again_by_another_program_is_the_same_loom() -> None:
    loaded = edited(lambda book: None)
    assert loaded.loom == TAIL
    assert loaded.warnings == ()


def test_numbers_among_names_are_read_as_shown_and_asked_about() -> None:
    loaded = edited(set_cell("wires", "from_cavity", 3, 2))
    assert loaded.loom == TAIL
    assert [str(warning) for warning in loaded.warnings] == [
        "tail.xlsx, sheet wires, row 3, column from_cavity: it holds what is not text, "
        "read as shown (first 2); a leading zero may have been lost. Format the column as text and "
        "look at it once more."
    ]


def test_zeros_that_the_format_shows_are_kept() -> None:
    def change(book: Any) -> None:
        set_cell("connectors", "cavities", 2, "01 2-3 / 4-6")(book)
        set_cell("wires", "from_cavity", 2, 1, "00")(book)

    loaded = edited(change)
    assert loaded.loom.wires[0].a == End("BODY", "01")
    assert loaded.warnings == ()


def test_truth_values_are_names_among_names_and_answers_among_answers() -> None:
    def change(book: Any) -> None:
        set_cell("circuits", "circuit", 3, True)(book)
        set_cell("wires", "circuit", 3, True)(book)
        set_cell("cavities", "spare", 2, True)(book)
        set_cell("wires", "note", 2, datetime.datetime(2026, 1, 3), "dd-mmm")(book)

    loaded = edited(change)
    assert loaded.loom.circuits[1].name == loaded.loom.wires[1].circuit == "TRUE"
    assert loaded.loom.cavity_facts == TAIL.cavity_facts
    assert loaded.loom.wires[0].note == "2026-01-03 00:00:00"
    assert [warning.column for warning in loaded.warnings] == ["circuit", "circuit"]


def test_numbers_among_numbers_are_no_matter() -> None:
    loaded = edited(set_cell("wires", "csa_mm2", 2, 0.75))
    assert loaded.loom == TAIL
    assert loaded.warnings == ()


@pytest.mark.parametrize(
    ("value", "number_format", "text"),
    [
        (
            datetime.datetime(2026, 1, 3),
            "dd-mmm",
            "the cell holds a date (2026-01-03 00:00:00); what was typed is lost. "
            "Format the cell as text and write again what it should say.",
        ),
        ("=A1&A2", "General", "the cell holds a formula. Paste its value as text."),
        ("#N/A", "General", "the cell holds an error value (#N/A). Write what it should say."),
    ],
)
def test_what_a_spreadsheet_made_of_a_name_is_refused(value: object, number_format: str, text: str) -> None:
    assert says(set_cell("connectors", "cavities", 2, value, number_format))[0] == (
        f"tail.xlsx, sheet connectors, row 2, column cavities: {text}"
    )


def test_a_line_break_in_a_cell_is_said() -> None:
    assert says(set_cell("wires", "note", 2, "two\nlines")) == [
        "tail.xlsx, sheet wires, row 2, column note: the cell holds a line break. Take it out, or "
        "put a blank there."
    ]


def test_missing_and_unknown_sheets_are_named() -> None:
    def rename(book: Any) -> None:
        book["components"].title = "Componets"

    assert says(rename) == [
        "tail.xlsx, sheet components: the table is missing. Where there is nothing to list, it "
        "still holds its "
        "headings: component,kind,terminals"
    ]
    loaded = edited(lambda book: book.create_sheet("Shopping"))
    assert [warning.sheet for warning in loaded.warnings] == ["Shopping"]


def test_unknown_keys_and_choices_are_placed() -> None:
    def change(book: Any) -> None:
        book["loom"].append(["serail", "7"])
        sheet = book.create_sheet("choices")
        sheet.append(["choice", "question", "answer", "says", "makes", "default"])
        sheet.append(["fog", "Is there a fog lamp?", "yes", "", "fogg=needed", "yes"])

    assert says(change) == [
        "tail.xlsx, sheet loom, row 5, column loom.serail: 'serail' is not known here. There is serial.",
        "tail.xlsx, sheet choices, column makes: choice fog, answer yes: there is no circuit "
        "'fogg'. There is fog.",
    ]


def part(name: str, content: bytes, data: bytes) -> bytes:
    """Return a workbook with one part replaced or added."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(data)) as source,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as target,
    ):
        for old in source.namelist():
            if old != name:
                target.writestr(old, source.read(old))
        target.writestr(name, content)
    return out.getvalue()


def refusal(data: bytes) -> str:
    with pytest.raises(DescriptionError) as caught:
        load_workbook(data, "bad.xlsx")
    assert len(caught.value.problems) == 1
    return str(caught.value.problems[0])


def test_a_zip_bomb_is_refused_before_it_unpacks() -> None:
    bomb = part("xl/worksheets/sheet9.xml", b" " * 20_000_000, workbook_bytes(TAIL))
    assert len(bomb) < 100_000
    assert "unpacks to far more than a loom needs" in refusal(bomb)


def test_a_zip_that_lies_about_its_size_is_refused() -> None:
    bomb = part("xl/worksheets/sheet9.xml", b" " * 20_000_000, workbook_bytes(TAIL))
    true, lie = (20_000_000).to_bytes(4, "little"), (1000).to_bytes(4, "little")
    assert "bad.xlsx" in refusal(bomb.replace(true, lie))


def test_entities_are_refused() -> None:
    entities = b'<!ENTITY a "aaaa"><!ENTITY b "&a;&a;&a;">'
    bomb = b'<?xml version="1.0"?><!DOCTYPE x [' + entities + b"]><worksheet>&b;</worksheet>"
    assert "declares a document type or entities" in refusal(
        part("xl/worksheets/sheet2.xml", bomb, workbook_bytes(TAIL))
    )
    wide = bomb.decode().encode("utf-16")
    assert "declares a document type or entities" in refusal(
        part("xl/worksheets/sheet2.xml", wide, workbook_bytes(TAIL))
    )


@pytest.mark.parametrize("data", [b"", b"PK", b"not a workbook", b"PK\x05\x06" + b"\0" * 18])
def test_what_is_no_workbook_is_said(data: bytes) -> None:
    assert refusal(data).startswith("bad.xlsx: it ")


def test_a_sheet_with_a_far_away_cell_is_bounded() -> None:
    sheet = b"".join(
        b'<row r="%d"><c r="XFD%d" t="inlineStr"><is><t>x</t></is></c></row>' % (n, n) for n in range(1, 400)
    )
    ns = b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    book = part("xl/worksheets/sheet3.xml", ns + sheet + b"</sheetData></worksheet>", workbook_bytes(TAIL))
    with pytest.raises(DescriptionError) as caught:
        load_workbook(book, "far.xlsx")
    assert any("more than 5000000 cells" in problem.message for problem in caught.value.problems)
