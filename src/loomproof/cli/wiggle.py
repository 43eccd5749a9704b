"""``wiggle``: watch a loom while a person moves it."""

from __future__ import annotations

import re
import sys
import threading
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loomproof.cli.options import Clearing, adapter_option, bench_option, clearing_options, loom_argument
from loomproof.cli.output import found, line, table
from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.events import Event, Moved
    from loomproof.jobs.wiggle import Hands, Wiggle
    from loomproof.loom.model import End

LONGEST_S = 4 * 3600.0


class Duration(click.types.FloatParamType):
    """A time as people say it: ``90s``, ``5min``, ``1.5h``; a bare number is seconds."""

    name = "time"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return seconds, or fail as click's own kinds do."""
        if isinstance(value, float):
            return value
        said = re.fullmatch(r"(\d+(?:[.,]\d+)?)\s*(s|min|h)?", str(value).strip())
        if said is None:
            self.fail(f"{value!r} is no time; write 90s, 5min or 1h.", param, ctx)
        seconds = float(said[1].replace(",", ".")) * {"min": 60.0, "h": 3600.0}.get(said[2] or "s", 1.0)
        if not 1.0 <= seconds <= LONGEST_S:
            self.fail(f"{value!r} is not from 1s to 4h.", param, ctx)
        return seconds


@click.command()
@loom_argument
@bench_option()
@adapter_option
@click.option("--for", "seconds", type=Duration(), default="5min", show_default=True, help="How long.")
@click.option(
    "--place",
    "places",
    multiple=True,
    metavar="NAME=PARTS",
    help="What a digit stands for: plugs and wires that move together, by commas. Else each connector.",
)
@clearing_options
def wiggle(
    loom: Path,
    address: str,
    adapter: str | None,
    seconds: float,
    places: tuple[str, ...],
    clearing: Clearing,
) -> int:
    """Watch all nets of LOOM while you move it, and tell each break and touch at once.

    Press 1 to 9 for what you move now, 0 for nothing named: the wire or contact is found by it. Ctrl-C ends
    it, and what was seen is shown. Exit codes: 0 nothing was seen in the whole time, 1 something was, 3 part
    of the time was not watched and nothing was seen.
    """
    from loomproof.cli.progress import Screen
    from loomproof.jobs.events import Moved, WatchBegins
    from loomproof.jobs.job import Job
    from loomproof.jobs.wiggle import Hands, places_of
    from loomproof.loom.reading import load

    described = load(loom).loom
    hands = Hands(places_of(described, _given(places)))
    job = Job.in_workshop(
        described,
        address,
        clearing.operator(),
        loom_path=loom,
        adapter=adapter,
        assured=clearing.assured(described),
    )
    screen = Screen()
    seen = 0

    def show(event: Event) -> None:
        nonlocal seen
        if isinstance(event, Moved):
            screen.clear()
            seen += event.length_us is None
            _tell(event, seen)
        elif isinstance(event, WatchBegins):
            keys.enter_context(_keys(hands))
        else:
            screen.show(event)

    for number, place in enumerate(hands.places, start=1):
        line(f"{number}: {place.name}", "  ", err=True)
    try:
        with ExitStack() as keys:  # whatever is asked before the watch begins is typed as ever
            job.wiggle(seconds, hands).run(show)
    except BaseException:
        screen.clear()
        if job.wiggled is not None:
            line("Broken off. What was seen until then:")
            _sum_up(job.wiggled)
        raise
    screen.clear()
    assert job.wiggled is not None
    code = found(_code(job.wiggled))
    _sum_up(job.wiggled)
    return code


