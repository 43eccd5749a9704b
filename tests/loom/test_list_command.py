"""The command that imports lists: it shows, asks, remembers, and says what changed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from loomproof.cli.importing import import_
from loomproof.cli.main import run
from loomproof.loom.lists.headings import ROLES
from loomproof.loom.reading import load
from tests.loom.list_truth import nets, nets_of

Captured = pytest.CaptureFixture[str]

LIST = "Wire,From,To,Colour,Size\n1,ECU:1,C2:1,RED,0.5\n2,ECU:2,C2:2,BLK,0.75\n3,ECU:3,-,WHT,0.5\n"


def imported(folder: Path, text: str, *words: str, name: str = "list.csv") -> tuple[int, Path]:
    source = folder / name
    source.write_text(text, encoding="utf-8")
    target = folder / "loom"
    return run(["import", str(source), "--to", str(target), *words]), target


def test_what_is_understood_is_shown_before_it_is_written(tmp_path: Path, capsys: Captured) -> None:
    code, target = imported(tmp_path, LIST)
    assert code == 2
    assert not target.exists()
    shown = capsys.readouterr().err
    for text in (
        "column From",
        "row 2     ECU:1 to C2:1",
        "3: 2 read, 1 left out",
        "it ends nowhere",
        "nobody has",
    ):
        assert text in shown
    code, target = imported(tmp_path, LIST, "--yes")
    assert code == 0
    assert nets_of(load(target).loom) == nets("ECU:1 C2:1", "ECU:2 C2:2")


def test_questions_and_refusals_are_told_in_one_run(tmp_path: Path, capsys: Captured) -> None:
    ends = ["X1:1,X2:1", "X1:2,-", "X1:3,X2:3 | X3:3", "X1:4,X2:4?", "X1:5,X2:5-6", "X1:6,"]
    assert imported(tmp_path, "\n".join(["From,To", *ends, ""]), "--yes")[0] == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "6: 2 read, 2 left out, 2 refused" in said
    assert "Say --answer ranges=expand" in said
    assert "holds several places" in said
    assert "carries a mark of doubt" in said


def test_a_question_says_what_to_type(tmp_path: Path, capsys: Captured) -> None:
    text = "a,b\n1,5\n2,6\n"
    words = ["--column", "from=a", "--column", "to=b", "--yes"]
    assert imported(tmp_path, text, *words)[0] == 2
    said = " ".join(capsys.readouterr().err.split())
    assert "--from-connector NAME" in said
    code, target = imported(tmp_path, text, *words, "--from-connector", "J5", "--to-connector", "P1")
    assert code == 0
    assert nets_of(load(target).loom) == nets("J5:1 P1:5", "J5:2 P1:6")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--answer", "rangs=names"], "there is no such question"),
        (["--answer", "ranges=perhaps"], "Known: expand, names"),
        (["--answer", "ranges"], "question=answer"),
        (["--sheet", "Rear"], "has no sheet"),
    ],
)
def test_answers_that_are_none_are_refused(
    tmp_path: Path, capsys: Captured, words: list[str], says: str
) -> None:
    assert imported(tmp_path, LIST, "--yes", *words)[0] == 2
    assert says in " ".join(capsys.readouterr().err.split())


def test_the_next_issue_goes_in_alone_and_its_changes_are_said(tmp_path: Path, capsys: Captured) -> None:
    assert imported(tmp_path, LIST, "--yes")[0] == 0
    capsys.readouterr()
    newer = LIST.replace("BLK,0.75", "GRN,0.75").replace("3,ECU:3,-", "3,ECU:3,C3:9")
    code, target = imported(tmp_path, newer)
    assert code == 0
    said = capsys.readouterr().err
    assert "wire 2: colour BK becomes GN" in said
    assert "wire 3 is new: ECU:3 to C3:9" in said
    assert "connector C3 is new" in said
    assert nets_of(load(target).loom) == nets("ECU:1 C2:1", "ECU:2 C2:2", "ECU:3 C3:9")
    assert imported(tmp_path, newer)[0] == 0
    assert "Nothing changed since the last issue." in capsys.readouterr().err


def test_what_a_person_added_stays_and_edited_wires_are_not_written_over(
    tmp_path: Path, capsys: Captured
) -> None:
    _, target = imported(tmp_path, LIST, "--yes")
    table = target / "connectors.csv"
    table.write_text(table.read_text().replace("ECU,plug,1 2,,unknown", "ECU,plug,1 2 / 3 4,H4,none"))
    assert load(target).loom.by_name["ECU"].housing == "H4"
    assert imported(tmp_path, LIST.replace("RED", "GRN"), "--over")[0] == 0
    ecu = load(target).loom.by_name["ECU"]
    assert (ecu.rows, ecu.housing, ecu.hazard) == ((("1", "2"), ("3", "4")), "H4", "none")
    wires = target / "wires.csv"
    wires.write_text(wires.read_text().replace(",GN,", ",VT,"))
    capsys.readouterr()
    assert imported(tmp_path, LIST)[0] == 2
    assert "would be written over" in capsys.readouterr().err
    assert load(target).loom.wires[0].colour == "VT"
    assert imported(tmp_path, LIST, "--over")[0] == 0
    assert load(target).loom.wires[0].colour == "RD"


def test_answers_of_another_list_are_not_used(tmp_path: Path, capsys: Captured) -> None:
    assert imported(tmp_path, LIST, "--yes")[0] == 0
    capsys.readouterr()
    other = "von,nach,Farbe\nX:1,Y:1,rt\n"
    assert imported(tmp_path, other)[0] == 2
    assert "it is not used" in capsys.readouterr().err


def test_a_splice_that_a_person_corrected_stays_one(tmp_path: Path) -> None:
    text = "From,To\nA:1,Post\nA:2,Post\n"
    _, target = imported(tmp_path, text, "--yes", "--answer", "joints=joined")
    table = target / "connectors.csv"
    table.write_text(table.read_text().replace("Post,ring,1", "Post,splice,"))
    wires = target / "wires.csv"
    wires.write_text(wires.read_text().replace("Post,1", "Post,"))
    assert load(target).loom.splices
    assert imported(tmp_path, text, "--over")[0] == 0
    assert load(target).loom.splices
    assert nets_of(load(target).loom) == nets("A:1 A:2")


def test_the_help_names_every_role() -> None:
    """Those of the other end are said to be the same."""
    (column,) = [each for each in import_.params if each.name == "columns"]
    told = set(re.findall(r"\w+", getattr(column, "help", "")))
    assert {role for role in ROLES if not role.startswith("to")} <= told


@pytest.mark.parametrize(
    ("ending", "said"), [(".ods", "an OpenDocument table"), (".xls", "a workbook of the old kind")]
)
def test_a_table_of_a_kind_that_is_not_read_is_refused_with_the_way_out(
    ending: str, said: str, tmp_path: Path, capsys: Captured
) -> None:
    source = tmp_path / f"list{ending}"
    source.write_bytes(b"PK\x03\x04")
    assert run(["import", str(source), "--to", str(tmp_path / "made")]) == 2
    told = capsys.readouterr().err
    assert f"{said} ({ending}) is not read" in told
    assert "Save the table as an Excel workbook (.xlsx) or as 'CSV UTF-8'." in told


FIRST = (
    "Wire,From,To,Colour,Length\n1,X1:1,X2:1,GN,250\n2,X1:2,X2:2,BR,300\n3,X1:3,X9,GN,90\n4,X1:4,X9,BR,90\n"
)


def test_an_answer_that_was_kept_is_none_to_what_came_later(tmp_path: Path, capsys: Captured) -> None:
    said = ["--answer", "joints=own", "--answer", "length=mm", "--colour-code", "IEC 60757", "--yes"]
    assert imported(tmp_path, FIRST, *said)[0] == 0
    capsys.readouterr()
    assert imported(tmp_path, FIRST)[0] == 0
    assert "Nothing changed" in capsys.readouterr().err
    later = f"{FIRST}5,X1:5,X8,SW,1.2\n6,X1:6,X8,SW,1.5\n"
    code, target = imported(tmp_path, later)
    told = " ".join(capsys.readouterr().err.split())
    assert code == 2
    assert "X8 (rows 6, 7): do the wires meet" in told
    assert "It was answered 'own' before X8 was there." in told
    # The code of the first issue reads fewer colours of this one.
    assert "German" in told
    each = ["joints=each", "joints X9=own", "joints X8=joined"]
    words = [word for answer in each for word in ("--answer", answer)]
    assert imported(tmp_path, later, *words, "--colour-code", "German")[0] == 0
    loom = load(target).loom
    assert nets_of(loom) == nets("X1:1 X2:1", "X1:2 X2:2", "X1:3 X9:end_3", "X1:4 X9:end_4", "X1:5 X1:6 X8:1")
    # Millimetres were said of 90 and more; 1.2 may be metres.
    assert [wire.length_m for wire in loom.wires] == [None] * 6
    told = " ".join(capsys.readouterr().err.split())
    assert "was answered 'mm' before a number below 20 was there: the answer is not used" in told
    assert imported(tmp_path, later, "--answer", "length=m")[0] == 0
    capsys.readouterr()
    assert imported(tmp_path, later)[0] == 0
    assert "Nothing changed" in capsys.readouterr().err


def test_a_mark_that_was_kept_is_none_where_it_parts_nothing(tmp_path: Path) -> None:
    assert imported(tmp_path, "From,To\nX1/1,X2/1\nX1/2,X2/2\n", "--separator", "/", "--yes")[0] == 0
    code, target = imported(tmp_path, "From,To\nX1-1,X2-1\nX1-2,X2-2\n")
    assert code == 0
    assert nets_of(load(target).loom) == nets("X1:1 X2:1", "X1:2 X2:2")


def test_tables_that_are_not_read_are_named_before_it_is_confirmed(tmp_path: Path, capsys: Captured) -> None:
    text = "# Front\n|From|To|\n|-|-|\n|A:1|B:1|\n|A:2|B:2|\n\n# Rear\n|From|To|Use|\n|-|-|-|\n|X3:1|X4:1||\n"
    assert imported(tmp_path, text, name="list.md")[0] == 2
    assert "tables not read Rear" in capsys.readouterr().err
