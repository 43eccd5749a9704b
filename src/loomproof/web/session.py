"""The one job of a server: it runs in a thread, tells what it does, and asks; pages come and go.

What a page sees is a state with a number that grows with each change, so that one which comes back asks for
what is new since the number it knows, and one that comes for the first time for everything.
"""

from __future__ import annotations

import ctypes
import threading
import time
import traceback
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from loomproof.errors import BrokenOffError, Do, InputError, LoomproofError, UsageError
from loomproof.jobs.events import Event, Finished, Progress, Prompt, Shown, TouchAsked, WatchBegins
from loomproof.jobs.keep import Orders
from loomproof.jobs.running import Running
from loomproof.loom.model import End
from loomproof.web.asking import PageOperator, Question
from loomproof.web.sight import Seen, Sight
from loomproof.web.states import State, later, seen_by

LIFE_S = 2.5
"""So long after the last sign of life of who drives a watch is ended: a bench is not driven for nobody, s.

A bench is asked for 1.5 s at a time while nothing moves on it, and confirms the release within 0.5 s as a
rule, so nothing is driven 5 s after the last sign.
"""

LOOKS_S = 0.2
"""How often it is looked whether somebody is there, and a question whether it is still waited for, s."""

LONELY = (
    f"The browser at the bench gave no sign of life for {LIFE_S:g} s, and a bench is not driven for nobody. "
    "Keep its page open and in front."
)
"""Why a watch was ended that nobody looked on."""

MOST_TOLD = 60
"""So many of the last things that were told stand on the page."""

How = Callable[[Do | None], str]


@dataclass(frozen=True)
class Ending:
    """What a finished job comes to: ``word`` in big letters (a verdict), lines, cavities, where to go on.

    ``link`` is what the way to ``page`` is called.
    ``table`` is rows of texts, the first of which are the heads.
    """

    verdict: str
    word: str
    lines: tuple[str, ...]
    states: Mapping[End, State]
    page: str = ""
    link: str = "Findings, repairs and certificate"
    table: tuple[tuple[str, ...], ...] = ()


@dataclass(frozen=True)
class Work:
    """A job that may begin: its title, its loom's name here and cavities, its events, what it comes to.

    One that watches the loom or waits for a touch has no end of its own: from `WatchBegins`, `TouchAsked` or
    `Shown` on it is ended without who drives. ``sight`` is what a page of its own sees of it.
    """

    title: str
    loom: str
    cavities: tuple[End, ...]
    running: Running[Any]
    ending: Callable[[Any], Ending]
    sight: Sight = field(default_factory=Sight)


@dataclass
class _Now:
    """What the pages see; ``stamp`` is the number of the last change."""

    stamp: int = 1
    fields: dict[str, Any] = field(default_factory=dict)
    stamps: dict[str, int] = field(default_factory=dict)
    cavities: dict[End, tuple[int, State]] = field(default_factory=dict)
    view: dict[str, tuple[int, Any]] = field(default_factory=dict)
    items: dict[str, tuple[int, Any]] = field(default_factory=dict)


