"""The questions over many runs: each database and a data set answer alike, and as plain counting does."""

from __future__ import annotations

import re
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.errors import StoreError, UsageError
from loomproof.fleet import questions
from loomproof.fleet.causes import confirmed
from loomproof.fleet.layout import Persons, read_about
from loomproof.fleet.parquet import AT_ONCE, add_to
from loomproof.fleet.tables import Tables, of_dataset, of_store
from loomproof.records.data_folder import home
from loomproof.records.migrations import STEPS
from loomproof.records.store import Store, open_store
from tests.cli.running import loomproof
from tests.fleet.filled import Proof, confirmed_truth, fill, proofs, truth
from tests.fleet.told import differences
from tests.records import postgres

MADE: tuple[Proof, ...] = tuple(proofs(seed=7, count=1500, looms=130))


@pytest.fixture(scope="module")
def sqlite(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Store]:
    with open_store(str(tmp_path_factory.mktemp("fleet") / "records.db")) as store:
        fill(store, MADE)
        yield store


def check_all(tables: Tables) -> None:
    told = questions.ask(tables)
    for simulated in (False, True):
        true = truth(MADE, simulated=simulated)
        assert len(true.took_s) > 3
        assert not differences(told[simulated], true)
        causes = confirmed(tables, simulated=simulated)
        found = [(c.run, c.number, c.cause, c.first_cause, c.rank, c.among) for c in causes.cases]
        assert sorted(found) == confirmed_truth(MADE, simulated=simulated) != []
        assert 0 < causes.first < causes.first_cause + causes.untold < len(found)
        assert sum(count for _, count, _ in causes.by_cause) == len(found)


def test_sqlite_answers_as_counting_does(sqlite: Store) -> None:
    with of_store(sqlite.url) as tables:
        check_all(tables)


def test_a_data_set_that_grew_answers_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loomproof.fleet.parquet.AT_ONCE", 200)
    assert AT_ONCE > 200
    half = len(MADE) // 2
    with open_store(str(tmp_path / "a.db")) as store:
        fill(store, MADE[:half])
        add_to(tmp_path / "set", store)
        before = {path: path.read_bytes() for path in (tmp_path / "set").glob("*/*/*.parquet")}
    with open_store(str(tmp_path / "b.db")) as store:
        fill(store, MADE)
        store.__dict__["identity"] = read_about(tmp_path / "set").store
        made = add_to(tmp_path / "set", store)
        assert made.runs == len(MADE) - half
        assert made.confirmed > 10
        assert add_to(tmp_path / "set", store).runs == 0
    assert all(path.read_bytes() == content for path, content in before.items()), "only added to"
    with of_dataset(tmp_path / "set") as tables:
        check_all(tables)


def test_postgresql_answers_as_counting_does() -> None:
    if postgres.programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    with (
        postgres.running("-c fsync=off -c synchronous_commit=off") as server,
        open_store(server.database()) as store,
    ):
        fill(store, MADE)
        with of_store(store.url) as tables:
            check_all(tables)


def test_an_empty_store_answers_nothing_and_makes_a_data_set(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "a.db")) as store, of_store(store.url) as tables:
        assert add_to(tmp_path / "set", store).runs == 0
        with of_dataset(tmp_path / "set") as again:
            for each in (tables, again):
                for told in questions.ask(each).values():
                    assert told.sums == questions.Sums(0, 0, 0)
                    assert told.mending == questions.Mending(0, None, None)
                    assert not told.first_pass
                    assert not any(told.faults.values())


@pytest.mark.parametrize("persons", [Persons.LEFT_OUT, Persons.PSEUDONYMS])
def test_a_data_set_names_nobody(sqlite: Store, tmp_path: Path, persons: Persons) -> None:
    for folder, key in (("one", b"a"), ("two", b"a"), ("three", b"b")):
        add_to(tmp_path / folder, sqlite, persons, key)
    told = {}
    for folder in ("one", "two", "three"):
        assert not any(b"Person " in path.read_bytes() for path in (tmp_path / folder).glob("*/*/*"))
        with of_dataset(tmp_path / folder) as tables:
            told[folder] = questions.ask(tables)[False].faults["person"]
    counts = [count for _, count in told["one"]]
    if persons is Persons.LEFT_OUT:
        assert [name for name, _ in told["one"]] == [""]
    else:
        assert counts == sorted(truth(MADE, simulated=False).by["person"].values(), reverse=True)
        assert all(name.startswith("P-") for name, _ in told["one"])
        assert told["one"] == told["two"], "one key, one name for one person"
        assert not {name for name, _ in told["one"]} & {name for name, _ in told["three"]}


def test_pseudonyms_without_a_key_are_refused(sqlite: Store, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="would be others each time"):
        add_to(tmp_path / "set", sqlite, Persons.PSEUDONYMS)
    assert not (tmp_path / "set").exists()


