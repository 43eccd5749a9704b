"""Whatever is changed behind the program's back is named by the check, and nothing else is."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.errors import RecordError, UnknownSignerError
from loomproof.jobs.keep import can_be_sealed
from loomproof.records.keys import KeyFolder, new_signer
from loomproof.records.noting import head_before, key_changed, note
from loomproof.records.seal import Chain, seal
from loomproof.records.signers import KnownSigners
from loomproof.records.store import open_store
from loomproof.records.trusted import relied_on
from loomproof.results.document import Verdict
from tests.records.edits import EDITS, Edit, older_copy, without
from tests.records.furnished import NOW, furnish
from tests.records.unsealed_edits import UNSEALED_EDITS
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder as the commands leave it; copied for each test."""
    place = tmp_path_factory.mktemp("furnished")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(place / "first" / "home"))
        furnish(place / "first" / "home")
    return (place / "first").rename(place / "then")


@pytest.fixture
def folder(furnished: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The copy stands in another place than where it was made: a folder that was moved is the same folder."""
    shutil.copytree(furnished, tmp_path / "moved")
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "moved" / "home"))
    return tmp_path / "moved" / "home"


def test_what_nobody_touched_is_whole(folder: Path, capsys: Output) -> None:
    assert run(["records", "check"]) == 0
    said = capsys.readouterr()
    assert said.out.splitlines() == [
        "4 records in 1 chain, 4 journals, 4 certificates",
        "nothing was changed",
    ]
    assert said.err == ""
    assert run(["log"]) == 0
    assert "stopped" in capsys.readouterr().out


TRIED = (
    *EDITS,
    *(edit for edit in UNSEALED_EDITS if edit.name.startswith(("confirmed", "selftests.jsonl", "older"))),
)
"""Of tables and files that are alike in this one of each; all are tried by `tests.campaign.store_edits`."""


@pytest.mark.parametrize("edit", TRIED, ids=[edit.name for edit in TRIED])
def test_an_edit_is_named(edit: Edit, folder: Path, capsys: Output) -> None:
    edit.do(folder)
    assert run(["records", "check"]) == edit.code
    said = capsys.readouterr()
    assert edit.said in said.err, said.err
    assert "Traceback" not in said.err
    assert said.out.splitlines()[-1] != "nothing was changed"


def test_without_what_was_noted_nobody_says_that_nothing_is_missing(folder: Path, capsys: Output) -> None:
    without("four")(folder)
    (folder / "heads.json").unlink()
    assert run(["records", "check"]) == 4
    said = capsys.readouterr().out.splitlines()[-1]
    assert said == "nothing that is here was changed; whether anything is missing can't be told"
    # A proof says so before it begins the file anew.
    told = [event.text for event in can_be_sealed(None)]
    assert any("heads.json: it is not there" in text for text in told)
    with open_store() as store:
        note(folder, KeyFolder(folder).in_use(), store)
    assert not any("heads.json" in event.text for event in can_be_sealed(None))


def test_a_deleted_record_is_not_counted_as_there(folder: Path, capsys: Output) -> None:
    (deleted,) = [edit for edit in EDITS if edit.name == "a record deleted"]
    deleted.do(folder)
    assert run(["records", "check"]) == deleted.code
    assert capsys.readouterr().out.startswith("3 of 4 records in 1 chain, 4 journals")


@pytest.mark.parametrize("command", [["log"], ["history", "TL-0007"], ["report"]])
def test_what_is_shown_is_what_was_sealed(command: list[str], folder: Path, capsys: Output) -> None:
    edits = {edit.name: edit for edit in EDITS}
    edits["runs.verdict edited"].do(folder)
    assert run(command) == 5
    said = capsys.readouterr()
    assert "run four" in said.err
    if command != ["report"]:
        line = next(line for line in said.out.splitlines() if line.startswith("four"))
        assert "CHANGED" in line
        assert "PASS" not in line


@pytest.mark.parametrize("change", [without("four"), older_copy], ids=["deleted", "put back"])
def test_missing_runs_are_told_wherever_runs_are_shown(
    change: Callable[[Path], None], folder: Path, capsys: Output
) -> None:
    change(folder)
    for command in (["log"], ["history", "TL-0007"], ["report"]):
        assert run(command) == 5
        assert "(run four, " in capsys.readouterr().err


def test_a_place_in_the_chain_is_not_taken_twice(folder: Path, capsys: Output) -> None:
    """What was lost stays missing: the next record names the lost one as the one before it."""
    with open_store() as store:
        lost = store.run("four")
    without("four")(folder)
    signer = KeyFolder(folder).in_use()
    with open_store() as store:
        before = head_before(folder, store, None, lost.bench)
        after = store.seal_run(document(run="five"), signer, b"", before)
        note(folder, signer, store)
    assert (after.run.sequence, after.run.previous) == (lost.sequence + 1, lost.hash)
    assert run(["records", "check"]) == 5
    said = capsys.readouterr().err
    assert "record 4 was expected after 3" in said
    assert "(run four, " in said, "a newer record makes nothing good"


def test_a_certificate_of_another_run_is_not_written(folder: Path, tmp_path: Path, capsys: Output) -> None:
    for edit in EDITS:
        if edit.name.startswith("certificate of a FAIL") or edit.name == "records of two runs exchanged":
            edit.do(folder)
            for words in ([], ["--json"]):
                if edit.name.startswith("certificate") and words:
                    continue
                to = tmp_path / ("c.json" if words else "c.pdf")
                assert run(["certificate", "four", *words, "-o", str(to)]) == 5
                assert "of another record" in capsys.readouterr().err
                assert not to.exists()


def test_a_stranger_is_shown_as_one(folder: Path, capsys: Output) -> None:
    """A PASS sealed by somebody unknown counts nowhere until the signer is known."""
    stranger = new_signer(NOW, "faraway1")
    with open_store() as store:
        store.add_run(
            seal(document(run="far", verdict=Verdict.PASS).plain(), Chain("far bench", 1), stranger)
        )
        assert store.run("last").run == "four", "the last proof is one of this station"
    assert run(["records", "check"]) == 4
    said = capsys.readouterr()
    assert "record 1 of far bench: intact, signer unknown" in said.err
    assert said.out.splitlines()[-1] == "nothing was changed, 1 that can't be told"
    assert run(["log"]) == 0
    assert "PASS wire, signer unknown" in capsys.readouterr().out
    assert run(["report"]) == 0
    said = capsys.readouterr()
    assert "2 passed" in said.out
    assert f"loomproof key know NAME {stranger.public_hex}" in said.err
    assert run(["key", "know", "the far shop", stranger.public_hex]) == 0
    assert run(["records", "check"]) == 0
    capsys.readouterr()
    assert run(["report"]) == 0
    assert "3 passed" in capsys.readouterr().out


def test_a_key_that_was_replaced_by_the_command_is_no_trouble(folder: Path, capsys: Output) -> None:
    before = KeyFolder(folder).in_use()
    assert run(["key", "replace"]) == 0
    fresh = KeyFolder(folder).in_use()
    assert "another key of this station" in str(key_changed(folder, fresh))
    with open_store() as store:
        store.seal_run(document(run="five", started="2026-01-09T09:00:00+00:00"), fresh)
        note(folder, fresh, store)
    assert key_changed(folder, fresh) is None
    assert run(["records", "check"]) == 0
    shutil.rmtree(folder / "keys")
    lost = KeyFolder(folder).signer(NOW)
    assert f"sealed here before, {fresh.fingerprint}, is gone" in str(key_changed(folder, lost))
    with open_store() as store:
        note(folder, lost, store)
    capsys.readouterr()
    assert run(["records", "check"]) == 5, "a new head makes nothing good"
    said = capsys.readouterr().err
    for key in (before, fresh):
        assert f"the key {key.fingerprint} sealed here" in said


def test_a_whole_backup_restored_in_the_same_place_is_whole(
    folder: Path, tmp_path: Path, capsys: Output
) -> None:
    assert run(["records", "backup", str(tmp_path / "b.db")]) == 0
    for path in folder.glob("records.db*"):
        path.unlink()
    assert run(["records", "restore", str(tmp_path / "b.db")]) == 0
    assert run(["records", "check"]) == 0
    capsys.readouterr()


def test_another_store_begun_in_the_same_place_is_another_one(folder: Path, capsys: Output) -> None:
    for path in folder.glob("records.db*"):
        path.unlink()
    signer = KeyFolder(folder).in_use()
    with open_store() as store:
        assert head_before(folder, store, None, "any") is None
        assert store.seal_run(document(run="new"), signer).run.sequence == 1
        note(folder, signer, store)
    assert run(["records", "check"]) == 5
    assert "the store noted at this place (last record 4 of" in capsys.readouterr().err
    assert run(["log"]) == 5
    assert "another stands in its place" in capsys.readouterr().err
    (folder / "records.db").rename(folder / "fresh.db")
    assert run(["records", "check", "--store", str(folder / "fresh.db")]) == 0, "the cure"


def test_a_store_that_vanished_is_told(folder: Path, capsys: Output) -> None:
    for path in folder.glob("records.db*"):
        path.unlink()
    assert run(["records", "check"]) == 5
    said = capsys.readouterr()
    assert "is not here; another stands in its place" in said.err
    assert "run four" in said.err
    assert "nothing was changed" not in said.out


def test_corrected_records_are_marked(
    folder: Path, capsys: Output, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["records", "correct", "four", "--why", "a slip", "--person", "R. Right"]) == 0
    name = capsys.readouterr().out.strip()
    assert run(["log"]) == 0
    lines = {line.split()[0]: line for line in capsys.readouterr().out.splitlines() if line.strip()}
    assert "corrected" in lines["four"]
    assert "corrected" not in lines["two"]
    with open_store() as store:
        assert store.run("last").run == name, "the newest proof as it was corrected"
    for command in (["findings"], ["wires"], ["label", "-o", "l.pdf"], ["certificate", "-o", "c.pdf"]):
        assert run([*command, "four"]) == 0
        assert f"Run four was corrected: what holds is {name}." in capsys.readouterr().err
        assert run([*command, "two"]) == 0
        assert "corrected" not in capsys.readouterr().err


def test_last_is_the_newest_proof_however_it_came_into_the_store(folder: Path, capsys: Output) -> None:
    signer = KeyFolder(folder).in_use()
    late = document(run="old", started="2025-01-01T09:00:00+01:00")
    with open_store() as store:
        store.add_run(seal(late.plain(), Chain("second bench", 1), signer))
        assert [one.run for one in store.runs()] == ["old", "one", "two", "three", "four"]
        assert [one.run for one in store.runs(limit=2)] == ["three", "four"]
    assert run(["label", "last", "-o", str(folder / "l.pdf")]) == 0
    assert (
        "The last proof is run four of Tail lamp loom, left, TL-0007, 2026-01-04" in capsys.readouterr().err
    )


def test_only_a_record_that_holds_of_a_known_signer_is_relied_on(folder: Path) -> None:
    known = KnownSigners(folder).all()
    stranger = new_signer(NOW, "faraway1")
    with open_store() as store:
        assert relied_on(store, "four", known).document().run == "four"
        store.add_run(seal(document(run="far").plain(), Chain("far bench", 1), stranger))
        with pytest.raises(UnknownSignerError, match="nobody here knows") as caught:
            relied_on(store, "far", known)
    assert caught.value.exit_code == 4
    {edit.name: edit for edit in EDITS}["runs.verdict edited"].do(folder)
    with open_store() as store, pytest.raises(RecordError, match="something else than the sealed record"):
        relied_on(store, "four", known)


def test_a_damaged_line_of_a_confirmed_cause_ends_no_command(folder: Path, capsys: Output) -> None:
    assert run(["findings", "two"]) == 0
    assert "bad contact; where can't be read" in capsys.readouterr().out
