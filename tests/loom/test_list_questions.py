"""What a list leaves open is asked, and nothing is joined that it does not join.

Every list here could be read in two ways; the wrong one would describe a join that is not there.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.errors import DescriptionError
from loomproof.loom.lists import questions
from loomproof.loom.lists.questions import Answers
from tests.loom.list_truth import loom_of, names, nets, nets_of, read

PARTS = "From,From Pin,To,To Pin\n"


@pytest.mark.parametrize(
    "mark", ["-", "--", "n/a", "NC", "none", "open", "x", "?", "tbd", "N.C.", "—", "not used"]
)
def test_a_mark_for_nothing_is_no_place(mark: str) -> None:
    whole = read(f"From,To\nA:1,{mark}\nA:2,{mark}\nA:3,B:1\n")
    assert nets_of(loom_of(whole)) == nets("A:3 B:1")
    assert [problem.row for problem in whole.left_out] == [2, 3]
    beside = read(f"{PARTS}A,1,B,{mark}\nA,2,B,{mark}\nA,3,B,1\n")
    assert nets_of(loom_of(beside)) == nets("A:3 B:1")
    assert [problem.row for problem in beside.left_out] == [2, 3]


@pytest.mark.parametrize(
    ("rows", "joined"),
    [
        ("BAT,+,A,1\nBAT,-,A,2\n", ("BAT:+ A:1", "BAT:- A:2")),
        ("K1,NC,A,1\nK1,COM,A,2\n", ("K1:NC A:1", "K1:COM A:2")),
        ("J,W,A,1\nJ,X,A,2\nJ,Y,A,3\n", ("J:W A:1", "J:X A:2", "J:Y A:3")),
    ],
)
def test_a_mark_beside_its_partner_is_a_cavity(rows: str, joined: tuple[str, ...]) -> None:
    assert nets_of(loom_of(read(PARTS + rows))) == nets(*joined)


def test_ranges_of_equal_length_are_spelled_out_and_others_are_asked() -> None:
    even = read(f'{PARTS}A,2-4,B,5-7\nC,"5,6",D,7/8\n')
    assert nets_of(loom_of(even)) == nets("A:2 B:5", "A:3 B:6", "A:4 B:7", "C:5 D:7", "C:6 D:8")
    odd = read(f"{PARTS}A,2-4,B,5\n")
    assert names(odd.open) == ["ranges"]
    assert odd.loom is None
    assert nets_of(loom_of(read(f"{PARTS}A,2-4,B,5\n", said={"ranges": "names"}))) == nets("A:2-4 B:5")
    spread = loom_of(read(f"{PARTS}A,2-4,B,5\n", said={"ranges": "expand"}))
    assert nets_of(spread) == nets("A:2 A:3 A:4 B:5")


def test_cavities_named_like_ranges_stay_names_where_the_list_shows_it() -> None:
    plain = loom_of(read(f"{PARTS}A,1-1,B,1\nA,1-2,B,2\nA,1-3,B,3\n"))
    assert nets_of(plain) == nets("A:1-1 B:1", "A:1-2 B:2", "A:1-3 B:3")
    assert names(read(f"{PARTS}A,1-2,B,1-2\nA,1-3,B,1-3\n").open) == ["ranges"]


def test_pins_left_over_stop_a_list() -> None:
    stopped = read("wire,von,nach,Pin\n1,A,B,3\n2,A,B,4\n")
    assert names(stopped.open) == ["column from_cavity", "column to_cavity"]


def test_several_wires_at_an_unknown_place_are_asked_about() -> None:
    data = "From,To\nA:1,Radio\nA:2,Radio\nA:3,GND\nA:4,GND\nA:5,SP1\nB:1,SP1\n"
    assert names(read(data).open) == ["joints"]
    joined = loom_of(read(data, said={"joints": "joined"}))
    assert nets_of(joined) == nets("A:1 A:2 Radio:1", "A:3 A:4 GND:1", "A:5 B:1")
    apart = loom_of(read(data, said={"joints": "own"}))
    assert frozenset({("A", "1"), ("A", "2"), ("Radio", "1")}) not in nets_of(apart)
    assert len(nets_of(apart)) == 4


def test_an_end_without_a_cavity_at_a_plug_is_asked_about() -> None:
    data = f"{PARTS}A,1,B,1\nA,2,B,\n"
    assert names(read(data).open) == ["pinless"]
    assert nets_of(loom_of(read(data, said={"pinless": "leave out"}))) == nets("A:1 B:1")


def test_remarks_that_alone_tell_cavities_apart_are_asked_about() -> None:
    data = f"{PARTS}A,1 (left),B,1\nA,1 (right),B,2\n"
    assert names(read(data).open) == ["brackets"]
    assert len(nets_of(loom_of(read(data, said={"brackets": "name"})))) == 2


def test_empty_connectors_are_filled_down_only_where_that_is_plain() -> None:
    groups = f"{PARTS}A,1,X,1\n,2,Y,1\n,3,Z,1\nB,1,V,1\n,2,W,1\n"
    assert nets_of(loom_of(read(groups))) == nets("A:1 X:1", "A:2 Y:1", "A:3 Z:1", "B:1 V:1", "B:2 W:1")
    lost = f"{PARTS}A,1,X,1\nA,2,Y,1\n,3,Z,1\n"
    assert names(read(lost).open) == ["blank"]
    assert nets_of(loom_of(read(lost, said={"blank": "none"}))) == nets("A:1 X:1", "A:2 Y:1")


def test_names_that_differ_in_capitals_and_blanks_are_asked_about() -> None:
    data = f"{PARTS}Lamp L,1,X,1\nlamp_l,1,X,2\n"
    assert names(read(data).open) == ["alike"]
    assert nets_of(loom_of(read(data, said={"alike": "one"}))) == nets("Lamp_L:1 X:1 X:2")
    assert len(nets_of(loom_of(read(data, said={"alike": "several"})))) == 2


def test_a_place_with_another_mark_is_asked_about() -> None:
    data = "From,To\nECU:1,X:1\nECU:2,X:2\nECU-2,Y:1\n"
    assert names(read(data).open) == ["mixed"]
    assert nets_of(loom_of(read(data, said={"mixed": "cavity"}))) == nets("ECU:1 X:1", "ECU:2 X:2 Y:1")
    assert len(nets_of(loom_of(read(data, said={"mixed": "name"})))) == 3


def test_an_empty_end_below_a_row_that_ends_nowhere_ends_nowhere_too() -> None:
    data = f"{PARTS.strip()},Color\nA,1,B,1,RED\nNC,NC,B,2,RED\n,,B,3,RED\n"
    assert nets_of(loom_of(read(data, said={"blank": "above"}))) == nets("A:1 B:1")


def test_markdown_rows_in_no_table_are_said() -> None:
    reading = read("| From | To |\n|---|---|\n| A:1 | B:1 |\nlost\n| A:2 | B:2 |\n", "l.md")
    assert [note.row for note in reading.notes if "stands in none" in note.message] == [5]


def test_an_end_in_two_nets_is_asked_about() -> None:
    data = "Connector,Pin,Signal\nA,1,up\nB,1,up\nA,1,down\nC,1,down\n"
    assert names(read(data).open) == ["twice"]
    assert nets_of(loom_of(read(data, said={"twice": "joined"}))) == nets("A:1 B:1 C:1")
    assert nets_of(loom_of(read(data, said={"twice": "leave out"}))) == set()


def test_spare_pins_of_a_net_list_take_no_net_from_above() -> None:
    reading = read("Connector,Pin,Signal\nA,1,up\nA,2,\nB,1,up\nB,2,\n")
    assert nets_of(loom_of(reading)) == nets("A:1 B:1")


def test_a_cell_with_several_places_is_several_ends_of_a_net_and_no_end_of_a_wire() -> None:
    found = loom_of(read('Net,Pins\nGND,"J1.1, J2.3, J4.5"\nfeed,"J1.2, J2.4"\n'))
    assert nets_of(found) == nets("J1:1 J2:3 J4:5", "J1:2 J2:4")
    (problem,) = read('From,To\n"J1.1, J2.3",J5.1\n').problems
    assert "holds several places" in problem.message


@pytest.mark.parametrize("mark", ["|", " | ", " / ", " + ", "; ", " and "])
def test_two_places_in_one_cell_are_never_one_odd_name(mark: str) -> None:
    data = f'Wire,From,To\nW1,X1:1,"X2:2{mark}X3:1"\nW2,X1:2,X2:3\n'
    (problem,) = read(data).problems
    assert (problem.row, problem.column) == (2, "To")
    assert "holds several places" in problem.message
    found = loom_of(read(f'Net,Place\nN1,"X1:1{mark}X2:2"\nN2,X1:2\nN2,X2:3\n'))
    assert nets_of(found) == nets("X1:1 X2:2", "X1:2 X2:3")


@pytest.mark.parametrize("mark", ["|", " | ", ", ", "; "])
def test_two_connectors_in_one_cell_are_never_one_odd_name(mark: str) -> None:
    (problem,) = read(f'{PARTS}X1,"1{mark}4","X2{mark}X3","2{mark}1"\nX1,2,X2,3\n').problems
    assert problem.row == 2
    assert "holds several places" in problem.message
    even = loom_of(read(f'{PARTS}X1,"1{mark}4",X2,"2{mark}1"\nX1,2,X2,3\n'))
    assert nets_of(even) == nets("X1:1 X2:2", "X1:4 X2:1", "X1:2 X2:3")


@pytest.mark.parametrize(
    "cell", ["X2:3 -> X3:1", "X2:3->X3:1", "X2:3+X3:4", "X2:3/X3:4", "X2:3-X3:1", "X2:3 to X3:1"]
)
def test_places_with_any_mark_between_them_are_never_one_odd_name(cell: str) -> None:
    (problem,) = read(f"Wire,From,To\nW1,X1:1,{cell}\nW2,X1:2,X2:5\n").problems
    assert (problem.row, problem.column) == (2, "To")
    assert "holds several places" in problem.message


def test_two_cavities_of_one_connector_with_a_plus_are_asked_about() -> None:
    found = read("Wire,From,To\nW1,X1:1,X2:3+X2:4\nW2,X1:2,X2:5\n")
    assert names(found.open) == ["ranges"]
    assert found.loom is None


def test_device_connector_and_cavity_are_one_place() -> None:
    assert nets_of(loom_of(read("From,To\nA1:X2:3,A2:X2:4\nA1:X2:5,A2:X2:6\n"))) == nets(
        "A1:X2:3 A2:X2:4", "A1:X2:5 A2:X2:6"
    )


@pytest.mark.parametrize("cell", ["|", "X2: 2 | ", ":3", "X2:", "X2:3?", "X2:3*", "?X2:3"])
def test_half_a_place_and_a_doubtful_one_stop_the_import(cell: str) -> None:
    found = read(f"Wire,From,To\nW1,X1:1,{cell}\nW2,X1:2,X2:5\nW3,X1:3,X2:6\n")
    (problem,) = found.problems
    assert (problem.row, problem.column) == (2, "To")
    assert found.loom is None
    (problem,) = read(f"Net,Place\nN1,X1:1\nN1,{cell}\nN2,X1:2\nN2,X2:5\n").problems
    assert problem.row == 3


def test_a_star_behind_a_word_is_part_of_a_name() -> None:
    (wire,) = loom_of(read(f"{PARTS}U1,RESET*,U2,3\n")).wires
    assert wire.a.cavity == "RESET*"
    (problem,) = read(f"{PARTS}U1,4?,U2,3\n").problems
    assert "'4?'" in problem.message


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (["import", "list.csv", "--to", "loom.pdf"], "loom.pdf: a folder or .xlsx is expected"),
        (["import", "list.csv", "--to", "mh.kbl"], "mh.kbl: a folder or .xlsx is expected"),
        (["draw", "loom", "--to", "q.png"], "q.png: a folder is expected"),
    ],
)
def test_no_folder_is_made_under_the_name_of_a_file(
    words: list[str],
    expected: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "list.csv").write_text("From,To\nX1:1,X2:1\nX1:2,X2:2\n", encoding="utf-8")
    assert run(["import", "list.csv", "--to", "loom", "--yes"]) == 0
    assert run([*words, *(["--yes"] if words[0] == "import" else [])]) == 2
    assert expected in capsys.readouterr().err
    assert not (tmp_path / words[-1]).exists()


def test_a_stroke_between_connector_and_cavity_parts_no_places() -> None:
    data = "From,To\nX1 / 1,X2 / 1\nX1 / 2,X2 / 2\n"
    assert nets_of(loom_of(read(data, separator="/"))) == nets("X1:1 X2:1", "X1:2 X2:2")


def test_two_codes_that_read_a_list_unlike_are_asked_about() -> None:
    data = "From,To,Colour\nA:1,B:1,GN\nA:2,B:2,BN\n"
    (question,) = read(data).open
    assert question.name == "colour_code"
    assert set(question.answers) >= {"IEC 60757", "BS AU 7"}
    iec = loom_of(read(data, colour_code="IEC 60757"))
    assert [wire.colour for wire in iec.wires] == ["GN", "BN"]


def test_one_bad_colour_goes_into_the_note_with_a_warning() -> None:
    reading = read("From,To,Colour\nA:1,B:1,RD\nA:2,B:2,RD/QQ\nA:3,B:3,WH/BK\n")
    assert [(w.colour, w.note) for w in loom_of(reading).wires] == [
        ("RD", ""),
        ("", "colour: RD/QQ"),
        ("WH/BK", ""),
    ]
    assert any("'RD/QQ' is no colour" in note.message and note.row == 3 for note in reading.notes)


def test_twisted_pairs_and_screens_are_read_where_columns_say_so() -> None:
    loom = loom_of(
        read(
            "Wire,From,To,Twisted,Shield\n1,A:1,B:1,P1,3\n2,A:2,B:2,P1,3\n3,A:3,B:3,,\n4,A:4,B:4,5,\n5,A:5,B:5,4,\n"
        )
    )
    assert [wire.twisted_with for wire in loom.wires] == ["2", "1", "", "5", "4"]
    assert [wire.screened_by for wire in loom.wires] == ["3", "3", "", "", ""]


NETLIST = """(export (version "E") (components (comp (ref "J1")))
 (nets (net (code "1") (name "/GND") (node (ref "J1") (pin "1") (pinfunction "A")) (node (ref J2) (pin 2)))
 (net (code 2) (name "feed (12 V)") (node (ref J1) (pin 3)) (node (ref J3) (pin 1)) (node (ref J4) (pin 1)))
 (net (code 3) (name "unconnected-(J1-Pad4)") (node (ref J1) (pin 4)))))
