"""The commands around kept records, from a sealed run to a stranger who checks the paper."""

from __future__ import annotations

import json
import re
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.jobs.shelf import Shelf
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.store import open_store
from loomproof.records.unfinished_runs import note_started, started_here
from loomproof.results.document import Verdict
from tests.cli.running import loomproof
from tests.records.conftest import NOW
from tests.reports.sample import document

CERTIFICATE = "second_Tail-lamp-loom-left_TL-0007.pass.pdf"
Output = pytest.CaptureFixture[str]


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("COLUMNS", "80")
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="first", findings=2), signer, b"journal")
        store.seal_run(document(run="second", verdict=Verdict.PASS), signer)
        note(home(), signer, store)


def test_the_log_names_runs_whole(capsys: Output) -> None:
    assert run(["log"]) == 0
    out = capsys.readouterr().out
    assert "first" in out
    assert "FAIL (2)" in out
    assert all(len(line) <= 80 for line in out.splitlines())
    assert run(["log", "no such loom"]) == 2
    assert "nothing is kept" in capsys.readouterr().err


@pytest.mark.parametrize("columns", ["40", "60", "80", "120"])
def test_log_and_history_crop_nothing_on_a_narrow_screen(
    columns: str, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", columns)
    with open_store() as store:
        whole = [(run.run, run.person, run.loom) for run in store.runs()]
    for words in (["log"], ["history", "TL-0007"]):
        assert run(words) == 0
        out = capsys.readouterr().out
        assert all(len(line) <= int(columns) for line in out.splitlines())
        assert all("FAIL (2)" in line or "FAIL" not in line for line in out.splitlines())
        assert out.count("PASS") == out.count("PASS wire") == 1, "a pass carries its grade"
        for text in whole:
            assert all(word in out for part in text for word in part.split())
    figures = [line for line in out.splitlines() if "Ω" in line]
    assert figures
    assert not any(re.match(r"\s*[mkM]?Ω", line) for line in figures), "a unit without its figure"


@pytest.mark.parametrize("wide", [False, True])
def test_a_proof_that_was_broken_off_is_in_log_and_history(
    wide: bool, tmp_path: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Wide is as wide as the folder's name needs: how long that is, is the machine's affair.
    columns = str(90 + len(str(tmp_path))) if wide else "40"
    monkeypatch.setenv("COLUMNS", columns)
    Path("j").write_text("")
    with open_store() as store:
        loom, serial = store.run("first").loom, store.run("first").serial
    for name, journal in (("first", "j"), ("stopped", "j"), ("killed", "gone")):
        note_started(name, loom, "2026-01-06T09:30:00.000Z", Path(journal), serial=serial)
    note_started("other", "Wren", "2026-01-06T09:31:00.000Z", Path("j"))
    for words in (["log", serial], ["history", serial], ["log"]):
        assert run(words) == 0
        out = capsys.readouterr().out
        assert out.count("BROKEN OFF") == (2 if len(words) > 1 else 3)
        assert ("other" in out) == (words == ["log"])
        assert all(len(line) <= int(columns) for line in out.splitlines())
        assert "2026-01-06 09:30" in out
        unbroken = "".join(out.split())
        assert str(tmp_path / "j") in unbroken
        assert f"{tmp_path / 'gone'}(gone)" in unbroken
        assert len(re.findall(r"^first\b", out, re.MULTILINE)) == 1, "it was sealed"
    assert run(["log", "--last", "1"]) == 0
    assert "killed" not in capsys.readouterr().out
    assert run(["history", "Wren"]) == 0, "nothing of it was ever sealed"
    assert "BROKEN OFF" in capsys.readouterr().out
    assert run(["history", "Wren", "--plot", "h.svg"]) == 2
    assert "nothing to plot" in capsys.readouterr().err


def test_a_run_whose_record_is_gone_is_not_told_as_broken_off(fixtures: Path, tmp_path: Path) -> None:
    """Its store was deleted: what is known is that it was sealed, and that no record is here."""
    kept = ("--store", tmp_path / "kept.db")
    words = ("prove", fixtures / "tail_lamp", "--bench", "sim:", "--out", tmp_path / "out", *kept)
    assert loomproof(*words).returncode == 0
    (tmp_path / "kept.db").unlink()
    (began,) = started_here(str(tmp_path / "kept.db"))
    assert began.sealed
    listed = loomproof("log", *kept).stdout
    assert "BROKEN OFF" not in listed
    assert "NO RECORD" in listed
    assert "not in this store" in listed
    # Of one that an earlier version sealed, which noted no such line, the results tell it.
    shown = Shelf((), (replace(began, sealed=False),), ())
    assert shown.lost_told
    (tmp_path / "out" / f"{began.run}.results.json").unlink()
    assert not shown.lost_told


@pytest.mark.parametrize("name", ["first", "second"])
def test_a_certificate_is_issued_once_and_verifies(name: str, tmp_path: Path, capsys: Output) -> None:
    assert run(["certificate", name]) == 0
    verdict = "pass" if name == "second" else "fail"
    path = tmp_path / f"{name}_Tail-lamp-loom-left_TL-0007.{verdict}.pdf"
    assert capsys.readouterr().out.strip() == path.name
    first = path.read_bytes()
    assert run(["certificate", name, "-o", "again.pdf"]) == 0
    assert (tmp_path / "again.pdf").read_bytes() == first
    capsys.readouterr()
    # Genuine is genuine, whatever the verdict in it.
    assert run(["verify", path.name]) == 0
    out = capsys.readouterr().out
    assert out.startswith("genuine: nothing was changed; signed by this station")
    assert ("PASS" if name == "second" else "FAIL") in out


def test_a_stranger_verifies_without_store_and_keys(
    tmp_path: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(["certificate", "last"])
    run(["certificate", "last", "--json", "-o", "record.json"])
    public = KeyFolder(home()).signer(NOW).public_hex
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "stranger"))
    capsys.readouterr()

    def no_network(*_: object, **__: object) -> None:
        raise AssertionError("checking asked for the network")

    monkeypatch.setattr("socket.socket.connect", no_network)
    monkeypatch.setattr("socket.getaddrinfo", no_network)
    for name in (CERTIFICATE, "record.json"):
        assert run(["verify", name]) == 4, "anybody can make a key"
        assert capsys.readouterr().out.startswith("intact, signer unknown")
    assert run(["key", "know", "the shop", "record.json"]) == 0
    assert run(["verify", CERTIFICATE]) == 0
    assert "genuine: nothing was changed; signed by the shop" in capsys.readouterr().out
    assert run(["key", "signers"]) == 0
    assert public in capsys.readouterr().out
    assert run(["key", "forget", "the shop"]) == 0
    assert run(["verify", "record.json"]) == 4
    assert "intact, signer unknown" in capsys.readouterr().out
    assert not (tmp_path / "stranger" / "keys").exists(), "checking makes no key"


@pytest.mark.parametrize("ending", ["pdf", "json"])
def test_a_changed_file_gives_exit_code_5_and_says_why(ending: str, tmp_path: Path, capsys: Output) -> None:
    run(["certificate", "last", "-o", f"c.{ending}", *(["--json"] if ending == "json" else [])])
    data = bytearray((tmp_path / f"c.{ending}").read_bytes())
    data[len(data) // 2] ^= 1
    (tmp_path / f"c.{ending}").write_bytes(data)
    capsys.readouterr()
    assert run(["verify", f"c.{ending}"]) == 5
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.startswith(f"loomproof: record: c.{ending}")


def test_a_certificate_of_another_bench_is_not_signed_with_our_key(
    tmp_path: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch
) -> None:
    run(["certificate", "first", "--json", "-o", "record.json"])
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "other"))
    assert run(["records", "import", "record.json"]) == 0
    capsys.readouterr()
    assert run(["certificate", "first"]) == 5
    assert "keys that are not here" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("words", "name"),
    [
        (["certificate", "first"], "cert.docx"),
        (["certificate", "first", "--json"], "cert.pdf"),
        (["label", "first"], "x.txt"),
    ],
)
def test_a_paper_is_not_written_under_a_name_that_promises_something_else(
    words: list[str], name: str, tmp_path: Path, capsys: Output
) -> None:
    assert run([*words, "--out", str(tmp_path / name)]) == 2
    assert f"{name}: a name that ends in " in capsys.readouterr().err
    assert not (tmp_path / name).exists()


