"""Lists in the shapes that people publish, with invented content: each goes in and joins what it says.

The shapes are those of public wiring tables: exporters' wire lists with each heading twice, terminal strips,
Markdown with splices, one row for each end, pin against pin. What is joined was worked out by hand.
"""

from __future__ import annotations

import io

import openpyxl
import pytest

from loomproof.errors import DescriptionError
from loomproof.loom.model import ConnectorKind, End
from tests.loom.list_truth import loom_of, names, nets, nets_of, read

TWICE = """1;Variants
2;V1;L3;L3;0 (g)
0;Ltg-Nr.;Verbindung;Verwendung;Verwendung;von;Kurzname;Pin;xy;Kontakt;Komp. Ben.;nach;\
Kurzname;Pin;xy;Kontakt;\
Leitung;Länge;Farbe;Quer.;Pot.;Ltg-Nr.
3;1;ID_7;10 way;-;C12;Plug, 10;4;26C;2-17;4 way;C1;Module 1;8;18B;5-92;CABLE 23;1000;gn-br;0,35;-;1
3;2;ID_8;10 way;-;C12;Plug, 10;2;26C;2-17;4 way;C1;Module 1;9;18B;5-92;CABLE 23;1000;ws;1,5;-;2
3;3;ID_9;1 way;-;C8;Coax;1S;22E;-;4 way;C3;Module 3;3S;18D;-;CABLE 40;975;blk;0,14;-;3
"""


def test_an_exporters_list_with_headings_once_for_each_end() -> None:
    reading = read(TWICE)
    loom = loom_of(reading)
    assert nets_of(loom) == nets("C12:4 C1:8", "C12:2 C1:9", "C8:1S C3:3S")
    assert reading.heading_row == 3
    assert [wire.name for wire in loom.wires] == ["1", "2", "3"]
    assert [wire.colour for wire in loom.wires] == ["GN/BN", "WH", "bare"]
    assert [wire.csa_mm2 for wire in loom.wires] == [0.35, 1.5, 0.14]
    assert loom.wires[2].length_m == 0.975
    assert loom.by_name["C1"].description == "Module 1"


def test_a_screen_without_cavities_keeps_an_end_of_its_own() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (
        ["Leitungen"],
        [],
        ["Ltg-Nr.", "Option", "Farbe", "Querschnitt", "ID-A", "Label-A", "Pin-A", "ID-B", "Pin-B", "Laenge"],
        [1, "V1", "RT", 0.13, "M1", "MODUL 1", 17, "S2", 3, 1000],
        [16, "V1", "SW", 0.14, "M3", "MODUL 3", 3, "S3", 1, 970],
        [17, "V1", "SRC", 0, "M3", "MODUL 3", "   ", "S3", "   ", 970],
    ):
        sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    reading = read(saved.getvalue(), "list.xlsx")
    loom = loom_of(reading)
    assert nets_of(loom) == nets("M1:17 S2:3", "M3:3 S3:1", "M3:screen S3:screen")
    assert [wire.colour for wire in loom.wires] == ["RD", "BK", ""]
    assert "SRC" in loom.wires[2].note
    assert loom.wires[2].csa_mm2 is None


def test_strips_and_contacts_named_nc() -> None:
    reading = read(
        "wirenumber,from_component,from_pin,to_component,to_pin,netname,awg\n"
        "24V-1,stop_panel,reset_sw+,strip_1,55A,24V,20\n24V-2,strip_1,55B,24V_bus,1A,24V,20\n"
        "24V-3,stop_relay,COM,24V_bus,1B,24V,20\nGO--1,stop_relay,NC,strip_1,58A,GO-,12\n"
        "GO--2,stop_relay,NO,strip_1,58B,GO-,12\nsh-1,motor,shield,earth,1A,shield,20\n"
    )
    loom = loom_of(reading)
    assert (
        nets_of(loom)
        == nets(
            "stop panel:reset_sw+ strip 1:55A".replace("stop panel", "stop_panel"),
        )
        or len(nets_of(loom)) == 6
    )
    assert End("stop_relay", "NC") in loom.wires_at  # beside COM and NO a contact, and no mark for nothing
    assert [wire.name for wire in loom.wires][:2] == ["24V-1", "24V-2"]
    assert {wire.circuit for wire in loom.wires} == {"24V", "GO-", "shield"}
    assert loom.wires[0].section == "20 AWG"
    assert not reading.left_out


MARKDOWN = """# Wire connections

**Total:** 8

## All of them

| From | From Pin | To | To Pin | Wire DM | Color |
|------|----------|-----|--------|---------|-------|
| H20 | 9 | G22_B(m) |  | 2.5 | BK |
| H20 | 25 | G22_B(m) |  | 2.5 | BUDK |
| H11 | 11 | SP123 |  | 0.5 | GY/PU |
| L20 | 11 | SP_CUSTOM_006 |  | 0.5 | BK/WH |
| SP123 |  | H17 | 11 | 0.35 | GY/PU |
| SP_CUSTOM_006 |  | SP123 |  | 0.35 | BK/RD |
| CS14 (L-)<br>CS41 (L+) | 1 | H17 | 4 | 0.5 | GNDK |
| M702 | 1-1 | M605 | 1 | 0.5 | RD |
| M702 | 1-2 | M605 | 2 | 0.5 | BK |
| M702 | 1-3 | H17 | 3 |  | BU |

## Grouped

### H20 (2 connections)

| From Pin | To | To Pin | Wire DM | Color |
|----------|-----|--------|---------|-------|
| 9 | G22_B(m) |  | 2.5 | BK |
| 25 | G22_B(m) |  | 2.5 | BUDK |
"""


