"""Handing over on demand, and checking a store together with this bench's outbox for it."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace

from loomproof.errors import Do, LoomproofError, Problem, StoreAwayError, StoreError, Todo
from loomproof.jobs.at_hand import at_hand, said_of
from loomproof.records.data_folder import home
from loomproof.records.integrity import Integrity, check_store, with_outbox
from loomproof.records.outbox import Waiting, kept_outbox, missing_outboxes, outboxes, server_of
from loomproof.records.queries import sealed_runs
from loomproof.records.signers import KnownSigners
from loomproof.records.store import Store
from loomproof.records.unfinished_runs import STARTED, broken_off, started_here


@dataclass(frozen=True)
class HandedOver:
    """What came of handing over: what still waits, by the server that it is for; what is to be told.

    ``trouble`` is why the named server took nothing, if it did not answer; ``refused`` whether it does not
    take something, or an outbox that was noted here is gone.
    """

    waiting: dict[str, Waiting]
    told: tuple[Problem, ...] = ()
    trouble: LoomproofError | None = None
    refused: bool = False


def hand_over_now(address: str | None) -> HandedOver:
    """Hand over what waits for the store at an address; return what waits in all outboxes of this account.

    Raises `StoreError` where an outbox or the store can't be opened for another reason than that it is away.
    """
    gone = missing_outboxes(home())
    told = tuple(Problem(each, severity="error", do=Do(Todo.CHECK_RECORDS)) for each in gone)
    trouble: StoreError | None = None
    refused = bool(gone)
    if server_of(address):
        try:
            with at_hand(address) as hand:
                trouble, refused = hand.trouble, refused or bool(hand.wrong)
                told += tuple(said_of(hand))
        except StoreAwayError as error:  # and this account has no outbox for it
            trouble = error
    waiting = {server: waits for server, waits in map(kept_outbox, outboxes(home())) if waits}
    return HandedOver(waiting, told, trouble, refused)


def check_all(address: str | None, told: list[Problem]) -> Integrity:
    """Verify a store, and the outbox for it where this account has one; adds what is to be told of it.

    Raises `StoreAwayError` while it is away.
    """
    known = KnownSigners(home()).all()
    gone = missing_outboxes(home())
    with at_hand(address) as hand:
        if hand.trouble is not None:
            raise hand.trouble
        wrong, hand.wrong = hand.wrong, ()
        told += said_of(hand)
        checked = check_store(hand.store, known, home(), address)
        if hand.own is not None:
            checked = with_outbox(checked, hand.store, hand.own, known, wrong)
        else:
            gone = (*gone, *_lost(hand.store, address))
        return replace(checked, troubles=(*checked.troubles, *gone))


def _lost(store: Store, address: str | None) -> list[str]:
    """Return what to say of runs that a line beside the keys says were sealed, and the store has not."""

    def sealed(names: Collection[str]) -> Collection[str]:
        return sealed_runs(store, names)

    begun = started_here(address, sealed=sealed)
    return [
        f"run {one.run} of {one.loom}, begun {one.started}: it was sealed into this store, as "
        f"{home() / STARTED} says, and its record is not in it: it was taken out, or an older copy stands in "
        "its place"
        for one in broken_off(begun, sealed([one.run for one in begun]))
        if one.sealed
    ]
