"""What was seen of a loom that was moved, in words: each change as it comes, the sum of a watch, a table."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from loomproof.loom.model import End
from loomproof.loom.text import first_of
from loomproof.reports.words import plural
from loomproof.results.wiggled import Moved, Suspect, Trouble, Wiggled

HEADS = ("what", "cavities", "times", "length", "while moving", "likeliest")
"""What each row of `rows` has."""

NOTHING_SEEN = "Nothing was seen in that time. What moves more rarely, shorter or otherwise is not ruled out."

SHARES = "Shares are among what parts just these cavities, by how much more often each shows when moved."
"""What the shares of a table mean; said where there are any."""

ANYWHERE = "anywhere that these are side by side"
"""Where a touch can be: it has no suspects."""

MOST_ENDS = 6
MOST_SUSPECTS = 4


def ends_told(cavities: Sequence[End]) -> str:
    """Return cavities with commas, of many the first."""
    return first_of(cavities, MOST_ENDS)


def length_told(us: int | None) -> str:
    """Return how long a change lasted, µs; ``None`` where it had not ended."""
    if us is None:
        return "not known"
    return f"{us} µs" if us < 1000 else f"{us / 1000:.1f} ms" if us < 10_000 else f"{us / 1000:.0f} ms"


def surely_told(us: int) -> str:
    """Return the shortest length that is surely seen, µs, rounded up: rounded down it would claim more."""
    step = 1 if us < 1000 else 100 if us < 10_000 else 1000
    return length_told(-(-us // step) * step)


def begun_told(moved: Moved) -> str:
    """Return what is said of a change as it begins."""
    where = f", {moved.place} being moved" if moved.place else ""
    return f"{moved.change.value} at {moved.began_s:.3f} s: {ends_told(moved.cavities)}{where}"


def likeliest_told(suspects: Sequence[Suspect], *, shares: bool) -> str:
    """Return who is likeliest to have done it.

    Without a word of what was moved nothing tells suspects apart, and a share would seem to: then all of the
    first are named without (``shares`` false).
    """
    second = suspects[1].share if len(suspects) > 1 else 0.0
    first = [each for each in suspects if each.share >= second - 1e-9][:MOST_SUSPECTS]
    likely = [f"{each.what} ({each.share:.0%})" if shares else each.what for each in first]
    return ("; " if shares else " or ").join(likely) or ANYWHERE


def summed(watched: Wiggled) -> Iterator[str]:
    """Yield what was watched, for how long, and what of it was not."""
    shortest = (
        "how short an event is surely seen is not known, for this bench does not say how often it looked"
        if watched.shortest_us is None
        else f"shortest surely seen event {surely_told(watched.shortest_us)}"
    )
    many = [net for net in watched.nets if len(net.cavities) > 1]
    breaks = (
        f"{plural(len(many), 'net')} for breaks for {watched.watched_s:.1f} s"
        if many
        else "no net for breaks"
    )
    yield (
        f"Watched {breaks}, and {len(watched.nets)} for touching each other for {watched.touches_s:.1f} s, "
        f"of {watched.asked_s:.0f} s asked; {shortest}."
    )
    if alone := len(watched.nets) - len(many):
        yield f"Nets of one tested cavity: {alone}. A break there shows nowhere."
    if watched.as_at_rest:
        yield f"Not as described at rest, so that changes may be missed: {ends_told(watched.as_at_rest)}."
    if watched.lost:
        yield (
            f"{watched.lost} events or more were lost on the line; {watched.unwatched_s:.1f} s are taken out "
            "of the time above."
        )


def rows(troubles: Sequence[Trouble]) -> tuple[tuple[str, ...], ...]:
    """Return a row of texts for each trouble, likeliest cause first, under `HEADS`."""
    return tuple(
        (
            trouble.change.value,
            ends_told(trouble.cavities),
            str(trouble.times),
            f"{length_told(trouble.shortest_us)} to {length_told(trouble.longest_us)}",
            ", ".join(f"{name} {count}" for name, count in trouble.places.items()) or "not said",
            likeliest_told(trouble.suspects, shares=bool(trouble.places)),
        )
        for trouble in troubles
    )
