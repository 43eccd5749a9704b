"""Lists that others wrote told lies in these shapes: joins that nobody wrote, and pins of another connector.

Every list here is invented; its shape is that of a public wiring table, pin table or netlist that once went
in wrongly without a word. What is joined was worked out by hand.
"""

from __future__ import annotations

import io

import openpyxl
import pytest

from loomproof.errors import UsageError
from loomproof.loom.model import End
from tests.loom.list_truth import Nets, loom_of, names, nets, nets_of, read

DEVICES = "Device,DevicePin,Header,HeaderPin\nLamp,V+,J1,1\nPump,V+,J1,2\nLamp,V-,J2,1\n"
OWNED = nets("Lamp:V+ J1:1", "Pump:V+ J1:2", "Lamp:V- J2:1")


@pytest.mark.parametrize(
    "text",
    [
        DEVICES,
        DEVICES.replace("Header", "ECU_Header"),
        DEVICES.replace("Device,DevicePin", "Component,Component Pin"),
        DEVICES.replace(
            "Device,DevicePin,Header,HeaderPin", "left connector,left pin,right connector,right pin"
        ),
        DEVICES.replace("Device,DevicePin,Header,HeaderPin", "Stecker,Kammer,nach Stecker,nach Kammer"),
        DEVICES.replace("Device,DevicePin,Header,HeaderPin", "Connector,Pin,Destination,Dest Pin"),
    ],
)
def test_pins_are_of_the_connector_in_the_column_beside_them(text: str) -> None:
    # Once they were all pins of one connector called "DevicePin", and every V+ was joined.
    assert nets_of(loom_of(read(text))) == OWNED


def test_a_column_of_pins_beside_connectors_that_are_not_theirs_asks_for_the_column() -> None:
    text = "Unit,Plug,Pin,ECU Pin\nLamp,X1,1,1\nPump,X2,1,2\n"
    assert names(read(text).open) == ["column from_connector"]
    told = read(text, columns={"from_connector": "Plug"})
    assert nets_of(loom_of(told)) == nets("X1:1 ECU:1", "X2:1 ECU:2")


def test_where_a_pin_sits_is_not_where_it_is() -> None:
    text = "net,ref,pin,location\nA,U1,1,Left pod\nA,U2,1,Right pod\nB,U1,2,Left pod\nB,U3,1,Left pod\n"
    assert nets_of(loom_of(read(text))) == nets("U1:1 U2:1", "U1:2 U3:1")


def test_a_net_list_by_reference_designator() -> None:
    text = "Net,RefDes,Pin,PinName\nA,J1,1,IN\nA,J2,1,OUT\nB,J1,2,-\n"
    assert nets_of(loom_of(read(text))) == nets("J1:1 J2:1")


def test_the_name_of_a_pin_is_no_connector_and_what_it_does_no_net() -> None:
    # Once two pins whose signal was "GPIO" were joined.
    reading = read("Position,Name,Signal\n1,PA0,GPIO\n2,PA1,GPIO\n3,PB0,\n")
    assert reading.kind == "pins"
    assert loom_of(reading).connectors[0].cavities == ("1", "2", "3")


def test_pins_that_stand_twice_ask_whose_they_are() -> None:
    text = "Bauteilname,Pin,Net\nX1,1,A\nX2,1,A\n"
    assert names(read(text).open) == ["column connector"]
    told = read(text, columns={"connector": "Bauteilname"})
    assert nets_of(loom_of(told)) == nets("X1:1 X2:1")
    assert not read(text, connectors={"one": "X1"}).open


def test_each_sheet_of_pins_is_of_a_connector_of_its_own() -> None:
    book = openpyxl.Workbook()
    book.active.title = "X1"  # type: ignore[union-attr]  # there is one
    for title in ("X1", "X2"):
        sheet = book[title] if title in book.sheetnames else book.create_sheet(title)
        for row in (["pin", "signal"], ["1", title]):
            sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    loom = loom_of(read(saved.getvalue(), "pins.xlsx"))
    assert [(c.name, c.cavities) for c in loom.connectors] == [("X1", ("1",)), ("X2", ("1",))]
    text = "## A (inputs)\n|Pin|Use|\n|-|-|\n|1|x1|\n|2-3|x2|\n\n## A (outputs)\n|Pin|Use|\n|-|-|\n|1|y|\n"
    loom = loom_of(read(text, "pins.md", said={"ranges": "expand"}))
    assert [(c.name, c.cavities) for c in loom.connectors] == [("A", ("1", "2", "3")), ("A 2", ("1",))]


