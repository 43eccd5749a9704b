"""Three people from nothing to done, as they sit at a terminal: a hobbyist, a repairer, a workshop.

Each walk is a dialogue on a pseudo-terminal; the bench is a simulated scanner on a line of its own, and the
hand at it (plugging, touching, mending) is the test's.
"""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import openpyxl
import pypdf
import pytest

from loomproof.bench.adapter import read_adapter
from loomproof.bench.simulation import Simulation
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.records.lines import Run
from loomproof.records.store import open_store
from tests.cli.running import loomproof
from tests.simulating import started

if os.name == "nt":
    pytest.skip("there are no pseudo-terminals on Windows", allow_module_level=True)

from tests.dialogue import Dialogue


@pytest.fixture(autouse=True)
def _nothing_left_running() -> Iterator[None]:
    yield
    Dialogue.stop_all()


NO_HAZARD = [word for name in ("BODY", "LAMP", "EARTH") for word in ("--hazard", f"{name}=none")]


@contextmanager
def bench(loom: Path, *orders: str) -> Iterator[Simulation]:
    simulation = started(loom, orders)
    try:
        yield simulation
    finally:
        simulation.end()


def test_the_hobbyist_has_no_diagram_then_half_of_one(fixtures: Path, tmp_path: Path) -> None:
    """Plugs typed in, the adapter learned by touch, the loom traced, a diagram laid over, proved, mended."""
    whole = load(fixtures / "tail_lamp").loom
    plugs = Loom("Rear left", connectors=tuple(replace(each, description="") for each in whole.connectors))
    write_folder(plugs, tmp_path / "plugs")
    with bench(tmp_path / "plugs") as hand:
        learn = ("adapter", "touch", "plugs", "--bench", str(hand.address), "--to", "a.csv")
        touching = Dialogue(*learn, cwd=tmp_path)

        def touch(end: str) -> None:
            touching.sees(f"Touch {end} …")
            assert hand.tell(f"touch {end}").startswith("ok")
            touching.sees(f"{end}: point \\d+")
            hand.tell("lift")

        for end in ("BODY:1", "BODY:2"):
            touch(end)
        touching.sees("Touch BODY:3 …")
        touching.says("u")
        touching.sees("BODY:2: taken back")
        touch("BODY:2")
        touching.sees("Touch BODY:3 …")
        touching.says("s")
        touching.sees("BODY:3: left out")
        touching.sees("Touch BODY:4 …")
        touching.interrupts()
        assert touching.ends() == 3
        assert "2 of 13 ends learned" in touching.shown
        # The rest of the plugs is known; two ends are left to be touched.
        left = ("BODY:3", "EARTH:1")
        known = [k for k, end in enumerate(whole.cavities, 1) if str(end) not in ("BODY:1", "BODY:2", *left)]
        with (tmp_path / "a.csv").open("a", encoding="utf-8") as table:
            for k in known:
                table.write(f"{k},{whole.cavities[k - 1].connector},{whole.cavities[k - 1].cavity},,,\n")
        touching = Dialogue(*learn, "--resume", cwd=tmp_path)
        for end in left:
            touch(end)
        assert touching.ends() == 0
    assert {lead.end for lead in read_adapter(tmp_path / "a.csv").entries} == set(whole.cavities)

    with bench(
        fixtures / "tail_lamp",
        *("--fault", "high 4.7 W2", "--adapter", str(tmp_path / "a.csv")),
        *("--acc", "0.02:0.005"),  # so that noise leaves no joint undecided
    ) as hand:
        at = ("--bench", str(hand.address), "--adapter", "a.csv")
        tracing = Dialogue("trace", "plugs", *at, "--to", "found", cwd=tmp_path)
        assert tracing.ends() == 0
        asked = (tmp_path / "found" / "questions.md").read_text(encoding="utf-8")
        assert "4.7" in asked
        assert "bad joint?" in asked
        kept = load(tmp_path / "found").loom
        assert [each.location for each in kept.connectors[:3]] == [each.location for each in whole.connectors]

        laying = loomproof("merge", "found", fixtures / "tail_lamp", "--to", "rear", cwd=tmp_path)
        assert laying.returncode == 0
        laid = load(tmp_path / "rear").loom
        assert {wire.colour for wire in laid.wires} >= {
            each.colour for each in whole.wires if each.name != "W2"
        }
        told = " ".join(laying.stdout.split())
        assert "Described as joined by W2, and traced apart: BODY:2 | LAMP:2." in told, (
            "the joint is that bad"
        )

        proving = Dialogue("prove", fixtures / "tail_lamp", *at, cwd=tmp_path)
        assert proving.ends() == 1
        assert "W2" in proving.shown
        assert loomproof("findings", "--saw", "W2 bad", cwd=tmp_path).returncode == 0
        hand.tell("mend")
        assert loomproof("prove", fixtures / "tail_lamp", *at, cwd=tmp_path).returncode == 0
    assert loomproof("label", "-o", "label.pdf", cwd=tmp_path).returncode == 0
    assert loomproof("fit", fixtures / "tail_lamp", "--pdf", "sheet.pdf", cwd=tmp_path).returncode in (0, 4)
    assert (tmp_path / "label.pdf").exists()