"""


def test_a_netlist_of_electronics_design() -> None:
    reading = read(NETLIST, "loom.net")
    loom = loom_of(reading)
    assert nets_of(loom) == nets("J1:1 J2:2", "J1:3 J3:1 J4:1")
    assert loom.by_name["J1"].cavities == ("1", "3", "4")
    assert [c.description for c in loom.connectors if c.name.startswith("joint")] == [
        "net feed (12 V) of 3 ends; how its wires run is not known"
    ]


def test_a_net_of_any_name_is_read() -> None:
    loom = loom_of(read(NETLIST.replace("feed (12 V)", "A" * 40_000), "loom.net"))
    assert nets_of(loom) == nets("J1:1 J2:2", "J1:3 J3:1 J4:1")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (NETLIST[:200], "a bracket is not closed"),
        (NETLIST + ")", "a bracket is closed that was not opened"),
        ('(export (nets (net (name "x', "a text in double quotes is not closed"),
        ("(export " + "(" * 200 + ")" * 201, "more than 64 deep"),
        ("(export (version E))", "it holds no net with a node"),
        ("(export (nets (net (name x) (node (ref J1)))))", "has no ref or no pin"),
    ],
)
def test_a_damaged_netlist_is_refused(text: str, says: str) -> None:
    with pytest.raises(DescriptionError) as caught:
        read(text, "loom.net")
    assert says in caught.value.problems[0].message


def test_answers_survive_being_kept() -> None:
    answers = Answers(
        {"from": 'Pin "A"#2', "to": "C"},
        {"from": "J 5"},
        {"ranges": "all names"},
        ("Sheet 1", "Ü"),
        3,
        ":",
        ",",
        "German",
        ("", "a\tb"),
        "0f",
        {"joints X 9": ("X 9",), "ranges": ()},
    )
    assert questions.parse(questions.write(answers)) == answers


@pytest.mark.parametrize(
    "text",
    [
        b"x = 1",
        b"[columns]\nfrom = 3",
        b"sheets = 1",
        b"\xff",
        b"a = [",
        b"heading_row = -1",
        b"[about]\nx = 1",
    ],
)
def test_kept_answers_that_are_none_are_refused(text: bytes) -> None:
    with pytest.raises(DescriptionError):
        questions.parse(text)


@pytest.mark.parametrize("word", ["Total", "Summe:", "SUM", "Gesamt"])
def test_the_row_of_a_sum_joins_nothing(word: str) -> None:
    reading = read(f"From,To\nX1:1,X2:1\nX1:2,X2:2\n{word},2\n")
    assert nets_of(loom_of(reading)) == nets("X1:1 X2:1", "X1:2 X2:2")
    assert [(problem.row, "the row of a sum" in problem.message) for problem in reading.left_out] == [
        (4, True)
    ]
    # With a cavity it is a connector of that name.
    named = read("From,From Pin,To,To Pin\nTotal,1,X2,1\nTotal,2,X2,2\n")
    assert nets_of(loom_of(named)) == nets("Total:1 X2:1", "Total:2 X2:2")