@pytest.mark.parametrize(
    "place",
    ["Battery", "Battery monitor", "Sensor1", "Switch2", "S1", "J1", "G1", "GPS", "Gear", "Ring gear"],
)
def test_places_where_wires_may_not_meet_are_asked_about(place: str) -> None:
    # "Sensor1" was taken as a splice and "GPS" as an earth: two of its terminals were joined without a word.
    assert names(read(f"From,To\n{place},X1:1\n{place},X1:2\nX1:3,X2:1\n").open) == ["joints"]


@pytest.mark.parametrize(
    "place",
    ["SP1", "SP_CUSTOM_003", "Splice A", "S101", "G404(s)", "G202", "GND", "Chassis", "Earth stud",
     "Battery +", "Batt neg", "Power-ground", "Ring terminal M8", "Masse 3"],
)  # fmt: skip
def test_wires_meet_at_splices_bolts_and_posts(place: str) -> None:
    loom = loom_of(read(f"From,To\n{place},X1:1\n{place},X1:2\nX1:3,X2:1\n"))
    assert {("X1", "1"), ("X1", "2")} <= set.union(*map(set, nets_of(loom)))


def test_places_are_answered_one_by_one() -> None:
    text = "From,To\nS1,X1:1\nS1,X1:2\nBattery,X1:3\nBattery,X1:4\n"
    assert "each" in read(text).open[0].answers
    asked = read(text, said={"joints": "each"}).open
    assert names(asked) == ["joints S1", "joints Battery"]
    said = {"joints": "each", "joints S1": "joined", "joints Battery": "own"}
    joined = nets_of(loom_of(read(text, said=said)))
    assert frozenset({("X1", "1"), ("X1", "2")}) in joined
    assert not any({("X1", "3"), ("X1", "4")} <= net for net in joined)


@pytest.mark.parametrize(
    ("text", "joined"),
    [
        ("net,pins\nA,J1.2(3.3V);J2.1\nB,J1.3(5V);J2.2\n", nets("J1:2 J2:1", "J1:3 J2:2")),
        ('net,pins\nA,"J1.2(IO, 3V), J2.1"\nB,"J1.3, J2.2(2)"\n', nets("J1:2 J2:1", "J1:3 J2:2")),
        ("from,to\nJ1.2 (3.3V),J2.1\nJ1.3 (5V),J2.2\n", nets("J1:2 J2:1", "J1:3 J2:2")),
        (
            'from,to\n"board J6 (RJ45, PoE port)",lamp P1\nboard J7,lamp P2\n',
            nets("board:J6 lamp:P1", "board:J7 lamp:P2"),
        ),
    ],
)
def test_marks_within_brackets_part_nothing(text: str, joined: Nets) -> None:
    # J1.2(3.3V) was cavity "3V)" of connector "J1.2(3".
    assert nets_of(loom_of(read(text))) == joined


@pytest.mark.parametrize("cell", ["GPIO13 ; D5.1", "D5.1 ; GPIO13", "C3..C10 ; D5.1", "D5.1;D6.1;VBUS"])
def test_a_cell_of_places_one_of_which_is_none_is_refused(cell: str) -> None:
    (problem,) = read(f"net,pins\nA,{cell}\nB,J1.1;J2.1\n").problems
    assert problem.row == 2
    assert "several" in problem.message


def test_nets_that_gather_what_is_joined_to_nothing_are_asked_about() -> None:
    text = "net,pins\nNC_J1,J1.1;J1.2;J1.3\nNC / later,J1.4;J2.4\nNCO,J1.5;J2.5\n"
    (question,) = read(text).open
    assert question.name == "unused"
    assert all(repr(net) in question.text for net in ("NC_J1", "NC / later"))
    assert "NCO" not in question.text
    assert nets_of(loom_of(read(text, said={"unused": "none"}))) == nets("J1:5 J2:5")