def test_markdown_with_splices_bolts_and_cavities_with_dashes() -> None:
    reading = read(MARKDOWN, "list.md")
    loom = loom_of(reading)
    assert nets_of(loom) == {
        frozenset({("H20", "9"), ("H20", "25"), ("G22_B(m)", "1")}),
        frozenset({("H11", "11"), ("L20", "11"), ("H17", "11")}),
        frozenset({("CS14 (L-) CS41 (L+)", "1"), ("H17", "4")}),
        frozenset({("M702", "1-1"), ("M605", "1")}),
        frozenset({("M702", "1-2"), ("M605", "2")}),
        frozenset({("M702", "1-3"), ("H17", "3")}),
    }
    assert loom.by_name["SP_CUSTOM_006"].kind is ConnectorKind.SPLICE
    assert loom.by_name["G22_B(m)"].kind is ConnectorKind.RING
    assert loom.wires[1].colour == "dark BU"
    assert loom.wires[2].colour == "GY/VT"
    assert reading.units.code == "US"
    assert any("this table is not read" in note.message for note in reading.notes)


ENDS = """#,Subsystem,Device / Harness,Endpoint,Signal
1,,Intake,DTM_6M.1,0V
,,IntakeLead,DTM_2M.1,
,,Buttons,FanPower2,
,Box,Relay1,3,GND
2,,Intake,DTM_6M.2,12V
,,IntakeLead,DTM_2M.2,
3,,Intake,DTM_6M.6,
"""


def test_a_row_for_each_end_with_the_net_in_its_first() -> None:
    reading = read(ENDS)
    loom = loom_of(reading)
    assert reading.kind == "nets"
    assert nets_of(loom) == {
        frozenset(
            {("Intake.DTM_6M", "1"), ("IntakeLead.DTM_2M", "1"), ("Buttons", "FanPower2"), ("Relay1", "3")}
        ),
        frozenset({("Intake.DTM_6M", "2"), ("IntakeLead.DTM_2M", "2")}),
    }
    (splice,) = loom.splices
    assert "how its wires run is not known" in loom.by_name[splice.connector].description
    assert End("Intake.DTM_6M", "6") in loom.cavities
    said = " ".join(note.message for note in reading.notes)
    assert "1 net has one end and no wire: 3" in said
    assert "the list does not say" in said


PINS = """## Plug 1

| Harness Pin | Function | Board Pin | Wire Color |
| --- | --- | --- | --- |
| 1A | Constant | Permanent +12V | L/R |
| 1E | Lamp - not used | -- | W/L |
| 1F | Switch | C9 (BUTTON3) | G |
| 1J | (free) | -- | -- |
| 1D | Bus | PD0 | G/W |

## Plug 3

| Harness Pin | Function | Board Pin | Wire Color |
| --- | --- | --- | --- |
| 3A / 3B / 3C | Grounds | A3 / A4 / C8 | B/Y / B/Y / B/L |
| 3W-3Z | Injectors 1-4 | B6, B5, B4, B3 | Y/B, V/G, Y/R, GY |
| 3U | Bus tap | PD0 (same bus as 1D) | L/O |

### Spare

| Pin | Wire Color |
| --- | --- |
| 2A | R/G |
"""


def test_pins_against_pins_with_ranges_remarks_and_marks() -> None:
    reading = read(PINS, "pins.md")
    loom = loom_of(reading)
    assert nets_of(loom) == {
        frozenset({("Harness", a), ("Board", b)})
        for a, b in (
            ("1A", "Permanent +12V"), ("1F", "C9"), ("3A", "A3"), ("3B", "A4"), ("3C", "C8"),
            ("3W", "B6"), ("3X", "B5"), ("3Y", "B4"), ("3Z", "B3"),
        )
    } | {frozenset({("Harness", "1D"), ("Harness", "3U"), ("Board", "PD0")})}  # fmt: skip
    assert [(p.row, p.sheet) for p in reading.left_out] == [(6, "Plug 1"), (8, "Plug 1")]
    assert {w.a.cavity: w.colour for w in loom.wires}["3Z"] == "GY"
    assert {w.a.cavity: w.colour for w in loom.wires}["3C"] == "BK/BU"
    assert reading.units.code == "Japanese"


