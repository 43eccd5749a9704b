"""A server whose job is made up: as many events as a big loom or an hour brings, ordered line by line.

    python -m tests.figures.web_flood LOOMS OUT

Prints its address. A job begins when it is named, and tells on at ``go``: ``big`` shows every cavity of the
loom ``big`` sensed, then measured, and prints when each was told, seconds since 1970 by cavity; ``hour N``
tells so many seconds of watching the loom ``watched``.
"""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Callable, Generator, Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

from loomproof.jobs.events import Change, Event, Moved, Progress, Prompt, Reading, WatchBegins
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Orders
from loomproof.jobs.running import Running
from loomproof.jobs.wiggle import Hands, places_of
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.web.asking import PageOperator
from loomproof.web.moving import Watching
from loomproof.web.server import serve
from loomproof.web.session import Ending, Session, Work
from loomproof.web.sight import Sight
from loomproof.web.workplace import Workplace

READINGS_A_S = 250
"""As many as a scanner over a fast line gives; every cavity of a big loom is read within ten seconds."""

SENSES = 12
"""Sense vectors, each of which tells of every cavity at once: 2 048 nets want 11 (planning/THEORY.md)."""

SECOND_S = 0.015
"""A second of the hour is told in so much time, s."""


GO = threading.Event()


def big(loom: Loom) -> Generator[Event, None, dict[str, float]]:
    """Tell the readings of a big loom at a scanner's pace; return when each cavity was told last."""
    cavities, told_s = loom.cavities, {}
    yield Progress("waiting for the page")
    while not GO.wait(0.05):  # in pieces: an order to stop comes between them
        pass
    for turn in range(SENSES):
        half = tuple(end for place, end in enumerate(cavities) if place >> turn & 1)
        yield Progress("sensing all nets", turn, SENSES, 10.0)
        yield Reading("sense", half, cavities)
        time.sleep(0.2)
    pairs = list(zip(cavities[::2], cavities[1::2], strict=True))
    for number, (a, b) in enumerate(pairs):
        yield Progress("measuring", number, len(pairs), (len(pairs) - number) / READINGS_A_S)
        told_s[str(a)] = told_s[str(b)] = time.time()
        yield Reading("resistance", (a,), (b,), 0.1)
        time.sleep(1 / READINGS_A_S)
    time.sleep(1.0)
    return told_s


def hour(loom: Loom, seconds: int) -> Generator[Event, None, dict[str, float]]:
    """Tell what an hour of watching brings: each second a change, begun and ended, 20 readings, progress."""
    nets = tuple((wire.a, wire.b) for wire in loom.wires if wire.a.cavity and wire.b.cavity)
    yield Progress("waiting for the page")
    while not GO.wait(0.05):  # in pieces: an order to stop comes between them
        pass
    yield WatchBegins(float(seconds), nets)
    for second in range(seconds):
        net = second % len(nets)
        begun = Moved(float(second), Change.BREAK, (net,), nets[net][:1], None, "")
        yield begun
        for number in range(20):
            a, b = nets[(second + number) % len(nets)]
            yield Reading("resistance", (a,), (b,), 0.1)
        yield Moved(float(second), Change.BREAK, (net,), nets[net][:1], 1500, "")
        yield Progress("watching", second, seconds, float(seconds - second))
        if second % 60 == 0:
            yield Prompt(f"Minute {second // 60}: go on moving the loom.", ("One plug after another.",))
        time.sleep(SECOND_S)
    return {}


def _ended(told_s: dict[str, float]) -> Ending:
    sys.stdout.write(json.dumps(told_s) + "\n")
    sys.stdout.flush()
    return Ending("told", "Told", (), {})


def _work(place: Workplace, words: list[str]) -> Callable[[PageOperator, Callable[[], Orders]], Work]:
    def make(_: PageOperator, __: Callable[[], Orders]) -> Work:
        name = "big" if words[0] == "big" else "watched"
        loom = load(place.loom(name)).loom
        if name == "big":
            job, sight = big(loom), Sight()
        else:
            job = hour(loom, int(words[1]))
            # Of the job the page only asks, at the end, what was seen.
            sight = Watching(loom, Hands(places_of(loom)), cast(Job, SimpleNamespace(wiggled=None)))
        running: Running[Any] = Running(job)
        return Work(f"Told of {name}", name, loom.cavities, running, _ended, sight=sight)

    return make


def _orders(session: Session, place: Workplace, lines: Iterator[str]) -> None:
    for line in lines:
        if line.strip() == "go":
            GO.set()
        else:
            GO.clear()
            session.begin(_work(place, line.split()))


def main(looms: str, out: str) -> None:
    """Serve until told to stop."""
    session = Session()
    place = Workplace(Path(looms), Path(out), str(Path(out) / "records.db"))

    def ready(address: str) -> None:
        sys.stdout.write(address + "\n")
        sys.stdout.flush()

    threading.Thread(target=_orders, args=(session, place, sys.stdin), daemon=True).start()
    serve(place, ready, session=session)


if __name__ == "__main__":
    main(*sys.argv[1:])
