"""What is claimed of each wire by its name: rows of a document, on paper, on screen and in tables."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace
from pathlib import Path
from typing import cast, get_args

import openpyxl
import pytest

from loomproof.cli.main import run
from loomproof.loom.ends import end_of
from loomproof.reports.certificate import certificate_view
from loomproof.reports.wires import wire_page, wire_texts
from loomproof.results.document import ClaimEntry, Document
from loomproof.results.measured import Decision
from loomproof.results.wires import wire_rows
from tests.cli.running import loomproof
from tests.reports.sample import document
from tests.reports.test_certificate import sealed

pytestmark = pytest.mark.usefixtures("simulated_within")

Output = pytest.CaptureFixture[str]


def kept(made: Document, folder: Path) -> str:
    path = folder / "made.results.json"
    path.write_text(json.dumps(made.plain()), encoding="utf-8")
    return str(path)


def test_each_wire_has_its_claims_its_reading_and_the_worst_decision() -> None:
    first, second, *_, last = wire_rows(document())
    assert [claim.kind for claim in first.claims] == ["continuity", "resistance"]
    assert (first.wire.name, first.decision) == ("W1", Decision.FAIL)
    assert first.reading is not None
    assert first.reading.measured_ohm == 4.7312
    assert second.decision is Decision.PASS
    assert (last.claims, last.reading, last.decision) == ((), None, None)


def test_a_path_somewhere_in_the_loom_fails_no_wire_by_itself() -> None:
    """One short must not paint all wires: who has an isolation claim of its own is judged by that."""
    made = document(findings=0, wires=3)
    some = made.claims[0].model_copy(
        update={
            "kind": "isolation",
            "subject": "all conductors",
            "statement": "paths between conductors were found",
            "decision": Decision.FAIL,
            "cavities": (),
            "wires": ("W1", "W2", "W3"),
        }
    )
    own = some.model_copy(update={"subject": "W1", "decision": Decision.PASS, "cavities": (end_of("ECU:1"),)})
    hit = own.model_copy(update={"subject": "W2", "decision": Decision.FAIL, "wires": ("W2",)})
    own = own.model_copy(update={"wires": ("W1",)})
    made = made.model_copy(update={"claims": (*made.claims, some, own, hit)})
    decisions = {row.wire.name: row.decision for row in wire_rows(made)}
    assert decisions["W1"] is Decision.PASS
    assert decisions["W2"] is Decision.FAIL
    assert decisions["W3"] is Decision.UNDECIDED, "nothing says whether it is this one"
    texts = {row[0]: row[4] for row in wire_texts(made)}
    assert "apart from others FAILS" in texts["W2"]
    assert "FAILS" not in texts["W1"] + texts["W3"]


@pytest.mark.parametrize("own", [True, False])
def test_a_wire_whose_net_parts_join_to_others_is_not_said_to_be_apart_from_those(own: bool) -> None:
    """The claim on all conductors leaves such nets out: what is said of a wire must not say more than it."""
    made = document(findings=0, wires=4)
    names = ("W1", "W2", "W3", "W4")
    every = made.claims[0].model_copy(
        update={
            "kind": "isolation",
            "subject": "all conductors",
            "statement": "each above 1.00 MΩ from every other, but for conductors that parts join, read so",
            "cavities": (),
            "wires": names,
            "threshold_ohm": 1e6,
        }
    )
    of_nets = [
        every.model_copy(
            update={
                "subject": name,
                "statement": "no path under 5.00 kΩ to any other net"
                + " but those that parts join it to" * (name == "W2"),
                "cavities": (end_of(f"ECU:{name[1:]}"),),
                "wires": (name,),
                "threshold_ohm": 5e3,
            }
        )
        for name in names
    ]
    made = made.model_copy(update={"claims": (*made.claims, every, *(of_nets if own else ()))})
    texts = {row[0]: row[4] for row in wire_texts(made)}
    but = "apart to 1.00 MΩ from all but those that parts join it to"
    assert texts["W2"].endswith(but)
    assert [but in texts[name] for name in names] == [not own, True, not own, not own]
    assert texts["W1"].endswith("apart from others to 1.00 MΩ") == own
    page = wire_page(made)
    assert ("apart from others to 1.00 MΩ" in page.said) == own
    assert [but in row[4] for row in page.rows[:4]] == [not own, True, not own, not own]


@pytest.mark.parametrize("kind", ["continuity", "isolation", "resistance"])
def test_an_open_elsewhere_in_its_net_fails_no_wire_that_was_measured_itself(kind: str) -> None:
    """W1 and W2 in one net, whose claim fails; the finding names W1 alone, and W2 reads well by itself."""
    made = document(wires=3)
    net = made.claims[0].model_copy(
        update={
            "kind": kind,
            "decision": Decision.FAIL,
            "cavities": (*made.wires[0].ends, *made.wires[1].ends),
            "wires": ("W1", "W2"),
        }
    )
    finding = replace(made.findings[0], wires=("W1",), cavities=(made.wires[0].ends[0],), alternatives=())
    own = next(claim for claim in made.claims if claim.wires == ("W2",) and claim.kind == "resistance")
    made = made.model_copy(update={"claims": (net, own), "findings": (finding,)})
    first, second, *_ = wire_rows(made)
    assert (first.decision, second.decision) == (Decision.FAIL, own.decision)
    assert "see finding 1: its net is " in wire_texts(made)[1][4]
    assert "FAILS" not in wire_texts(made)[1][4]
    named = replace(finding, wires=("W1", "W2"))
    assert wire_rows(made.model_copy(update={"findings": (named,)}))[1].decision is Decision.FAIL
    unread = made.model_copy(update={"claims": (net,)})
    assert wire_rows(unread)[1].decision is Decision.FAIL, "nothing says that it is another"


def test_of_several_readings_the_worst_stands_for_the_wire() -> None:
    made = document()
    tight = next(claim for claim in made.claims if claim.wires == ("W2",) and claim.kind == "resistance")
    worse = tight.model_copy(update={"subject": "ECU:2 to S1", "measured_ohm": 0.2})
    found = wire_rows(made.model_copy(update={"claims": (*made.claims, worse)}))[1]
    assert found.reading == worse
    assert len(found.claims) == 3


def test_the_tolerance_of_a_part_on_the_way_does_not_stand_for_a_wire() -> None:
    """1.025 kΩ of 1 kΩ ± 5 % leaves little and says nothing of the copper; a part that fails is told."""
    made = document()
    joint = next(claim for claim in made.claims if claim.wires == ("W2",) and claim.kind == "resistance")
    part = joint.model_copy(
        update={
            "subject": "R1", "kind": "component", "measured_ohm": 1025.0, "uncertainty_ohm": 16.2,
            "lower_limit_ohm": 950.0, "limit_ohm": 1050.0, "expected_ohm": 1000.0,
        }
    )  # fmt: skip
    assert (part.margin or 0.0) < (joint.margin or 0.0)
    assert wire_rows(made.model_copy(update={"claims": (*made.claims, part)}))[1].reading == joint
    bad = part.model_copy(update={"decision": Decision.FAIL})
    assert wire_rows(made.model_copy(update={"claims": (*made.claims, bad)}))[1].reading == bad


@pytest.mark.parametrize("kind", get_args(ClaimEntry.model_fields["kind"].annotation))
def test_a_claim_of_every_kind_is_told_of_the_wires_that_it_covers(kind: str) -> None:
    made = document()
    one = made.claims[0].model_copy(
        update={"kind": kind, "subject": "of its own", "threshold_ohm": 5e3, "wires": ("W1",)}
    )
    first = wire_texts(made.model_copy(update={"claims": (one,)}))[0]
    # That nothing changed while it was read is claimed of cavities, and covers no wire.
    assert first[4].startswith("none") == (kind == "stability")


def test_the_paper_says_it(tmp_path: Path) -> None:
    view = certificate_view(json.loads(sealed(document())), fingerprint="", link="", signer="")
    rows = {row[0]: row for row in cast(list[list[str]], view["wires"])}
    assert rows["W1"][2:] == [
        "ECU:1 to INJ1:1",
        "W1 FAILS",
        "4.73 Ω ± 0.11 Ω",
        "0.350 Ω",
        "",
        "beyond it",
        "FAILS",
    ]
    assert rows["W7"][3:] == ["none: an open of it would not show", "", "", "", "", "no claim"]
    assert "Unless its row says otherwise, a wire is joined under 10.0 kΩ." in str(view["wires-say"])


def test_a_wire_that_differs_from_most_says_so_in_its_row() -> None:
    made = document()
    claims = tuple(
        claim.model_copy(update={"threshold_ohm": 12e3})
        if claim.kind == "continuity" and claim.wires == ("W4",)
        else claim
        for claim in made.claims
    )
    rows = wire_page(made.model_copy(update={"claims": claims})).rows
    assert [row[4] for row in rows[2:5]] == ["W3", "W4; joined under 12.0 kΩ", "W5"]


def test_the_screen_and_the_tables_say_it(tmp_path: Path, capsys: Output) -> None:
    results = kept(document(), tmp_path)
    assert run(["wires", results]) == 0
    shown = capsys.readouterr().out
    assert "W2 RD/WH" in " ".join(shown.split()) or "W2\n" in shown
    assert all(len(line) <= 80 for line in shown.splitlines())
    assert run(["wires", results, "-o", str(tmp_path / "w.csv")]) == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "w.csv").read_text(encoding="utf-8-sig"))))
    assert [row["wire"] for row in rows] == [f"W{n}" for n in range(1, 8)]
    assert (rows[0]["decision"], rows[0]["limit_ohm"], rows[6]["decision"]) == ("fail", "0.35", "no claim")
    assert run(["wires", results, "-o", str(tmp_path / "w.xlsx")]) == 0
    sheet = openpyxl.load_workbook(tmp_path / "w.xlsx").active
    assert sheet is not None
    assert [cell.value for cell in sheet["D"]][:3] == ["wire", "W1", "W2"]


def test_a_proof_from_before_says_so(tmp_path: Path, capsys: Output) -> None:
    made = document()
    claims = tuple(claim.model_copy(update={"wires": ()}) for claim in made.claims)
    assert run(["wires", kept(made.model_copy(update={"wires": (), "claims": claims}), tmp_path)]) == 0
    assert "Prove the loom again" in capsys.readouterr().err


def test_a_proof_names_every_wire_of_its_loom(fixtures: Path, tmp_path: Path) -> None:
    done = loomproof(
        "prove", fixtures / "tail_lamp", "--bench", "sim:?fault=high%204.7%20W3", "--out", tmp_path
    )
    assert done.returncode == 1, done.stderr
    (path,) = tmp_path.glob("*.results.json")
    made = Document.model_validate(json.loads(path.read_text(encoding="utf-8")))
    rows = {row.wire.name: row for row in wire_rows(made)}
    assert list(rows) == ["W1", "W2", "W3", "W4", "W5", "W6"]
    assert [name for name, row in rows.items() if row.decision is Decision.FAIL] == ["W3"]
    assert all(row.reading is not None for row in rows.values())
