"""From a confirmed repair to the next proof: kept, shown, judged with, worked out again."""

from __future__ import annotations

import json
import sqlite3
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import pytest

import loomproof as lp
from loomproof.cli.main import run
from loomproof.diagnosis.candidates import candidates
from loomproof.errors import UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping, Kept
from loomproof.jobs.teaching import choices, found_by
from loomproof.loom.ends import End
from loomproof.records.store import open_store
from loomproof.results.findings import Alternative
from loomproof.web import kept
from loomproof.web.answers import Asked, Go, House
from tests.cli.running import loomproof


def _proved(fixtures: Path, tmp_path: Path) -> Kept:
    path = fixtures / "tail_lamp"
    where = Keeping(tmp_path / "out", str(tmp_path / "kept.db"))
    return Job(lp.load(path), "sim:?fault=open%20W2", loom_path=path, where=where).prove_and_keep().run()


def test_a_confirmed_cause_is_kept_and_the_next_proof_looks_there_first(
    fixtures: Path, tmp_path: Path
) -> None:
    first = _proved(fixtures, tmp_path)
    run = first.outcome.document.run
    store = ("--store", str(tmp_path / "kept.db"))
    fresh = json.loads((tmp_path / "out" / f"{run}.journal.jsonl").read_text().partition("\n")[0])
    assert "learned" not in fresh["run"], "a fresh store proves as it always did, byte for byte"
    assert "learned" not in first.outcome.document.plain()
    plain = loomproof("findings", run, "--details", *store).stdout
    assert "confirmed" not in plain

    wrong = loomproof("repaired", run, "x", "--finding", "1", "--found", "rust", "--person", "Mia", *store)
    assert wrong.returncode == 2
    assert "bad contact BODY:2; " in wrong.stderr, "what it can be is named"
    mend = ("new wire", "--finding", "1", "--found", "broken wire W2", "--person", "Mia")
    assert loomproof("repaired", run, *mend, *store).returncode == 0
    assert "found, finding 1: broken wire at W2 (Mia, 20" in loomproof("repaired", run, *store).stdout
    details = loomproof("findings", run, "--details", *store).stdout
    assert "confirmed after this run was judged" in " ".join(details.split())

    second = _proved(fixtures, tmp_path).outcome.document
    assert second.learned is not None
    assert (second.learned.cases, len(second.learned.digest)) == (1, 64)
    assert second.findings[0].identity == first.outcome.document.findings[0].identity
    # Worked out again from its own journal it is the same, with no store to ask.
    journal = tmp_path / "out" / f"{second.run}.journal.jsonl"
    assert Job(lp.load(fixtures / "tail_lamp")).replay(journal).document == second
    assert Archive(store[1]).check().troubles == ()


def test_what_is_none_of_the_candidates_is_kept_and_teaches_nothing(fixtures: Path, tmp_path: Path) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    archive = Archive(str(tmp_path / "kept.db"))
    archive.repaired(document.run, "Mia", "pin bent", 1, "touching LAMP:1")
    (line,) = archive.confirmed(document.run)
    assert (line.cause, line.finding, line.person) == ("touching", 1, "Mia")
    assert archive.learned(document) is None
    for words, finding in (("bad contact", 1), ("bad contact NOWHERE:9", 1), ("broken wire W2", 0)):
        with pytest.raises(UsageError):
            archive.repaired(document.run, "Mia", "x", finding, words)
    assert len(archive.repairs(document.run)) == 1, "what is refused leaves no note"


def test_a_slip_in_what_was_found_is_told_and_an_empty_one_is_refused(fixtures: Path, tmp_path: Path) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    run, store = document.run, ("--person", "Mia", "--store", str(tmp_path / "kept.db"))
    slip = loomproof("repaired", run, "new wire", "--finding", "1", "--found", "broken wire W3", *store)
    told = " ".join(slip.stdout.split())
    assert "broken wire W3 is not among what finding 1 leaves open: " in told
    assert "broken wire W2" in told
    assert "Kept; teaches nothing." in told
    right = loomproof("repaired", run, "new wire", "--finding", "1", "--found", "broken wire W2", *store)
    assert right.stdout == f"run {run}: kept\n"
    for words in (["x"], []):
        empty = loomproof("repaired", run, *words, "--finding", "1", "--found", "", *store)
        assert empty.returncode == 2
        assert "names no cause" in empty.stderr
    unsaid = loomproof("repaired", run, "--finding", "1", "--found", "broken wire W2", *store)
    assert "a repair without words says nothing" in unsaid.stderr
    for number, why in (("7", "there is no finding 7"), ("0", "a cause is of one finding, and 0 is the")):
        other = loomproof("repaired", run, "x", "--finding", number, "--found", "broken wire W2", *store)
        assert f"run {run} has finding 1 only; {why}" in " ".join(other.stderr.split())
    assert len(Archive(store[-1]).repairs(run)) == 2, "what is refused leaves no note"


