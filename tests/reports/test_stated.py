"""What an assessor asks of a certificate; read back by pdftotext and poppler, which share nothing with ours.

Which of it is asked: ISO/IEC 17025:2017, 7.8, and ILAC-G8:09/2019 for the decision rule (from memory).
"""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from datetime import date
from pathlib import Path

import pytest

from loomproof.reports.certificate import certificate_pdf
from loomproof.reports.claims import by_threshold
from loomproof.reports.drawing import printed_faces
from loomproof.reports.stated import facts, statements
from loomproof.results.document import ClaimEntry, Counts, Document, Verdict
from loomproof.results.entered import METHOD, Entered, Meter, ReferenceStandard
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision
from tests.locating.placing_bench import placed
from tests.locating.test_placing import _loom
from tests.reports.sample import document
from tests.reports.test_certificate import certificate, sealed

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")

ENTERED = Entered(
    customer="Quarry Motors",
    order="PO 4711",
    condition="two plugs dirty, nothing broken",
    authoriser="B. Signer",
    laboratory="Back Lane Looms",
    address="3 Back Lane, Ambleforth",
    humidity_pct=43.5,
    meter=Meter(make="Own build 6", serial="M-9", calibration="CAL-55", calibration_due=date(2027, 1, 4)),
)


def told(made: Document, tmp_path: Path) -> str:
    return " ".join(" ".join(certificate(made, tmp_path)).split())


def stated(made: Document | None = None, **changed: object) -> Document:
    made = made or document()
    loom = made.loom.model_copy(update={"part_number": "TL-100", "revision": "C"})
    entered = ENTERED.model_copy(update=changed)
    return made.model_copy(update={"loom": loom, "entered": entered, "method": METHOD})


def test_what_was_entered_stands_on_the_certificate(tmp_path: Path) -> None:
    text = told(stated(), tmp_path)
    for word in (
        "serial TL-0007",
        "part number TL-100 revision C description",
        "customer Quarry Motors",
        "order PO 4711",
        "condition on receipt two plugs dirty, nothing broken",
        "run 20260105-101500-1",
        "tested 2026-01-05 10:15:00 UTC to 2026-01-05 10:15:07 UTC",
        "issued 2026-01-05, when the run ended",
        "tested by A. Tester, as entered",
        "authorised by B. Signer, as entered",
        "laboratory Back Lane Looms, 3 Back Lane, Ambleforth, as entered",
        "at bench 2, back room",
        "method loomproof method 1, loomproof",
        "humidity 43.5% relative, as entered",
        "meter Own build 6, serial M-9, as entered",
        "calibration certificate CAL-55, as entered; due 2027-01-04",
        "relate only to the item tested",
        "Not to be reproduced except in full.",
        "was given by people; the bench has not checked it",
        "at most 2.3% each: guard band w = U, k = 2",
        "Findings: opinions and interpretations",
        "No accreditation is claimed.",
    ):
        assert word in text, word
    assert "EXPIRED" not in text


@pytest.mark.parametrize("name", Entered.model_fields)
def test_all_that_can_be_entered_is_stated(name: str) -> None:
    """Each thing entered changes what the facts say; the paper draws all of them (above)."""
    unlike = {
        "humidity_pct": 61.5,
        "dates": "DD Mon YYYY",
        "meter": Meter(make="another make"),
        "reference": ReferenceStandard(make="another make"),
    }
    entered = ENTERED.model_copy(update={name: unlike.get(name, "something of its own")})
    made = stated()
    assert facts(made.model_copy(update={"entered": entered})) != facts(made)


@pytest.mark.parametrize("name", Meter.model_fields)
def test_all_that_can_be_entered_of_the_meter_is_stated(name: str) -> None:
    said = date(2027, 3, 3) if name == "calibration_due" else "something of its own"
    meter = ENTERED.meter.model_copy(update={name: said})
    assert facts(stated(meter=meter)) != facts(stated())


@pytest.mark.parametrize("name", ReferenceStandard.model_fields)
def test_all_that_can_be_entered_of_the_reference_is_stated(name: str) -> None:
    said = date(2027, 3, 3) if name == "calibration_due" else "something of its own"
    assert facts(stated(reference=ReferenceStandard(**{name: said}))) != facts(stated())  # type: ignore[arg-type]


def test_the_reference_s_certificate_is_shown_with_its_due_date_and_none_is_invented(tmp_path: Path) -> None:
    reference = ReferenceStandard(calibration="REF-12", serial="R4", calibration_due=date(2026, 1, 4))
    text = told(stated(reference=reference), tmp_path)
    said = (
        "reference serial R4, as entered; certificate REF-12, as entered; due 2026-01-04: EXPIRED on the day"
    )
    assert said in text
    assert not [row for _, rows in facts(stated()) for row in rows if row[0] == "reference" and row[1]]


