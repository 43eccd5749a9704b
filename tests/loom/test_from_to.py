"""Plain from-to lists become looms, with nothing retyped and nothing lost in silence."""

from __future__ import annotations

import io

import openpyxl
import pytest

from loomproof.errors import DescriptionError, Do, Todo, UsageError
from loomproof.loom.lists.questions import Answers
from loomproof.loom.lists.reading import Reading, understand
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.loom.summary import summary_of

LIST = b"""From Pin;To Pin;Colour;Size mm2;Signal;Length (mm);Price
ECU:01;C2:1A;rt/ws;0.5;inj;120;3
ECU:1;SP1;sw;0.5;+;30;3
SP1;GND;br;1.0;NC;5;3
SP1;C2:+;sw;0.5;NC;40;3
"""


def read(data: bytes | str, file: str = "list.csv", **answers: object) -> Reading:
    """Read a list under answers."""
    raw = data.encode() if isinstance(data, str) else data
    return understand(raw, file, answers=Answers(**answers))  # type: ignore[arg-type]  # by the field's name


def loom_of(reading: Reading) -> Loom:
    """Return the loom of a list that leaves nothing open."""
    assert reading.loom is not None, (reading.questions, reading.problems)
    return reading.loom


def test_columns_are_found_by_their_headings() -> None:
    reading = read(LIST)
    assert dict(reading.columns) == {
        "from": "From Pin",
        "to": "To Pin",
        "colour": "Colour",
        "csa_mm2": "Size mm2",
        "length_mm": "Length (mm)",
        "circuit": "Signal",
    }
    assert reading.columns_left == ("Price",)
    assert reading.separator == ":"
    assert reading.kind == "wires"


def test_nothing_is_retyped() -> None:
    loom = loom_of(read(LIST))
    assert [c.name for c in loom.connectors] == ["ECU", "C2", "SP1", "GND"]
    assert loom.by_name["ECU"].cavities == ("01", "1")
    assert set(loom.by_name["C2"].cavities) == {"1A", "+"}
    assert loom.by_name["SP1"].kind is ConnectorKind.SPLICE
    assert loom.by_name["GND"].kind is ConnectorKind.RING
    assert [wire.circuit for wire in loom.wires] == ["inj", "+", "NC", "NC"]
    assert loom.wires[0].colour == "RD/WH"
    assert loom.wires[0].length_m == 0.12
    assert loom.wires[2].b == End("GND", "1")


def test_a_person_says_which_column_is_what() -> None:
    data = b"No,Plug A,A,Plug B,B,Farbe\n1,X1,01,X2,8,rt\n2,X1,02,X2,7,sw\n"
    given = {"from_connector": "plug a", "from_cavity": "A", "to_connector": "Plug B", "to_cavity": "B"}
    loom = loom_of(read(data, columns=given))
    assert [wire.ends for wire in loom.wires] == [
        (End("X1", "01"), End("X2", "8")),
        (End("X1", "02"), End("X2", "7")),
    ]
    assert [wire.name for wire in loom.wires] == ["1", "2"]


@pytest.mark.parametrize("say", ["Pin#2", "D", "4"])
def test_a_column_is_named_by_number_letter_or_count(say: str) -> None:
    data = b"Place,Pin,Goes to,Pin\nX1,1,X2,5\n"
    given = {"from_connector": "Place", "from_cavity": "Pin#1", "to_connector": "C", "to_cavity": say}
    assert loom_of(read(data, columns=given)).wires[0].ends == (End("X1", "1"), End("X2", "5"))


def test_the_mark_within_places_is_found_or_given() -> None:
    data = b"from,to\nA-1/01,B/2\nC/3,A-1/4\n"
    reading = read(data)
    assert reading.separator == "/"
    assert loom_of(reading).wires[0].a == End("A-1", "01")
    by_hyphen = loom_of(read(b"from,to\nA-1/01,B-2\n", separator="-"))
    assert by_hyphen.wires[0].a == End("A", "1/01")


