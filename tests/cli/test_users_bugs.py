"""Each bug that three people met when they used the program, as they met it (the first seventeen).

number what went wrong                            test
1      a label lost words of long names           tests/reports/test_certificate.py: a label shows every word
2      nobody was told when to move the loom      test_a_person_is_told_when_to_move_the_loom_and_what_changed
3      a watch that no bench could keep passed    test_a_watch_that_the_bench_cannot_keep_is_refused
4      "?" and "tbd" in a list were ends          test_no_end_is_no_end
5      an answer threw out the true cause         tests/diagnosis/test_narrow.py, and test_answers_in_words
6      "last" was the last stored                 tests/records/test_edits.py: last is the newest proof
7      an order to stop after the seal            tests/cli/test_ending.py: after the last reading
8      plan and proof had other limits            tests/planning/test_explained.py
9      items of one name aged as one              test_items_of_one_name_age_apart
10     corrected records looked whole             tests/records/test_edits.py: corrected records are marked
11     what was mended stood there twice          tests/records/test_mended.py: mended once with its note
12     a waiver by nobody, for the wrong reason   test_a_waiver_says_who_and_why
13     undecided counted as "does not"            test_undecided_claims_are_counted_by_themselves
14     a cavity with a part was "empty"           test_a_cavity_with_a_part_is_not_empty
15     a face hid the marked cavity               test_a_face_shows_its_marked_cavity_at_any_width
16     lamps were motors                          tests/fitting/test_sheet.py: lamps are lamps
17     loads were left out without a word         test_a_load_without_a_row_is_named
"""

from __future__ import annotations

import json
from dataclasses import replace
from io import StringIO
from pathlib import Path

import pypdf
import pytest
from rich.console import Console

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import Circuit, Component, ComponentKind, Loom, end_of
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.reports.claims import groups, rules
from loomproof.reports.drawing import drawings, loom_face
from loomproof.reports.terminal import finding_view
from loomproof.results.document import ConnectorEntry
from loomproof.results.measured import Decision
from tests.cli.running import loomproof
from tests.reports.sample import document, finding


def test_a_person_is_told_when_to_move_the_loom_and_what_changed(fixtures: Path, tmp_path: Path) -> None:
    """From begin to end: what to move and for how long, each change as it comes, and when to let go."""
    words = ("prove", fixtures / "tail_lamp", "--out", tmp_path, "--watch", "2", "--bench")
    loose = loomproof(*words, "sim:?fault=loose%20W2%204%20Hz")
    said = loose.stderr.splitlines()
    begun = next(n for n, line in enumerate(said) if line.startswith("Move the loom now, for 2 s"))
    ended = next(n for n, line in enumerate(said) if line.startswith("The watch has ended"))
    changes = said[begun + 1 : ended]
    assert changes
    assert all("BODY:2" in line or "LAMP:2" in line for line in changes)
    assert loose.returncode == 1
    still = loomproof(*words, "sim:")
    assert "The watch has ended, the loom can rest: nothing changed." in still.stderr
    assert still.returncode == 0


def test_a_watch_that_the_bench_cannot_keep_is_refused(fixtures: Path, tmp_path: Path) -> None:
    words = ("prove", fixtures / "tail_lamp", "--out", tmp_path, "--bench", "sim:?no-watch")
    refused = loomproof(*words, "--watch", "5")
    assert refused.returncode == 3
    assert "cannot watch a loom while it is moved" in refused.stderr
    assert "Without --watch nothing is watched." in refused.stderr
    assert not list(tmp_path.iterdir()), "nothing was driven"
    few = (*words[:-1], "sim:?no-watch&points=12", "--hook-ups", "--made-safe")
    hooked = loomproof(*few, "--watch", "5")
    assert "cannot watch a loom while it is moved" in hooked.stderr
    plain = loomproof(*words)
    assert plain.returncode == 0
    assert "nothing was watched while the loom was moved" in plain.stdout


@pytest.mark.parametrize("told", ["?", "-", "tbd", "n/a", "unknown", "??"])
def test_no_end_is_no_end(told: str, tmp_path: Path) -> None:
    """Two wires to what nobody knows are not one conductor."""
    rows = f"From,To,Colour\nECU 12,{told},BN\nECU 13,{told},RD\nECU 14,X1 1,RD\n"
    (tmp_path / "list.csv").write_text(rows, encoding="utf-8")
    made = loomproof("import", tmp_path / "list.csv", "--to", tmp_path / "made", "--yes")
    assert made.returncode == 0
    assert made.stderr.count("left out: it ends nowhere") == 2
    loom = load(tmp_path / "made").loom
    assert [wire.ends for wire in loom.wires] == [(end_of("ECU:14"), end_of("X1:1"))]