def test_what_nobody_entered_is_said_to_be_missing_or_left_out(tmp_path: Path) -> None:
    made = document(serial="", person="")
    text = told(made.model_copy(update={"place": ""}), tmp_path)
    for word in (
        "serial not stated",
        "part number not stated",
        "customer not stated",
        "order not stated",
        "condition on receipt not stated",
        "tested by not stated",
        "authorised by nobody is stated",
        "laboratory not stated",
        "calibration no traceability stated: no calibration certificate of the meter was entered",
        "Waived by name by a person who is not named",
    ):
        assert word in text, word
    assert "person named above" not in text
    assert "humidity" not in text.casefold()


def test_a_calibration_that_ran_out_is_told(tmp_path: Path) -> None:
    """Due on the day of the test still holds; the day before does not."""
    on_the_day = ENTERED.meter.model_copy(update={"calibration_due": date(2026, 1, 5)})
    assert "EXPIRED" not in told(stated(meter=on_the_day), tmp_path)
    before = ENTERED.meter.model_copy(update={"calibration_due": date(2026, 1, 4)})
    assert "due 2026-01-04: EXPIRED on the day of the test" in told(stated(meter=before), tmp_path)
    undated = ENTERED.meter.model_copy(update={"calibration_due": None})
    assert "certificate CAL-55, as entered; no due date stated" in told(stated(meter=undated), tmp_path)


@pytest.mark.parametrize(
    ("form", "day", "due"),
    [
        ("DD.MM.YYYY", "05.01.2026", "04.01.2027"),
        ("DD/MM/YYYY", "05/01/2026", "04/01/2027"),
        ("MM/DD/YYYY", "01/05/2026", "01/04/2027"),
        ("DD Mon YYYY", "05 Jan 2026", "04 Jan 2027"),
    ],
)
def test_dates_are_drawn_in_the_form_that_was_entered(form: str, day: str, due: str, tmp_path: Path) -> None:
    text = told(stated(dates=form), tmp_path)
    assert f"tested {day} 10:15:00 UTC" in text
    assert f"issued {day}, when" in text
    assert f"leads zeroed {day} 09:58:00 UTC" in text
    assert f"due {due}" in text
    assert "2026-01-05" not in text.replace("20260105-101500-1", "")


def test_run_and_page_stand_on_every_page(tmp_path: Path) -> None:
    texts = certificate(document(wires=60), tmp_path)
    assert len(texts) > 3
    for number, text in enumerate(texts, 1):
        foot = text.strip().splitlines()[-1]
        assert foot.startswith("run 20260105-101500-1"), foot
        assert foot.endswith(f"page {number} of {len(texts)}"), foot


def test_findings_are_marked_as_opinions_only_where_there_are_some(tmp_path: Path) -> None:
    text = told(document(verdict=Verdict.PASS), tmp_path)
    assert "Findings None." in text
    assert "opinion" not in text


def test_undecided_is_counted_by_itself(tmp_path: Path) -> None:
    claim = ClaimEntry(
        kind="resistance",
        subject="W1",
        statement="W1 is sound",
        decision=Decision.UNDECIDED,
        rule="the rule",
        measured_ohm=0.3,
        uncertainty_ohm=0.2,
        limit_ohm=0.4,
    )
    made = document(verdict=Verdict.UNDECIDED, findings=0)
    text = told(made.model_copy(update={"claims": (claim,), "counts": Counts(undecided=1)}), tmp_path)
    assert "Claim Count Holds Not decided Fails" in text
    assert "resistance 1 0 1 0 uncertainty" in text
    assert "FAILS" not in text


def test_how_often_each_joint_was_read_stands_under_test_and_is_written_only_then(tmp_path: Path) -> None:
    said = "each resistance of a joint or part is the mean of 4 readings, a number fixed beforehand"
    four = document().model_copy(update={"repeats": 4})
    assert said in told(four, tmp_path)
    assert "mean of" not in told(document(), tmp_path)
    assert (four.plain()["repeats"], "repeats" in document().plain()) == (4, False)
    unread = four.model_copy(update={"claims": four.claims[:1]})
    assert "mean of" not in told(unread, tmp_path)


def test_a_failing_loom_s_head_says_how_much_was_not_decided(tmp_path: Path) -> None:
    made = document(wires=4)
    claims = [
        claim.model_copy(update={"decision": Decision.UNDECIDED}) if claim.subject in ("W2", "W3") else claim
        for claim in made.claims
    ]
    assert "2 more claims could not be decided by this bench." in told(
        made.model_copy(update={"claims": tuple(claims)}), tmp_path
    )
    assert "could not be decided" not in told(made, tmp_path)


