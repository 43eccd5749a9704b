"""What was edited in an outbox is not handed over: it is named, stays, and hinders nothing else.

The store that it is handed to is a file here: handing over asks of a server nothing that a file has not.
"""

from __future__ import annotations

import hashlib
import re
import sqlite3
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text

from loomproof.records.guards import guard_troubles
from loomproof.records.handing_over import Vouched, hand_over
from loomproof.records.keys import Signer, new_signer
from loomproof.records.noting import as_opened, head_before, note
from loomproof.records.outbox import Outbox, open_outbox
from loomproof.records.seal import Chain, seal, verify
from loomproof.records.store import Store, open_store
from loomproof.records.unnoted import unvouched_notes
from loomproof.results.document import Document
from tests.records.conftest import NOW
from tests.reports.sample import document

JOURNAL = b'{"sense": 1}\n' * 40


def made(run: str, person: str = "A. Tester") -> Document:
    return document(run=run, person=person, journal_digest=hashlib.sha256(JOURNAL).hexdigest())


@pytest.fixture
def own(signer: Signer, tmp_path: Path) -> Iterator[Outbox]:
    """An outbox in which a, b and c wait."""
    with open_outbox("shop:5432/looms", tmp_path) as opened:
        for run in "abc":
            opened.seal(made(run), signer, JOURNAL, server=None)
        yield opened


@pytest.fixture
def server(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "server.db")) as opened:
        yield opened


def edit(own: Outbox, *statements: str, **values: object) -> None:
    """Change the outbox as a database tool does, its guards taken off first and put back after."""
    with own.store.writing() as connection:
        guards = connection.execute(text("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")).all()
        for guard in guards:
            connection.execute(text(f"DROP TRIGGER {guard.name}"))
        for statement in statements:
            connection.execute(text(statement), values)
        for guard in guards:
            connection.exec_driver_sql(guard.sql)
    with own.store.reading() as connection:
        assert guard_troubles(connection) == ()


def verdict(own: Outbox) -> None:
    edit(own, "UPDATE runs SET verdict = 'pass' WHERE run = 'b'")


def body(own: Outbox) -> None:
    record = own.store.record("b").replace(b'"verdict":"fail"', b'"verdict":"pass"')
    edit(own, "UPDATE records SET packed = :packed WHERE run_id = 2", packed=zlib.compress(record))


def other_body(own: Outbox) -> None:
    edit(own, "UPDATE records SET packed = (SELECT packed FROM records WHERE run_id = 3) WHERE run_id = 2")


def journal(own: Outbox) -> None:
    changed = JOURNAL.replace(b"1", b"0")
    edit(
        own,
        "UPDATE journals SET packed = :packed, digest = :digest WHERE run_id = 2",
        packed=zlib.compress(changed),
        digest=hashlib.sha256(changed).hexdigest(),
    )


def resealed(own: Outbox) -> None:
    """Whole in itself, in its place, by a key that never sealed here."""
    told = verify(own.store.record("b"))
    stranger = new_signer(NOW, "elsewhere")
    record = seal(made("b", "N. Obody").plain(), told.chain, stranger)
    edit(
        own,
        "UPDATE records SET packed = :packed WHERE run_id = 2",
        "UPDATE runs SET hash = :hash, key = :key, person = 'N. Obody' WHERE id = 2",
        packed=zlib.compress(record),
        hash=verify(record).hash,
        key=stranger.public_hex,
    )


@pytest.mark.parametrize(
    ("change", "said", "others"),
    [
        (verdict, "record 2 of .* says something else than the sealed record", ["a", "c"]),
        (body, "record 2 of .* does not match its hash", ["a", "c"]),
        (other_body, "record 2 of .* says something else than the sealed record", ["a", "c"]),
        (journal, "record 2 of .*the journal has SHA-256", ["a", "c"]),
        # The next record names the one that was there, and not the one that stands before it now.
        (resealed, "record 2 of .*which never sealed here", ["a"]),
    ],
)
def test_what_was_edited_in_an_outbox_is_not_handed_over(
    change: Callable[[Outbox], None],
    said: str,
    others: list[str],
    own: Outbox,
    server: Store,
    signer: Signer,
) -> None:
    change(own)
    vouched = Vouched(frozenset({signer.public_hex}))
    for new in (len(others), 0):  # and goes on being told
        handed = hand_over(own, server, vouched=vouched)
        assert len(handed.records) == new
        assert re.search(said, handed.refused[0])
    assert [run.run for run in server.runs()] == others
    assert "b" in own.waiting().runs


def test_notes_that_are_not_as_noted_stay(own: Outbox, server: Store, signer: Signer, tmp_path: Path) -> None:
    """No seal vouches for a note: what was noted beside the keys does."""
    where = own.store.where
    hand_over(own, server)
    own.store.add_repair("a", "B. Mender", "new crimp", "2026-01-05T11:00:00+00:00")
    note(tmp_path, signer, own.store, where)
    assert unvouched_notes(tmp_path, own.store, where) == {}
    added = (
        "INSERT INTO repairs (run_id, finding, person, done, words) VALUES (1, 0, 'X', '2026-01-05', 'all')"
    )
    edit(own, added)
    edit(own, "UPDATE repairs SET words = 'nothing' WHERE person = 'B. Mender'")
    held = Vouched(held=unvouched_notes(tmp_path, own.store, where))
    handed = hand_over(own, server, vouched=held)
    assert handed.notes == 0
    assert handed.refused == (
        "repairs: rows that were noted are gone, changed or in another order (row 1, 2)",
    )
    edit(own, "UPDATE repairs SET words = 'new crimp' WHERE person = 'B. Mender'")
    handed = hand_over(own, server, vouched=Vouched(held=unvouched_notes(tmp_path, own.store, where)))
    assert [each.words for each in server.repairs("a")] == ["new crimp"]
    for _ in range(2):
        assert "repairs: added to this store by no command of this account (row 2)" in handed.refused[0]
        note(tmp_path, signer, own.store, where, as_opened(own.store))
        handed = hand_over(own, server, vouched=Vouched(held=unvouched_notes(tmp_path, own.store, where)))
    assert [each.words for each in server.repairs("a")] == ["new crimp"], "no later note takes it in"


def test_a_certificate_that_is_none_stays(own: Outbox, server: Store) -> None:
    own.store.add_certificate("a", b"%PDF-1.7", "2026-01-05T11:00:00+00:00")
    handed = hand_over(own, server)
    assert handed.certificates == 0
    assert "certificate 1 of record" in handed.refused[0]
    assert server.certificate("a") is None
    assert own.waiting().certificates == 1


def test_a_chain_goes_on_behind_what_another_bench_named(
    server: Store, signer: Signer, tmp_path: Path
) -> None:
    """The file of heads gone and the newest run cut off: the place that a stranger's record names stays."""
    other = new_signer(NOW, "another1")
    server.seal_run(document(run="a"), signer)
    lost = server.seal_run(document(run="b"), signer).run
    server.seal_run(document(run="z"), other)
    with closing(sqlite3.connect(tmp_path / "server.db")) as connection:
        for (guard,) in connection.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger'"
        ).fetchall():
            connection.execute(f"DROP TRIGGER {guard}")
        connection.execute(f"DELETE FROM runs WHERE id = {lost.id}")
        connection.commit()
    known = head_before(tmp_path, server, None, lost.bench)
    assert known == Chain(lost.bench, lost.sequence, lost.hash)
    after = server.seal_run(document(run="c"), signer, b"", known).run
    assert (after.sequence, after.previous) == (3, lost.hash)