def test_what_cannot_be_read_of_a_wire_stands_in_its_note() -> None:
    reading = read(LIST.replace(b"rt/ws;0.5", b"rt/xx;half"))
    wire = loom_of(reading).wires[0]
    assert (wire.colour, wire.csa_mm2) == ("", None)  # half a colour is no colour
    assert "rt/xx" in wire.note
    assert "half" in wire.note
    assert [(n.row, n.column) for n in reading.notes if "in the wire's note" in n.message] == [
        (2, "Colour"),
        (2, "Size mm2"),
    ]


def test_double_crimps_are_taken_and_noted() -> None:
    reading = read(b"from,to\nA:1,B:1\nA:1,B:2\n")
    assert [facts.end for facts in loom_of(reading).cavity_facts if facts.shared] == [End("A", "1")]
    assert any("A:1 holds W1, W2" in note.message for note in reading.notes)


def test_headings_and_roles_that_are_not_there_are_said() -> None:
    with pytest.raises(UsageError) as caught:
        read(LIST, columns={"from": "From Pn"})
    assert caught.value.cure == "There is 'From Pin'."
    with pytest.raises(UsageError, match="cannot be 'frm'"):
        read(LIST, columns={"frm": "From Pin"})
    with pytest.raises(DescriptionError) as refused:
        read(b"x,y\n1,2\n")
    assert "name the columns" in refused.value.cure


def test_a_workbook_list_is_read_as_it_is_shown() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = "Wiring"
    for row in (["From", "To"], ["A:01", "B:+"], ["A:1", 12]):
        sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    reading = read(saved.getvalue(), "list.xlsx")
    loom = loom_of(reading)
    assert loom.wires[0].ends == (End("A", "01"), End("B", "+"))
    assert loom.wires[1].b == End("12", "1")
    assert any("leading zero" in note.message for note in reading.notes)
    with pytest.raises(UsageError) as caught:
        read(saved.getvalue(), "list.xlsx", sheets=("Wirring",))
    assert caught.value.cure == "There is Wiring."


def test_headings_further_down_are_found() -> None:
    data = b"Wiring of the shed\n\nby: nobody\n" + LIST
    reading = read(data)
    assert reading.heading_row == 4
    assert [wire.name for wire in loom_of(reading).wires] == ["W1", "W2", "W3", "W4"]
    assert read(data, heading_row=4).loom == reading.loom


def test_decimals_of_a_list_are_parted_as_they_are_written() -> None:
    data = LIST.replace(b"0.5", b"0,5").replace(b";1.0;", b";1,0;").replace(b";120;", b";120,5;")
    loom = loom_of(read(data))
    assert loom.wires[0].csa_mm2 == 0.5
    assert loom.wires[0].length_m == 0.1205


def test_a_whole_place_that_a_person_names_ends_the_guess_at_its_parts() -> None:
    data = b"From Connector,From Pin,Start Place,To Pin\nleft,9,ECU:1,C2:1\n"
    reading = read(data, columns={"from": "Start Place"})
    assert dict(reading.columns) == {"from": "Start Place", "to": "To Pin"}
    assert loom_of(reading).wires[0].ends == (End("ECU", "1"), End("C2", "1"))


def test_a_cavity_beside_a_connector_column_named_by_a_person_still_works() -> None:
    given = {"from_connector": "Unit", "from": "Pin"}
    loom = loom_of(read(b"Unit,Pin,To Pin\nECU,1,C2:1\n", columns=given))
    assert loom.wires[0].ends[0] == End("ECU", "1")


def test_the_colour_code_is_decided_for_the_whole_list() -> None:
    reading = read(b"From Pin,To Pin,Colour\nECU:1,C2:1,RW\nECU:2,C2:2,NG\n")
    assert reading.units.code == "BS AU 7"
    assert [wire.colour for wire in loom_of(reading).wires] == ["RD/WH", "BN/GN"]


