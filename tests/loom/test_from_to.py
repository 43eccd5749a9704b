"""Plain from-to lists become looms, with nothing retyped."""

from __future__ import annotations

import io

import openpyxl
import pytest

from loomproof.errors import DescriptionError, UsageError
from loomproof.loom import colours, fromto
from loomproof.loom.model import ConnectorKind, End

LIST = b"""From Pin;To Pin;Colour;Size mm2;Signal;Length (mm);Price
ECU:01;C2:1A;rt/ws;0.5;inj;120;3
ECU:1;S1;sw;0.5;+;30;3
S1;GND;br;1.0;NC;5;3
S1;C2:+;sw;0.5;NC;40;3
"""


def test_columns_are_proposed_by_their_headings() -> None:
    proposal = fromto.propose(fromto.read(LIST, "list.csv"))
    assert dict(proposal.columns) == {
        "from": "From Pin",
        "to": "To Pin",
        "colour": "Colour",
        "csa_mm2": "Size mm2",
        "length_mm": "Length (mm)",
        "circuit": "Signal",
    }
    assert proposal.left_out == ("Price",)
    assert proposal.separator == ":"
    assert proposal.complete


def test_nothing_is_retyped() -> None:
    found = fromto.read(LIST, "list.csv")
    loom = fromto.make(found, fromto.propose(found), "list", colours.GERMAN).loom
    assert [c.name for c in loom.connectors] == ["ECU", "C2", "S1", "GND"]
    assert loom.by_name["ECU"].cavities == ("01", "1")
    assert set(loom.by_name["C2"].cavities) == {"1A", "+"}
    assert loom.by_name["S1"].kind is ConnectorKind.SPLICE
    assert loom.by_name["GND"].kind is ConnectorKind.RING
    assert [wire.circuit for wire in loom.wires] == ["inj", "+", "NC", "NC"]
    assert loom.wires[0].colour == "RD/WH"
    assert loom.wires[0].length_m == 0.12
    assert loom.wires[2].b == End("GND", "1")


def test_a_person_says_which_column_is_what() -> None:
    data = b"No,Plug A,A,Plug B,B,Farbe\n1,X1,01,X2,NC,rt\n2,X1,02,X2,7,sw\n"
    found = fromto.read(data, "list.csv")
    given = {"from_connector": "plug a", "from_cavity": "A", "to_connector": "Plug B", "to_cavity": "B"}
    proposal = fromto.propose(found, given)
    loom = fromto.make(found, proposal, "list", colours.GERMAN).loom
    assert [wire.ends for wire in loom.wires] == [
        (End("X1", "01"), End("X2", "NC")),
        (End("X1", "02"), End("X2", "7")),
    ]
    assert [wire.name for wire in loom.wires] == ["1", "2"]


def test_the_mark_within_places_is_found_or_given() -> None:
    data = b"from,to\nA-1/01,B/2\nC/3,A-1/4\n"
    found = fromto.read(data, "list.csv")
    assert fromto.propose(found).separator == "/"
    loom = fromto.make(found, fromto.propose(found), "list").loom
    assert loom.wires[0].a == End("A-1", "01")
    by_hyphen = fromto.make(found, fromto.propose(found, separator="-"), "list").loom
    assert by_hyphen.wires[0].a == End("A", "1/01")


def test_errors_stand_at_the_lists_own_headings() -> None:
    found = fromto.read(LIST.replace(b"rt/ws;0.5", b"rt/xx;half"), "list.csv")
    with pytest.raises(DescriptionError) as caught:
        fromto.make(found, fromto.propose(found), "list", colours.GERMAN)
    assert [(p.file, p.row, p.column) for p in caught.value.problems] == [
        ("list.csv", 2, "Colour"),
        ("list.csv", 2, "Size mm2"),
    ]


def test_double_crimps_are_taken_and_noted() -> None:
    found = fromto.read(b"from,to\nA:1,B:1\nA:1,B:2\n", "list.csv")
    made = fromto.make(found, fromto.propose(found), "list")
    assert [facts.end for facts in made.loom.cavity_facts if facts.shared] == [End("A", "1")]
    assert any("A:1 holds W1, W2" in note.message for note in made.notes)


def test_headings_and_roles_that_are_not_there_are_said() -> None:
    found = fromto.read(LIST, "list.csv")
    with pytest.raises(UsageError) as caught:
        fromto.propose(found, {"from": "From Pn"})
    assert caught.value.cure == "There is 'From Pin'."
    with pytest.raises(UsageError, match="cannot be 'frm'"):
        fromto.propose(found, {"frm": "From Pin"})
    bare = fromto.read(b"x,y\n1,2\n", "list.csv")
    with pytest.raises(UsageError, match="where a wire goes from"):
        fromto.make(bare, fromto.propose(bare), "list")


