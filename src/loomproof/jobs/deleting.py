"""Deleting the bodies of records by a rule, in store and outbox: what would go is said before it is done."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass

from loomproof.errors import UsageError
from loomproof.jobs.at_hand import AtHand, at_hand
from loomproof.jobs.files import now, rfc3339_seconds
from loomproof.records.corrections import standing_corrections
from loomproof.records.data_folder import home
from loomproof.records.deleted import words_of
from loomproof.records.deleting import delete_bodies, why_not
from loomproof.records.keys import KeyFolder
from loomproof.records.lines import Run, places, runs_by_id
from loomproof.records.order import started_moment
from loomproof.records.store import Store
from loomproof.reports.words import plural, when

STAYS = (
    "Deleted are record, journal and certificates as they are kept. What stays: each run's line with "
    "verdict, dates and person, its findings, notes and answers, its place and hash in its chain, and the "
    "hash of each certificate, so that one kept elsewhere can still be checked. What is counted from tables "
    "and data sets goes on counting these runs; what opens records leaves them out and says so.",
    "Not reached: backups, other benches' outboxes, files that were written (certificates, records, results, "
    "journals, data sets). Delete those by the same rule; a backup that is restored brings bodies back.",
)
"""What a deletion leaves, and what it does not reach: said before it is done."""


@dataclass(frozen=True, slots=True)
class Rule:
    """Which bodies go: of runs that ended so many days ago by their bench's own clock, of these looms (name,
    serial or digest; none: of all). ``by`` is who has it done."""

    days: int
    looms: tuple[str, ...]
    by: str

    def __str__(self) -> str:
        return f"older than {self.days} days" + (f", of {', '.join(self.looms)}" if self.looms else "")

    def takes(self, run: Run, at: datetime.datetime) -> bool:
        """Whether a run falls under it at a moment."""
        of_these = not self.looms or not {run.loom, run.serial, run.digest}.isdisjoint(self.looms)
        return of_these and started_moment(run.ended) < at - datetime.timedelta(days=self.days)


@dataclass(frozen=True, slots=True)
class Foreseen:
    """What would go of one store, and what falls under the rule and stays, each with its reason."""

    where: str
    runs: tuple[Run, ...]
    stays: tuple[str, ...]

    @property
    def lines(self) -> Iterator[str]:
        """What a person is to know before it is done."""
        yield f"{self.where}: {plural(len(self.runs), 'body', 'bodies')} would be deleted"
        for run in self.runs:
            loom = f"{run.loom}, {run.serial}" if run.serial else run.loom
            yield f"  {run.run}, {when(run.ended)[:10]}, {run.verdict}, {loom}"
        yield from (f"  stays: {why}" for why in self.stays)


def foresee(address: str | None, rule: Rule) -> tuple[Foreseen, ...]:
    """Return what would be deleted of a store, and of this bench's outbox for it; changes nothing.

    Raises `UsageError` without a name, `StoreAwayError` while the store is away.
    """
    with _open(address, rule) as hand:
        return tuple(_foreseen(store, rule, hand) for store in _stores(hand))


def delete(address: str | None, rule: Rule, foreseen: Sequence[Foreseen]) -> Iterator[str]:
    """Delete what was foreseen and still falls under the rule; yield what was done, store by store.

    Raises `StoreError` where a database refuses, as it does to who does not own its tables.
    """
    shown = {run.hash for each in foreseen for run in each.runs}
    with _open(address, rule) as hand:
        signer = KeyFolder(home()).signer(now())
        for store in _stores(hand):
            runs = [run for run in _foreseen(store, rule, hand).runs if run.hash in shown]
            if runs:
                made = rfc3339_seconds(now())
                said = delete_bodies(store, runs, made=made, by=rule.by, rule=str(rule), signer=signer)
                yield f"{store.where}: {plural(len(runs), 'record')}: {said} ({rule})"
        hand.note(signer)


@contextmanager
def _open(address: str | None, rule: Rule) -> Iterator[AtHand]:
    if not rule.by.strip():
        raise UsageError("a deletion without a name says nothing", cure="Say who has it done.")
    with at_hand(address) as hand:
        if hand.trouble is not None:
            raise hand.trouble
        yield hand


def _stores(hand: AtHand) -> tuple[Store, ...]:
    return (hand.store,) if hand.own is None else (hand.store, hand.own.store)


def _foreseen(store: Store, rule: Rule, hand: AtHand) -> Foreseen:
    """Return what of a store falls under the rule; records that were corrected stay with what corrects them,
    for a certificate of theirs elsewhere is told to be corrected by them."""
    corrected = standing_corrections(store)
    family = {*corrected, *(one.verified.hash for one in corrected.values())}
    waiting = set(hand.own.waiting().runs) if hand.own is not None and store is hand.own.store else set()
    runs, stays, at = [], [], now()
    with store.reading() as connection:
        found = [run for run in runs_by_id(connection, places(connection)) if rule.takes(run, at)]
        gone = words_of(connection, [run.id for run in found])
    for run in found:
        if run.id in gone:
            continue
        if run.hash in family or run.kind == "correction":
            stays.append(f"run {run.run}: it was corrected, or corrects another one")
        elif run.run in waiting:
            stays.append(f"run {run.run}: it waits to be handed over")
        elif why := why_not(store, run):
            stays.append(why)
        else:
            runs.append(run)
    return Foreseen(store.where, tuple(runs), tuple(stays))
