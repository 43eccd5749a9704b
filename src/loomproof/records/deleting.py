"""Deleting the bodies of old records by a rule: what a record, its journal and its certificates say.

What stays is the run's line (verdict, dates, person, findings), its place and hash in its chain, and the
digests of journal and certificates, all of them rows that nothing changes. Each deletion is an entry of its
own, signed and chained to the deletion before it in this store: who, when, by which rule, and of each record
its hash, its signature and a digest of the rows that stay. NOTES.md, Bodies that were deleted.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from sqlalchemy import Connection, insert, inspect, select, text, update

from loomproof.errors import LoomproofError, SealError
from loomproof.records.canonical import canonical, read_canonical, sha256_hex
from loomproof.records.deleted import deleted_by
from loomproof.records.inserting import derived_rows, showable
from loomproof.records.keys import Signer
from loomproof.records.lines import AT_ONCE, Run
from loomproof.records.migrations import STEPS, guards_of
from loomproof.records.rows import kept_digest
from loomproof.records.schema import CERTIFICATES, DELETED_BODIES, DELETIONS, JOURNALS, RECORDS
from loomproof.records.seal import verify
from loomproof.records.store import Store, unpacked

FORMAT = 1
BODIES = ((RECORDS, "packed"), (JOURNALS, "packed"), (CERTIFICATES, "pdf"))
"""The tables that hold bodies, each with its column, which is empty once the body is deleted."""


@dataclass(frozen=True, slots=True)
class Deletion:
    """One entry: its place among the store's deletions, when and by whom (RFC 3339, a name), by which rule,
    by which key it is signed (hex), and what it says of each record, by the record's hash."""

    sequence: int
    hash: str
    made: str
    by: str
    rule: str
    key: str
    bodies: Mapping[str, Mapping[str, object]]

    def __str__(self) -> str:
        return deleted_by(self.made, self.by)


def why_not(store: Store, run: Run) -> str:
    """Return why a run's body can't be deleted: it is not as it was sealed, or gone already; "" else.

    What is not as sealed stays, so that no deletion makes it good.
    """
    place = f"record {run.sequence} of {run.bench} (run {run.run})"
    try:
        verified = verify(store.record(run.hash), name=place)
        derived_rows(verified)
    except LoomproofError as error:
        return error.message
    return "" if verified.hash == run.hash else f"{place}: the store has another record in its place"


def delete_bodies(
    store: Store, runs: Sequence[Run], *, made: str, by: str, rule: str, signer: Signer
) -> Deletion:
    """Delete the bodies of runs, with an entry that says so; all of it, or nothing.

    The guards of the three tables are lifted and put back in the same transaction. Raises `SealError` for a
    record that does not hold, `StoreError` where the database refuses, as it does to whoever does not own it.
    """
    with store.writing() as connection:
        bodies = [_body(connection, run) for run in runs]
        last = connection.execute(
            select(DELETIONS.c.id, DELETIONS.c.hash).order_by(DELETIONS.c.id.desc()).limit(1)
        ).first()
        count = len(connection.execute(select(DELETIONS.c.id)).all())
        body = {
            "format": FORMAT,
            "kind": "deletion",
            "chain": {"sequence": count + 1, "previous": last.hash if last else None},
            "made": made,
            "by": by,
            "rule": rule,
            "bodies": bodies,
        }
        signed = canonical(body)
        entry = canonical(
            {"body": body, "key": signer.public_hex, "signature": signer.sign(signed).hex()}
        ).decode()
        words = showable({"hash": sha256_hex(signed), "made": made, "by_whom": by, "entry": entry})
        number = connection.execute(insert(DELETIONS).values(**words).returning(DELETIONS.c.id)).scalar_one()
        connection.execute(
            insert(DELETED_BODIES), [{"run_id": run.id, "deletion_id": number} for run in runs]
        )
        _empty(connection, [run.id for run in runs])
    store.settle()
    return read_deletion(entry, "deletion")