KICAD = """(export (version "E") (nets
 (net (code 1) (name A) (node (ref J1) (pin 1)) (node (ref J2) (pin 1)))
 (net (code 2) (name A) (node (ref J1) (pin 2)) (node (ref J2) (pin 2)))
 (net (code 3) (name VBUS) (node (ref "#FLG01") (pin 1)) (node (ref J1) (pin 3)))))"""


def test_nets_of_one_name_are_two_and_marks_on_the_drawing_no_parts() -> None:
    reading = read(KICAD, "loom.net")
    assert nets_of(loom_of(reading)) == nets("J1:1 J2:1", "J1:2 J2:2")
    assert [c.name for c in loom_of(reading).connectors] == ["J1", "J2"]
    assert any("#FLG01" in note.message for note in reading.notes)


VARIANTS = "variant,net,pins\nall,A,J1.1;J2.1\na,B,J1.2;J2.2\nb,B,J1.2;J2.3\n"


@pytest.mark.parametrize("heading", ["variant", "Option", "Ausführung", "configuration"])
def test_rows_of_other_variants_are_asked_about(heading: str) -> None:
    text = VARIANTS.replace("variant", heading)
    (question,) = read(text).open
    assert (question.name, question.answers) == ("variant", ("all", "a", "b"))


def test_rows_of_one_variant_go_in() -> None:
    text = VARIANTS.replace("all,A", "common,A")
    reading = read(text, said={"variant": "common, a"})
    assert nets_of(loom_of(reading)) == nets("J1:1 J2:1", "J1:2 J2:2")
    assert [(p.row, p.message) for p in reading.left_out] == [(4, "left out: it is of variant 'b'")]
    with pytest.raises(UsageError, match="has no variant 'c'"):
        read(text, said={"variant": "c"})


def test_letters_in_a_row_are_no_better_headings_than_words_above_them() -> None:
    # Row 3 ("a", "B") was taken as the headings of a list from A to B.
    assert read(VARIANTS).heading_row == 1


UNSEEN = ("X\u00ad1:1", "X1\u200b:1", "\ufeffX1:1", "Ｘ１：１", "X1\u00a0:1")


@pytest.mark.parametrize("place", UNSEEN)
def test_places_that_look_the_same_are_the_same(place: str) -> None:
    loom = loom_of(read(f"From,To\n{place},A:1\nX1:1,B:1\n"))
    assert nets_of(loom) == nets("X1:1 A:1 B:1")


@pytest.mark.parametrize("other", ["\u04101", "A1 (front)", "a1", "A_1"])
def test_names_that_look_alike_are_asked_about(other: str) -> None:
    assert names(read(f"From,To\nA1:1,X2:1\n{other}:2,X2:2\n").open) == ["alike"]


def test_one_number_written_in_two_ways_is_said() -> None:
    reading = read("From,From Pin,To,To Pin\nX1,01,X2,1\nX1,1,X2,2.0\nX1,2,X2,2\n")
    said = [note.message for note in reading.notes if "are taken as 2 cavities" in note.message]
    assert said == [
        "'01' and '1' are taken as 2 cavities of X1",
        "'2.0' and '2' are taken as 2 cavities of X2",
    ]
    assert any("a name such as 2" in note.message for note in reading.notes)
    assert nets_of(loom_of(reading)) == nets("X1:01 X2:1", "X1:1 X2:2.0", "X1:2 X2:2")


@pytest.mark.parametrize(
    "mark",
    ["n. c.", "(NC)", "<none>", "[spare]", "∅", "#N/A", "nan", "DNP", "unconnected", "no connect", "keine",
     "n.b.", "entfällt", "nicht angeschlossen", "Blindstopfen", "vacant", "empty", "seal plug", "reserved",
     "Reserve", "not applicable", "blank"],
)  # fmt: skip
def test_words_for_nothing_are_no_places(mark: str) -> None:
    reading = read(f"From,To\nA:1,{mark}\nA:2,{mark}\nA:3,B:1\n")
    assert nets_of(loom_of(reading)) == nets("A:3 B:1")
    assert [problem.row for problem in reading.left_out] == [2, 3]


def test_blank_is_a_colour_in_german() -> None:
    loom = loom_of(read("Von;Nach;Farbe\nX1:1;X2:1;blank\nX1:2;X2:2;rot\n"))
    assert [wire.colour for wire in loom.wires] == ["bare", "RD"]