@pytest.mark.parametrize(
    ("sizes", "sections"),
    [
        (("0.5", "0.75"), [0.5, 0.75]),
        (("0.5 mm2", "1.5 mm²"), [0.5, 1.5]),
        (("0,5", "1,5"), [0.5, 1.5]),
        # AWG 18 and 20 are 0.823 and 0.518 mm² (ASTM B258, table of nominal areas).
        (("18", "20"), [0.823, 0.518]),
        (("18 ga", "#20"), [0.823, 0.518]),
        (("AWG 18", "20AWG"), [0.823, 0.518]),
    ],
)
@pytest.mark.parametrize("heading", ["Size", "Wire Gauge", "Cross section"])
def test_sizes_are_read_with_their_unit_or_by_what_fits_them_all(
    heading: str, sizes: tuple[str, str], sections: list[float]
) -> None:
    data = f'From Pin;To Pin;"{heading}"\nECU:1;C2:1;{sizes[0]}\nECU:2;C2:2;{sizes[1]}\n'
    found = [wire.csa_mm2 for wire in loom_of(read(data)).wires]
    assert found == [pytest.approx(section, abs=0.0006) for section in sections]


def test_sizes_that_fit_both_are_asked_and_never_stop_a_list() -> None:
    data = b"From,To,Size\nECU:1,C2:1,16\nECU:2,C2:2,10\n"
    reading = read(data)
    (question,) = reading.questions
    assert (question.name, question.must) == ("size", False)
    assert [wire.note for wire in loom_of(reading).wires] == ["size: 16", "size: 10"]
    said = loom_of(read(data, said={"size": "mm2"}))
    assert [wire.csa_mm2 for wire in said.wires] == [16, 10]


@pytest.mark.parametrize(
    ("text", "metres"), [("1.2 m", 1.2), ("350 mm", 0.35), ("12 in", 0.3048), ("35cm", 0.35)]
)
def test_lengths_are_read_with_their_unit(text: str, metres: float) -> None:
    wire = loom_of(read(f"From,To,Length\nA:1,B:1,{text}\n")).wires[0]
    assert wire.length_m == pytest.approx(metres)


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
        read(data)
    (problem,) = caught.value.problems  # and not that it is empty as well
    assert says in problem.message
    assert caught.value.cure == ""  # other headings do not help


def test_a_length_without_a_unit_says_that_the_unit_is_what_is_missing_and_how_it_is_given() -> None:
    rows = "Wire;From;To;Length\n1;X1:1;X2:1;0,8\n2;X1:2;X2:2;1,25\n"
    (problem,) = (each for each in read(rows).notes if each.row)
    assert problem.message.startswith("'0,8' is a length without its unit (2 rows)")
    assert "mm, cm, m, in or ft" in problem.cure
    assert problem.do == Do(Todo.ANSWER, "length=mm")


def test_a_decimal_with_the_other_mark_is_told_with_its_cure_and_a_shade_as_it_is_held() -> None:
    """One cell with a comma among points: what reads it is named; IEC 60757 has no letters for light."""
    rows = (
        "Wire;From;To;Size;Length;Colour\n1;X1:1;X2:1;0.75 mm2;1.2 m;red\n"
        "2;X1:2;X2:2;1,5 mm2;1,1 m;light blue\n3;X1:3;X2:3;heavy;2 m;dark green\n"
    )
    reading = read(rows)
    told = {problem.message: problem for problem in reading.notes if problem.row}
    for text, what in (("1,5 mm2", "no size"), ("1,1 m", "no length")):
        (problem,) = (each for message, each in told.items() if message.startswith(f"'{text}' is {what}"))
        assert problem.do == Do(Todo.DECIMAL, ",")
    assert not any("heavy" in message and problem.do for message, problem in told.items())
    shade = "'light blue' is held as 'light BU' (and 1 more with light or dark): IEC 60757 has no letters"
    assert any(message.startswith(shade) for message in told)
    assert "1 of 3 wires (2) have no length; 2 m is taken" in summary_of(loom_of(reading)).missing
    mended = loom_of(read(rows, decimal=","))
    assert [wire.csa_mm2 for wire in mended.wires[:2]] == [0.75, 1.5]
    assert [wire.length_m for wire in mended.wires] == [1.2, 1.1, 2.0]
    assert "1 of 3 wires (3) have no section; 0.5 mm² is taken" in summary_of(mended).missing