def test_what_a_refusal_lists_can_be_typed_as_it_stands(fixtures: Path, tmp_path: Path) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    first = document.findings[0]
    ends = (End("BODY", "2"), End("LAMP", "2"), End("LAMP", "1"))
    more = (
        Alternative("a", "adapter_lead", ends[:1]),
        Alternative("b", "adapter_short", ends[:2]),
        Alternative("c", "adapter_short", (ends[0], ends[2])),
    )
    several = replace(first, alternatives=(*first.alternatives, *more))
    document = document.model_copy(update={"findings": (several,)})
    with pytest.raises(UsageError) as refused:
        found_by("rust", document, 1)
    assert refused.value.cure is not None
    listed = refused.value.cure.rpartition("leaves open: ")[2].removesuffix(".").split("; ")
    assert {"adapter lead BODY:2", "adapter short BODY:2 and LAMP:2"} <= set(listed)
    assert not [each for each in listed if "lead adapter" in each]
    assert [found_by(each, document, 1) for each in listed] == list(candidates(several))
    assert [found_by(each, document, 1) for each in choices(several)] == list(candidates(several))


def test_what_a_page_offers_is_what_is_kept(fixtures: Path, tmp_path: Path) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    among = candidates(document.findings[0])
    assert [found_by(text, document, 1) for text in choices(document.findings[0])] == list(among)
    store = str(tmp_path / "kept.db")
    house = cast(House, SimpleNamespace(workplace=SimpleNamespace(store=store)))
    form = {"person": "Mia", "words": "new wire", "finding": "1", "found": choices(document.findings[0])[2]}
    assert isinstance(kept.mended(house, Asked(names={"run": document.run}, form=form)), Go)
    assert [line.cause for line in Archive(store).confirmed(document.run)] == [among[2].cause]


def test_confirmed_causes_go_with_their_runs_and_simulated_ones_teach_no_real_bench(
    fixtures: Path, tmp_path: Path
) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    archive = Archive(str(tmp_path / "kept.db"))
    archive.repaired(document.run, "Mia", "new wire", 1, "bad contact LAMP:2")
    archive.repaired(document.run, "Mia", "new wire", 1, "broken wire W2")
    other = Archive(str(tmp_path / "other.db"))
    with open_store(other.store):
        pass
    assert other.take_in(str(tmp_path / "kept.db")).confirmed == 2
    (line,) = other.confirmed(document.run)
    assert line.cause == "broken_wire", "what was said last counts"
    learned = other.learned(document)
    assert learned is not None
    assert learned.cases == 1
    bench = document.bench.model_copy(update={"simulated": False})
    assert other.learned(document.model_copy(update={"bench": bench})) is None
    backed = tmp_path / "backup.db"
    assert archive.backup(backed) == 1
    assert Archive(str(backed)).confirmed(document.run) == archive.confirmed(document.run)


def test_a_fault_proved_and_confirmed_again_is_one_case(fixtures: Path, tmp_path: Path) -> None:
    archive = Archive(str(tmp_path / "kept.db"))
    documents = [_proved(fixtures, tmp_path).outcome.document for _ in range(2)]
    for document in documents:
        archive.repaired(document.run, "Mia", "new wire", 1, "broken wire W2")
    learned = archive.learned(documents[0])
    assert learned is not None
    assert learned.cases == 1, "once for each loom and fault"
    archive.repaired(documents[0].run, "Mia", "no, the contact", 1, "bad contact LAMP:2")
    assert archive.learned(documents[0]) != learned, "what was said last of it counts"


def test_what_no_command_noted_or_somebody_changed_teaches_nothing(
    fixtures: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    document = _proved(fixtures, tmp_path).outcome.document
    store = tmp_path / "kept.db"
    archive = Archive(str(store))
    archive.repaired(document.run, "Mia", "new wire", 1, "broken wire W2")
    noted = archive.learned(document)
    prove = ["prove", str(fixtures / "tail_lamp"), "--bench", "sim:", "--store", str(store)]
    prove += ["--out", str(tmp_path / "out")]
    with closing(sqlite3.connect(store)) as other, other:
        other.execute(
            "insert into confirmed (run_id, finding, person, said, cause, line) "
            "select run_id, finding, person, said, 'leak', "
            "replace(line, 'broken_wire', 'leak') from confirmed"
        )
    assert archive.learned(document) == noted
    assert run(prove) == 0
    said = capsys.readouterr()
    assert "1 confirmed cause in the store was noted by no command" in " ".join((said.out + said.err).split())
    with closing(sqlite3.connect(store)) as other, other:
        for (name,) in other.execute("select name from sqlite_master where type = 'trigger'").fetchall():
            other.execute(f'drop trigger "{name}"')
        other.execute("update confirmed set person = 'Eve' where id = 1")
    assert archive.learned(document) is None, "where one was changed, none of them counts"