def test_the_repairer_has_a_list_and_a_bench_that_is_too_small(fixtures: Path, tmp_path: Path) -> None:
    """A customer's list with commas, plugs that are put wrong once, a fault, a retest, one row a wire."""
    whole = load(fixtures / "tail_lamp").loom
    rows = ["Wire;From;To;Colour;mm2;Length;Pair;Shield"]
    rows += [
        f"{100 + k};{wire.a.connector} {wire.a.cavity};{wire.b.connector} {wire.b.cavity};{wire.colour};"
        f"{str(wire.csa_mm2).replace('.', ',')};{str(wire.length_m).replace('.', ',')} m;;"
        for k, wire in enumerate(whole.wires, 1)
    ]
    (tmp_path / "customer.csv").write_text("\n".join(rows), encoding="cp1252")
    taking = Dialogue("import", "customer.csv", "--to", "job", "--name", "Rear left", cwd=tmp_path)
    taking.sees(r"Is this right\? \[y/N\]: ")
    taking.says("y")
    assert taking.ends() == 0, taking.shown
    listed = load(tmp_path / "job").loom
    assert len(listed.wires) == len(whole.wires)
    assert listed.wire_by_name["102"].csa_mm2 == whole.wires[1].csa_mm2

    with bench(tmp_path / "job", "--points", "12", "--fault", "open 102") as hand:
        words = ("--bench", str(hand.address), "--made-safe")
        told = (*words, "--hook-ups", *NO_HAZARD)
        proving = Dialogue("prove", "job", *told, cwd=tmp_path, columns=200)
        swapped = False
        while True:
            seen = proving.sees(
                r"Is it plugged so\? \[[^]]*\]: |Enter alone says[^\n]*|\n(?:FAIL|PASS)  |: $"
            )
            if "Enter alone" in seen or seen.startswith(": "):
                proving.says() if seen == ": " else None
                continue
            if "plugged" not in seen:
                break
            table = Path(re.findall(r"as an adapter table: (\S+)", proving.shown)[-1])
            if not swapped and "LAMP" in (text := (tmp_path / table).read_text(encoding="utf-8")):
                leads = read_adapter(tmp_path / table)
                lamp = [lead for lead in leads.entries if lead.end.connector == "LAMP"]
                turned = dict(
                    zip((lead.end for lead in lamp), reversed([lead.point for lead in lamp]), strict=True)
                )
                wrong = [replace(lead, point=turned.get(lead.end, lead.point)) for lead in leads.entries]
                replace(leads, entries=tuple(wrong)).write(tmp_path / "wrong.csv")
                assert text
                hand.tell(f"adapter {tmp_path / 'wrong.csv'}")
                swapped = len(lamp) > 3
            else:
                hand.tell(f"adapter {tmp_path / table}")
            proving.says("y")
        assert proving.ends() == 1, proving.shown
        assert swapped
        assert "A plug in the wrong place reads like this" in proving.shown
        assert "102" in proving.shown

        hand.tell("mend")
        told = (*words, "--hook-ups", "--finding", "1", *NO_HAZARD)
        again = Dialogue("retest", "last", "job", *told, cwd=tmp_path, columns=200)
        again.sees(r"Is it plugged so\? \[[^]]*\]: ")
        again.says()
        while "plugged" in again.sees(r"Is it plugged so\? \[[^]]*\]: |This is no certificate"):
            table = Path(re.findall(r"as an adapter table: (\S+)", again.shown)[-1])
            hand.tell(f"adapter {tmp_path / table}")
            again.says("y")
        assert again.ends() == 0, again.shown
    assert loomproof("wires", "last", "-o", "wires.xlsx", cwd=tmp_path).returncode == 0
    sheet = openpyxl.load_workbook(tmp_path / "wires.xlsx").active
    assert sheet is not None
    column = [cell.value for cell in sheet[1]].index("wire") + 1
    assert [sheet.cell(row, column).value for row in range(2, 4)] == ["101", "102"]


