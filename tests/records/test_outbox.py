"""The outbox of a bench: nothing is lost, doubled or forked, whatever server, process and clock do."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlalchemy import event, text

from loomproof.errors import StoreAwayError, StoreError
from loomproof.records import handing_over
from loomproof.records.handing_over import Handed, hand_over
from loomproof.records.integrity import check_store, with_outbox
from loomproof.records.keys import Signer, new_signer
from loomproof.records.outbox import AWAY, Outbox, Waiting, open_outbox, outbox_path, server_of
from loomproof.records.seal import verify
from loomproof.records.store import open_store
from tests.records import postgres
from tests.records.conftest import NOW
from tests.reports.sample import document

JOURNAL = b'{"sense": 1}\n' * 40


@pytest.fixture
def address(server: postgres.Server) -> str:
    return server.database()


@pytest.fixture
def own(address: str, tmp_path: Path) -> Iterator[Outbox]:
    with open_outbox(server_of(address), tmp_path) as opened:
        yield opened


def kept(address: str) -> list[tuple[str, str, int]]:
    """Run, chain and place of each record on the server, chain by chain; its check must find it whole."""
    with open_store(address) as store:
        assert check_store(store).troubles == ()
        return sorted((run.run, run.bench, run.sequence) for run in store.runs())


def test_what_was_sealed_while_the_server_was_away_is_handed_over_once(
    address: str, own: Outbox, server: postgres.Server, signer: Signer
) -> None:
    with open_store(address) as store:
        first = own.seal(document(run="a"), signer, JOURNAL, server=store)
        hand_over(own, store)
    server.kill()
    try:
        with pytest.raises(StoreAwayError):
            open_store(address)
        # The clock went back by years meanwhile: nothing rests on it.
        second = own.seal(
            document(run="b", started="2001-01-01T00:00:00+00:00"), signer, JOURNAL, server=None
        )
        own.store.add_repair("b", "B. Mender", "new crimp", "2026-01-05T11:00:00+00:00")
        assert own.waiting() == Waiting(("b",), 1)
    finally:
        server.start()
    with open_store(address) as store:
        handed = hand_over(own, store)
        assert (len(handed.records), handed.again, handed.notes, handed.refused) == (1, 0, 1, ())
        assert hand_over(own, store) == Handed()
        assert own.waiting() == Waiting()
        assert store.record("b") == second.record, "byte for byte as it was sealed"
        assert store.journal("b") == JOURNAL
        assert [each.words for each in store.repairs("b")] == ["new crimp"]
    chain = verify(second.record).chain
    assert (chain.sequence, chain.previous) == (2, first.run.hash)
    said = verify(second.record).extras["remarks"]
    assert isinstance(said, list)
    assert said[-1] == AWAY
    assert "went back" in said[0]
    assert "remarks" not in verify(first.record).extras


def test_a_server_that_dies_while_it_keeps_a_record_has_it_once(
    address: str, own: Outbox, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Before its commit, and after it with the answer lost: either way it is handed over again."""
    for number in range(3):
        own.seal(document(run=f"r{number}"), signer, server=None)
    with open_store(address) as store:

        @event.listens_for(store._engine, "commit")
        def _cut(connection: object) -> None:
            with open_store(address) as other, other.writing() as killer:
                killer.execute(text(DROPPED))

        def lost(*_: object) -> None:
            raise KeyboardInterrupt

        # The writer's lock is held until the commit: the killer takes another way in.
        monkeypatch.setattr(
            "loomproof.records.engine.text", lambda words: text(words.replace("7020118", "1"))
        )
        with pytest.raises(StoreAwayError):
            hand_over(own, store)
        monkeypatch.undo()
    assert kept(address) == []
    with open_store(address) as store, monkeypatch.context() as patch:
        patch.setattr(Outbox, "mark", lost)
        with pytest.raises(KeyboardInterrupt):
            hand_over(own, store)
    assert [run for run, _, _ in kept(address)] == ["r0"]
    assert own.waiting().runs == ("r0", "r1", "r2")
    with open_store(address) as store:
        assert len(hand_over(own, store).records) == 2, "the first one was there"
    assert [run for run, _, _ in kept(address)] == ["r0", "r1", "r2"]


DROPPED = (
    "SELECT pg_terminate_backend(pid) FROM pg_stat_activity "
    "WHERE pid <> pg_backend_pid() AND datname = current_database()"
)


