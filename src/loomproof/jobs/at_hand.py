"""The store that a job works on: the one that was named, or this bench's outbox while its server is away."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass, field
from functools import partial

from loomproof.errors import Do, Problem, StoreAwayError, StoreError, Todo
from loomproof.records.data_folder import home
from loomproof.records.growing import sealing_keys
from loomproof.records.handing_over import Handed, Held, Vouched, hand_over
from loomproof.records.keys import KeyFolder, Signer
from loomproof.records.noting import Opened, announce, as_opened, head_before, note
from loomproof.records.outbox import Outbox, open_outbox, outbox_path, server_of
from loomproof.records.schema import REPAIRS
from loomproof.records.seal import correcting, verify
from loomproof.records.store import SealedRun, Store, chain_name, open_store
from loomproof.records.unnoted import Unnoted, outsiders, unnoted, unvouched_notes
from loomproof.reports.words import plural
from loomproof.results.document import Document


@dataclass
class AtHand:
    """A store at hand. ``own`` is this bench's outbox, ``None`` for a store that is a file.

    ``server`` is ``None`` while it is away, for the reason in ``trouble``; ``told`` is what a person should
    know: what was handed over; ``wrong`` what of the outbox the server does not take, or had lost.
    """

    address: str | None
    store: Store
    own: Outbox | None = None
    server: Store | None = None
    trouble: StoreError | None = None
    told: tuple[Problem, ...] = ()
    wrong: tuple[str, ...] = ()
    sealed: tuple[str, ...] = ()
    """Hashes of what was sealed here just now, which did not wait."""
    opened: Opened | None = None
    own_opened: Opened | None = None
    """How the store, and the outbox, were before anything of this was done."""
    held: Held = field(default_factory=dict)
    """Notes in the outbox, from before anything of this was done, for which nothing vouches."""

    @property
    def sealing(self) -> Store:
        """The store that records are sealed into, and certificates issued from."""
        return self.own.store if self.own is not None else self.store

    def seal(self, document: Document, signer: Signer, journal: bytes = b"") -> SealedRun:
        """Seal a document with its journal, by this key. Raises `RecordError`."""
        own = self.own
        bench = own.chain(document, signer) if own else chain_name(document, signer.station)
        known = head_before(home(), self.sealing, self.sealing_address, bench)
        # What nobody here noted as done is told in no record.
        without = outsiders(home(), self.sealing, self.sealing_address, REPAIRS)
        if own is None:
            return self.store.seal_run(document, signer, journal, known, without)
        return self._seal(
            lambda: own.seal(document, signer, journal, server=self.server, known=known, without=without)
        )

    def _seal(self, once: Callable[[], SealedRun]) -> SealedRun:
        """Seal into the outbox, once more without the server where it leaves before anything is sealed."""
        try:
            sealed = once()
        except StoreAwayError as error:
            self.leave(error)
            sealed = once()
        self.sealed += (sealed.run.hash,)
        return sealed

    def correct(
        self, run: str, document: Document, why: str, signer: Signer, more: Mapping[str, object]
    ) -> SealedRun:
        """Seal a correction of a run, as `Store.correct` does. Raises `RecordError`."""
        if self.own is None:
            return self.store.correct(run, document, why, signer, more)
        correction = correcting(verify(self.store.record(run), name=f"run {run}"), why, more)
        own = self.own
        return self._seal(lambda: own.seal(document, signer, server=self.server, correction=correction))

    @property
    def sealing_address(self) -> str | None:
        """What names the store that is sealed into."""
        return self.address if self.own is None else self.own.store.where

    def leave(self, error: StoreError) -> None:
        """Go on without the server, which has left."""
        self.server, self.trouble = None, error
        if self.own is not None:
            self.store = self.own.store

    def hand_over(self) -> None:
        """Hand over what waits, and tell it; a server that leaves meanwhile gets it the next time."""
        if self.own is not None and self.own.waiting():
            self.compare()

    def compare(self) -> Handed:
        """Hand over whatever the server lacks, and tell it."""
        handed = Handed()
        if self.own is None or self.server is None:
            return handed
        try:
            hand_over(self.own, self.server, handed, Vouched(sealing_keys(home()), self.held))
        except StoreAwayError as error:
            self.leave(error)
        except StoreError as error:
            said = f"{error.message}; what waits in this bench's outbox goes on waiting"
            self.told += (Problem(said, cure=error.cure),)
        self._tell(handed, self.own.server)
        return handed

    def _tell(self, handed: Handed, server: str) -> None:
        waited = [digest for digest in handed.records if digest not in self.sealed]
        if waited:
            runs, was = plural(len(waited), "proof"), "was" if len(waited) == 1 else "were"
            said = f"{runs} that waited in this bench's outbox {was} handed over to {server}"
            self.told += (Problem(said),)
        wrong = [f"{why}: it stays in this bench's outbox" for why in handed.refused]
        if handed.again:
            wrong.append(
                f"{server} had kept {plural(handed.again, 'record')} of this bench and lost them: it was put "
                "back to an older state, or they were taken out; they were handed over again"
            )
        self.wrong += tuple(why for why in wrong if why not in self.wrong)

    @property
    def at(self) -> str | None:
        """What names the store that is read."""
        return self.address if self.store is self.server or self.own is None else self.own.store.where

    def note(self, signer: Signer) -> None:
        """Note how far the stores have come (`records.noting.note`), and tell what stays outside of that.

        Raises `StoreError`.
        """
        if self.own is not None:
            self._note(signer, self.own.store, self.own.store.where, self.own_opened)
        if self.own is None or self.server is not None:
            self._note(signer, self.store, self.address, self.opened)

    def _note(self, signer: Signer, store: Store, address: str | None, opened: Opened | None) -> None:
        found = Unnoted() if opened is None or opened.filled else unnoted(home(), store, address)
        note(home(), signer, store, address, opened)
        if not found.shared:
            self.wrong += tuple(f"{each}. {STAYS_OUTSIDE}" for each in found.added)

    def announces(self) -> None:
        """Have the stores say in the data folder what they are about to add."""
        if self.own is not None:
            self.own.store.announce = partial(_announce, self.own.store, self.own.store.where)
        if self.own is None or self.server is not None:
            self.store.announce = partial(_announce, self.store, self.address)

    def note_if_ours(self) -> None:
        """The same with the key in use, where there is one: a command that seals nothing makes no key."""
        keys = KeyFolder(home())
        if keys.path.exists():
            self.note(keys.in_use())


def _announce(store: Store, address: str | None, digests: Collection[str]) -> None:
    keys = KeyFolder(home())
    if keys.path.exists():
        announce(home(), keys.in_use(), store, address, digests)


STAYS_OUTSIDE = "It stays outside of what is noted here: it teaches nothing and is told in no later record"
"""Said of rows that nobody vouches for, as a command adds to their store."""


@contextmanager
def at_hand(
    address: str | None,
    *,
    seals: bool = False,
    measured: bool = False,
    trouble: StoreError | None = None,
) -> Iterator[AtHand]:
    """Open the store at an address, and hand over to it what waits in this bench's outbox.

    While its server is away the outbox stands in for it; where there is none, and nothing is to be sealed,
    its `StoreAwayError` is raised. ``measured``: whatever keeps the server from being opened, what was
    measured is to be sealed. ``trouble`` is why it did not answer just now, so that it is not asked again.
    Raises `StoreError` as `open_store`.
    """
    server = server_of(address)
    with ExitStack() as held:
        if not server:
            alone = held.enter_context(open_store(address))
            only = AtHand(address, alone, opened=as_opened(alone))
            only.announces()
            yield only
            return
        own = None
        if seals or outbox_path(server, home()).exists():
            own = held.enter_context(open_outbox(server))
        found = None
        try:
            if trouble is not None:
                raise trouble
            opened = held.enter_context(open_store(address))
            # Asked at once: a server that leaves now was away.
            was = as_opened(opened, None if own is None else own.store)
            found = AtHand(address, opened, own, opened, opened=was)
        except StoreError as error:
            if own is None or not (measured or isinstance(error, StoreAwayError)):
                raise
            found = AtHand(address, own.store, own, None, error)
        found.announces()
        if own is not None:
            found.own_opened = as_opened(own.store)
            if own.waiting().notes:
                found.held = unvouched_notes(home(), own.store, own.store.where)
        if found.compare():
            # Else it would look as if somebody else had added it.
            with suppress(StoreError):
                found.note_if_ours()
        yield found


def said_of(hand: AtHand) -> Iterator[Problem]:
    """Yield what a person should know of the store, each thing once; at last that its server is away."""
    told, hand.told = hand.told, ()
    wrong, hand.wrong = hand.wrong, ()
    yield from told
    for why in wrong:
        yield Problem(f"{why}.", severity="error", do=Do(Todo.CHECK_RECORDS))
    if (still := away(hand)) is not None:
        yield still


def away(hand: AtHand) -> Problem | None:
    """Return what to say where the server is away; ``None`` where it is not."""
    if hand.own is None or hand.trouble is None:
        return None
    waiting = hand.own.waiting()
    runs = plural(len(waiting.runs), "proof")
    return Problem(
        f"The store {hand.own.server} does not answer. {runs} "
        f"{'waits' if len(waiting.runs) == 1 else 'wait'} in this bench's outbox, {hand.own.store.where}, "
        "and will be handed over by the next command that finds the store",
        severity="warning",
        do=Do(Todo.HAND_OVER),
    )