def test_a_pass_says_beside_its_grade_how_many_cavities_were_waived(tmp_path: Path) -> None:
    made = document(verdict=Verdict.PASS)
    said = "own limits; 1 cavity waived by name: an open there would not show"
    assert said in told(made, tmp_path)
    whole = made.model_copy(update={"coverage": made.coverage.model_copy(update={"waived": ()})})
    assert "would not show" not in certificate(whole, tmp_path)[0]


@pytest.mark.parametrize(("ohm", "said"), [(None, "all over range"), (4.2e6, "the least 4.20 MΩ")])
def test_how_far_apart_all_conductors_read_is_told(ohm: float | None, said: str) -> None:
    made = document(findings=0)
    every = made.claims[0].model_copy(
        update={
            "kind": "isolation",
            "subject": "all conductors",
            "statement": "each above 1.00 MΩ from every other",
            "cavities": (),
            "threshold_ohm": 1e6,
            "measured_ohm": ohm,
            "open": ohm is None,
        }
    )
    _, ((_, _, apart, _, _),) = by_threshold([every], {every.rule: "R1"})
    assert apart == f"each above 1.00 MΩ from every other; readings: {said}"
    failing = every.model_copy(update={"decision": Decision.FAIL})
    _, ((_, _, apart, _, _),) = by_threshold([failing], {every.rule: "R1"})
    assert "readings" not in apart


def layout(pdf: bytes, tmp_path: Path) -> list[dict[str, float]]:
    """Each word of a PDF with its page and its box in pt, by poppler."""
    return [word for _, word in laid_out(pdf, tmp_path)]


def laid_out(pdf: bytes, tmp_path: Path) -> list[tuple[str, dict[str, float]]]:
    """Each word of a PDF as text, with its page and its box in pt, by poppler."""
    (tmp_path / "c.pdf").write_bytes(pdf)
    done = subprocess.run(
        ["pdftotext", "-bbox", "c.pdf", "-"], cwd=tmp_path, capture_output=True, check=True, text=True
    )
    words: list[tuple[str, dict[str, float]]] = []
    page = 0
    for line in done.stdout.splitlines():
        page += "<page " in line
        if "<word " in line:
            box = {key: float(value) for key, value in re.findall(r'(\w+)="([0-9.]+)"', line)}
            words.append((line.partition(">")[2].partition("<")[0], {**box, "page": page}))
    return words


def test_nothing_leaves_the_page_and_the_last_page_is_not_nearly_empty(tmp_path: Path) -> None:
    """A4 is 595 by 842 pt (ISO 216); the margins are ours."""
    for made in (document(wires=300), document(wires=7), stated(document(verdict=Verdict.PASS))):
        words = layout(certificate_pdf(sealed(made), fingerprint="aaaa bbbb"), tmp_path)
        assert all(word["xMin"] > 40 and word["xMax"] < 555 for word in words)
        assert all(word["yMin"] > 20 and word["yMax"] < 822 for word in words)
        last = max(word["page"] for word in words)
        body = [word["yMin"] for word in words if word["page"] == last and 60 < word["yMin"] < 780]
        assert max(body) - min(body) > 100


def test_the_end_is_marked_and_stands_on_the_last_page_only(tmp_path: Path) -> None:
    """ISO/IEC 17025:2017, 7.8.2.1 d: a clear identification of the end."""
    texts = certificate(document(wires=60), tmp_path)
    assert ["End of the certificate." in text for text in texts] == [False] * (len(texts) - 1) + [True]


@pytest.mark.parametrize("wires", [6, 26, 32, 40, 44, 150])
def test_no_text_of_a_face_is_under_six_points(wires: int) -> None:
    """The drawing's least font size, at the scale that the page shows it at; a point is 1/72 inch."""
    from loomproof.reports.certificate import certificate_view

    made = document(wires=wires)
    record = json.loads(sealed(made))
    view = certificate_view(record, fingerprint="", link="", signer="")
    faces = view["faces"]
    assert isinstance(faces, list)
    assert faces
    for face in faces:
        wide_px = float(re.findall(r'<svg [^>]*?width="([0-9.]+)', face["svg"])[0])
        least_px = min(map(float, re.findall(r'font-size="([0-9.]+)"', face["svg"])))
        least_mm = min(least_px * face["mm"] / wide_px, *(size for _, _, _, size, _, _ in face["letters"]))
        assert face["mm"] <= 174
        assert least_mm * 72 / 25.4 >= 6.0, face["alt"]