def test_a_workbook_list_is_read_as_it_is_shown() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Wiring"
    for row in (["From", "To"], ["A:01", "B:+"], ["A:1", 12]):
        sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    found = fromto.read(saved.getvalue(), "list.xlsx")
    made = fromto.make(found, fromto.propose(found), "list")
    assert made.loom.wires[0].ends == (End("A", "01"), End("B", "+"))
    assert made.loom.wires[1].b == End("12", "1")
    assert any("leading zero" in note.message for note in made.notes)
    with pytest.raises(UsageError) as caught:
        fromto.read(saved.getvalue(), "list.xlsx", "Wirring")
    assert caught.value.cure == "There is Wiring."


def test_headings_further_down_are_found_by_their_row() -> None:
    data = b"Wiring of the shed\n\nby: nobody\n" + LIST
    title = fromto.read(data, "list.csv")
    with pytest.raises(UsageError) as caught:
        fromto.make(title, fromto.propose(title), "list")
    assert "--heading-row" in caught.value.cure
    wide = data.replace(b";", b",")
    with pytest.raises(DescriptionError) as refused:
        fromto.read(wide, "list.csv")
    assert "--heading-row" in refused.value.cure
    found = fromto.read(data, "list.csv", heading_row=4)
    assert found.headings[:2] == ("From Pin", "To Pin")
    assert found.table.rows[0][0] == 5


def test_decimals_of_a_list_are_parted_as_said() -> None:
    data = LIST.replace(b"0.5", b"0,5").replace(b";120;", b";120,5;")
    found = fromto.read(data, "list.csv")
    loom = fromto.make(found, fromto.propose(found), "list", colours.GERMAN, ",").loom
    assert loom.wires[0].csa_mm2 == 0.5
    assert loom.wires[0].length_m == 0.1205


def test_a_whole_place_that_a_person_names_ends_the_guess_at_its_parts() -> None:
    data = b"From Connector,From Pin,Start Place,To Pin\nleft,9,ECU:1,C2:1\n"
    proposal = fromto.propose(fromto.read(data, "list.csv"), {"from": "Start Place"})
    assert dict(proposal.columns) == {"from": "Start Place", "to": "To Pin"}
    loom = fromto.make(fromto.read(data, "list.csv"), proposal, "list").loom
    assert loom.wires[0].ends == (End("ECU", "1"), End("C2", "1"))


def test_a_cavity_beside_a_connector_column_named_by_a_person_still_works() -> None:
    found = fromto.read(b"Unit,Pin,To Pin\nECU,1,C2:1\n", "list.csv")
    proposal = fromto.propose(found, {"from_connector": "Unit", "from": "Pin"})
    assert fromto.make(found, proposal, "list").loom.wires[0].ends[0] == End("ECU", "1")


def test_a_missing_colour_code_is_named_as_it_is_typed() -> None:
    found = fromto.read(b"From Pin,To Pin,Colour\nECU:1,C2:1,RW\nECU:2,C2:2,NG\n", "list.csv")
    with pytest.raises(DescriptionError) as caught:
        fromto.make(found, fromto.propose(found), "list")
    assert '--colour-code "BS AU 7"' in caught.value.cure
    assert all("loom.toml" not in problem.message for problem in caught.value.problems)


@pytest.mark.parametrize("heading", ["Wire Gauge", "gauge size"])
def test_a_gauge_that_is_left_out_gets_its_two_readings(heading: str) -> None:
    found = fromto.read(f"From Pin,To Pin,{heading}\nECU:1,C2:1,0.5\n".encode(), "list.csv")
    (note,) = [n for n in fromto.make(found, fromto.propose(found), "list").notes if "left out" in n.message]
    assert f'--column csa_mm2="{heading}"' in note.cure
    assert "--column awg=" in note.cure


def test_a_gauge_taken_for_awg_that_holds_mm2_says_what_to_type() -> None:
    found = fromto.read(b"From,To,Gauge\nECU:1,C2:1,0.5\n", "list.csv")
    with pytest.raises(DescriptionError) as caught:
        fromto.make(found, fromto.propose(found), "list")
    assert "--column csa_mm2=Gauge" in caught.value.cure


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"from,to\nA:1," + 140_000 * b"x" + b"\n", "a cell is longer than 131068 characters"),
        (b"PK\x03\x04\x14\x00\x08\x08", "it is a workbook or another zip file, and no CSV"),
        (b"\x7fELF\x02\x01\x01\x00\x00\xd0", "it is a binary file, and no CSV"),
    ],
)
def test_a_list_that_is_none_is_said_to_be_what_it_is(data: bytes, says: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        fromto.read(data, "list.csv")
    (problem,) = caught.value.problems  # and not that it is empty as well
    assert says in problem.message
    assert caught.value.cure == ""  # other headings do not help