def test_what_was_repaired_stands_on_the_next_certificate(capsys: Output) -> None:
    assert run(["repaired", "first", "new terminal", "--finding", "1", "--person", "Mia"]) == 0
    assert run(["repaired", "first", "x", "--finding", "9", "--person", "Mia"]) == 2
    assert "has 2 findings, there is no finding 9" in capsys.readouterr().err


def test_history_shows_runs_and_trends_and_draws(tmp_path: Path, capsys: Output) -> None:
    assert run(["history", "TL-0007", "--plot", "h.svg"]) == 0
    out = capsys.readouterr().out
    assert "first" in out
    assert "moved" in out
    assert (tmp_path / "h.svg").read_text().startswith("<?xml")
    assert run(["history", "TL-007"]) == 2
    assert "There is TL-0007." in capsys.readouterr().err
    assert run(["history", "TL-0007", "--joint", "W99"]) == 2


def test_a_report_sums_up_and_exports(tmp_path: Path, capsys: Output) -> None:
    arguments = [
        "report",
        "--runs",
        "runs.csv",
        "--findings",
        "f.xlsx",
        "--junit",
        "j.xml",
        "--plot",
        "r.png",
    ]
    assert run(arguments) == 0
    out = capsys.readouterr().out
    assert "1 loom, 2 runs, 1 passed" in out
    assert "high resistance" in out
    assert (tmp_path / "runs.csv").read_text(encoding="utf-8-sig").count("\n") == 3
    assert all((tmp_path / name).stat().st_size > 500 for name in ("f.xlsx", "j.xml", "r.png"))
    assert run(["report", "--runs", "runs.ods"]) == 2