class Session:
    """Runs one job at a time. ``how`` says how a person asks for what the program can do besides."""

    def __init__(self, how: How = lambda _: "", clock: Callable[[], float] = time.monotonic) -> None:
        self._how, self._clock = how, clock
        # An order to stop may come to the job's thread anywhere, as Ctrl-C does. A lock that is written in C
        # is taken or not taken then; one in Python could be taken and never given back.
        self._lock = threading.RLock()
        self._turn = threading.Condition(self._lock)
        self._now = _Now()
        self._thread: threading.Thread | None = None
        self._ordered = self._leaving = self._watching = self._lonely = False
        self._life_s = clock()
        self._orders: Orders | None = None
        self._answer: list[object] = []
        self._sight = Sight()
        self._asked = self._begun = 0
        self._unasked: list[dict[str, Any]] = []  # told since somebody was last asked for a yes
        self._set(
            phase="idle", told=[], question=None, error=None, ending=None, progress=None, stopping=False
        )

    def begin(self, make: Callable[[PageOperator, Callable[[], Orders]], Work]) -> None:
        """Begin a job; what is wrong with it at once is raised here.

        ``make`` gets whom to ask, and what holds orders to stop back once all is measured. Raises
        `UsageError` while another job runs.
        """
        with self._lock:
            if self._thread is not None and self._thread.is_alive():
                raise UsageError("a job runs already", cure="Wait for its end, or stop it first.")
            work = make(PageOperator(self._ask), self._hold)
            self._ordered = self._leaving = self._watching = self._lonely = False
            self._orders, self._life_s = None, self._clock()
            self._begun += 1
            self._now.cavities = dict.fromkeys(work.cavities, (self._now.stamp + 1, State.WAITING))
            self._now.view, self._now.items = {}, {}
            self._sight, self._unasked = work.sight, []
            self._set(
                phase="running",
                begun=self._begun,
                title=work.title,
                loom=work.loom,
                page=work.sight.page,
                told=[],
                question=None,
                error=None,
                ending=None,
                progress=None,
                stopping=False,
            )
            self._take(work.sight.begun())
            self._thread = threading.Thread(target=self._run, args=(work,), name="job")
            self._thread.start()
            threading.Thread(target=self._guard, args=(self._thread,), name="guard", daemon=True).start()

    def stop(self) -> None:
        """Order the job to stop: it releases the bench and claims nothing; what is sealed already stays."""
        with self._lock:
            if self.running:
                self._set(stopping=True)
                self._order()

    def close(self) -> None:
        """Stop, and wait until the bench is released."""
        self.stop()
        if self._thread is not None and self._thread.ident is not None:
            self._thread.join()

    def alive(self) -> None:
        """Take a sign of life of who drives."""
        with self._lock:
            self._life_s = self._clock()

    def look(self) -> None:
        """End a watch that nobody looks on any more, though its bench may have told nothing for a while."""
        with self._lock:
            if self._watching and self.running and self._clock() - self._life_s > LIFE_S:
                self._lonely = True
                self._order()

    def _guard(self, job: threading.Thread) -> None:
        """Look, for as long as a job runs, whether somebody is there."""
        while job.is_alive():
            self.look()
            job.join(LOOKS_S)

    def answer(self, number: int, said: object) -> None:
        """Answer the question that stands. Raises `UsageError` for one that does not stand any more."""
        with self._lock:
            question = self._now.fields["question"]
            if question is None or question["number"] != number or self._answer:
                raise UsageError("this question was answered already", cure="Look at what stands there now.")
            self._answer.append(said)
            self._life_s = self._clock()
            self._turn.notify_all()

    def say(self, said: Mapping[str, object]) -> None:
        """Say something to the job that runs. Raises `UsageError` where none runs, or it can't be meant."""
        if not self.running:
            raise UsageError("no job runs that this could be said to", cure="Begin one.")
        self._take(self._sight.hear(said))

    @property
    def sight(self) -> Sight:
        """What the page of the job that runs or ran last sees of it."""
        return self._sight

    @property
    def running(self) -> bool:
        """Whether a job runs."""
        return bool(self._now.fields["phase"] == "running")

    @property
    def loom(self) -> str:
        """The loom of the job that runs or ran last, as it was called; "" for none."""
        return str(self._now.fields.get("loom", ""))

    def since(self, stamp: int) -> dict[str, Any]:
        """Return what has changed since a stamp (0: everything) with the stamp to ask with next."""
        with self._lock:
            now = self._now
            found = {name: now.fields[name] for name, changed in now.stamps.items() if changed > stamp}
            cavities = {str(end): state for end, (changed, state) in now.cavities.items() if changed > stamp}
            for name, kept in (("view", now.view), ("items", now.items)):
                if new := {key: value for key, (changed, value) in kept.items() if changed > stamp}:
                    found[name] = new
            return {**found, "cavities": cavities, "stamp": now.stamp}

    @property
    def stamp(self) -> int:
        """The number of the last change."""
        return self._now.stamp

    def _set(self, **values: Any) -> None:
        self._now.stamp += 1
        for name, value in values.items():
            self._now.fields[name] = value
            self._now.stamps[name] = self._now.stamp

    def _states(self, states: Mapping[End, State]) -> None:
        self._now.stamp += 1
        for end, state in states.items():
            self._now.cavities[end] = self._now.stamp, state

    def _take(self, seen: Seen) -> None:
        """Put on the page what a job's own page sees besides."""
        with self._lock:
            for kept, new in ((self._now.view, seen.values), (self._now.items, seen.items)):
                if new:
                    self._now.stamp += 1
                    kept |= {key: (self._now.stamp, value) for key, value in new.items()}
            if seen.waits is not None:
                what, done, total = seen.waits
                self._set(progress={"what": what, "done": done, "total": total, "left_s": None})

    def _hold(self) -> Orders:
        """All is measured: from now on an order to stop breaks nothing off."""
        with self._lock:
            late = self._ordered and not self._leaving
            if late:
                _take_back(threading.get_ident())
            self._orders = Orders(late)
            return self._orders

    def _order(self) -> None:
        """Have the job broken off: once, and not while it releases the bench or seals what it measured."""
        if self._orders is not None:
            self._orders.stop = True
        elif not (self._ordered or self._leaving) and self._thread is not None:
            self._ordered = True
            _interrupt(self._thread.ident or 0)
            self._turn.notify_all()

    def _run(self, work: Work) -> None:
        try:
            self._end(**self._come_to(work))
        except KeyboardInterrupt:  # between the job's end and what is told of it
            self._end(**self._stopped())

    def _come_to(self, work: Work) -> dict[str, Any]:
        """Run the job, and return what its page shows at the end; no order comes once this returns."""
        try:
            ending = work.ending(work.running.run(self._show))
            with self._lock:
                # What sensing alone has seen and no document calls tested is not tested.
                unsaid = dict.fromkeys(self._now.cavities, State.UNTESTED) if ending.states else {}
                self._states({**unsaid, **ending.states})
            come_to: dict[str, Any] = {"ending": _shown(ending)}
        except LoomproofError as error:
            come_to = {"error": told(error, self._how), "ending": _shown(work.sight.left())}
        except KeyboardInterrupt:
            by_hand = None if self._lonely else work.sight.stopped()
            come_to = {"ending": _shown(by_hand)} if by_hand else self._stopped(work.sight.left())
        except Exception:  # a mistake of the program is told where the job was asked for, and in full besides
            traceback.print_exc()
            lines = ["What was sealed stays. The terminal of the server shows more."]
            said = "this is a mistake of the program; it claims nothing of a loom"
            come_to = {"error": {"message": said, "lines": lines}}
        with self._lock:
            self._leaving = True
        return come_to

    def _stopped(self, left: Ending | None = None) -> dict[str, Any]:
        claimed = "nothing is claimed from it" if left is None else "what there was until then is told"
        stopped = BrokenOffError(f"it was stopped before its end; {claimed}")
        return {"error": told(stopped, self._how), "ending": _shown(left)}

    def _end(self, **values: Any) -> None:
        with self._lock:
            if self._lonely and values.get("error"):
                values["error"]["lines"] = [LONELY, *values["error"]["lines"]]
            self._set(phase="ended", question=None, progress=None, stopping=False, **values)

    def _show(self, event: Event) -> None:
        with self._lock:
            if isinstance(event, Progress):
                self._set(
                    progress={
                        "what": event.what,
                        "done": event.done,
                        "total": event.total,
                        "left_s": event.remaining_s,
                    }
                )
            elif isinstance(event, Prompt):
                self._tell(event)
            elif isinstance(event, WatchBegins | TouchAsked | Shown):
                self._watching = True
            elif isinstance(event, Finished):
                self._watching = False
            else:
                self._saw(seen_by(event))
            self._take(self._sight.see(event))

    def _saw(self, seen: Mapping[End, State]) -> None:
        old = self._now.cavities
        new = {end: later(old[end][1], state) for end, state in seen.items() if end in old}
        changed = {end: state for end, state in new.items() if state is not old[end][1]}
        if changed:
            self._states(changed)

    def _tell(self, prompt: Prompt) -> None:
        """Put on the page what a person is told, and how the program does what it can about it."""
        lines = [*prompt.lines, *filter(None, [self._how(prompt.do)])]
        said = {"text": prompt.text.strip(), "lines": lines}
        self._unasked.append(said)
        self._set(told=[*self._now.fields["told"], said][-MOST_TOLD:])

    def _ask(self, question: Question) -> object:
        """Put a question on the page and wait for the answer; ``None`` once the job is being left."""
        with self._lock:
            if self._ordered:
                return None
            self._asked += 1
            self._answer = []
            said = {name: getattr(question, name) for name in ("kind", "text", "items", "yes", "no", "end")}
            meant = []  # a yes is to all that was told since the last: it stands in the question itself
            if question.kind == "yes":
                meant, self._unasked = self._unasked, []
            self._set(question={"number": self._asked, "told": meant, **said})
            try:
                while not self._answer:  # an order to stop is raised in here
                    self._turn.wait(LOOKS_S)
            finally:
                self._set(question=None)
            return self._answer[0]


def _shown(ending: Ending | None) -> dict[str, Any] | None:
    names = ("verdict", "word", "lines", "page", "link", "table")
    return None if ending is None else {name: getattr(ending, name) for name in names}


def _interrupt(thread: int) -> None:
    """Raise `KeyboardInterrupt` in a thread, as a signal does in the main one (C API of CPython)."""
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), ctypes.py_object(KeyboardInterrupt))


def _take_back(thread: int) -> None:
    """Take an interruption back that has not come to its thread yet."""
    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread), None)


def told(error: LoomproofError, how: How) -> dict[str, Any]:
    """Return an error as a page shows it: what, each problem with its place, what to do about it."""
    problems: Iterable[str] = ()
    if isinstance(error, InputError):
        problems = (" ".join(filter(None, (str(each), how(each.do)))) for each in error.problems)
    return {"message": error.message, "lines": [*problems, *filter(None, (error.cure, how(error.do)))]}