def _body(connection: Connection, run: Run) -> dict[str, object]:
    place = f"record {run.sequence} of {run.bench} (run {run.run})"
    packed = connection.execute(select(RECORDS.c.packed).where(RECORDS.c.run_id == run.id)).scalar_one()
    record = unpacked(packed, place)
    verified = verify(record, name=place)
    if verified.hash != run.hash:
        raise SealError(f"{place}: the store has another record in its place")
    derived = derived_rows(verified)
    return {
        "record": verified.hash,
        "bench": verified.chain.bench,
        "sequence": verified.chain.sequence,
        "signature": json.loads(record)["seal"]["signature"],
        "kept": kept_digest(derived),
        "description": sha256_hex(str(derived.loom["description"]).encode()),
        "adapter": dict(derived.adapter) if derived.adapter else None,
    }


def _empty(connection: Connection, ids: Sequence[int]) -> None:
    """Empty the bodies of runs, with the guards against that lifted for as long as it takes."""
    dialect = connection.dialect.name
    guards = guards_of(dialect, len(STEPS))
    if dialect == "sqlite":
        # What is overwritten is overwritten with zeros in the file, and not left in it as free space.
        connection.execute(text("PRAGMA secure_delete = ON"))
    for table, column in BODIES:
        name = f"{table.name}_update" if dialect == "sqlite" else f"{table.name}_guard"
        on = "" if dialect == "sqlite" else f" ON {table.name}"
        connection.execute(text(f"DROP TRIGGER {name}{on}"))
        for at in range(0, len(ids), AT_ONCE):
            chosen = table.c.run_id.in_(ids[at : at + AT_ONCE])
            connection.execute(update(table).where(chosen).values({column: b""}))
        connection.execute(text(guards[name]))


def read_deletion(entry: str, name: str) -> Deletion:
    """Check an entry by its signature. Raises `SealError`."""
    plain = read_canonical(entry.encode(), name)
    try:
        body, key = plain["body"], str(plain["key"])
        assert isinstance(body, dict)
        signed = canonical(body)
        Ed25519PublicKey.from_public_bytes(bytes.fromhex(key)).verify(
            bytes.fromhex(str(plain["signature"])), signed
        )
        if body["format"] != FORMAT or body["kind"] != "deletion":
            raise ValueError("a newer loomproof wrote it")
        bodies = {str(each["record"]): each for each in body["bodies"]}
        sequence = int(body["chain"]["sequence"])
        made, by, rule = (str(body[member]) for member in ("made", "by", "rule"))
    except (InvalidSignature, AssertionError, KeyError, TypeError, ValueError) as error:
        raise SealError(f"{name}: it was changed since it was signed") from error
    return Deletion(sequence, sha256_hex(signed), made, by, rule, key, bodies)


def deletions(connection: Connection) -> Iterator[tuple[Deletion | None, str]]:
    """Give each entry of a store in order, checked with its place in the chain; else what is wrong."""
    if not inspect(connection).has_table(DELETIONS.name):
        return
    before = ""
    for number, row in enumerate(connection.execute(select(DELETIONS).order_by(DELETIONS.c.id)).all(), 1):
        name = f"deletion {number}"
        try:
            told = read_deletion(row.entry, name)
        except SealError as error:
            yield None, error.message
            continue
        previous = json.loads(row.entry)["body"]["chain"]["previous"] or ""
        if (told.sequence, previous) != (number, before):
            yield None, f"{name}: it is not the next one of its chain: one was taken out, or put in"
        elif (told.hash, told.made, told.by) != (row.hash, row.made, row.by_whom):
            yield None, f"{name}: the store's table says something else than the signed entry"
        else:
            yield told, ""
        before = told.hash


class DeletedBodies:
    """The bodies that a store's deletions account for, by ``keys``; ``troubles`` is what does not hold."""

    def __init__(self, connection: Connection) -> None:
        self.troubles: list[str] = []
        self.runs: set[int] = set()
        self.keys: set[str] = set()
        self._told: dict[str, Mapping[str, object]] = {}
        found: list[tuple[int, str]] = []
        for entry, trouble in deletions(connection):
            if entry is None:
                self.troubles.append(trouble)
                continue
            self._told |= entry.bodies
            self.keys.add(entry.key)
            found.append((len(entry.bodies), f"{entry} ({entry.rule})"))
        self.counted = tuple(found)
        if inspect(connection).has_table(DELETED_BODIES.name):
            self.runs = set(connection.execute(select(DELETED_BODIES.c.run_id)).scalars())

    def told(self, run_id: int, digest: str) -> Mapping[str, object] | None:
        """Return what the entries say of a run's record; ``None`` where it was not deleted."""
        return self._told.get(digest) if run_id in self.runs else None
