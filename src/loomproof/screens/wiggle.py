"""What a person sees of a loom that is moved, as it happens and in the end; the digits pressed for it."""

from __future__ import annotations

import json
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.screens.printing import line, table, terminal

if TYPE_CHECKING:
    from loomproof.jobs.events import Event, Moved
    from loomproof.jobs.running import Running
    from loomproof.jobs.wiggle import Hands, Wiggle
    from loomproof.loom.model import Loom
    from loomproof.screens.notes import How


def watch(job: Running[Wiggle], hands: Hands, how: How) -> None:
    """Run a watch to its end, told as it happens, digits taken while it lasts."""
    from loomproof.jobs.events import Moved, WatchBegins
    from loomproof.screens.progress import Screen

    screen = Screen(how)
    seen = 0

    def show(event: Event) -> None:
        nonlocal seen
        if isinstance(event, Moved):
            screen.clear()
            seen += event.length_us is None
            _tell(event, seen)
        elif isinstance(event, WatchBegins):
            keys.enter_context(_digits(hands))
        else:
            screen.show(event)

    for number, place in enumerate(hands.places, start=1):
        line(f"{number}: {place.name}", "  ", err=True)
    try:
        with ExitStack() as keys:  # whatever is asked before the watch begins is typed as ever
            job.run(show)
    finally:
        screen.clear()


def _tell(event: Moved, number: int) -> None:
    """One line as a change begins, with a bell on a terminal, and its length as it ends."""
    from loomproof.reports.moved_words import begun_told, ends_told, length_told

    if event.length_us is None:
        bell = "\a" if sys.stderr.isatty() else ""
        click.echo(bell, nl=False, err=True)
        line(f"{number}: {begun_told(event)}", err=True)
    else:
        line(f"over after {length_told(event.length_us)}: {ends_told(event.cavities)}", "   ", err=True)


def told_and_kept(wiggle: Wiggle, loom: Loom, picture: Path | None, json_file: str | None) -> None:
    """Sum a watch up, and write its picture and its figures where they are asked for.

    Where the figures go to standard output the words go to standard error.
    """
    from loomproof.jobs.files import write_file
    from loomproof.screens.streams import write_json

    on_stdout = json_file == "-"
    if json_file is not None:
        plain = wiggle.plain(loom)
        write_json(json_file, (json.dumps(plain, indent=2, ensure_ascii=False) + "\n").encode())
    sum_up(wiggle, err=on_stdout)
    if picture is not None:
        write_file(picture, wiggle.picture(loom.name).encode())
        line(f"Drawn: {picture}", err=on_stdout)
    if json_file is not None and not on_stdout:
        line(f"Written: {json_file}")


def sum_up(wiggle: Wiggle, *, err: bool = False) -> None:
    """Say what was watched, then what was seen, likeliest cause first."""
    from loomproof.reports.moved_words import HEADS, NOTHING_SEEN, SHARES, rows, summed

    for text in summed(wiggle.watched):
        line(text, err=err)
    if not wiggle.troubles:
        line(NOTHING_SEEN, err=err)
        return
    table(HEADS, rows(wiggle.troubles), figures={"times"}, on=terminal(err=err))
    if any(trouble.places for trouble in wiggle.troubles):
        line(SHARES, err=err)


@contextmanager
def _digits(hands: Hands) -> Iterator[None]:
    """Take digits as they are pressed, where standard input is a terminal; leave it as it was."""
    if not sys.stdin.isatty():
        yield
        return
    over = threading.Event()
    with _keys() as pressed:
        reader = threading.Thread(target=_choose, args=(pressed, hands, over), daemon=True)
        reader.start()
        try:
            yield
        finally:
            over.set()
            reader.join()


@contextmanager
def _keys() -> Iterator[Callable[[], str | None]]:
    """Have keys come at once and unseen; yield what takes one: "" for none soon, ``None`` at the end."""
    if sys.platform == "win32":
        import msvcrt

        yield partial(console_key, msvcrt.kbhit, msvcrt.getwch)
        return
    import termios
    import tty

    fileno = sys.stdin.fileno()
    before = termios.tcgetattr(fileno)
    tty.setcbreak(fileno)
    try:
        yield partial(_terminal_key, fileno)
    finally:
        termios.tcsetattr(fileno, termios.TCSADRAIN, before)


_SOON_S = 0.1


def console_key(waits: Callable[[], bool], take: Callable[[], str], pause_s: float = _SOON_S) -> str:
    """Return a key of a Windows console, "" where none waits after a pause; a function key is no key here."""
    if not waits():
        time.sleep(pause_s)
        return ""
    key = take()
    if key in ("\x00", "\xe0"):
        take()  # which function key it was
        return ""
    return key


def _terminal_key(fileno: int) -> str | None:
    import os
    import select

    ready, _, _ = select.select([fileno], [], [], _SOON_S)
    if not ready:
        return ""
    try:
        return os.read(fileno, 1).decode("latin-1") or None
    except OSError:
        return None


def _choose(pressed: Callable[[], str | None], hands: Hands, over: threading.Event) -> None:
    """Choose places by digit until it is over; a terminal that goes away ends it."""
    while not over.is_set():
        key = pressed()
        if key is None:
            return
        if key and key in DIGITS:
            name = hands.choose(int(key))
            click.echo(f"\r\x1b[Kmoving: {name or 'nothing named'}", err=True)


DIGITS = "0123456789"
