"""Whether a loom reads the same again, and while it is moved."""

from __future__ import annotations

from collections.abc import Generator, Iterator, Sequence
from dataclasses import replace
from functools import reduce
from operator import or_
from typing import NamedTuple

from loomproof.bench.seam import WatchEvent, WatchSummary
from loomproof.errors import LinkError, LostEventError, Todo, UnfitError
from loomproof.loom.model import End
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import ContactMoved, Event, Prompt
from loomproof.measuring.separate_nets import Groups
from loomproof.measuring.wiggle import shortest_seen_us
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.results.wiggled import NetWatched, Wiggled


def unsteady_nets(
    plan: Plan, asker: Asker, lows: Sequence[int], groups: Groups, watch_s: float
) -> Generator[Event, None, tuple[tuple[int, ...], Wiggled | None]]:
    """Sense again (and watch, where asked for): points that do not read as before come and go.

    Returns the points of one net that changed together in one question, each set once, and what was watched
    for how long, ``None`` for nothing.
    """
    if not plan.vectors:
        return (), None
    scope = plan.scope
    drives = [vector.drive for vector in plan.vectors]
    watching = watch_s > 0 and asker.capabilities().watch_us is not None
    # With one point of every conductor driven, all must stay low: any open shows in one set.
    heads = [sum(scope.bit(min(group)) for group in groups)] if watching else []
    again = asker.sense([*heads, *drives])
    changed = [low ^ other for low, other in zip(lows, again[len(heads) :], strict=True)]
    if watching:
        yield Prompt(
            f"Move the loom now, for {watch_s:g} s: bend every branch, and move each plug and each splice."
        )
        seen = share = 0
        shares: list[_Share] = []
        standing: dict[int, int] = {}  # what each set reads otherwise than before, just now
        for change in _watched(asker, tuple(zip([*heads, *drives], again, strict=True)), watch_s, shares):
            changed.append(change.low)
            if len(shares) != share:  # another watch, of other sets
                share = len(shares)
                standing.clear()
            # Several sets show one contact open, a moment apart: it is told when the first does.
            fresh = change.low & ~reduce(or_, standing.values(), 0)
            standing[change.index] = change.low
            if fresh:
                seen += 1
                yield ContactMoved(change.time_us / 1e6, _in_order(scope, fresh))
        yield Prompt(f"The watch has ended, the loom can rest: {_counted(seen)}.")
        after = asker.sense([*heads, *drives])
        changed += [low ^ other for low, other in zip(again, after, strict=True)]
    parts = [points & group.points for points in dict.fromkeys(changed) if points for group in scope.groups]
    told = _figures(plan, shares, watch_s, asker) if watching else None
    return tuple(dict.fromkeys(part for part in parts if part)), told


class _Share(NamedTuple):
    """One watch of so many sets for so long, and how it ended."""

    sets: int
    seconds: float
    lasted_s: float
    lost: int
    summary: WatchSummary | None


def _figures(plan: Plan, shares: Sequence[_Share], watch_s: float, asker: Asker) -> Wiggled:
    """Return what the watch can claim: opens show all along, touching only in the share of its set.

    After an event that was lost nothing is claimed.
    """
    scope = plan.scope
    breaks_s = sum(share.lasted_s for share in shares)
    # A line that carries not even one set beside the heads leaves that one out: nothing then saw all pairs.
    whole = sum(share.sets - 1 for share in shares) >= len(plan.vectors)
    touches_s = min((share.lasted_s for share in shares), default=0.0) if whole else 0.0
    watch_us = asker.capabilities().watch_us
    seen_us = [shortest_seen_us(each.summary, each.seconds, each.sets, watch_us) for each in shares]
    known = [each for each in seen_us if each is not None]
    return Wiggled(
        watch_s,
        tuple(
            NetWatched(_in_order(scope, group.points), breaks_s if group.size > 1 else 0.0, touches_s)
            for group in scope.groups
        ),
        max(known) if known and len(known) == len(shares) else None,
        sum(share.lost for share in shares),
        max(0.0, watch_s - breaks_s),
    )


def _in_order(scope: Scope, points: int) -> tuple[End, ...]:
    """Return the cavities of a point set in the description's order."""
    return tuple(sorted(scope.ends(points), key=scope.place_of.__getitem__))


def _counted(changes: int) -> str:
    return "nothing changed" if not changes else "one change" if changes == 1 else f"{changes} changes"


def _watched(
    asker: Asker, before: Sequence[tuple[int, int]], watch_s: float, done: list[_Share]
) -> Iterator[WatchEvent]:
    """Watch for that long; yield what reads otherwise than before, as ``low``. In shares of the time at need.

    ``before`` are sets to drive, each with what read low: first one point of every conductor, watched all
    along, for it shows every open; then those that show what touches now and then. So many changes may come
    that the line can't carry them: then those that came tell enough. Raises `LinkError` for a watch that
    did not report each set at least once, as it must: it watched nothing. Each watch is noted in ``done``.
    """
    last_s = 0.0
    told: set[int] = set()
    unsteady = False
    heads, drives = before[:1], before[1:]
    try:
        for event in asker.watch([drive for drive, _ in before], watch_s):
            told.add(event.index)
            last_s = min(event.time_us / 1e6, watch_s)
            changed = before[event.index][1] ^ event.low
            unsteady = unsteady or changed != 0
            yield replace(event, low=changed)
        if len(told) < len(before):
            raise LinkError(
                f"the watch reported {len(told)} of its {len(before)} sets; it has not watched",
                cure="Prove again; if it stays so, test the bench or leave the watch out.",
                do=Todo.NO_WATCH,
            )
        done.append(_Share(len(before), watch_s, watch_s, 0, asker.bench.watched))
    except LostEventError as error:
        # What was seen to change is true, and no pass; that nothing changed would not be known.
        if not unsteady:
            raise
        done.append(_Share(len(before), watch_s, last_s, error.lost, asker.bench.watched))
    except UnfitError:
        if told or not drives:
            raise
        half = (len(drives) + 1) // 2
        shares = [drives[:half], drives[half:]] if len(drives) > 1 else [()]
        for share in shares:
            yield from _watched(asker, (*heads, *share), watch_s / len(shares), done)
