"""The commands about descriptions, as a person types them."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path

import pytest

from loomproof.cli.cures import how
from loomproof.cli.main import run
from loomproof.errors import Problem
from loomproof.loom.model import ConnectorKind
from loomproof.loom.reading import load
from loomproof.screens.notes import show_grouped
from tests.loom.kbl_files import MAIN_HARNESS, open_data

FIXTURES = Path(__file__).parents[2] / "fixtures"
ENGINE = str(FIXTURES / "hillclimb_engine")
Captured = pytest.CaptureFixture[str]


def test_check_sums_up_and_answers(capsys: Captured) -> None:
    assert run(["check", ENGINE, "--answer", "purge=yes"]) == 0
    out = capsys.readouterr().out
    assert "27, with 127 cavities (17 spare)" in out
    assert "35 needed, 0 optional, 1 unused" in out
    assert "CRANK, CAM look alike" in out


def test_check_claims_no_length_of_wires_that_have_none(tmp_path: Path, capsys: Captured) -> None:
    assert run(["new", str(tmp_path / "loom")]) == 0
    path = tmp_path / "loom/wires.csv"
    rows = list(csv.DictReader(io.StringIO(path.read_text())))
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, rows[0])
        writer.writeheader()
        writer.writerows({**row, "length_m": ""} for row in rows)
    capsys.readouterr()
    assert run(["check", str(tmp_path / "loom")]) == 0
    assert f"{len(rows)}, no length stated" in capsys.readouterr().out


def test_check_says_all_that_is_wrong_and_exits_2(tmp_path: Path, capsys: Captured) -> None:
    assert run(["new", str(tmp_path / "loom")]) == 0
    wires = tmp_path / "loom/wires.csv"
    wires.write_text(wires.read_text().replace("W1,C1,1", "W1,C9,1").replace("0.75", "thin", 1))
    capsys.readouterr()
    assert run(["check", str(tmp_path / "loom")]) == 2
    err = capsys.readouterr().err
    assert "2 problems in the description" in err
    assert "wires.csv, row 2, column csa_mm2: 'thin' is not a number" in err
    assert "wires.csv, row 2, column from_connector" in err
    assert "Traceback" not in err


@pytest.mark.parametrize("target", ["starter", "starter.xlsx"])
def test_new_writes_a_starter_that_holds_together(target: str, tmp_path: Path, capsys: Captured) -> None:
    assert run(["new", str(tmp_path / target), "--name", 'The "first" loom']) == 0
    assert run(["check", str(tmp_path / target)]) == 0
    assert load(tmp_path / target).loom.name == 'The "first" loom'
    assert run(["new", str(tmp_path / target)]) == 2
    assert "exists already" in capsys.readouterr().err


def test_nets_prints_the_same_netlist_in_three_forms(capsys: Captured) -> None:
    assert run(["nets", ENGINE]) == 0
    text = capsys.readouterr().out.splitlines()
    assert run(["nets", ENGINE, "--format", "json"]) == 0
    nets = json.loads(capsys.readouterr().out)
    assert run(["nets", ENGINE, "--format", "csv"]) == 0
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(text) == len(nets) == len(rows) == 60
    injection = next(net for net in nets if "W18" in net["wires"])
    assert injection["cavities"] == [
        "INJ1:1", "INJ2:1", "INJ3:1", "COIL1:1", "COIL2:1", "COIL3:1", "FUSES:2B",
    ]  # fmt: skip
    assert injection["splices"] == ["S-INJ", "S-COIL"]
    assert rows[injection["net"] - 1]["wires"] == " ".join(injection["wires"])


def test_export_loses_nothing(tmp_path: Path) -> None:
    book, folder = tmp_path / "engine.xlsx", tmp_path / "engine"
    assert run(["export", ENGINE, "--workbook", str(book)]) == 0
    assert run(["export", str(book), "--folder", str(folder), "--colour-code", "german"]) == 0
    assert load(folder).loom == load(book).loom == load(ENGINE).loom
    assert "sw/bl" in (folder / "wires.csv").read_text()


def test_export_without_a_target_is_a_wrong_command(capsys: Captured) -> None:
    assert run(["export", ENGINE]) == 2
    assert "nothing to write to" in capsys.readouterr().err


def test_import_wants_its_columns_confirmed(tmp_path: Path, capsys: Captured) -> None:
    source = tmp_path / "list.csv"
    source.write_text("From Pin,To Pin\nECU:01,C2:1A\nECU:1,GND\n")
    target = tmp_path / "loom"
    assert run(["import", str(source), "--to", str(target)]) == 2
    assert "nobody has confirmed these columns" in capsys.readouterr().err
    columns = ["--column", "from=From Pin", "--column", "to=To Pin"]
    assert run(["import", str(source), "--to", str(target), *columns]) == 0
    assert run(["check", str(target)]) == 0
    assert [str(end) for end in load(target).loom.cavities] == ["ECU:01", "ECU:1", "C2:1A", "GND:1"]


def test_import_says_what_it_does_not_read(tmp_path: Path, capsys: Captured) -> None:
    assert run(["import", str(tmp_path / "x.pdf"), "--to", str(tmp_path / "y")]) == 2
    assert run(["import", str(tmp_path / "none.csv"), "--to", str(tmp_path / "y")]) == 2
    err = capsys.readouterr().err
    assert "what kind of file" in err
    assert "there is no such file" in err


def test_warnings_that_look_alike_are_summed_up(tmp_path: Path, capsys: Captured) -> None:
    assert run(["new", str(tmp_path / "loom")]) == 0
    connectors = tmp_path / "loom/connectors.csv"
    rows = connectors.read_text().splitlines()
    width = len(next(csv.reader(rows[:1])))
    rows += [",".join([f"SPARE{n}", "plug", "1-2", *[""] * (width - 3)]) for n in range(40)]
    connectors.write_text("\n".join(rows) + "\n")
    capsys.readouterr()
    assert run(["check", str(tmp_path / "loom")]) == 0
    short = capsys.readouterr().out
    assert short.count("no wire in SPARE") <= 4
    assert "more of this sort (--all shows them)" in short
    assert run(["check", str(tmp_path / "loom"), "--all"]) == 0
    assert capsys.readouterr().out.count("no wire in SPARE") == 40


def test_explain_refuses_one_cavity_twice(capsys: Captured) -> None:
    assert run(["explain", ENGINE, "ECU:1", "ECU:1"]) == 2
    assert "ECU:1 is named twice" in capsys.readouterr().err


def test_explain_says_how_to_quote_a_name(capsys: Captured) -> None:
    assert run(["explain", ENGINE, "FUSE BOX 12", "ECU:1"]) == 2
    assert """'"FUSE BOX":12'""" in capsys.readouterr().err


def test_a_length_type_is_for_kbl_files_only(tmp_path: Path, capsys: Captured) -> None:
    source = tmp_path / "list.csv"
    source.write_text("From Pin,To Pin\nA:1,B:1\n")
    words = ["import", str(source), "--to", str(tmp_path / "loom"), "--yes", "--length-type", "Production"]
    assert run(words) == 2
    assert "--length-type" in capsys.readouterr().err


@pytest.mark.parametrize("columns", [40, 80])
def test_an_import_says_each_thing_once_in_short_and_all_of_it_when_asked(
    columns: int, tmp_path: Path, capsys: Captured, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", str(columns))
    source = open_data(MAIN_HARNESS)
    words = ["import", str(source), "--to", str(tmp_path / "loom"), "--over"]
    assert run(words) == 0
    short = capsys.readouterr().err.partition("\n  Long lists of names are cut short")[0]
    notes = re.split(r"\n  (?! )", short)
    assert notes[0] == "Worth a look:"
    assert len(notes) > 8
    assert all(len(note) < 400 for note in notes)
    assert all(len(line) <= columns for line in short.splitlines())
    assert "and 66 more" in " ".join(short.split())
    assert run([*words, "--all"]) == 0
    whole = capsys.readouterr().err
    assert not re.search(r"and\s+\d+\s+more", whole)
    unbroken = "".join(whole.split())
    plugs = [c.name for c in load(tmp_path / "loom").loom.connectors if c.kind is ConnectorKind.PLUG]
    assert len(plugs) > 60
    assert all(name in unbroken for name in plugs)


def test_many_warnings_about_one_thing_each_are_counted() -> None:
    shown: list[str] = []
    many = [Problem(f"<Part> refers to 'id{n}', which is not in the file", row=n) for n in range(50)]
    other = [Problem("a unit is not known"), Problem("a harness has no name")]
    show_grouped([*many, *other], 3, shown.append, how)
    assert shown[3] == "47 more of this sort (--all shows them)."
    assert shown[4:] == ["a unit is not known", "a harness has no name"]