def test_answers_in_words(fixtures: Path, tmp_path: Path) -> None:
    """Crossed contacts: a sound wire clears nothing, plugs leave the adapter, a contradiction is said."""
    bench = "sim:?fault=swap%20ECU-B:8%20ECU-B:9"
    proved = loomproof("prove", fixtures / "hillclimb_engine", "--bench", bench, "--out", tmp_path)
    assert proved.returncode == 1
    wires = loomproof("findings", "last", "--saw", "W67 sound").stdout
    assert "1. fault: W67 (orange/white) and W68 (orange/green) crossed at ECU-B:8 and ECU-B:9" in one(wires)
    assert loomproof("findings", "last", "--forget").returncode == 0
    plugs = loomproof("findings", "last", "--saw", "ECU-B sound", "--saw", "THR sound").stdout
    assert "the adapter's leads" in one(plugs).casefold()
    assert "crossed at THR" not in plugs
    assert loomproof("findings", "last", "--forget").returncode == 0
    adapter = one(loomproof("findings", "last", "--saw", "adapter sound").stdout)
    assert "crossed at THR:3 and THR:4" in adapter
    assert "the adapter's leads for" not in adapter
    sound = [f"{thing} sound" for thing in ("ECU-B", "THR", "adapter", "W67")]
    split = loomproof("findings", "last", *(word for seen in sound for word in ("--saw", seen)))
    assert "contradicts" in one(split.stdout)


def one(text: str) -> str:
    return " ".join(text.split())


def test_items_of_one_name_age_apart(fixtures: Path, tmp_path: Path) -> None:
    """A joint of one lamp's loom and that of another are two joints, whatever the folder they are made by."""
    words = ("prove", fixtures / "tail_lamp", "--out", tmp_path)
    for serial, ohm in (("S-1", "0.01"), ("S-1", "0.02"), ("S-2", "0.3")):
        loomproof(*words, "--bench", f"sim:?fault=high%20{ohm}%20W3", "--serial", serial)
    for name in ("Left tail lamp", fixtures / "tail_lamp"):
        shown = [
            line for line in loomproof("history", name, COLUMNS="120").stdout.splitlines() if "Ω" in line
        ]
        assert len(shown) == 10, "ten joints unless more are asked for"
        assert all(line.startswith(("S-1: ", "S-2: ")) for line in shown)
        assert [line.split()[4] for line in shown if line.startswith("S-1: BODY:3 to LAMP:3")] == ["2"]
        assert not any("moved" in line for line in shown)
    for joint, rows in (("BODY:3 to LAMP:3", 2), ("S-2: BODY:3 to LAMP:3", 1)):
        asked = loomproof("history", "Left tail lamp", "--joint", joint, COLUMNS="120").stdout
        assert asked.count("BODY:3 to LAMP:3") == rows
    alone = loomproof("history", "S-2", COLUMNS="120").stdout
    assert "S-2: " not in alone.partition("\n\n")[2]


def test_a_serial_that_was_corrected_ages_under_the_right_one(fixtures: Path, tmp_path: Path) -> None:
    words = ("prove", fixtures / "tail_lamp", "--out", tmp_path, "--bench", "sim:")
    assert loomproof(*words, "--serial", "S-1").returncode == 0
    assert loomproof(*words, "--serial", "S-9").returncode == 0
    corrected = loomproof("records", "correct", "last", "--why", "read wrongly", "--serial", "S-1")
    assert corrected.returncode == 0
    shown = loomproof("history", "Left tail lamp", COLUMNS="120").stdout.partition("\n\n")[2]
    assert "S-9" not in shown
    assert {line.split()[3] for line in shown.splitlines() if "Ω" in line} == {"2"}


