"""What was found of benches, and older copies: told by whatever rests on them, and nothing else is."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.jobs.archive import Archive
from loomproof.jobs.bench_health import bench_health
from loomproof.jobs.checking import checked
from loomproof.jobs.keep import can_be_sealed
from loomproof.jobs.keeping_tests import keep_selftest, keep_zero
from loomproof.measuring.selftests_kept import STUDY, OperatorStudy, ReferenceRead, SelfTest, line_of
from loomproof.measuring.zeros_kept import LeadZero, Zero
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.noting import note
from loomproof.records.store import open_store
from tests.records.conftest import NOW
from tests.records.edits import sql
from tests.reports.sample import document

Output = pytest.CaptureFixture[str]
WHO = ("Own build", "scanner 128", "SB-1")
STUDIED = SelfTest(
    "", " ".join(WHO), "", "2026-01-04T08:00:00Z", STUDY, (), study=OperatorStudy(3, 5, 3, 0.02)
)


def read_on(day: int) -> SelfTest:
    read = (ReferenceRead(1, 2, 0.47, 0.001, 0.02 + day / 1000),)
    return SelfTest(*WHO, f"2026-01-0{day}T08:00:00Z", "reference resistors", (), 0.008, "", 0.1, read)


@pytest.fixture(autouse=True)
def _kept(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    with open_store() as store:
        signer = KeyFolder(home()).signer(NOW)
        store.seal_run(document(run="first"), signer)
        note(home(), signer, store)
    for each in (read_on(1), STUDIED, read_on(2)):
        keep_selftest(each)
    keep_zero(Zero(*WHO, "2026-01-02T08:00:00Z", "w", (LeadZero(1, 0.1, 0.01),)))
    Archive().keep_selftests()
    keep_selftest(read_on(3))


def test_what_the_commands_keep_of_a_bench_is_no_trouble(capsys: Output) -> None:
    for _ in range(2):
        assert run(["records", "check"]) == 0
        with open_store() as store:
            note(home(), KeyFolder(home()).in_use(), store)
    assert "nothing was changed" in capsys.readouterr().out


def test_a_study_that_was_kept_and_edited_is_told_wherever_it_counts(capsys: Output) -> None:
    path = home() / "selftests.jsonl"
    path.write_text(path.read_text().replace('_ohm": 0.02}', '_ohm": 0.0}'))
    told = "selftests.jsonl: lines that were noted are gone, changed"
    assert run(["records", "check"]) == 5
    assert told in capsys.readouterr().err
    assert any(told in event.text for event in can_be_sealed(None)), "before the bench is asked"
    assert run(["bench", "health"]) == 4
    assert told in capsys.readouterr().err


def test_a_self_test_that_other_means_put_into_the_store_is_told_and_not_charted(capsys: Output) -> None:
    line = line_of(read_on(9))
    sql(("INSERT INTO selftests (tested, bench, line) VALUES ('x', 'y', ?)", (line,)))(home())
    health = bench_health(Archive())
    assert [len(each.series.points) for each in health.watched] == [3, 3, 1]
    assert any("selftests: added by no command" in trouble for trouble in health.shelf.troubles)
    assert run(["bench", "health"]) == 4
    assert "selftests: added by no command" in " ".join(capsys.readouterr().err.split())


def test_a_certificate_shows_that_an_older_copy_of_everything_was_put_back(tmp_path: Path) -> None:
    """Store and data folder together: nothing that is left there tells it, the paper does."""
    shutil.copytree(home(), tmp_path / "older")
    record = tmp_path / "second.record.json"

    def sealed(name: str) -> bytes:
        with open_store() as store:
            signer = KeyFolder(home()).in_use()
            made = store.seal_run(document(run=name), signer).record
            note(home(), signer, store)
        return made

    def lines() -> str:
        (one,) = checked([str(record)], Archive())
        return " ".join(one.lines)

    record.write_bytes(sealed("second"))
    assert "store" not in lines()
    for path in home().glob("records.db*"):
        path.unlink()
    for name in ("records.db", "heads.json"):
        shutil.copy(tmp_path / "older" / name, home() / name)
    assert Archive().check().troubles == (), "as the notes say"
    assert "has no such record, which was sealed here" in lines()
    sealed("third")
    assert "has run third in its place, sealed here too" in lines()
    stranger = tmp_path / "elsewhere.db"
    (one,) = checked([str(record)], Archive(str(stranger)))
    assert one.missed == "", "where no store is, nothing is said of it"