def test_a_data_set_that_does_not_fit_is_left_alone(sqlite: Store, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("mine")
    with pytest.raises(StoreError, match="not empty"):
        add_to(tmp_path / "other", sqlite)
    add_to(tmp_path / "set", sqlite)
    with pytest.raises(StoreError, match="are kept, and are to be left out"):
        add_to(tmp_path / "set", sqlite, Persons.LEFT_OUT)
    with open_store(str(tmp_path / "b.db")) as store, pytest.raises(StoreError, match="another store"):
        add_to(tmp_path / "set", store)
    about = tmp_path / "set" / "about.json"
    whole = about.read_text()
    about.write_text(re.sub(r'"run_hash": "[^"]*"', '"run_hash": "of another run"', whole))
    with pytest.raises(StoreError, match="put back to an older state"):
        add_to(tmp_path / "set", sqlite)
    about.write_text(whole)
    about.write_text(about.read_text().replace('"version": 4', '"version": 9'))
    with pytest.raises(StoreError, match="version 9"), of_dataset(tmp_path / "set"):
        pass


def test_a_folder_without_a_data_set_is_named_with_what_was_found(sqlite: Store, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / "letter.txt").write_text("mine")
    (tmp_path / "empty").mkdir()
    (tmp_path / "torn").mkdir()
    (tmp_path / "torn" / "about.json").write_text("{")
    for name, found in (
        ("gone", "there is no such folder"),
        ("other/letter.txt", "it is a file, no folder"),
        ("empty", "nothing is in it"),
        ("other", "no about.json is in it, which says what a data set is of"),
        ("torn", "its about.json is not as one is written here"),
    ):
        where = tmp_path / name
        with pytest.raises(StoreError) as told, of_dataset(where):
            pass
        assert told.value.message == f"{where}: no data set: {found}"
        assert (told.value.do is not None, told.value.cure != "") == (True, True)


def test_a_store_that_was_never_counted_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One from before, opened by somebody who may only read it: it stays as it is."""
    for module in ("migrations", "engine"):
        monkeypatch.setattr(f"loomproof.records.{module}.STEPS", STEPS[:5])
    with (
        open_store(str(tmp_path / "a.db")) as store,
        pytest.raises(StoreError, match="not counted yet"),
        of_store(store.url),
    ):
        pass


def test_without_ibis_it_says_what_to_install(sqlite: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "ibis", None)
    with pytest.raises(StoreError) as told, of_store(sqlite.url):
        pass
    assert "[fleet]" in told.value.cure


def test_a_cluster_is_asked_of_a_data_set_and_what_it_wants_is_named(
    sqlite: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """What it answers is in the campaign of Spark, which is too large for here."""
    assert run(["report", "--tables", "--spark", "local[2]"]) == 2
    assert "--dataset FOLDER" in capsys.readouterr().err
    add_to(tmp_path / "set", sqlite)
    monkeypatch.setitem(sys.modules, "pyspark", None)
    monkeypatch.setitem(sys.modules, "pyspark.sql", None)
    assert run(["report", "--dataset", str(tmp_path / "set"), "--spark", "local[2]"]) == 3
    assert "[spark]" in capsys.readouterr().err


ASKED_ALONE = """
import sys
from loomproof.cli.main import run
code = run(["report", "--dataset", sys.argv[1]])
late = {"loomproof.results.document", "loomproof.jobs.archive", "pandas", "pyarrow", "sqlalchemy"}
sys.exit(code or sorted(late & {*sys.modules}) or 0)
"""


def test_who_only_asks_a_data_set_waits_for_nothing_else(sqlite: Store, tmp_path: Path) -> None:
    """Importing what opens stores and records takes longer than the answer."""
    add_to(tmp_path / "set", sqlite)
    command = [sys.executable, "-c", ASKED_ALONE, str(tmp_path / "set")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.splitlines()[1:]) == (0, []), done.stderr


def test_the_commands_say_what_was_counted(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with open_store() as store:
        fill(store, MADE[:300])
    true = truth(MADE[:300], simulated=False)
    assert run(["records", "dataset", str(tmp_path / "set")]) == 0
    assert "added 300 runs" in capsys.readouterr().out
    told = []
    for words in (["--tables"], ["--dataset", str(tmp_path / "set")]):
        assert run(["report", *words]) == 0
        out, err = capsys.readouterr()
        assert "no record was opened" in err
        told.append([line for line in out.splitlines() if "Person" not in line and "no name" not in line])
    assert told[0] == told[1]
    assert f"{true.looms} looms, {true.proofs} proofs, {true.passed} passed" in told[0]
    assert run(["report", "--tables", "--loom", "Loom 1"]) == 2
    assert "no other option" in capsys.readouterr().err


def test_a_store_that_is_not_as_it_was_noted_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    lamp = str(Path(__file__).parents[2] / "fixtures" / "tail_lamp")
    assert loomproof("prove", lamp, "--bench", "sim:", "--out", tmp_path).returncode == 0
    assert run(["report", "--tables"]) == 0
    capsys.readouterr()
    with sqlite3.connect(home() / "records.db") as edited:
        for (name,) in edited.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            edited.execute(f'DROP TRIGGER "{name}"')
        edited.execute("UPDATE runs SET verdict = 'fail'")
    code = run(["report", "--tables"])
    told = capsys.readouterr().err
    assert code == 5, told
    assert "loomproof: record: " in told
