"""Which record corrects which: of a record and all its corrections only the newest stands."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy import select

from loomproof.errors import LoomproofError
from loomproof.records.schema import RECORDS, RUNS
from loomproof.records.seal import Verified, verify
from loomproof.records.store import Store, unpacked
from loomproof.results.document import Document


@dataclass(frozen=True)
class Correction:
    """The record that stands in place of others: its run, when it was made ("" untold), and itself."""

    run: str
    made: str
    verified: Verified


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that a correction changed: what, how it was, how it is; "" for not stated."""

    what: str
    was: str
    now: str

    def __str__(self) -> str:
        return f"{self.what} {self.was or 'not stated'} -> {self.now or 'not stated'}"


def changes(wrong: Document, right: Document) -> tuple[Change, ...]:
    """Return what a correction may change and did: serial, person, place, and who authorises it."""
    pairs = (
        ("serial", wrong.loom.serial, right.loom.serial),
        ("person", wrong.person, right.person),
        ("place", wrong.place, right.place),
        ("authoriser", wrong.entered.authoriser, right.entered.authoriser),
    )
    return tuple(Change(what, was, now) for what, was, now in pairs if was != now)


def standing_corrections(store: Store, known: Mapping[str, str] | None = None) -> dict[str, Correction]:
    """Return what stands in place of each record that was corrected, by the record's hash.

    Two corrections of one record, and corrections of corrections, are one family: its newest stands, all
    others are corrected. ``known`` maps public keys to names.
    """
    query = select(RUNS.c.run, RECORDS.c.packed).join_from(RUNS, RECORDS, RUNS.c.id == RECORDS.c.run_id)
    query = query.where(RUNS.c.kind == "correction").order_by(RUNS.c.bench, RUNS.c.sequence)
    with store.reading() as connection:
        rows = connection.execute(query).all()
    corrects: dict[str, str] = {}
    found: list[Correction] = []
    for run, packed in rows:
        try:
            verified = verify(unpacked(packed, run), known, name=f"run {run}")
        except LoomproofError:
            continue
        told = verified.body.get("corrects")
        if isinstance(told, dict):
            corrects[verified.hash] = str(told.get("record"))
            found.append(Correction(str(run), str(told.get("made", "")), verified))
    newest = {_root(one.verified.hash, corrects): one for one in found}
    members = {*corrects, *corrects.values()}
    stands = {digest: newest[_root(digest, corrects)] for digest in members}
    return {digest: one for digest, one in stands.items() if one.verified.hash != digest}


def _root(digest: str, corrects: Mapping[str, str]) -> str:
    seen = {digest}
    while (before := corrects.get(digest)) is not None and before not in seen:
        seen.add(before)
        digest = before
    return digest


def corrections(store: Store) -> dict[str, str]:
    """Return which records were corrected, and which run stands in their place: hash to run."""
    return {digest: one.run for digest, one in standing_corrections(store).items()}