def test_stopped_at_a_plug_and_gone_on_with_by_the_line_that_was_shown(
    fixtures: Path, tmp_path: Path
) -> None:
    """Enter and n are "not yet": only the word for it stops, and what is printed then can be typed."""
    tail = fixtures / "tail_lamp"
    with bench(tail, "--points", "12") as hand:
        at = ("--bench", str(hand.address), "--out", "my proofs", "--store", "own.db", *NO_HAZARD)
        told = ("--hook-ups", "--inspected", "sound", "--made-safe")
        stopping = Dialogue("prove", tail, *at, *told, cwd=tmp_path, columns=400)
        while "plugged" not in stopping.sees(r"Is it plugged so\? \[[^]]*\]: |  [^\n]*: $"):
            stopping.says()
        for not_yet in ("", "n", "s"):
            stopping.says(not_yet)
            if not_yet != "s":
                stopping.sees(r"Is it plugged so\? \[[^]]*\]: ")
        assert stopping.ends() == 3
        (line,) = re.findall(r"Go on with: loomproof (prove .+)", stopping.shown)
        going = Dialogue(*shlex.split(line), "--made-safe", cwd=tmp_path, columns=400)
        while "plugged" in going.sees(r"Is it plugged so\? \[[^]]*\]: |\nPASS"):
            table = Path(re.findall(r"as an adapter table: ([^\n]+)", going.shown)[-1])
            hand.tell(f"adapter {tmp_path / table}")
            going.says("y")
        assert going.ends() == 0, going.shown


def test_the_workshop_proves_a_row_of_looms_and_an_auditor_looks(
    fixtures: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One design, many serials; the month on paper; a stranger checks the folder and a label."""
    (tmp_path / "workshop.toml").write_text(
        'person = "I. Torvald"\nplace = "bench 2"\nstore = "shop.db"\ndates = "DD.MM.YYYY"\n',
        encoding="utf-8",
    )
    tail = fixtures / "tail_lamp"
    proofs = [("TL-1", ""), ("TL-2", "open W2"), ("TL-2", ""), ("TL-3", "")]
    digests = set()
    for serial, fault in proofs:
        with bench(tail, *(["--fault", fault] if fault else [])) as hand:
            words = ("--bench", str(hand.address), "--adapter", "in-order", "--serial", serial)
            done = loomproof("prove", tail, *words, cwd=tmp_path)
            assert done.returncode == bool(fault), done.stderr
        if fault:
            noting = Dialogue(
                "repaired", "last", "new contact", "--finding", "1", "--person", "Mia", cwd=tmp_path
            )
            assert noting.ends() == 0
        digests |= {one.digest for one in _kept(tmp_path)}
    assert len(digests) == 1, "many looms of one design"
    for columns in (80, 40):
        listing = Dialogue("log", "--verdict", "pass", "--person", "torvald", cwd=tmp_path, columns=columns)
        assert listing.ends() == 0
        shown = listing.shown.split("The last")[0]
        assert all(len(line) <= columns for line in shown.splitlines())
        assert listing.shown.count("TL-") == 3
    asked: tuple[tuple[str, ...], ...] = (("verify", "out"), ("repaired", "last"), ("report",))
    for said in asked:
        narrow = Dialogue(*said, cwd=tmp_path, columns=40)
        assert narrow.ends() == 0
        assert all(len(each) <= 40 for each in narrow.shown.splitlines())
    year = f"{_kept(tmp_path)[0].ended[:4]}"
    summing = Dialogue(
        "report", "--during", year, "--simulated", "--pdf", "y.pdf", "--workbook", "y.xlsx", cwd=tmp_path
    )
    assert summing.ends() == 0
    text = " ".join(pypdf.PdfReader(tmp_path / "y.pdf").pages[0].extract_text().split())
    assert "passed at the first proof 2 of 3 (67 %)" in text
    assert "new contact" in text
    names = (path.name for path in (tmp_path / "out").glob("*.pdf"))
    assert sorted(re.sub(r"^[^_]+_", "", name) for name in names) == [
        "Left-tail-lamp_TL-1.pass.pdf",
        "Left-tail-lamp_TL-2.fail.pdf",
        "Left-tail-lamp_TL-2.pass.pdf",
        "Left-tail-lamp_TL-3.pass.pdf",
    ]
    checking = Dialogue("verify", "out", cwd=tmp_path)
    assert checking.ends() == 0
    assert "8 checked: 8 genuine" in checking.shown
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "auditor"))
    (tmp_path / "workshop.toml").unlink()
    stranger = loomproof("verify", "out", cwd=tmp_path)
    assert stranger.returncode == 4
    assert "8 intact, signer unknown" in stranger.stdout
    taking = loomproof("records", "import", "out", "--store", "mine.db", cwd=tmp_path)
    assert taking.returncode == 0
    assert "4 new" in taking.stdout
    assert "4 certificates" in taking.stdout
    by_hash = loomproof("verify", _kept(tmp_path)[-1].hash[:12].upper(), "--store", "mine.db", cwd=tmp_path)
    assert by_hash.returncode == 4
    assert "PASS" in by_hash.stdout


def _kept(folder: Path) -> tuple[Run, ...]:
    with open_store(str(folder / "shop.db")) as store:
        return store.runs()