@pytest.mark.parametrize("cell", ["X1:1¹", "X1:1†", "X1:1*", "X1:1?"])
def test_a_footnotes_mark_at_a_name_is_refused(cell: str) -> None:
    (problem,) = read(f"From,To\n{cell},X2:1\nX1:2,X2:2\n").problems
    assert "mark of doubt or a footnote's" in problem.message


def test_emphasis_in_markdown_is_no_part_of_a_name() -> None:
    text = "|From|To|\n|-|-|\n|**X1:1**|`X2:1`|\n|X1:1|__X2:2__|\n|*X1:3*|**X2**:3|\n"
    assert nets_of(loom_of(read(text, "list.md"))) == nets("X1:1 X2:1 X2:2", "X1:3 X2:3")


@pytest.mark.parametrize(
    ("cells", "decimal", "metres"),
    [
        (("1,250", "980"), "", (None, 0.98)),
        (("1.250", "980"), "", (None, 0.98)),
        (("1.250", "980"), ",", (1.25, 0.98)),
        (("1,250", "980"), ".", (1.25, 0.98)),
        (("1,250", "980.5"), "", (1.25, 0.9805)),
        (("1'250", "1 250"), "", (1.25, 1.25)),
        (("125,5", "98"), "", (0.1255, 0.098)),
    ],
)
def test_thousands_of_millimetres(
    cells: tuple[str, str], decimal: str, metres: tuple[float | None, float]
) -> None:
    # 1,250 mm was 1.25 mm.
    text = f"From;To;Length mm\nX1:1;X2:1;{cells[0]}\nX1:2;X2:2;{cells[1]}\n"
    assert tuple(wire.length_m for wire in loom_of(read(text, decimal=decimal)).wires) == metres


def test_millimetres_after_the_point_of_metres() -> None:
    text = "From;To;Length m\nX1:1;X2:1;1,250\nX1:2;X2:2;0,5\n"
    assert [wire.length_m for wire in loom_of(read(text)).wires] == [1.25, 0.5]


def test_a_wire_that_stands_twice_is_one() -> None:
    text = "Wire,From,To\n1,X1:1,X2:1\n2,X1:2,X2:2\n1,X2:1,X1:1\n2,X1:2,X3:1\n"
    reading = read(text)
    assert [wire.name for wire in loom_of(reading).wires] == ["1", "2", "2 (2)"]
    assert [problem.row for problem in reading.left_out] == [4]


def test_a_row_whose_cell_lost_its_text_asks_nothing_besides() -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    for row in (["From", "From Pin", "To"], ["X1", "=1+1", "X2:1"], ["X1", "2", "X2:2"]):
        sheet.append(row)
    saved = io.BytesIO()
    book.save(saved)
    reading = read(saved.getvalue(), "list.xlsx")
    assert not reading.questions
    assert [(p.row, "a formula" in p.message) for p in reading.problems] == [(2, True)]


def test_rows_without_known_columns_are_not_called_headings() -> None:
    assert not read("Label, device, bus\ngnd, pico, gnd\n").left_out


def test_a_range_in_a_net_is_spelled_out_where_it_is_one() -> None:
    text = "net,pins\nA,J1.2..4;J2.1\nB,J1.5;J2.2\n"
    assert names(read(text).open) == ["ranges"]
    assert nets_of(loom_of(read(text, said={"ranges": "expand"}))) == nets("J1:2 J1:3 J1:4 J2:1", "J1:5 J2:2")


def test_what_an_end_is_called_by_its_wire_can_be_written() -> None:
    text = "Wire,From,From Pin,To,To Pin\n1\x02,X1,1,X2,\n2,X1,2,X2,2\n"
    loom = loom_of(read(text, said={"pinless": "own"}))
    assert End("X2", "end 1?") in loom.cavities


