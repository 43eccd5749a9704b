"""What `verify` says of folders with destroyed papers, of records that were corrected, and of labels."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pypdf
import pytest

from loomproof.cli.main import run
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from tests.records.conftest import NOW
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "160")
    with open_store() as store:
        made = document(run="first", serial="TL-001", verdict=Verdict.PASS)
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(made, signer)
        note(home(), signer, store)


@pytest.fixture
def shelf(tmp_path: Path, capsys: Output) -> Path:
    folder = tmp_path / "shelf"
    folder.mkdir()
    assert run(["certificate", "first", "--json", "-o", str(folder / "good.record.json")]) == 0
    assert run(["certificate", "first", "-o", str(tmp_path / "good.pdf")]) == 0
    capsys.readouterr()
    return folder


DESTROYED: dict[str, tuple[str, Callable[[bytes, bytes], bytes]]] = {
    "record cut in half": ("a.record.json", lambda pdf, record: record[: len(record) // 2]),
    "record cut in half, renamed": ("a.json", lambda pdf, record: record[: len(record) // 2]),
    "record cut in half, as text": ("a.txt", lambda pdf, record: record[: len(record) // 2]),
    "record of zeros": ("record.json", lambda pdf, record: bytes(len(record))),
    "record, first byte changed": ("a.json", lambda pdf, record: b"[" + record[1:]),
    "empty pdf": ("a.pdf", lambda pdf, record: b""),
    "pdf of zeros": ("A.PDF", lambda pdf, record: bytes(len(pdf))),
    "pdf, first byte changed": ("a.pdf", lambda pdf, record: b"&" + pdf[1:]),
    "pdf cut early": ("a.pdf", lambda pdf, record: pdf[:2000]),
    "pdf under another name, changed": ("a.bak", lambda pdf, record: pdf[:-100] + bytes(100)),
    "a certificate whose signature was taken out": (
        "a.pass.pdf",
        lambda pdf, record: b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\n%%EOF\n",
    ),
}


@pytest.mark.parametrize("case", DESTROYED)
def test_a_destroyed_paper_in_a_folder_is_counted_and_named(case: str, shelf: Path, capsys: Output) -> None:
    name, destroyed = DESTROYED[case]
    good = (shelf / "good.record.json").read_bytes()
    (shelf / name).write_bytes(destroyed((shelf.parent / "good.pdf").read_bytes(), good))
    assert run(["verify", "shelf"]) == 5
    captured = capsys.readouterr()
    assert "2 checked: " in captured.out
    assert "1 genuine" in captured.out
    assert "1 DOES NOT HOLD" in captured.out
    assert name in captured.out
    assert name in captured.err


def test_one_good_record_in_a_folder_is_counted_and_other_files_are_passed_over(
    shelf: Path, capsys: Output
) -> None:
    (shelf / "notes.txt").write_text("order 7", encoding="utf-8")
    (shelf / "loom.results.json").write_text('{"schema": 2}', encoding="utf-8")
    (shelf / "folder.pdf").mkdir()
    assert run(["verify", "shelf"]) == 0
    assert "1 checked: 1 genuine" in capsys.readouterr().out


def test_labels_and_month_reports_are_no_certificates_and_not_tampered(shelf: Path, capsys: Output) -> None:
    assert run(["label", "first", "-o", "shelf/first.label.pdf"]) == 0
    assert run(["report", "--pdf", "shelf/month.pdf"]) == 0
    capsys.readouterr()
    assert run(["verify", "shelf"]) == 4
    captured = capsys.readouterr()
    assert "3 checked: 2 no certificate, 1 genuine" in captured.out or (
        "3 checked: 1 genuine, 2 no certificate" in captured.out
    )
    assert "DOES NOT HOLD" not in captured.out
    assert "first.label.pdf: no certificate" in captured.err
    assert "changed after" not in captured.err


@pytest.mark.parametrize(
    ("content", "what"), [("notes", "it is no PDF:"), ("%PDF-1.4\n%%", "it is a PDF, but")]
)
def test_a_note_that_is_called_pdf_is_told_alike_by_itself_and_in_its_folder(
    content: str, what: str, tmp_path: Path, capsys: Output
) -> None:
    (tmp_path / "some").mkdir()
    (tmp_path / "some" / "note.pdf").write_text(content, encoding="ascii")
    for named in ("some/note.pdf", "some"):
        assert run(["verify", named]) == 5
        assert f"note.pdf: {what} it does not begin as a certificate does" in capsys.readouterr().err


def test_a_folder_with_one_destroyed_paper_is_summed_up_as_well(tmp_path: Path, capsys: Output) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "one" / "a.pdf").write_bytes(b"")
    assert run(["verify", "one"]) == 5
    captured = capsys.readouterr()
    assert "1 checked: 1 DOES NOT HOLD" in captured.out
    assert "a.pdf" in captured.err


def corrected(*words: str) -> str:
    assert run(["records", "correct", *words, "--why", "read wrongly off the tag"]) == 0
    with open_store() as store:
        return store.runs()[-1].run


def test_a_record_that_was_corrected_is_told_as_corrected_by_whatever_it_is_named(
    shelf: Path, capsys: Output
) -> None:
    with open_store() as store:
        digest = store.run("first").hash
    fingerprint = KeyFolder(home()).signer(NOW).fingerprint.replace(" ", "").upper()
    name = corrected("first", "--serial", "TL-101")
    capsys.readouterr()
    label = f"LOOMPROOF:{digest.upper()}:{fingerprint}"
    for words in ("good.pdf", "shelf/good.record.json", "first", digest, digest[:8], label):
        assert run(["verify", words]) == 0, words
        headline, seal = capsys.readouterr().out.splitlines()[:2]
        assert headline.startswith(f"genuine, and corrected since by run {name} on 20"), words
        assert headline.endswith(": serial TL-001 -> TL-101"), words
        assert "nothing was changed" in seal
    assert run(["verify", "shelf"]) == 0
    assert "1 checked: 1 genuine but corrected" in capsys.readouterr().out
    assert run(["verify", name]) == 0
    assert capsys.readouterr().out.startswith("genuine: nothing was changed")


def test_of_many_corrections_only_the_newest_stands(capsys: Output) -> None:
    one = corrected("first", "--serial", "TL-101")
    two = corrected("first", "--person", "Mia")
    capsys.readouterr()
    assert run(["log"]) == 0
    rows = {row.split()[0]: row for row in capsys.readouterr().out.splitlines() if row.startswith("first")}
    assert [", corrected" in rows[name] for name in ("first", one, two)] == [True, True, False]
    assert "TL-101" in rows[two], "the first correction stays made"
    for old in ("first", one):
        assert run(["verify", old]) == 0
        assert f"corrected since by run {two}" in capsys.readouterr().out


def test_two_corrections_of_one_record_are_one_family(tmp_path: Path, capsys: Output) -> None:
    """As a store has them from before corrections were chained."""
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        for name, serial in (("c1", "TL-2"), ("c2", "TL-3")):
            store.correct("first", document(run=name, serial=serial, verdict=Verdict.PASS), "slip", signer)
    assert run(["log"]) == 0
    rows = [row for row in capsys.readouterr().out.splitlines() if "TL-" in row]
    assert [", corrected" in row for row in rows] == [True, True, False]
    assert run(["verify", "c1"]) == 0
    assert "genuine, and corrected since by run c2: serial TL-2 -> TL-3" in capsys.readouterr().out


def test_a_correction_that_changes_nothing_is_refused(capsys: Output) -> None:
    assert run(["records", "correct", "first", "--why", "slip", "--serial", "TL-001"]) == 2
    assert "nothing to correct" in capsys.readouterr().err
    corrected("first", "--serial", "TL-2")
    assert run(["records", "correct", "first", "--why", "slip", "--serial", "TL-2"]) == 2
    with open_store() as store:
        assert len(store.runs()) == 2


def test_the_certificate_of_a_correction_tells_what_why_when_and_who(capsys: Output) -> None:
    Path("workshop.toml").write_text('person = "B. Keeper"\n', encoding="utf-8")
    name = corrected("first", "--serial", "TL-101")
    assert run(["certificate", name, "-o", "c.pdf"]) == 0
    text = " ".join(pypdf.PdfReader("c.pdf").pages[0].extract_text().split())
    for said in (
        "Correction of certificate first",
        "was: TL-001; is now: TL-101",
        "read wrongly off the tag",
        "B. Keeper",
        ", when it was corrected",
    ):
        assert said in text, said
    assert "when the run ended" not in text
    assert run(["verify", "c.pdf"]) == 0
    assert run(["records", "check"]) == 0


def test_the_beginning_of_a_labels_text_is_a_beginning(capsys: Output) -> None:
    with open_store() as store:
        digest = store.run("first").hash.upper()
    fingerprint = KeyFolder(home()).signer(NOW).fingerprint.replace(" ", "").upper()
    for words in (digest[:8], digest, f"{digest}:", f"{digest}:{fingerprint[:4]}"):
        assert run(["verify", f"LOOMPROOF:{words}"]) == 0, words
    assert run(["verify", f"LOOMPROOF:{digest}:{fingerprint}0"]) == 5
    strange = "0" if fingerprint[0] != "0" else "1"
    assert run(["verify", f"LOOMPROOF:{digest}:{strange}"]) == 5
    assert run(["verify", "LOOMPROOF:"]) == 2


def test_a_bench_was_used_last_when_its_last_proof_ended(capsys: Output) -> None:
    with open_store() as store:
        later = "2026-02-03T10:00:05+00:00"
        made = document(run="second", verdict=Verdict.PASS, started=later, ended=later)
        store.seal_run(made, KeyFolder(home()).signer(NOW))
    name = corrected("first", "--serial", "TL-101")
    capsys.readouterr()
    assert run(["records", "benches"]) == 0
    assert "3 records, last proof ended 2026-02-03 10:00:05" in capsys.readouterr().out
    assert run(["log", "--last", "1"]) == 0
    out = capsys.readouterr().out
    assert name in out
    assert "second" not in out


def test_pages_of_simulated_proofs_only_say_what_they_leave_out(tmp_path: Path, capsys: Output) -> None:
    made = document(run="played", verdict=Verdict.PASS)
    made = made.model_copy(update={"bench": made.bench.model_copy(update={"simulated": True})})
    with open_store(str(tmp_path / "played.db")) as store:
        store.seal_run(made, KeyFolder(home()).signer(NOW))
    report = ["report", "--during", "2026-01", "--pdf", "month.pdf", "--store", "played.db"]
    assert run(report) == 0
    assert "leave out 1 run on simulated benches: --simulated" in capsys.readouterr().err
    assert run([*report, "--simulated"]) == 0
    assert "leave out" not in capsys.readouterr().err
    assert run(["report", "--store", "played.db"]) == 0
    assert "leave out" not in capsys.readouterr().err