def test_backup_restore_check_and_import(tmp_path: Path, capsys: Output) -> None:
    assert run(["records", "backup", "b.db"]) == 0
    assert run(["records", "restore", "b.db", "--store", "new.db"]) == 0
    assert run(["records", "check", "--store", "new.db"]) == 0
    assert "nothing was changed" in capsys.readouterr().out
    assert run(["records", "restore", "b.db", "--store", "new.db"]) == 2
    assert run(["records", "import", "b.db"]) == 0
    assert "0 new, 2 there already" in capsys.readouterr().out
    with open_store("fork.db") as fork:
        fork.seal_run(document(run="fork"), KeyFolder(home()).signer(NOW))
    assert run(["records", "import", "fork.db"]) == 5
    assert "in that place" in capsys.readouterr().err


def test_a_backup_that_was_edited_is_told_as_it_is_restored(capsys: Output) -> None:
    assert run(["records", "backup", "b.db"]) == 0
    with sqlite3.connect("b.db") as edited:
        for (guard,) in edited.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            edited.execute(f"drop trigger {guard}")
        edited.execute("update runs set person = 'Nobody' where run = 'first'")
    edited.close()
    assert run(["records", "restore", "b.db", "--store", "new.db"]) == 5
    _, where, *troubles = capsys.readouterr().out.splitlines()
    assert where.endswith("new.db: 2 runs")
    assert any("first" in trouble for trouble in troubles)


