"""What `verify` says of folders with destroyed papers, of records that were corrected, and of labels."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
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
        store.seal_run(made, KeyFolder(home()).signer(NOW))


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


def test_a_folder_with_one_destroyed_paper_is_summed_up_as_well(tmp_path: Path, capsys: Output) -> None:
    (tmp_path / "one").mkdir()
    (tmp_path / "one" / "a.pdf").write_bytes(b"")
    assert run(["verify", "one"]) == 5
    captured = capsys.readouterr()
    assert "1 checked: 1 DOES NOT HOLD" in captured.out
    assert "a.pdf" in captured.err