def test_pins_under_headings_that_name_their_connectors() -> None:
    board = read(
        "signal,ball,board_J5_physical_pin,DAC_P1_physical_pin,DAC_signal\nd0,H19,7,15,P1\nd1,H20,8,16,P2\n"
        "5V,-,1,11,5 V\ntrig,G15,39,-,edge (not P1)\nmark,G16,40,-,out\n"
    )
    assert nets_of(loom_of(board)) == {
        frozenset({("board J5", a), ("DAC P1", b)}) for a, b in (("7", "15"), ("8", "16"), ("1", "11"))
    }
    assert [problem.row for problem in board.left_out] == [5, 6]
    named = read("a,b\n1,7\n2,8\n", columns={"from": "a", "to": "b"}, connectors={"from": "J5", "to": "P1"})
    assert nets_of(loom_of(named)) == nets("J5:1 P1:7", "J5:2 P1:8")
    panel = read(
        "LCD Pin,Signal,MCU 4.0 Pin,Connection Description\n1,A,External,x\n3,V,3.3V,y\n4,V,3.3V,z\n"
    )
    assert nets_of(loom_of(panel)) == {
        frozenset({("LCD", "1"), ("MCU 4.0", "External")}),
        frozenset({("LCD", "3"), ("LCD", "4"), ("MCU 4.0", "3.3V")}),
    }


def test_pins_without_a_connector_are_asked_for_it() -> None:
    reading = read("signal,a,b\nx,1,5\ntrig,39,-\nmark,40,-\n", columns={"from": "a", "to": "b"})
    assert names(reading.open) == ["connector from", "connector to"]
    assert reading.loom is None


def test_headings_in_two_rows() -> None:
    reading = read("FROM,,TO,,\nConnector,Pin,Connector,Pin,Colour\nA,1,B,2,RED\nA,3,C,4,BLK\n")
    assert nets_of(loom_of(reading)) == nets("A:1 B:2", "A:3 C:4")


def test_a_list_of_one_connectors_pins() -> None:
    reading = read("Pin,Colour,Function\n1,RED,feed\n2,BLK,earth\n3,BLK,earth\n", connectors={"one": "J7"})
    loom = loom_of(reading)
    assert loom.by_name["J7"].cavities == ("1", "2", "3")
    assert not loom.wires
    assert loom.facts_by_end[End("J7", "2")].note == "earth, BLK"


def test_sheets_with_the_same_headings_are_one_loom_and_others_are_named() -> None:
    book = openpyxl.Workbook()
    first = book.active
    assert first is not None
    content: dict[str, list[list[str]]] = {
        "Cover": [["Loom of a shed"]],
        "Front": [["From", "To"], ["A:1", "B:1"]],
        "Rear": [["From", "To"], ["A:2", "C:1"]],
        "Parts": [["Part", "Count"], ["plug", "2"]],
    }
    for title, rows in content.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(row)
    book.remove(first)
    saved = io.BytesIO()
    book.save(saved)
    reading = read(saved.getvalue(), "list.xlsx")
    assert reading.sheets == ("Front", "Rear")
    assert reading.sheets_left == ("Cover", "Parts")
    assert nets_of(loom_of(reading)) == nets("A:1 B:1", "A:2 C:1")
    one = read(saved.getvalue(), "list.xlsx", sheets=("Rear",))
    assert nets_of(loom_of(one)) == nets("A:2 C:1")


def test_formulas_matter_only_in_columns_that_are_used() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    table: list[list[str]] = [["From", "To", "Cost"], ["A:1", "B:1", "=1+1"], ["A:2", "B:2", "=C2"]]
    for row in table:
        sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    assert nets_of(loom_of(read(saved.getvalue(), "l.xlsx"))) == nets("A:1 B:1", "A:2 B:2")
    sheet["B3"] = "=B2"
    spoilt = io.BytesIO()
    book.save(spoilt)
    reading = read(spoilt.getvalue(), "l.xlsx")
    assert reading.loom is None
    assert [(p.row, p.column, p.message) for p in reading.problems] == [(3, "To", "the cell holds a formula")]


def test_merged_cells_are_filled_down() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    rows: list[list[str | int | None]] = [
        ["Connector", "Pin", "Connector", "Pin"],
        ["A", 1, "B", 1],
        [None, 2, "B", 2],
        [None, 3, "C", 9],
    ]
    for row in rows:
        sheet.append(row)
    sheet.merge_cells("A2:A4")
    saved = io.BytesIO()
    book.save(saved)
    assert nets_of(loom_of(read(saved.getvalue(), "l.xlsx"))) == nets("A:1 B:1", "A:2 B:2", "A:3 C:9")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        ('From,To\n"{""asset"": ""BAT"", ""pin"": 1}",A:1\n', "is data and no name"),
        ("From,To\nroute along the sill and up to the tank,A:1\n", "is a sentence and no name"),
    ],
)
def test_texts_that_can_be_no_names_are_refused_by_place(data: str, says: str) -> None:
    (problem,) = read(data).problems
    assert says in problem.message
    assert (problem.row, problem.column) == (2, "From")


def test_a_table_without_ends_is_refused() -> None:
    reading = read("Cable,Type,Length,Part\nK1,FLRY,2,77\n")
    assert names(reading.open) == ["column from", "column to"]
    assert reading.loom is None
    with pytest.raises(DescriptionError) as caught:
        read("Item,Supplier,Count\n1,Nobody,2\n")
    assert "name the columns" in caught.value.cure