def test_headings_that_letters_pass_over_are_no_wire() -> None:
    # The columns were named by letters, as the refusal says, and "Board to Panel" was a wire.
    letters = {"from": "A", "to": "B"}
    text = "Board,Panel\nIN 4,lamp\nIN 5,pump\n"
    assert names(read(text, columns=letters).open) == ["first_row"]
    told = read(text, columns=letters, said={"first_row": "headings"})
    assert [wire.b.connector for wire in loom_of(told).wires] == ["lamp", "pump"]
    wire = read(text, columns=letters, said={"first_row": "wire"})
    assert len(loom_of(wire).wires) == 3
    table = read("|Board|Panel|\n|-|-|\n|IN 4|lamp|\n", "list.md", columns=letters)
    assert len(loom_of(table).wires) == 1
    assert len(loom_of(read("X1:1,X2:1\nX1:2,X2:2\n", columns=letters)).wires) == 2


def test_a_remark_makes_no_sentence_of_a_name() -> None:
    text = (
        "From,From Pin,To\nPush button (green ring alone is wired),1,X1:1\nLamp - front + rear (two),1,X1:2\n"
    )
    assert len(loom_of(read(text)).wires) == 2
    refused = read("From,To\nGoes to the lamp behind the seat,X1:1\nX1:2,X1:3\n")
    assert "is a sentence" in refused.problems[0].message


def test_an_empty_cell_is_called_empty() -> None:
    reading = read("From,To,Use\n1:1,2:1,\n,-,sense\n3:1,4:1,\n")
    assert "is data" not in " ".join(problem.message for problem in reading.left_out)


SECTIONS = (
    "Connector: X1,,\nPin,Signal,To\n1,A,Y1:1\n2,B,Y1:2\nConnector: X2,,\nPin,Signal,To\n1,A,Y2:1\n",
    "Pin,Signal,To\nX1,,\n1,A,Y1:1\n2,B,Y1:2\nX2,,\n1,A,Y2:1\n",
)


@pytest.mark.parametrize("text", SECTIONS)
def test_pins_below_titles_are_of_the_connectors_that_these_name(text: str) -> None:
    # --from-connector NAME, as it was asked for, gave the pins of X2 to X1.
    assert names(read(text).open) == ["sections"]
    told = read(text, said={"sections": "connectors"})
    assert nets_of(loom_of(told)) == nets("X1:1 Y1:1", "X1:2 Y1:2", "X2:1 Y2:1")
    pins = "\n".join(line.rpartition(",")[0] for line in text.splitlines())
    loom = loom_of(read(pins, said={"sections": "connectors"}))
    assert [(c.name, c.cavities) for c in loom.connectors] == [("X1", ("1", "2")), ("X2", ("1",))]
    assert names(read(pins, said={"sections": "no"}).open) == ["column connector"]
    kept = loom_of(read(pins, said={"sections": "no"}, connectors={"one": "J1"}))
    assert [(c.name, c.cavities) for c in kept.connectors] == [("J1", ("1", "2"))]


def test_pins_without_a_use_are_no_titles() -> None:
    assert not read("Pin,Use\nPB1,a\nPB2,\nPB3,b\nPB4,\nPB5,c\n").open


def test_tables_side_by_side_are_two() -> None:
    both = read("From,To,,From,To\nX1:1,X2:1,,X3:1,X4:1\nX1:2,X2:2,,X3:2,-\n")
    assert nets_of(loom_of(both)) == nets("X1:1 X2:1", "X1:2 X2:2", "X3:1 X4:1")
    pins = "Pin,Signal,,Pin,Signal\n1,A,,1,C\n2,B,,2,D\n"
    assert names(read(pins).open) == ["blocks"]
    assert not loom_of(read(pins, said={"blocks": "tables"})).wires
    ends = read(pins, said={"blocks": "ends", "kind": "wires"}, connectors={"from": "J1", "to": "J2"})
    assert nets_of(loom_of(ends)) == nets("J1:1 J2:1", "J1:2 J2:2")


def test_two_pins_of_two_signals_are_asked_about() -> None:
    text = "X1 Pin,Signal,X2 Pin,Signal\n1,A,1,C\n2,B,2,D\n"
    assert names(read(text).open) == ["kind"]
    assert not loom_of(read(text, said={"kind": "pins"})).wires
    wires = nets("X1:1 X2:1", "X1:2 X2:2")
    assert nets_of(loom_of(read(text, said={"kind": "wires"}))) == wires
    assert nets_of(loom_of(read(text.replace(",C", ",A").replace(",D", ",B")))) == wires
