"""A note of a repair that does not hold is withdrawn by a later entry: nothing is rewritten, all is told."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import pytest

import loomproof as lp
from loomproof.errors import UsageError
from loomproof.jobs.archive import Archive
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.looking_back import marked_words
from loomproof.jobs.summing_up import summed_up
from loomproof.records.selecting import Wanted
from loomproof.records.store import Standing
from loomproof.results.document import Document
from tests.cli.running import loomproof

pytestmark = pytest.mark.usefixtures("simulated_within")


class Shop(NamedTuple):
    loom: Path
    folder: Path

    @property
    def archive(self) -> Archive:
        return Archive(self.at)

    @property
    def at(self) -> str:
        return str(self.folder / "kept.db")

    def proved(self, fault: str = "?fault=open%20W2") -> Document:
        where = Keeping(self.folder / "out", self.at)
        job = Job(lp.load(self.loom), f"sim:{fault}", loom_path=self.loom, where=where)
        return job.prove_and_keep().run().outcome.document


@pytest.fixture
def shop(fixtures: Path, tmp_path: Path) -> Shop:
    return Shop(fixtures / "tail_lamp", tmp_path)


def test_what_was_withdrawn_stays_is_told_and_teaches_no_more(shop: Shop, tmp_path: Path) -> None:
    document, archive = shop.proved(), shop.archive
    with pytest.raises(UsageError, match="nothing is noted of finding 1"):
        archive.withdraw(document.run, "Mia", "slip", 1)
    archive.repaired(document.run, "Mia", "new wire", 1, "broken wire W2")
    assert archive.learned(document) is not None
    with pytest.raises(UsageError, match="without a reason"):
        archive.withdraw(document.run, "Mia", " ", 1)
    archive.withdraw(document.run, "Ola", "the other loom", 1)
    told = "withdrawn, all that was noted of it before: the other loom"
    notes = [(note.words, note.person, note.standing) for _, note in archive.repairs(document.run)]
    assert notes == [("new wire", "Mia", Standing.WITHDRAWN), (told, "Ola", Standing.WITHDRAWS)]
    assert archive.confirmed(document.run) == ()
    assert archive.learned(document) is None
    with pytest.raises(UsageError, match="nothing is noted of finding 1"):
        archive.withdraw(document.run, "Mia", "again", 1)

    passed = shop.proved("")
    assert passed.learned is None, "the next proof does not rest on it"
    record = archive.sealed(passed.run).decode()
    assert record.index('"new wire"') < record.index(told), "its certificate tells of both"
    assert archive.check().troubles == (), "nothing was rewritten"

    other = Archive(str(tmp_path / "other.db"))
    other.take_in(shop.at)
    assert [note.standing for _, note in other.repairs(document.run)] == [note[2] for note in notes]
    assert other.learned(document) is None


def test_what_is_noted_after_it_holds_and_teaches(shop: Shop) -> None:
    document, archive = shop.proved(), shop.archive
    archive.repaired(document.run, "Mia", "new wire", 1, "broken wire W2")
    archive.withdraw(document.run, "Mia", "it was the contact", 1)
    archive.repaired(document.run, "Mia", "new contact", 1, "bad contact LAMP:2")
    assert [note.standing for _, note in archive.repairs(document.run)][-1] is Standing.STANDS
    (line,) = archive.confirmed(document.run)
    assert line.cause == "bad_contact"
    learned = archive.learned(document)
    assert learned is not None
    assert learned.cases == 1


def test_the_command_withdraws_and_lists_it(shop: Shop) -> None:
    run = shop.proved().run
    more = ("--finding", "1", "--person", "Mia", "--store", shop.at)
    assert loomproof("repaired", run, "new wire", "--found", "broken wire W2", *more).returncode == 0
    for words in (["why", "--found", "broken wire W2"], []):
        refused = loomproof("repaired", run, *words, "--withdraw", *more)
        assert (refused.returncode, "wants a reason alone" in refused.stderr) == (2, True)
    assert loomproof("repaired", run, "wrong loom", "--withdraw", *more).stdout == f"run {run}: kept\n"
    told = loomproof("repaired", run, "--store", shop.at).stdout
    assert "withdrawn, finding 1: new wire (Mia, " in told
    assert "\nfinding 1: withdrawn, all that was noted of it before: wrong loom (Mia, " in told
    assert "found, finding 1" not in told


def test_pages_and_tables_mark_a_note_that_was_withdrawn(shop: Shop) -> None:
    document, archive = shop.proved(), shop.archive
    archive.repaired(document.run, "Mia", "new wire", 1)
    archive.repaired(document.run, "Mia", "own repair of the run", 0)
    archive.withdraw(document.run, "Ola", "the other loom", 1)
    noted = summed_up(archive, None, Wanted(simulated=True)).fleet
    words = [marked_words(each) for each in noted.repairs]
    assert words[:2] == ["(withdrawn) new wire", "own repair of the run"]
    told = " ".join(map(str, noted.findings_table.to_numpy().ravel()))
    assert "(withdrawn) new wire (Mia, " in told
    assert "; withdrawn, all that was noted of it before: the other loom (Ola, " in told