def test_a_waiver_says_who_and_why(fixtures: Path, tmp_path: Path) -> None:
    table = tmp_path / "a.csv"
    assert loomproof("adapter", "new", fixtures / "tail_lamp", "--to", table).returncode == 0
    leads = table.read_text(encoding="utf-8").splitlines(keepends=True)
    table.write_text("".join(line for line in leads if ",BODY,2," not in line), encoding="utf-8")
    words = ("prove", fixtures / "tail_lamp", "--bench", "sim:", "--adapter", table, "--out", tmp_path)
    assert loomproof(*words, "--waive", "BODY:2").returncode == 0
    (results,) = tmp_path.glob("*.results.json")
    said = json.loads(results.read_text(encoding="utf-8"))["not_tested"]
    assert "Cavity BODY:2: no point went to it (waived)." in said
    assert "Wires whose open would not show, because an end of them has no point: W2." in said
    assert not any("others run beside them" in text for text in said)
    (pdf,) = tmp_path.glob("*.pdf")
    page = one(" ".join(page.extract_text() for page in pypdf.PdfReader(pdf).pages))
    assert "Waived by name by a person who is not named" in page
    assert "named above" not in page


def test_undecided_claims_are_counted_by_themselves() -> None:
    claims = document(wires=3).claims
    claim = next(claim for claim in claims if claim.kind == "resistance")
    decided = (Decision.PASS, Decision.PASS, Decision.UNDECIDED, Decision.FAIL)
    made = [claim.model_copy(update={"decision": decision}) for decision in decided]
    ((what, count, holds, undecided, fails, *_),) = groups(made, rules(made))
    assert (what, count, holds, undecided, fails) == ("resistance", "4", "2", "1", "1")


def with_a_part(fixtures: Path) -> Loom:
    """The tail lamp with a resistor between its spare cavity and a cavity of a wire."""
    loom = load(fixtures / "tail_lamp").loom
    ends = (("1", end_of("BODY:6")), ("2", end_of("LAMP:6")))
    part = Component("R1", ComponentKind.RESISTOR, ends, resistance_ohm=1000.0)
    return replace(loom, components=(part,))


def test_a_cavity_with_a_part_is_not_empty(fixtures: Path, tmp_path: Path) -> None:
    loom = with_a_part(fixtures)
    write_folder(loom, tmp_path / "loom")
    nets = loomproof("nets", tmp_path / "loom").stdout
    assert "BODY:6  no wire; at R1\n" in nets
    face = loom_face(loom, loom.by_name["BODY"])
    assert "6: a part" in face
    assert ">empty<" not in face
    assert ">empty<" in loom_face(replace(loom, components=()), loom.by_name["BODY"])
    assert drawings(loom)["loom.svg"].decode().count("R1 ") == 2, "at both of its ends"
    proved = loomproof("prove", tmp_path / "loom", "--bench", "sim:", "--out", tmp_path, "--json", "-")
    body = next(c for c in json.loads(proved.stdout)["connectors"] if c["name"] == "BODY")
    assert body["colours"]["6"] == ""


@pytest.mark.parametrize("width", [40, 60, 80, 120])
@pytest.mark.parametrize("marked", ["1", "19", "28", "36"])
def test_a_face_shows_its_marked_cavity_at_any_width(width: int, marked: str) -> None:
    """A unit with 36 cavities in one row, seen on narrow screens: each cavity stands there once, in order."""
    row = tuple(str(number) for number in range(1, 37))
    found = finding()
    found = replace(found, cavities=(end_of(f"ECU:{marked}"),))
    screen = StringIO()
    connectors = [ConnectorEntry(name="ECU", kind="plug", rows=(row,))]
    Console(file=screen, width=width).print(finding_view(found, 1, connectors))
    face = screen.getvalue().partition("from the mating side")[2].partition("repair")[0]
    lines = [line.rstrip() for line in face.splitlines() if line.strip()]
    shown = face.replace("[", " ").replace("]", " ").replace("…", " ").split()
    assert shown == list(row)
    assert f"[{marked.rjust(2)}]" in face
    assert all(len(line) <= width for line in lines)
    assert all(line.endswith("…") for line in lines[:-1]), "what goes on says so"


def test_a_load_without_a_row_is_named(fixtures: Path) -> None:
    """A coil of 6 A that no wire of the description feeds: nobody can say what it loses, and that is said."""
    loom = load(fixtures / "tail_lamp").loom
    coil = Circuit("coil", purpose="ignition coil", load_a=6.0)
    sheet = fitting_sheet(replace(loom, circuits=(*loom.circuits, coil)))
    assert all(row.circuit != "coil" for row in sheet.drops)
    (told,) = sheet.left_out
    assert told.startswith("coil (6 A): no feed of this description reaches an end of it")
    assert fitting_sheet(loom).left_out == ()
