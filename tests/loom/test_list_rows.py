"""Rows that stand for others: marks for the cell above, second headings, errors; names with marks in them."""

from __future__ import annotations

import io

import openpyxl
import pytest
from openpyxl.styles import Font

from tests.loom.list_truth import loom_of, names, nets, nets_of, read

PARTS = "From,From Pin,To,To Pin\n"


@pytest.mark.parametrize("mark", ['""""', "〃", "ditto", "do.", '"-""-"', "''"])
def test_a_mark_for_the_cell_above_is_no_connector(mark: str) -> None:
    # Two connectors' second pins were joined in a connector called '"'.
    text = f"{PARTS}X1,1,A,1\n{mark},2,A,2\nX2,1,B,1\n{mark},2,B,2\n"
    reading = read(text)
    assert nets_of(loom_of(reading)) == nets("X1:1 A:1", "X1:2 A:2", "X2:1 B:1", "X2:2 B:2")
    assert [(n.row, n.column) for n in reading.notes if "the cell above: 'X" in n.message] == [
        (3, "From"),
        (5, "From"),
    ]


def test_a_cavity_is_never_the_one_above() -> None:
    (problem,) = read(f'{PARTS}X1,1,A,1\nX1,2,A,""""\n').problems
    assert (problem.row, problem.column) == (3, "To Pin")


def test_headings_in_two_languages_are_no_wire() -> None:
    reading = read("From,To\nVon,Nach\nX1:1,X2:1\n")
    assert nets_of(loom_of(reading)) == nets("X1:1 X2:1")
    assert [problem.row for problem in reading.left_out] == [2]
    assert nets_of(loom_of(read("From,To\nA,B\nA,C\n", said={"joints": "joined"}))) == nets("A:1 B:1 C:1")


@pytest.mark.parametrize("error", ["#REF!", "#VALUE!", "#NAME?", "#DIV/0!"])
def test_an_error_of_a_spreadsheet_is_no_place(error: str) -> None:
    reading = read(f"From,To\nX1:1,{error}\nX1:2,{error}\nX1:3,X2:3\n")
    assert nets_of(loom_of(reading)) == nets("X1:3 X2:3")
    assert [problem.row for problem in reading.left_out] == [2, 3]


@pytest.mark.parametrize(
    ("text", "asked"),
    [
        ("From,To\nC-7,D-8\nC-9,D-8\n", True),
        ("From,To\nM.1,M.2\nM.1,M.3\n", True),
        ("From,To\nLamp 1,Post 4\nLamp 2,Post 4\n", True),
        ("From,To\nX-1,Y-1\nX-2,Y-2\n", False),
        ("From,To\nX-1,Y-1\nX-2,Y-2\nX-3,Y-3\nX-4,Y-4\nX-4,Y-1\n", False),
    ],
)
def test_names_with_marks_where_wires_would_meet_are_asked_about(text: str, asked: bool) -> None:
    assert (names(read(text).open) == ["parted"]) is asked


def test_names_with_marks_are_places_of_their_own() -> None:
    text = "From,To\nC-7,D-8\nC-9,D-8\n"
    said = {"parted": "names"}
    assert names(read(text, said=said).open) == ["joints"]
    apart = loom_of(read(text, said={**said, "joints": "own"}))
    assert len(nets_of(apart)) == 2
    assert nets_of(loom_of(read(text, said={"parted": "cavities"}))) == nets("C:7 D:8 C:9")


def test_half_a_colour_is_none() -> None:
    loom = loom_of(read("From,To,Colour\nX1:1,X2:1,white (red)\nX1:2,X2:2,white (18ga)\n"))
    assert [wire.colour for wire in loom.wires] == ["", "WH"]


def test_pins_called_in_two_ways_are_said() -> None:
    reading = read(f"{PARTS}X1,Pin 1,X2,#1\nX1,1,X2,No. 1\n")
    said = [note.message for note in reading.notes if "cavities of" in note.message]
    assert said == [
        "'Pin 1' and '1' are taken as 2 cavities of X1",
        "'#1' and 'No. 1' are taken as 2 cavities of X2",
    ]


def test_what_is_struck_out_is_left_out() -> None:
    for text in ("~~X1:1~~|~~X2:1~~", "~~X1:1~~|X2:1", "<del>X1:1</del>|X2:1"):
        reading = read(f"|From|To|\n|-|-|\n|{text}|\n|X1:2|X2:2|\n", "list.md")
        assert nets_of(loom_of(reading)) == nets("X1:2 X2:2")
        assert "is struck out" in reading.left_out[0].message
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["From", "To"], ["X1:1", "X2:1"], ["X1:2", "X2:2"]):
        sheet.append(row)
    for column in (1, 2):
        sheet.cell(2, column).font = Font(strike=True)
    saved = io.BytesIO()
    book.save(saved)
    reading = read(saved.getvalue(), "list.xlsx")
    assert nets_of(loom_of(reading)) == nets("X1:2 X2:2")
    assert [problem.row for problem in reading.left_out] == [2]


def test_marks_of_markdown_and_html_are_no_part_of_a_name() -> None:
    text = "|From|To|\n|-|-|\n|[X1](#x1):1|<b>X2</b>:1&nbsp;|\n|X1:1|X2&#58;2|\n"
    assert nets_of(loom_of(read(text, "list.md"))) == nets("X1:1 X2:1 X2:2")
    (problem,) = read("|From|To|\n|-|-|\n|X1:1<sup>1</sup>|X2:1|\n", "list.md").problems
    assert "footnote" in problem.message


def test_what_a_plug_mates_with_is_no_end_of_a_wire() -> None:
    text = "Connector,Pin,Mating connector,Mating pin,Net\nX1,1,Y1,1,A\nX2,1,Y2,1,A\n"
    assert nets_of(loom_of(read(text))) == nets("X1:1 X2:1")


def test_rows_that_are_remarks_are_left_out() -> None:
    reading = read("From,To\n#X1:1,X2:1\n// X1:2,X2:2\nX1:3,X2:3\n")
    assert nets_of(loom_of(reading)) == nets("X1:3 X2:3")
    assert [problem.row for problem in reading.left_out] == [2, 3]


def test_what_stands_for_a_screens_colour_is_no_colour_that_could_not_be_read() -> None:
    reading = read(f"{PARTS.strip()},Colour\nX1,1,X2,1,red\nX1,,X2,,shield\n")
    assert [wire.note for wire in loom_of(reading).wires] == ["", "colour: shield"]
    assert not any("is no colour" in note.message for note in reading.notes)
