"""What a page asks of the records, and of a list on its way to a loom: values, no words of a command."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any, cast

import pytest

import loomproof as lp
from loomproof.errors import Do, RecordError, Todo, UsageError
from loomproof.jobs.answering import narrowed
from loomproof.jobs.archive import Archive, kept_as
from loomproof.jobs.importing import Form, form_of, read_list
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.looking_back import Fleet, joints_of
from loomproof.jobs.signing import Station
from loomproof.loom.lists.questions import Answers, OpenQuestionsError
from loomproof.records.seal import verify
from loomproof.records.store import open_store
from loomproof.results.entered import Entered


@pytest.fixture
def archive(fixtures: Path, tmp_path: Path) -> Archive:
    """A store with two proofs of the tail lamp: one that fails, one that passes."""
    store = str(tmp_path / "kept.db")
    path = fixtures / "tail_lamp"
    for fault in ("?fault=open%20W2", ""):
        job = Job(lp.load(path), f"sim:{fault}", loom_path=path, where=Keeping(tmp_path / "out", store))
        job.prove_and_keep().run()
    return Archive(store)


def test_a_shelf_counts_what_is_known_and_names_what_is_not(archive: Archive, fixtures: Path) -> None:
    shelf = archive.shelf(kept_as(str(fixtures / "tail_lamp")))
    assert [one.run.verdict for one in shelf.runs] == ["fail", "pass"]
    assert not shelf.troubles
    assert list(shelf.left_out) == []
    fleet = Fleet(shelf)
    assert (fleet.looms, fleet.passed, len(fleet.runs)) == (1, 1, 2)
    assert fleet.faults["faults by wire"] == [("W2", 1)]
    assert any(trend.subject == "BODY:2 to LAMP:2" and trend.moved for trend in joints_of(shelf))
    with pytest.raises(UsageError, match="no resistance of 'BODY:2 to LAMP:9' was kept"):
        joints_of(shelf, ["BODY:2 to LAMP:9"])
    # With the key gone from the data folder nobody here knows who sealed them.
    Station().folder.unlink()
    (left,) = archive.shelf().left_out
    assert left.message.startswith("Left out: 2 records of simulated bench")
    assert left.do == Do(Todo.KNOW_SIGNER, shelf.runs[0].run.key)


def test_answers_are_kept_with_a_run_of_the_store_only(archive: Archive, tmp_path: Path) -> None:
    failed = archive.shelf().runs[0].run.run
    told = narrowed(archive, failed, ["W2 bad"])
    assert told.kept
    assert [str(answer) for answer in archive.answers(failed)] == ["W2 bad"]
    results = str(tmp_path / "out" / f"{failed}.results.json")
    assert not narrowed(archive, results, ["W2 bad"]).kept
    assert narrowed(archive, failed, forget=True).taken == ()


def test_a_sheet_rests_on_the_latest_proof_of_this_description(archive: Archive, fixtures: Path) -> None:
    loom = lp.load(fixtures / "tail_lamp")
    proof = archive.proof_of(loom)
    assert proof is not None
    assert proof.verdict == "pass"
    archive.repaired("last", "I. Torvald", "pin pushed home")
    assert archive.document(archive.correct("last", "a slip", place="bay 2")).place == "bay 2"
    with pytest.raises(UsageError, match="there is no run 'none'"):
        archive.certificate("none")


def test_a_correction_carries_no_authoriser_but_its_own(fixtures: Path, tmp_path: Path) -> None:
    """Whoever authorised what is corrected has not seen the correction."""
    store, path = str(tmp_path / "kept.db"), fixtures / "tail_lamp"
    keeping = Keeping(tmp_path / "out", store)
    entered = Entered(authoriser="B. Signer", laboratory="Back Lane Looms")
    Job(lp.load(path), "sim:", loom_path=path, where=keeping, entered=entered).prove_and_keep().run()
    kept = Archive(store)
    assert kept.document("last").entered == entered
    bare = kept.document(kept.correct("last", "a slip", place="bay 2")).entered
    assert (bare.authoriser, bare.laboratory) == ("", "Back Lane Looms")
    again = kept.correct("last", "a slip", place="bay 3", authoriser="C. Chief")
    assert kept.document(again).entered.authoriser == "C. Chief"
    first = verify(open_store(store).record(again)).body["corrects"]
    assert {"what": "authoriser", "was": "", "now": "C. Chief"} in cast(Any, first)["changes"]


def test_a_proof_that_was_changed_carries_no_sheet(archive: Archive, fixtures: Path) -> None:
    with closing(sqlite3.connect(str(archive.store))) as connection:
        for (guard,) in connection.execute(
            "select name from sqlite_master where type = 'trigger'"
        ).fetchall():
            connection.execute(f"drop trigger {guard}")
        connection.execute("update runs set person = 'Nobody'")
        connection.commit()
    assert archive.shelf().troubles
    with pytest.raises(RecordError) as caught:
        archive.proof_of(lp.load(fixtures / "tail_lamp"))
    assert caught.value.do == Do(Todo.CHECK_RECORDS)


def test_a_list_is_asked_about_until_it_makes_a_loom(tmp_path: Path) -> None:
    source = tmp_path / "list.csv"
    source.write_text("From,To,Length\nA:1,B:1,12\nA:2,B:2,30\n", encoding="utf-8")
    assert form_of(source) is Form.LIST
    read = read_list(source, tmp_path / "loom", Answers(connectors={"from": ""}), "harness")
    (question,) = read.reading.questions
    assert question.name == "length"
    assert read.answered(question, "m").made().wires[0].length_m == 12.0
    made = read.answered(question, "cm").write()
    assert made.loom.wires[1].length_m == pytest.approx(0.3)
    again = read_list(source, tmp_path / "loom", Answers())
    assert again.confirmed
    assert again.changes() == ()


def test_a_list_with_an_open_question_makes_no_loom(tmp_path: Path) -> None:
    source = tmp_path / "list.csv"
    source.write_text("Connector,Pin\nA,1\nB,2\n", encoding="utf-8")
    read = read_list(source, tmp_path / "loom", Answers())
    if not read.reading.open:
        pytest.fail("a list that joins nothing asks what joins it")
    with pytest.raises(OpenQuestionsError) as caught:
        read.write()
    assert caught.value.questions == read.reading.open
    assert not (tmp_path / "loom").exists()
