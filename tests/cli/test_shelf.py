"""What a workshop asks of its shelf: lists by day and bench, pages of a month, many checks at once."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import openpyxl
import pypdf
import pytest
from openpyxl.utils import get_column_letter

from loomproof.cli.main import run
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.store import open_store
from loomproof.results.document import Document, Verdict
from tests.records.conftest import NOW
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]


def simulated(made: Document) -> Document:
    return made.model_copy(update={"bench": made.bench.model_copy(update={"simulated": True})})


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "120")
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="failed", serial="TL-1"), signer)
        later = "2026-02-03T10:00:05+00:00"
        mended = document(
            run="mended", serial="TL-1", verdict=Verdict.PASS, person="Mia", started=later, ended=later
        )
        store.seal_run(mended, signer)
        store.seal_run(simulated(document(run="played", serial="TL-9", verdict=Verdict.PASS)), signer)


def test_simulated_benches_stand_apart_in_log_and_report(capsys: Output) -> None:
    assert run(["log"]) == 0
    real, heading, played = capsys.readouterr().out.partition("On a simulated bench:")
    assert heading
    assert "played" in played
    assert "failed" not in played
    assert "played" not in real
    assert run(["report"]) == 0
    out = capsys.readouterr().out
    assert "1 loom, 2 runs, 1 passed" in out
    assert "On a simulated bench:\n1 loom, 1 run, 1 passed" in out
    for words, there in ((["--real"], {"failed", "mended"}), (["--simulated"], {"played"})):
        assert run(["log", *words]) == 0
        out = capsys.readouterr().out
        assert {name for name in ("failed", "mended", "played") if name in out} == there


@pytest.mark.parametrize(
    ("words", "there"),
    [
        (["--during", "2026-02"], {"mended"}),
        (["--to", "2026-01-31", "--real"], {"failed"}),
        (["--from", "2026-02-03"], {"mended"}),
        (["--person", "mia"], {"mended"}),
        (["--bench", "sb-1", "--verdict", "fail"], {"failed"}),
        (["--grade", "bench"], set()),
    ],
)
def test_the_log_is_asked_by_day_person_bench_and_verdict(
    words: list[str], there: set[str], capsys: Output
) -> None:
    assert run(["log", *words]) == 0
    out = capsys.readouterr().out
    assert {name for name in ("failed", "mended", "played") if name in out} == there


def test_days_may_be_written_as_the_workshop_writes_them(capsys: Output) -> None:
    assert run(["log", "--from", "03.02.2026"]) == 2
    assert "no day, month or year" in capsys.readouterr().err
    Path("workshop.toml").write_text('dates = "DD.MM.YYYY"\n', encoding="utf-8")
    assert run(["log", "--from", "03.02.2026"]) == 0
    assert "mended" in capsys.readouterr().out
    assert run(["log", "--from", "2026-03", "--to", "2026-02"]) == 2
    assert run(["log", "--during", "2026-03", "--to", "2026-02"]) == 2


def test_pages_and_workbook_of_a_month(capsys: Output) -> None:
    assert run(["repaired", "failed", "new terminal", "--finding", "1", "--person", "Mia"]) == 0
    assert run(["report", "--pdf", "y.pdf", "--workbook", "y.xlsx", "--during", "2026"]) == 0
    text = " ".join(" ".join(page.extract_text() for page in pypdf.PdfReader("y.pdf").pages).split())
    for said in ("passed at the first proof 0 of 1 (0 %)", "2: 1 PASS, 1 FAIL", "new terminal", "29 days"):
        assert said in text
    assert "TL-9" not in text, "a simulator's loom is no loom"
    book = openpyxl.load_workbook("y.xlsx")
    assert {"summary", "faults by kind", "faults by connector", "looms", "proofs", "repairs"} <= set(
        book.sheetnames
    )
    with zipfile.ZipFile("y.xlsx") as parts:
        assert sum("charts/chart" in name for name in parts.namelist()) >= 4
    rows = list(book["repairs"].iter_rows(values_only=True))
    assert rows[1][5] == "Mia"
    # By hand: 29 days minus two seconds.
    assert run(["report", "--pdf", "f.pdf", "--during", "2026-02"]) == 0
    text = " ".join(pypdf.PdfReader("f.pdf").pages[0].extract_text().split())
    assert "Proofs, February 2026" in text
    assert "passed at the first proof 0 of 0" in text, "its first proof was in January"
    assert run(["report", "--pdf", "x.pdf", "--verdict", "pass"]) == 2
    assert run(["report", "--pdf", "x.txt"]) == 2


def test_exports_have_places_repairs_times_and_widths(capsys: Output) -> None:
    assert run(["repaired", "failed", "new terminal", "--finding", "1", "--person", "Mia"]) == 0
    assert run(["report", "--runs", "r.xlsx", "--findings", "f.csv", "--repairs", "p.csv"]) == 0
    sheet = openpyxl.load_workbook("r.xlsx").active
    assert sheet is not None
    heads = [cell.value for cell in sheet[1]]
    row = dict(zip(heads, [cell.value for cell in sheet[2]], strict=True))
    assert str(row["ended UTC"]) == "2026-01-05 10:15:07", "a time, not a text"
    assert row["place"] == "bench 2, back room"
    assert row["simulated"] is False
    assert sheet.column_dimensions["A"].width >= len("mended")
    assert sheet.column_dimensions[get_column_letter(heads.index("hash") + 1)].width >= 60
    assert "new terminal (Mia, " in Path("f.csv").read_text(encoding="utf-8-sig")
    assert "high resistance in W1" in Path("p.csv").read_text(encoding="utf-8-sig")


def test_many_are_checked_at_once_with_one_code(capsys: Output) -> None:
    folder = Path("shelf") / "january"
    folder.mkdir(parents=True)
    for name in ("failed", "mended"):
        assert run(["certificate", name, "-o", str(folder / f"{name}.pdf")]) == 0
    assert run(["certificate", "played", "--json", "-o", "shelf/played.json"]) == 0
    (folder / "results.json").write_text("{}", encoding="utf-8")
    capsys.readouterr()
    assert run(["verify", "shelf"]) == 0
    out = capsys.readouterr().out
    assert "3 checked: 3 genuine" in out
    assert "results.json" not in out
    assert run(["label", "mended", "-o", "shelf/label.pdf"]) == 0
    assert run(["verify", "shelf"]) == 4, "a page without a seal is told, and no forgery"
    assert "3 genuine" in capsys.readouterr().out
    changed = bytearray((folder / "failed.pdf").read_bytes())
    changed[len(changed) // 2] ^= 1
    (folder / "failed.pdf").write_bytes(changed)
    (Path("shelf") / "all.txt").write_text("january/mended.pdf\n\njanuary/failed.pdf\n", encoding="utf-8")
    assert run(["verify", "--list", "shelf/all.txt"]) == 5
    captured = capsys.readouterr()
    assert "2 checked: 1 genuine, 1 DOES NOT HOLD" in captured.out
    assert "failed.pdf" in captured.err
    assert run(["verify", "shelf/played.json", "nosuch.pdf"]) == 2
    assert "no such file" in capsys.readouterr().err
    assert run(["verify"]) == 2


def test_a_label_a_hash_or_its_beginning_is_looked_up_in_the_store(capsys: Output) -> None:
    with open_store() as store:
        digest = store.run("mended").hash
        verified = json.loads(store.record("mended"))
    fingerprint = KeyFolder(home()).signer(NOW).fingerprint.replace(" ", "").upper()
    for words in (digest, digest.upper(), digest[:8], "mended", f"LOOMPROOF:{digest.upper()}:{fingerprint}"):
        assert run(["verify", words]) == 0, words
        assert f"record       {verified['hash']}" in capsys.readouterr().out
    wrong = f"LOOMPROOF:{digest.upper()}:{'0' * len(fingerprint)}"
    assert run(["verify", wrong]) == 5
    assert "is not that of run mended" in capsys.readouterr().err
    assert run(["verify", "0" * 64]) == 2


def test_self_tests_are_listed_with_dates_and_go_along_with_a_backup(
    tmp_path: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert run(["bench", "selftest", "--bench", "sim:?points=4", "--made-safe"]) == 0
    fault = "sim:?points=4&fault=short%20POINT:1%20POINT:2"
    assert run(["bench", "selftest", "--bench", fault, "--made-safe"]) == 3
    assert run(["records", "benches"]) == 0
    listed = [line for line in capsys.readouterr().out.splitlines() if "simulated scanner" in line]
    assert len(listed) == 2
    assert all("20" in line and "nothing" in line for line in listed)
    assert "FAILED: clear of each other" in listed[1]
    assert run(["records", "backup", "b.db"]) == 0
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "new machine"))
    assert run(["records", "restore", "b.db"]) == 0
    capsys.readouterr()
    # What gates look at is back as well: a bench that failed is not driven on the new machine either.
    assert len((home() / "selftests.jsonl").read_text(encoding="utf-8").splitlines()) == 2
    assert run(["records", "benches"]) == 0
    assert "FAILED: clear of each other" in capsys.readouterr().out
    assert run(["records", "check"]) in (0, 4)


def test_what_was_repaired_is_listed_with_the_run_and_its_findings(capsys: Output) -> None:
    assert run(["repaired", "failed", "new terminal", "--finding", "1", "--person", "Mia"]) == 0
    for words in (["repaired", "failed"], ["findings", "failed"]):
        capsys.readouterr()
        assert run(words) == 0
        assert "repaired, finding 1: new terminal (Mia, 20" in capsys.readouterr().out
    assert run(["repaired", "failed", "x"]) == 2, "a note wants a person"
    assert "--person" in capsys.readouterr().err
    Path("workshop.toml").write_text('person = "A. Tester"\n', encoding="utf-8")
    assert run(["repaired", "failed", "seal pushed home", "--finding", "1"]) == 0
    assert run(["repaired", "failed"]) == 0
    assert "repaired, finding 1: seal pushed home (A. Tester, 20" in capsys.readouterr().out
