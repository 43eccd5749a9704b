"""What happens while a job runs, one frozen value each, for whoever shows it: a terminal, a page, a test.

A job is a generator of events that returns its result. Reading on is what drives it: an event that is not
taken holds it up, and closing it, or throwing an error into it, releases the bench.
"""

from __future__ import annotations

from collections.abc import Callable, Generator
from dataclasses import dataclass
from typing import TypeVar

from loomproof.errors import Do
from loomproof.loom.model import End
from loomproof.naming.screen import Shown
from loomproof.results.measured import Judged, JudgedDiode
from loomproof.results.wiggled import Moved


@dataclass(frozen=True, slots=True)
class Progress:
    """What is about to be done, and how far the run is (``done`` of ``total`` in this stretch).

    ``remaining_s`` is about how long the rest of the stretch takes, s; ``None`` where nobody can say.
    """

    what: str
    done: int = 0
    total: int = 0
    remaining_s: float | None = None


@dataclass(frozen=True, slots=True)
class Reading:
    """What the bench answered. ``kind``: ``sense``, ``resistance`` or ``diode``.

    Of a sense ``a`` was driven and ``b`` read low. Of the others it is from ``a``, joined, to ``b``, joined,
    and ``value`` is Ω or V, inf where nothing flows.
    """

    kind: str
    a: tuple[End, ...]
    b: tuple[End, ...]
    value: float | None = None


@dataclass(frozen=True, slots=True)
class NetsFound:
    """Which cavities are one conductor, as sensed; ``as_described``: and they should be."""

    nets: tuple[frozenset[End], ...]
    as_described: bool


@dataclass(frozen=True, slots=True)
class ContactMoved:
    """Seen by a watch: these cavities read otherwise than before, ``time_s`` after it began."""

    time_s: float
    cavities: tuple[End, ...]


@dataclass(frozen=True, slots=True)
class WatchBegins:
    """From now on, for ``seconds``, a person moves the loom and may say what is being moved.

    ``nets`` are the cavities of each net that is watched, by its number in `Moved.nets`.
    """

    seconds: float
    nets: tuple[tuple[End, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class TouchAsked:
    """A person is to touch this end with the probe now, the ``number`` of so many; ``None``: any end."""

    cavity: End | None = None
    number: int = 0
    of: int = 0


@dataclass(frozen=True, slots=True)
class Touched:
    """The probe touches these points; ``cavities`` is what is known to be on them."""

    points: tuple[int, ...]
    cavities: tuple[End, ...]


@dataclass(frozen=True, slots=True)
class Lifted:
    """The probe is off all that was told of the last touch; it may be on something else by then."""


@dataclass(frozen=True, slots=True)
class Prompt:
    """What a person is told, often before the operator is asked: a sentence, and a list that goes with it.

    ``do`` is what the program can do about it; a front end adds how that is asked for.
    """

    text: str
    lines: tuple[str, ...] = ()
    do: Do | None = None


@dataclass(frozen=True, slots=True)
class Finished:
    """The job's last word: its run, and the verdict where it gives one."""

    run: str
    verdict: str = ""


Event = (
    Progress
    | Reading
    | NetsFound
    | Judged
    | JudgedDiode
    | ContactMoved
    | WatchBegins
    | Moved
    | TouchAsked
    | Touched
    | Lifted
    | Prompt
    | Finished
    | Shown
)

T = TypeVar("T")


def finish(job: Generator[Event, None, T], show: Callable[[Event], None] = lambda _: None) -> T:
    """Run a job to its end, showing each event, and return what comes of it.

    What goes wrong while an event is shown, Ctrl-C too, is thrown into the job: it releases the bench and
    says what is left, as of anything else that ends it.
    """
    try:
        event = next(job)
        while True:
            try:
                show(event)
            except BaseException as error:
                event = job.throw(error)
            else:
                event = next(job)
    except StopIteration as stop:
        value: T = stop.value
        return value
