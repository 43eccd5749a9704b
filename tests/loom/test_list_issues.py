"""Lists that say themselves that a row, a sheet or a column is not what it seems: asked, and never joined.

Every list here is invented. What is joined was worked out by hand.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence

import openpyxl
import pytest

from loomproof.errors import UsageError
from tests.loom.list_truth import loom_of, names, nets, nets_of, read

HEADS = ("From", "Pin", "To", "Pin")
NEW = (HEADS, ("J1", "1", "J2", "1"), ("J1", "2", "J2", "2"))
OLD = (HEADS, ("J1", "1", "J2", "2"), ("J1", "2", "J2", "1"))
MORE = (HEADS, ("J1", "3", "J3", "1"), ("J1", "4", "J3", "2"))


def _book(sheets: Mapping[str, Sequence[Sequence[str]]], hidden: str = "") -> bytes:
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
        sheet.sheet_state = "hidden" if title == hidden else "visible"
    file = io.BytesIO()
    book.save(file)
    return file.getvalue()


def test_two_issues_in_one_book_are_asked_about_and_never_joined() -> None:
    # Once all four cavities were one net, with a warning.
    book = _book({"Rev B": OLD, "Rev C": NEW})
    (question,) = read(book, "list.xlsx").open
    assert (question.name, question.answers) == ("sheets", ("all", "Rev B", "Rev C"))
    told = read(book, "list.xlsx", said={"sheets": "Rev C"})
    assert nets_of(loom_of(told)) == nets("J1:1 J2:1", "J1:2 J2:2")
    assert told.sheets_left == ("Rev B",)
    with pytest.raises(UsageError, match="has no sheet 'Rev D'"):
        read(book, "list.xlsx", said={"sheets": "Rev D"})


def test_a_hidden_sheet_is_asked_about() -> None:
    book = _book({"Main": NEW, "Spare": MORE}, hidden="Spare")
    (question,) = read(book, "list.xlsx").open
    assert question.name == "sheets"
    assert "Spare is hidden" in question.text
    both = nets("J1:1 J2:1", "J1:2 J2:2", "J1:3 J3:1", "J1:4 J3:2")
    assert nets_of(loom_of(read(book, "list.xlsx", said={"sheets": "all"}))) == both
    assert nets_of(loom_of(read(book, "list.xlsx", said={"sheets": "Main, Spare"}))) == both
    assert nets_of(loom_of(read(_book({"Main": NEW, "Spare": MORE}), "list.xlsx"))) == both


@pytest.mark.parametrize(
    ("heading", "mark"),
    [
        ("Status", "DELETED"),
        ("Bemerkung", "entfällt ab Rev. C"),
        ("Notes", "removed"),
        ("Rev", "gestrichen"),
        ("Qty", "0"),
    ],
)
def test_a_row_that_the_list_calls_withdrawn_is_asked_about(heading: str, mark: str) -> None:
    text = f"From,Pin,To,Pin,{heading}\nJ1,1,J2,1,new\nJ1,2,J2,2,{mark}\n"
    assert names(read(text).open) == ["withdrawn"]
    left = read(text, said={"withdrawn": "leave out"})
    assert nets_of(loom_of(left)) == nets("J1:1 J2:1")
    assert [(p.row, p.message) for p in left.left_out] == [(3, f"left out: the list says {mark!r}")]
    kept = read(text, said={"withdrawn": "keep"})
    assert nets_of(loom_of(kept)) == nets("J1:1 J2:1", "J1:2 J2:2")


def test_rows_that_a_book_hides_are_asked_about() -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for row in (("From", "Pin", "To", "Pin"), ("J1", "1", "J2", "1"), ("J1", "2", "J2", "2")):
        sheet.append(row)
    sheet.row_dimensions[3].hidden = True
    file = io.BytesIO()
    book.save(file)
    assert names(read(file.getvalue(), "list.xlsx").open) == ["withdrawn"]
    left = read(file.getvalue(), "list.xlsx", said={"withdrawn": "leave out"})
    assert nets_of(loom_of(left)) == nets("J1:1 J2:1")
    kept = read(file.getvalue(), "list.xlsx", said={"withdrawn": "keep"})
    assert nets_of(loom_of(kept)) == nets("J1:1 J2:1", "J1:2 J2:2")


def test_rows_that_a_book_hides_are_asked_about_in_tables_side_by_side() -> None:
    heads = ("From", "Pin", "To", "Pin")
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    sheet.append((*heads, None, *heads))
    sheet.append(("J1", "1", "J2", "1", None, "J3", "1", "J4", "1"))
    sheet.append(("J1", "2", "J2", "2", None, "J3", "2", "J4", "2"))
    sheet.row_dimensions[3].hidden = True
    file = io.BytesIO()
    book.save(file)
    assert names(read(file.getvalue(), "list.xlsx").open) == ["withdrawn"]
    left = read(file.getvalue(), "list.xlsx", said={"withdrawn": "leave out"})
    assert nets_of(loom_of(left)) == nets("J1:1 J2:1", "J3:1 J4:1")


def test_rows_of_several_models_are_asked_about() -> None:
    text = "From,Pin,To,Pin,Model\nJ1,1,J2,1,left-hand drive\nJ1,1,J3,1,right-hand drive\n"
    assert names(read(text).open) == ["variant"]
    chosen = read(text, said={"variant": "left-hand drive"})
    assert nets_of(loom_of(chosen)) == nets("J1:1 J2:1")


@pytest.mark.parametrize("note", ["removed insulation 5 mm", "not deleted", "cancel button"])
def test_a_remark_that_withdraws_nothing_asks_nothing(note: str) -> None:
    assert not read(f"From,Pin,To,Pin,Notes\nJ1,1,J2,1,{note}\n").open


@pytest.mark.parametrize(
    "text",
    [
        "Signal,Pin 1,Pin 2,Pin 3\nVCC,J1-1,J2-1,J3-1\nGND,J1-2,J2-2,\n",
        "From,Pin,Via,To,Pin\nJ1,1,IL1-1,J2,1\nJ1,2,IL1-2,J2,2\n",
        "From,Pin,To,Pin,Again\nJ1,1,J2,1,J2.3\nJ1,2,J2,2,J2.4\n",
    ],
)
def test_ends_in_a_column_that_is_not_used_are_not_lost_in_silence(text: str) -> None:
    assert names(read(text).open) == ["left_over"]
    assert read(text, said={"left_over": "leave out"}).loom is not None


def test_numbers_of_parts_are_no_ends() -> None:
    text = "From,Pin,To,Pin,Seal,Drawing\nJ1,1,J2,1,282080-1,AB-1\nJ1,2,J2,2,963530-1,AB-2\n"
    assert not read(text).open


def test_letters_opposite_numbers_are_a_list_too() -> None:
    # Once both wires ended in one cavity called A/B, and 7 and 8 were joined.
    reading = read("From,Pin,To,Pin\nP1,7/8,P4,A/B\n", said={"ranges": "expand"})
    assert nets_of(loom_of(reading)) == nets("P1:7 P4:A", "P1:8 P4:B")


def test_pins_of_one_sheet_for_each_connector_are_joined_by_their_signal_where_it_is_said() -> None:
    heads = ("Pin", "Signal")
    book = _book({"J1": (heads, ("1", "A"), ("2", "B")), "J2": (heads, ("1", "B"), ("2", "A"))})
    assert read(book, "list.xlsx").kind == "pins"
    joined = read(book, "list.xlsx", columns={"net": "Signal"})
    assert nets_of(loom_of(joined)) == nets("J1:1 J2:2", "J1:2 J2:1")


@pytest.mark.parametrize(
    "heads",
    [
        "Nr./No.,Von / From,Pin,Nach / To,Pin,Farbe/Colour",
        "No,Start Point,Start Cavity,End Point,End Cavity,Colour",
        "No,Connects from,Pin,Connects to,Pin,Colour (Farbe)",
        "No,End 1,,End 2,,Colour\n,Plug,Cavity,Plug,Cavity,",
        "No,Anfang,,Ende,,Farbe\n,Stecker,Kammer,Stecker,Kammer,",
    ],
)
def test_headings_of_two_languages_two_rows_and_of_start_and_end(heads: str) -> None:
    loom = loom_of(read(f"{heads}\n1,X1,1,X2,1,RD\n2,X1,2,X2,2,BK\n"))
    assert nets_of(loom) == nets("X1:1 X2:1", "X1:2 X2:2")
    assert [wire.colour for wire in loom.wires] == ["RD", "BK"]


@pytest.mark.parametrize("mark", ["dito", "wie oben", "idem"])
def test_words_for_the_cell_above(mark: str) -> None:
    loom = loom_of(read(f"From,Pin,To,Pin\nJ1,1,J2,1\n{mark},2,{mark},2\n"))
    assert nets_of(loom) == nets("J1:1 J2:1", "J1:2 J2:2")


def test_a_row_of_all_variants_is_of_each() -> None:
    text = "Variant,From,Pin,To,Pin\nall,J1,1,J2,1\nleft,J1,2,J2,2\nright,J1,2,J2,3\n"
    (question,) = read(text).open
    assert question.answers == ("all", "left", "right")
    assert nets_of(loom_of(read(text, said={"variant": "left"}))) == nets("J1:1 J2:1", "J1:2 J2:2")


@pytest.mark.parametrize(
    ("heading", "no"), [("Active", "no"), ("verbaut", "nein"), ("Fitted", "N"), ("State", "not fitted")]
)
def test_a_column_that_says_a_wire_is_not_there_is_asked_about(heading: str, no: str) -> None:
    text = f"From,Pin,To,Pin,{heading}\nJ1,1,J2,1,yes\nJ1,2,J2,2,{no}\n"
    assert names(read(text).open) == ["withdrawn"]
    assert nets_of(loom_of(read(text, said={"withdrawn": "leave out"}))) == nets("J1:1 J2:1")


def test_a_second_end_in_a_row_is_not_lost_in_silence() -> None:
    # Once "To 2" was not used, and C was in no net.
    text = "From,Pin,To 1,Pin,To 2,Pin\nA,1,B,1,C,1\nA,2,B,2,,\n"
    columns = {"from_cavity": "2", "to_connector": "To 1", "to_cavity": "4"}
    assert "left_over" in names(read(text, columns=columns).open)


@pytest.mark.parametrize("place", ["Pin {1} of {0}", "{0} pin {1}", "{0}, Pin {1}", "{0} Pin #{1}"])
def test_places_in_words(place: str) -> None:
    # Once the first row was taken for headings, and the connector for "Pin 2 of".
    rows = [f'"{place.format("J1", n)}","{place.format("J2", n + 2)}"' for n in (1, 2)]
    loom = loom_of(read("\n".join(["From,To", *rows]) + "\n"))
    assert nets_of(loom) == nets("J1:1 J2:3", "J1:2 J2:4")


def test_sheets_that_may_name_the_connectors_of_their_pins_are_asked_about() -> None:
    heads = ("Pin", "Goes to", "Pin")
    book = _book(
        {
            "J1": (heads, ("1", "J2", "2"), ("2", "J3", "1")),
            "J2": (heads, ("2", "J1", "1"), ("1", "J3", "2")),
        }
    )
    (question,) = read(book, "list.xlsx").open
    assert (question.name, question.answers) == ("sections", ("connectors", "no"))
    told = read(book, "list.xlsx", said={"sections": "connectors"})
    assert nets_of(loom_of(told)) == nets("J1:1 J2:2", "J1:2 J3:1", "J2:1 J3:2")
    assert names(read(book, "list.xlsx", said={"sections": "no"}).open) == ["connector from"]


def test_titles_between_wires_may_name_the_connector_at_one_end() -> None:
    # Once the cure was to name one connector, which put the pins of both into it.
    rows = "Connector ECU,,,\n1,B,1,RD\n2,B,2,BK\nConnector TCU,,,\n1,B,3,RD\n2,B,4,BK\n"
    text = f"Pin,To,Pin,Colour\n{rows}"
    assert names(read(text).open) == ["sections"]
    told = read(text, said={"sections": "connectors"})
    assert nets_of(loom_of(told)) == nets("ECU:1 B:1", "ECU:2 B:2", "TCU:1 B:3", "TCU:2 B:4")


@pytest.mark.parametrize("note", ["via diode 1N4007", "5 A fuse in line", "über Widerstand 120 Ohm"])
def test_a_part_within_a_wire_is_told(note: str) -> None:
    reading = read(f"From,Pin,To,Pin,Note\nJ1,1,J2,1,{note}\nJ1,2,J2,2,fuse box side\n")
    assert [n.row for n in reading.notes if "a part within the wire" in n.message] == [2]


@pytest.mark.parametrize(
    "text",
    [
        "Signal,Conn. 1,Pin 1,Conn. 2,Pin 2,Conn. 3,Pin 3\nA,J1,1,J2,1,J3,1\nB,J1,2,J2,2,,\n",
        "Pin,Signal,Verbunden mit\nX1.1,A,X2.1\nX1.2,B,X2.2\n",
    ],
)
def test_a_third_end_and_what_a_pin_is_joined_to_are_not_lost_in_silence(text: str) -> None:
    assert names(read(text).open) == ["left_over"]


def test_words_beside_a_place_are_no_connector() -> None:
    # Once "Jumper to J1" was a connector of its own, and J1:3 and J1:4 were apart.
    reading = read("From,To\nJ1-1,J2-1\nJ1-2,J2-2\nJ1-3,Jumper to J1-4\n")
    assert [(p.row, p.message) for p in reading.problems] == [
        (4, "'Jumper to J1-4' holds words beside a place")
    ]


def test_a_heading_over_no_other_is_the_column_s_own() -> None:
    reading = read("W#,FROM,,TO,,State\n,REF,PIN,REF,PIN,\n7,P1,A,P2,A,new\n8,P1,B,P2,B,new\n")
    assert [wire.name for wire in loom_of(reading).wires] == ["7", "8"]
    assert reading.columns_left == ("State",)


def test_a_cavity_below_its_connector_in_one_cell() -> None:
    # Once each such cell was a ring terminal called "J1 1".
    loom = loom_of(read('From,To\n"J1\n1","J2\n1"\n"J1\n2","J2\n2"\n'))
    assert nets_of(loom) == nets("J1:1 J2:1", "J1:2 J2:2")