def test_a_clock_that_went_back_is_told_wherever_the_record_is_checked(capsys: Output) -> None:
    early = {"started": "2020-01-05T12:00:00.000Z", "ended": "2020-01-05T12:01:00.000Z"}
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="back").model_copy(update=early), signer)
    assert run(["verify", "back"]) == 0
    assert "times        The clock went back before this proof" in capsys.readouterr().out
    assert run(["verify", "first"]) == 0
    assert "times " not in capsys.readouterr().out
    assert run(["records", "check"]) == 0
    out = capsys.readouterr().out
    assert re.search(r"record 3 of .*\(run back\): The clock went back before this proof", out), out
    assert "(run first)" not in out
    assert "nothing was changed" in out


def test_a_correction_stands_beside_what_it_corrects(tmp_path: Path, capsys: Output) -> None:
    assert run(["records", "correct", "first", "--why", "typed in wrongly"]) == 2
    assert run(["records", "correct", "first", "--why", "typed in wrongly", "--person", "R. Right"]) == 0
    name = capsys.readouterr().out.strip()
    assert name.startswith("first-corrected-")
    assert run(["certificate", name, "-o", "c.pdf"]) == 0
    assert run(["verify", "c.pdf"]) == 0
    out = capsys.readouterr().out
    assert "typed in wrongly" in out
    with open_store() as store:
        assert store.run("first").hash in out
        assert (store.run("first").person, store.run(name).person) == ("A. Tester", "R. Right")
    assert run(["log"]) == 0
    out = capsys.readouterr().out
    assert name in out, "what one types next stands whole"
    assert "(correction)" in out
    assert run(["records", "check"]) == 0


def test_benches_are_listed_with_their_checks(capsys: Output) -> None:
    assert run(["records", "benches"]) == 0
    out = capsys.readouterr().out
    assert "2 records" in out
    assert "passed  all points off" in out
    assert "adapter in order" in out


def test_keys_are_shown_exported_and_replaced(tmp_path: Path, capsys: Output) -> None:
    assert run(["key", "show"]) == 0
    before = capsys.readouterr().out.splitlines()[0]
    assert run(["key", "export", "my.pem"]) == 0
    assert (tmp_path / "my.pem").stat().st_mode & 0o077 == 0
    assert run(["key", "export", "my.pem"]) == 2
    assert run(["key", "replace"]) == 0
    assert capsys.readouterr().out.strip() != before
    assert run(["certificate", "first"]) == 0, "an old run is signed with the key that it names"
    assert run(["key", "replace", "--with", "my.pem"]) == 0
    assert capsys.readouterr().out.splitlines()[-1] == before


def test_a_label_is_written(tmp_path: Path) -> None:
    assert run(["label", "second"]) == 0
    assert (tmp_path / CERTIFICATE.replace(".pass.", ".label.")).read_bytes().startswith(b"%PDF")


def test_a_file_that_cannot_be_written_is_named(capsys: Output) -> None:
    assert run(["certificate", "last", "-o", "/dev/null/c.pdf"]) == 2
    assert "/dev/null/c.pdf" in capsys.readouterr().err


def test_the_sealed_record_is_the_one_in_the_store(tmp_path: Path) -> None:
    run(["certificate", "last", "--json", "-o", "r.json"])
    with open_store() as store:
        assert (tmp_path / "r.json").read_bytes() == store.record("last")
    assert set(json.loads((tmp_path / "r.json").read_text())) == {"body", "hash", "seal"}


def test_a_loom_is_found_by_its_folder_too(fixtures: Path, tmp_path: Path) -> None:
    assert loomproof("prove", fixtures / "tail_lamp", "--bench", "sim:", "--out", tmp_path).returncode == 0
    assert "pass" in loomproof("log", fixtures / "tail_lamp").stdout.lower()
    assert loomproof("history", fixtures / "tail_lamp").returncode == 0
    assert loomproof("log", fixtures / "hillclimb_engine").stdout == ""