def test_on_paper_the_letters_stand_in_their_cavities(tmp_path: Path) -> None:
    """From the first letters all others lie as the drawing has them; 25.4 mm are 72 pt."""
    made = document(wires=14)
    (piece,) = printed_faces(made.connectors[0], 174.0)
    drawn = [(one.content, one.x / 25.4 * 72, one.y / 25.4 * 72) for one in piece.letters]
    set_out = [
        (text, (box["xMin"] + box["xMax"]) / 2, box["yMax"])
        for text, box in laid_out(certificate_pdf(sealed(made)), tmp_path)
    ]
    first = drawn[0]
    assert len(drawn) == 28
    assert any(
        all(
            any(
                text == of and abs(x - at - middle + first[1]) < 1.0 and abs(y - down - base + first[2]) < 2.0
                for of, x, y in set_out
            )
            for text, middle, base in drawn
        )
        for word, at, down in set_out
        if word == first[0]
    )


def test_a_face_in_pieces_shows_every_cavity_once() -> None:
    plug = document(wires=300).connectors[0]
    pieces = printed_faces(plug, 174.0)
    assert len(pieces) > 1
    assert [cavity for piece in pieces for cavity in piece.cavities] == [
        cavity for row in plug.rows for cavity in row
    ]
    for number, piece in enumerate(pieces, 1):
        assert f"piece {number} of {len(pieces)}" in piece.svg
        assert set(piece.cavities) <= {letters.content for letters in piece.letters}


@pytest.mark.parametrize(("across", "whole"), [(13, True), (16, True), (17, True), (21, False)])
def test_a_row_stays_whole_where_it_fits_the_page(across: int, whole: bool) -> None:
    plug = (
        document(wires=across)
        .connectors[0]
        .model_copy(update={"rows": (tuple(map(str, range(1, across + 1))),)})
    )
    (piece,) = printed_faces(plug, 174.0)
    assert ("long rows cut" in piece.svg) is not whole


def test_a_simulated_meter_has_no_calibration_and_nobody_is_said_to_have_entered_none(tmp_path: Path) -> None:
    made = document()
    simulated = made.model_copy(update={"bench": made.bench.model_copy(update={"simulated": True})})
    assert "calibration none: the bench was simulated" in told(simulated, tmp_path)


def test_a_risk_is_never_said_to_be_nothing(tmp_path: Path) -> None:
    """Fifty standard uncertainties inside its limit, a joint's risk comes out as 0.0 in floating point."""
    made = document(verdict=Verdict.PASS).model_copy(update={"risk": 0.0})
    assert "beyond what the grade says: at most 0.01%" in told(made, tmp_path)


@pytest.mark.parametrize("grade", Grade)
def test_the_risk_speaks_of_the_grade_that_is_given(grade: Grade, tmp_path: Path) -> None:
    made = document(verdict=Verdict.PASS).model_copy(
        update={"risk": 0.001, "grade": grade, "grade_demanded": grade}
    )
    text = told(made, tmp_path)
    assert "beyond what the grade says: at most" in text
    assert ("is given grade wire" in text) == (grade is Grade.WIRE)


@pytest.mark.parametrize("checked", ["", "yes: 10.00 Ω read as 10.01 Ω"])
def test_a_risk_with_a_meter_that_nobody_checked_states_its_condition(checked: str) -> None:
    """A probability conditional on what was not looked at is stated as such (common practice)."""
    made = document(verdict=Verdict.PASS).model_copy(update={"risk": 1e-6, "meter_check": checked})
    risk = next(row[1] for _, rows in facts(made) for row in rows if row[0] == "risk")
    condition = "if the accuracy that the bench states of itself holds; nobody checked it"
    single = next(text for text in statements(made) if "guard band" in text)
    assert (condition in risk) == (condition in single) == (not checked)


def test_what_is_taken_off_of_capacitance_stands_beside_what_is_taken_off_of_ohms() -> None:
    made = placed(_loom(), "open W2 at ECU:2 0.6 m")[0].document
    said = {name: text for _, rows in facts(made) for name, text, *_ in rows}
    count = made.counts.capacitance_readings
    assert count >= 2
    assert (
        f"{made.counts.resistance_readings - count} resistance readings, {count} capacitance" in said["asked"]
    )
    assert " pF taken off for each, zeroed with nothing on them 20" in said["adapter leads"]
    assert "nothing taken off" not in said["adapter leads"]
    assert re.search(r"±\([\d.]+ pF.*\), capacitance", said["accuracy"])
    (text,) = (each.text for each in made.findings[0].evidence if "against all else" in each.text)
    assert re.search(r"\(leads taken off: \d+ pF and \d+ pF; U at most \d+ pF, k = 2", text)
