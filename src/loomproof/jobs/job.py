"""A loom on a bench, and what can be done with it: the jobs in ten lines of a script, a page or a command."""

from __future__ import annotations

import tempfile
from collections.abc import Collection, Generator, Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from loomproof.bench.adapter import Adapter, in_order
from loomproof.errors import UsageError
from loomproof.jobs.at_bench import BenchAt, Setup, reached
from loomproof.jobs.by_hand import answered, known_meter, written
from loomproof.jobs.files import now, rfc3339, run_name
from loomproof.jobs.gate import Assured, adapter_for, cleared
from loomproof.jobs.keep import Keeping, Kept, ended, keep
from loomproof.jobs.operator import Operator, Unattended
from loomproof.jobs.prove import prove_and_keep, prove_on
from loomproof.jobs.running import Running
from loomproof.jobs.workshop import find
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import End, Loom
from loomproof.measuring.events import Event, Finished, finish
from loomproof.notebook import Shown
from loomproof.planning.request import Request, without_point
from loomproof.records.canonical import sha256_hex
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Findings
from loomproof.results.grade import Grade

if TYPE_CHECKING:  # what one job is done with is imported as it begins, so that no other waits for it
    from loomproof.jobs.learn_adapter import Patience
    from loomproof.jobs.naming import Keys, NamedLoom
    from loomproof.jobs.retest import Retested
    from loomproof.jobs.trace import TracedLoom
    from loomproof.jobs.wiggle import Hands, Wiggle
    from loomproof.planning.hookup_search import Constraints


@dataclass(frozen=True)
class Proof(Shown):
    """A finished proof that is not sealed yet, and the journal of what was read.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> with lp.simulate(loom) as bench:
    ...     proof = lp.Job(loom, bench).prove().run()
    >>> proof.verdict.value, proof.findings
    ('pass', ())
    """

    outcome: Outcome
    journal: bytes

    @property
    def document(self) -> Document:
        """The results document."""
        return self.outcome.document

    @property
    def verdict(self) -> Verdict:
        """The verdict."""
        return self.outcome.document.verdict

    @property
    def findings(self) -> Findings:
        """What was found, worst first."""
        return Findings(self.outcome.findings)

    def keep(self, where: Keeping) -> Kept:
        """Seal it into the store, and write its files. Raises `RecordError`, `StoreError`."""
        where.out.mkdir(parents=True, exist_ok=True)
        journal = where.out / f"{self.document.run}.journal.jsonl"
        journal.write_bytes(self.journal)
        return finish(keep(self.outcome, journal, where))