def _given(said: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Return each place's parts by its name. Raises `UsageError`."""
    places: dict[str, tuple[str, ...]] = {}
    for each in said:
        name, sign, parts = each.partition("=")
        listed = tuple(part.strip() for part in parts.split(",") if part.strip())
        if not name.strip() or not sign or not listed or name.strip() in places:
            raise UsageError(f"--place {each}: write each name once, as --place left=LAMP,W2")
        places[name.strip()] = listed
    return places


def _code(wiggle: Wiggle) -> int:
    if wiggle.troubles:
        return 1
    watched = wiggle.watched
    short = watched.lost or watched.unwatched_s or watched.as_at_rest or watched.watched_s < watched.asked_s
    return 3 if short else 0


def _tell(event: Moved, number: int) -> None:
    """One line as a change begins, with a bell on a terminal, and its length as it ends."""
    where = f", {event.place} being moved" if event.place else ""
    if event.length_us is None:
        bell = "\a" if sys.stderr.isatty() else ""
        click.echo(bell, nl=False, err=True)
        line(
            f"{number}: {event.change.value} at {event.began_s:.3f} s: {_ends(event.cavities)}{where}",
            err=True,
        )
    else:
        line(f"over after {_time(event.length_us)}: {_ends(event.cavities)}", "   ", err=True)


def _ends(cavities: Sequence[End], most: int = 6) -> str:
    more = f" and {len(cavities) - most} more" if len(cavities) > most else ""
    return ", ".join(map(str, cavities[:most])) + more


def _time(us: int | None) -> str:
    return "not known" if us is None else f"{us} µs" if us < 10_000 else f"{us / 1000:.0f} ms"


def _sum_up(wiggle: Wiggle) -> None:
    """Say what was watched, then what was seen, likeliest cause first."""
    from loomproof.reports.words import plural

    watched = wiggle.watched
    shortest = (
        "how short an event is surely seen is not known, for this bench does not say how often it looked"
        if watched.shortest_us is None
        else f"shortest surely seen event {watched.shortest_us} µs"
    )
    many = [net for net in watched.nets if len(net.cavities) > 1]
    breaks = (
        f"{plural(len(many), 'net')} for breaks for {watched.watched_s:.1f} s"
        if many
        else "no net for breaks"
    )
    line(
        f"Watched {breaks}, and {len(watched.nets)} for touching each other for {watched.touches_s:.1f} s, "
        f"of {watched.asked_s:.0f} s asked; {shortest}."
    )
    if alone := len(watched.nets) - len(many):
        line(f"Nets of one tested cavity: {alone}. A break there shows nowhere.")
    if watched.as_at_rest:
        line(f"Not as described at rest, so that changes may be missed: {_ends(watched.as_at_rest)}.")
    if watched.lost:
        line(
            f"{watched.lost} events or more were lost on the line; {watched.unwatched_s:.1f} s are taken out "
            "of the time above."
        )
    if not wiggle.troubles:
        line("Nothing was seen in that time. What moves more rarely, shorter or otherwise is not ruled out.")
        return
    rows = []
    for trouble in wiggle.troubles:
        # Without a word of what was moved nothing tells them apart, and a share would seem to.
        second = trouble.suspects[1].share if len(trouble.suspects) > 1 else 0.0
        shown = [each for each in trouble.suspects if each.share >= second - 1e-9][:4]
        likely = [f"{each.what} ({each.share:.0%})" if trouble.places else each.what for each in shown]
        at = ", ".join(f"{name} {count}" for name, count in trouble.places.items())
        rows.append(
            (
                trouble.change.value,
                _ends(trouble.cavities),
                str(trouble.times),
                f"{_time(trouble.shortest_us)} to {_time(trouble.longest_us)}",
                at or "not said",
                ("; " if trouble.places else " or ").join(likely) or "anywhere that these are side by side",
            )
        )
    table(("what", "cavities", "times", "length", "while moving", "likeliest"), rows, figures={"times"})
    if any(trouble.places for trouble in wiggle.troubles):
        line("Shares are among what parts just these cavities, by how much more often each shows when moved.")


@contextmanager
def _keys(hands: Hands) -> Iterator[None]:
    """Take digits as they are pressed, where standard input is a terminal; leave it as it was."""
    if not sys.stdin.isatty() or sys.platform == "win32":
        yield
        return
    import termios
    import tty

    fileno = sys.stdin.fileno()
    before = termios.tcgetattr(fileno)
    over = threading.Event()
    reader = threading.Thread(target=_read_keys, args=(fileno, hands, over), daemon=True)
    tty.setcbreak(fileno)
    reader.start()
    try:
        yield
    finally:
        over.set()
        reader.join()
        termios.tcsetattr(fileno, termios.TCSADRAIN, before)


def _read_keys(fileno: int, hands: Hands, over: threading.Event) -> None:
    """Choose places by digit until it is over; a terminal that goes away ends it."""
    import os
    import select

    while not over.is_set():
        ready, _, _ = select.select([fileno], [], [], 0.1)
        if not ready:
            continue
        try:
            pressed = os.read(fileno, 1)
        except OSError:
            return
        if not pressed:
            return
        if pressed.isdigit():
            name = hands.choose(int(pressed))
            click.echo(f"\r\x1b[Kmoving: {name or 'nothing named'}", err=True)