def test_a_server_that_never_answers_is_given_up(
    address: str, own: Outbox, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    own.seal(document(run="a"), signer, server=None)
    with open_store(address) as store, open_store(address) as other, other.reading() as holder:
        # Whoever wants to read or write this table waits for ever.
        holder.execute(text("LOCK TABLE runs IN ACCESS EXCLUSIVE MODE"))
        monkeypatch.setattr(handing_over, "ANSWER_S", 0.2)
        with pytest.raises(StoreAwayError):
            hand_over(own, store)
        monkeypatch.undo()
    assert own.waiting().runs == ("a",)
    with open_store(address) as store:
        hand_over(own, store)
    assert [run for run, _, _ in kept(address)] == ["a"]


def test_a_writer_that_holds_a_server_too_long_is_named(
    address: str, own: Outbox, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    own.seal(document(run="a"), signer, server=None)
    with open_store(address) as store, open_store(address) as other, other.writing():
        monkeypatch.setattr("loomproof.records.engine.BUSY_S", 1)
        with pytest.raises(StoreError, match="held the store for too long"):
            hand_over(own, store)
    assert own.waiting().runs == ("a",)


def left_behind(address: str, folder: Path, signer: Signer) -> tuple[Path, str]:
    """Hand over runs a and b; return a folder with the outbox as after a, and its chain's name then."""
    named, older = server_of(address), folder / "older"
    older.mkdir()
    with open_outbox(named, folder) as own, open_store(address) as store:
        own.seal(document(run="a"), signer, server=store)
        hand_over(own, store)
        name = own.name
    shutil.copy(outbox_path(named, folder), outbox_path(named, older))
    with open_outbox(named, folder) as own, open_store(address) as store:
        own.seal(document(run="b"), signer, server=store)
        hand_over(own, store)
    return older, name


def test_an_outbox_put_back_to_an_older_state_begins_a_chain_of_a_new_name(
    address: str, tmp_path: Path, signer: Signer
) -> None:
    """A copy that sealed on by itself: its records stay in it and are told; later ones are kept."""
    named = server_of(address)
    older, name = left_behind(address, tmp_path, signer)
    with open_outbox(named, older) as own, open_store(address) as store:
        assert own.name == name
        own.seal(document(run="b2"), signer, server=None)
        (refused,) = hand_over(own, store).refused
        assert "in that place" in refused
        assert own.name != name
        assert own.waiting().runs == ("b2",), "it stays, and goes on being told"
        own.seal(document(run="c2"), signer, server=store)
        handed = hand_over(own, store)
        assert len(handed.records) == 1
        assert handed.refused == (refused,)
    with open_outbox(named, tmp_path) as own, open_store(address) as store:
        own.seal(document(run="c"), signer, server=store)
        assert hand_over(own, store).refused == ()
    assert [(run, place) for run, _, place in kept(address)] == [("a", 1), ("b", 2), ("c", 3), ("c2", 1)]


def test_a_copy_that_is_behind_begins_anew_before_it_seals(
    address: str, tmp_path: Path, signer: Signer
) -> None:
    named = server_of(address)
    older, _ = left_behind(address, tmp_path, signer)
    with open_outbox(named, older) as own, open_store(address) as store:
        (refused,) = hand_over(own, store).refused
        assert "records up to 2" in refused
        assert "up to 1" in refused
        own.seal(document(run="c"), signer, server=store)
        hand_over(own, store)
        assert own.waiting() == Waiting()
    assert [(run, place) for run, _, place in kept(address)] == [("a", 1), ("b", 2), ("c", 1)]


def cut(address: str, run: str) -> None:
    """Take a run out of the server behind the program's back, with all that belongs to it."""
    with open_store(address) as store, store.writing() as connection:
        connection.execute(text("SET LOCAL session_replication_role = replica"))
        number = connection.execute(text("SELECT id FROM runs WHERE run = :run"), {"run": run}).scalar_one()
        owned = ("records", "journals", "findings", "finding_places", "bench_checks", "heads_met")
        for table in (*owned, "readings", "counted_runs", "first_faults", "fault_names"):
            connection.execute(text(f"DELETE FROM {table} WHERE run_id = {number}"))
        connection.execute(text(f"DELETE FROM runs WHERE id = {number}"))


def test_a_server_put_back_to_an_older_state_is_told_and_filled_again(
    address: str, own: Outbox, signer: Signer
) -> None:
    with open_store(address) as store:
        for run in ("a", "b", "c"):
            own.seal(document(run=run), signer, server=store)
            hand_over(own, store)
    for run in ("c", "b"):
        cut(address, run)
    with open_store(address) as store:
        handed = hand_over(own, store)
        assert (len(handed.records), handed.again) == (2, 2)
    assert [(run, place) for run, _, place in kept(address)] == [("a", 1), ("b", 2), ("c", 3)]


def test_a_chain_that_was_cut_is_told_by_whoever_met_it(
    address: str, own: Outbox, tmp_path: Path, signer: Signer
) -> None:
    """One bench's last record is named in the next record of another, under that one's seal."""
    other = new_signer(NOW, "another1")
    known = {signer.public_hex: "one", other.public_hex: "another"}
    with open_store(address) as store, open_outbox(server_of(address), tmp_path / "two") as second:
        for run in ("a", "b"):
            own.seal(document(run=run), signer, server=store)
        hand_over(own, store)
        met = second.seal(document(run="z"), other, server=store)
        hand_over(second, store)
        again = second.seal(document(run="z2"), other, server=store)
        hand_over(second, store)
        heads = verify(met.record).met
        assert heads is not None
        assert heads.store == store.identity
        assert [(head.sequence, head.previous) for head in heads.heads] == [(2, store.run("b").hash)]
        unmoved = verify(again.record).met
        assert unmoved is not None
        assert unmoved.heads == (), "once is enough"
        assert with_outbox(check_store(store, known), store, second, known).troubles == ()
    cut(address, "b")
    with open_store(address) as store:
        (trouble,) = check_store(store, known).troubles
        assert trouble.startswith("record 2 of ")
        assert "named as the last one by run z" in trouble
    # Put back whole to before the other bench's record, it is whole in itself: that bench's outbox tells.
    cut(address, "z2")
    cut(address, "z")
    with open_store(address) as store, open_outbox(server_of(address), tmp_path / "two") as second:
        assert [t for t in check_store(store, known).troubles if "without a record" not in t] == []
        told = with_outbox(check_store(store, known), store, second, known).troubles
        assert any("named as the last one by run z" in trouble for trouble in told)


def test_two_databases_have_two_outboxes(address: str, server: postgres.Server) -> None:
    other = server.database()
    assert server_of(address) != server_of(other)
    assert server_of("postgresql://u:p@db.example/looms") == "db.example:5432/looms"
    assert server_of("postgresql://v@db.example:5432/looms") == "db.example:5432/looms"
    assert server_of("postgresql+psycopg://db.example:5433/looms") == "db.example:5433/looms"
    assert server_of("records.db") == server_of(None) == server_of("sqlite:///records.db") == ""
