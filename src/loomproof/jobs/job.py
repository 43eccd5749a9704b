"""A loom on an open bench, and what can be done with it: the jobs in ten lines of a script or a notebook."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Generic, TypeVar

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.interface import Bench
from loomproof.jobs.files import now, rfc3339, run_name
from loomproof.jobs.gate import Assured, cleared
from loomproof.jobs.keep import Keeping, Kept, ended, keep
from loomproof.jobs.operator import Operator, Unattended
from loomproof.jobs.prove import prove_on
from loomproof.jobs.retest import Retested, retest
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import End, Loom
from loomproof.measuring.events import Event, Finished, finish
from loomproof.notebook import Shown
from loomproof.planning.request import Request
from loomproof.records.canonical import sha256_hex
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Finding

T = TypeVar("T")


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
    def findings(self) -> tuple[Finding, ...]:
        """What was found, worst first."""
        return self.outcome.findings

    def keep(self, where: Keeping) -> Kept:
        """Seal it into the store, and write its files. Raises `RecordError`, `StoreError`."""
        where.out.mkdir(parents=True, exist_ok=True)
        journal = where.out / f"{self.document.run}.journal.jsonl"
        journal.write_bytes(self.journal)
        return finish(keep(self.outcome, journal, where))


class Running(Generic[T]):
    """A job that runs as its events are taken, once; ``result`` is there when they have ended."""

    def __init__(self, job: Generator[Event, None, T]) -> None:
        self._job = job
        self._result: list[T] = []

    def __iter__(self) -> Iterator[Event]:
        self._result.append((yield from self._job))

    def run(self, show: Callable[[Event], None] = lambda _: None) -> T:
        """Run to the end, showing each event, and return the result."""
        self._result.append(finish(self._job, show))
        return self.result

    @property
    def result(self) -> T:
        """What came of it. Raises `LookupError` before its events have ended."""
        if not self._result:
            raise LookupError("the job has not ended: take all of its events, or run it")
        return self._result[0]


class Job:
    """One loom on one open bench, through one adapter, with one operator.

    ``adapter`` is in the description's order unless given. ``assured`` is what was said beforehand of
    hazards and the like. ``more`` goes into each `Request`: ``answers``, ``person``, ``watch_s`` and so on.
    The bench stays open; whoever opened it closes it.

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
        bench: Bench,
        adapter: Adapter | None = None,
        operator: Operator | None = None,
        *,
        assured: Assured | None = None,
        **more: Any,
    ) -> None:
        self.loom = loom
        self.bench = bench
        self.adapter = adapter or in_order(loom.cavities)
        self.operator = operator or Unattended()
        self.assured = assured or Assured()
        self.proof: Proof | None = None
        self._more = more

    def prove(self) -> Running[Proof]:
        """Prove the loom. Events raise as `loomproof.jobs.prove.prove_on` does; `proof` keeps the result."""
        return Running(self._prove())

    def retest(self, touched: Iterable[End]) -> Running[Retested]:
        """Prove again the nets of these cavities, and judge them as a proof does; gives no certificate."""
        return Running(self._retest(tuple(touched)))

    def _request(self) -> Request:
        moment = now()
        return Request(self.loom, self.adapter, run_name(moment), rfc3339(moment), **self._more)

    def _prove(self) -> Generator[Event, None, Proof]:
        request = self._request()
        with tempfile.TemporaryDirectory() as folder:
            journal = Path(folder) / "journal.jsonl"
            outcome = yield from prove_on(request, self.bench, journal, self.operator, self.assured, None)
            read = journal.read_bytes()
        document = outcome.document.model_copy(update={"journal_digest": sha256_hex(read)})
        self.proof = Proof(replace(outcome, document=document), read)
        ended(request)
        yield Finished(request.run, document.verdict)
        return self.proof

    def _retest(self, touched: tuple[End, ...]) -> Generator[Event, None, Retested]:
        request = self._request()
        clearance = yield from cleared(request, self.bench, self.operator, self.assured)
        found = yield from retest(request, touched, self.bench, clearance)
        yield Finished(request.run, found.judgement.verdict)
        return found