class Job:
    """One loom on one bench, through one adapter, with one operator.

    ``bench`` is an open bench, which stays open (whoever opened it closes it), or an address: then each job
    opens the bench and closes it again; ``loom_path`` is the loom that a simulator of our own carries.
    ``adapter`` may be a table's file, or ``in-order``; where none is given it is the description's order on
    an open bench and on a simulator of our own. ``where`` is where results and records go, ``assured`` what
    was said beforehand of hazards and the like. With ``probe`` each end that has no point is read with a
    probe. ``more`` goes into each `Request`: ``answers``, ``person``, ``watch_s`` and so on.

    Methods give a job that runs as its events are taken, and raise at once what the request itself is wrong
    about: `AdapterError`, `UsageError`. Its events raise as the functions do that each method names.

    >>> import loomproof as lp
    >>> loom = lp.load("fixtures/tail_lamp")
    >>> with lp.simulate(loom, "open W2") as bench:
    ...     job = lp.Job(loom, bench, person="I. Torvald")
    ...     seen = [type(event).__name__ for event in job.prove()]
    >>> seen[0], seen[-1], job.proof.verdict.value
    ('Progress', 'Finished', 'fail')
    """

    def __init__(
        self,
        loom: Loom,
        bench: BenchAt | None = None,
        adapter: Adapter | str | None = None,
        operator: Operator | None = None,
        *,
        where: Keeping | None = None,
        assured: Assured | None = None,
        loom_path: Path | None = None,
        probe: bool = False,
        **more: Any,
    ) -> None:
        self.loom = loom
        self.operator = operator or Unattended()
        self.where = where or Keeping(Path("out"))
        self.assured = assured or Assured()
        self.proof: Proof | None = None
        self.wiggled: Wiggle | None = None
        self._bench = bench
        self._adapter = adapter
        self._loom_path = loom_path
        self._probe = probe
        self._more = more

    @classmethod
    def in_workshop(
        cls,
        loom: Loom,
        address: str,
        operator: Operator,
        *,
        loom_path: Path,
        adapter: Adapter | str | None = None,
        assured: Assured | None = None,
        person: str = "",
        place: str = "",
        stated: dict[str, Any] | None = None,
        **more: Any,
    ) -> Job:
        """Return a job of which ``workshop.toml`` says what is not said here.

        ``stated`` is what a person says for the certificate, by name; the item's ``serial`` may be among it.
        Raises `InputError` for a workshop's file that can't be read.
        """
        shop, said = find(loom_path), dict(stated or {})
        return cls(
            loom,
            address,
            adapter or shop.adapter(address),
            operator,
            assured=replace(assured or Assured(), require_calibration=shop.workshop.require_calibration),
            loom_path=loom_path,
            person=person or shop.workshop.person,
            place=place or shop.workshop.place,
            serial=said.pop("serial", ""),
            entered=shop.workshop.entered(address, said),
            **more,
        )

    @classmethod
    def unknown(cls, adapter: Adapter, bench: BenchAt, name: str, operator: Operator | None = None) -> Job:
        """Return the job of a loom of which only the adapter's cavities are known, to be traced."""
        from loomproof.jobs.trace import unknown_loom

        return cls(unknown_loom(adapter, name), bench, adapter, operator)

    @property
    def bench(self) -> BenchAt:
        """The bench, or its address. Raises `UsageError` for a job without one."""
        if self._bench is None:
            raise UsageError("this job has no bench", cure="Give it one that is open, or an address.")
        return self._bench

    @cached_property
    def adapter(self) -> Adapter:
        """The adapter. Raises `AdapterError` where a real bench's address wants one and none is named."""
        if isinstance(self._adapter, Adapter):
            return self._adapter
        if isinstance(self._bench, str):
            return adapter_for(self.loom, self._bench, self._adapter)
        return adapter_for(self.loom, "", self._adapter or "in-order")

    def prove(self) -> Running[Proof]:
        """Prove the loom, and seal nothing: `loomproof.jobs.prove.prove_on`. `proof` keeps the result."""
        return Running(self._prove(self._request()))

    def prove_and_keep(self) -> Running[Kept]:
        """Prove the loom, seal it, and write its files: `loomproof.jobs.prove.prove_and_keep`."""
        request = self._request()
        return Running(prove_and_keep(request, self._setup))

    def hook_ups(self, limits: Constraints | None = None, stop_after: int | None = None) -> Running[Kept]:
        """Prove a loom that is bigger than the bench, plug by plug: `loomproof.jobs.hookups.begin_hook_ups`.

        The adapter is made for each hook-up. Raises `UsageError` for a job that asks what only a whole loom
        can be asked: an insulation test, a probe, a saved plan.
        """
        from loomproof.jobs import hookups
        from loomproof.planning.hookup_search import Constraints

        self._refuse_whole()
        request = self._request(in_order(self.loom.cavities))
        return Running(hookups.begin_hook_ups(request, self._setup, limits or Constraints(), stop_after))

    def go_on(self, run: str, stop_after: int | None = None) -> Running[Kept]:
        """Go on with a stopped run as it was asked for then: `loomproof.jobs.hookups.continue_hook_ups`.

        Raises `UsageError` as `hook_ups` does.
        """
        from loomproof.jobs import hookups

        self._refuse_whole()
        return Running(hookups.continue_hook_ups(run, self.loom, self._setup, stop_after))

    def retest(self, touched: Iterable[End]) -> Running[Retested]:
        """Prove again the nets of these cavities, and judge them as a proof does; gives no certificate."""
        return Running(self._retest(self._request(), tuple(touched)))

    def retest_after(
        self,
        before: Document,
        also: Iterable[End] = (),
        numbers: Collection[int] = (),
        limits: Constraints | None = None,
        *,
        locate: bool = False,
    ) -> Running[Retested]:
        """Prove again what the repairs of a run can have touched: `loomproof.jobs.retest.retest_after`.

        With ``limits`` plug by plug, as `hook_ups` proves. With ``locate`` what is still there is placed.
        """
        from loomproof.jobs.retest import retest_after

        request = self._request(None if limits is None else in_order(self.loom.cavities))
        request = replace(request, locate=locate)
        return Running(retest_after(before, request, self._setup, also, numbers, limits))

    def trace(
        self,
        folder: Path,
        *,
        over: bool = False,
        known: bool = False,
        hook_ups: Constraints | None = None,
        go_on: bool = False,
        stop_after: int | None = None,
    ) -> Running[TracedLoom]:
        """Learn the unknown loom, and write it as a folder: `loomproof.jobs.trace.trace_to`.

        Of the job's own loom nothing counts but its name, its connectors' cavities and hazards, unless it is
        ``known``: then what it says is laid over what was traced. With ``hook_ups`` plug by plug:
        `loomproof.jobs.trace_hookups.trace_hook_ups`.
        """
        from loomproof.jobs.trace import hazards_of, refuse_a_hand, trace_to
        from loomproof.jobs.trace_hookups import trace_hook_ups

        refuse_a_hand(self.bench)
        said = self.assured
        hazards = hazards_of(self.loom, said.hazards)
        laid = self.loom if known else None
        place = folder, self.bench, self.operator, hazards, laid, said
        if hook_ups is not None:
            store = self.where.store
            return Running(trace_hook_ups(self.loom, *place, hook_ups, go_on, over, stop_after, store))
        return Running(trace_to(self.adapter, *place, name=self.loom.name, over=over, store=self.where.store))

    def learn_adapter(
        self, target: Path, patience: Patience | None = None, *, resume: bool = False
    ) -> Running[Adapter]:
        """Have an adapter's ends touched, and write it: `loomproof.jobs.learn_adapter.learn_adapter`."""
        from loomproof.jobs.learn_adapter import learn_adapter

        return Running(
            learn_adapter(
                self.loom,
                self.bench,
                target,
                self.operator,
                loom_path=self._loom_path,
                patience=patience,
                resume=resume,
            )
        )

    def name_touched(self, patience: Patience | None = None) -> Running[None]:
        """Tell of each touch which net it is: `loomproof.jobs.learn_adapter.name_touched`."""
        from loomproof.jobs.learn_adapter import name_touched

        loom, at, leads, path, sure = self.loom, self.bench, self.adapter, self._loom_path, self.assured
        return Running(
            name_touched(loom, at, leads, self.operator, loom_path=path, assured=sure, patience=patience)
        )

    def name(self, folder: Path, keys: Keys, car: Loom | None = None) -> Running[NamedLoom]:
        """Name the ends of a traced loom's folder by touch: `loomproof.jobs.naming.name_ends`."""
        from loomproof.jobs.naming import name_ends

        return Running(name_ends(folder, self.bench, self.operator, keys, self._adapter, car, self.assured))

    def wiggle(self, seconds: float, hands: Hands | None = None) -> Running[Wiggle]:
        """Watch it while it is moved: `loomproof.jobs.wiggle.watch_while_moved`. `wiggled` keeps it."""
        from loomproof.jobs.wiggle import Hands

        return Running(self._wiggle(self._request(), seconds, hands or Hands()))

    def replay(self, journal: Path, grade: Grade | None = None) -> Proof:
        """Work a journal of this loom out again, without a bench: `loomproof.jobs.replay.replay`."""
        from loomproof.jobs.replay import replay

        outcome = replay(journal, self.loom, grade)
        return Proof(outcome, journal.read_bytes())

    def issue(self, run: str) -> bytes:
        """Return a kept run's certificate as PDF: `loomproof.jobs.certificate.issue`."""
        from loomproof.jobs.archive import Archive

        return Archive(self.where.store).certificate(run)

    def correct(
        self,
        run: str,
        why: str,
        *,
        person: str | None = None,
        place: str | None = None,
        serial: str | None = None,
    ) -> str:
        """Correct what was typed in wrongly for a kept run: `loomproof.jobs.correct.correct`."""
        from loomproof.jobs.archive import Archive

        archive = Archive(self.where.store)
        return archive.correct(run, why, person=person, place=place, serial=serial)

    @property
    def _setup(self) -> Setup:
        return Setup(self.bench, self.operator, self.where, self._loom_path, self.assured)

    def _refuse_whole(self) -> None:
        if self._probe or any(map(self._more.get, ("insulation", "plan", "learn_capacitance"))):
            only = "an insulation test, a probe, a saved plan and what nets have in farads"
            raise UsageError(f"{only} want the whole loom on the bench at once, not hook-up by hook-up")

    def _request(self, adapter: Adapter | None = None) -> Request:
        moment = now()
        leads = adapter or self.adapter
        request = Request(self.loom, leads, run_name(moment), rfc3339(moment), **self._more)
        return replace(request, probed=without_point(request)) if self._probe else request

    def _prove(self, request: Request) -> Generator[Event, None, Proof]:
        with (
            tempfile.TemporaryDirectory() as folder,
            reached(known_meter(self.bench, self.operator), self._loom_path) as bench,
        ):
            journal = Path(folder) / "journal.jsonl"
            outcome = yield from prove_on(request, bench, journal, self.operator, self.assured, None)
            read = journal.read_bytes()
        document = outcome.document.model_copy(update={"journal_digest": sha256_hex(read)})
        self.proof = Proof(replace(outcome, document=document), read)
        ended(request)
        yield Finished(request.run, document.verdict)
        return self.proof

    def _retest(self, request: Request, touched: tuple[End, ...]) -> Generator[Event, None, Retested]:
        from loomproof.jobs.retest import retest

        with reached(known_meter(self.bench, self.operator), self._loom_path) as bench:
            clearance = yield from cleared(request, bench, self.operator, self.assured)
            what = f"retest of {', '.join(map(str, touched))}"
            request = yield from answered(
                bench,
                request,
                clearance,
                self.operator,
                what,
                lambda: retest(request, touched, bench, clearance),
            )
            found = yield from retest(request, touched, bench, clearance)
        written(bench)
        yield Finished(request.run, found.judgement.verdict)
        return found

    def _wiggle(self, request: Request, seconds: float, hands: Hands) -> Generator[Event, None, Wiggle]:
        from loomproof.jobs.wiggle import gathered, new_log, watch_while_moved

        log = new_log(seconds, hands)
        try:
            with reached(self.bench, self._loom_path) as bench:
                yield from watch_while_moved(request, bench, self.operator, self.assured, log)
        finally:
            if log.nets:
                self.wiggled = gathered(request, log, hands.places)
        assert self.wiggled is not None
        return self.wiggled
