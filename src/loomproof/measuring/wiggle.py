"""Watching every net while a person moves the loom: what parts, what touches, and for how long.

Set 0 drives one point of every net, so that whatever lets go reads high there; the others are the proof's own
sense vectors, of which each two nets have one that drives either alone, so that whatever touches reads low.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from contextlib import closing
from dataclasses import dataclass, field

from loomproof.bench.interface import Bench
from loomproof.bench.seam import WatchSummary
from loomproof.errors import LinkError, LostEventError, UnfitError
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Prompt, WatchBegins
from loomproof.planning.net_access import Scope
from loomproof.planning.plan import Plan
from loomproof.results.wiggled import Change, Moved, NetWatched, Wiggled

TURN_S = 2.0
"""Sets that do not fit one line of the bench take turns of so long. Ours: moving one plug takes longer."""

FRUITLESS = 20
"""After so many watches in a row that came to nothing the line carries no watch. Ours."""


def _nothing() -> str:
    return ""


def _nowhere() -> Mapping[str, float]:
    return {}


@dataclass(frozen=True)
class Moving:
    """What the person says: what is being moved now, and how long each was so far, s."""

    now: Callable[[], str] = _nothing
    spent_s: Callable[[], Mapping[str, float]] = _nowhere


@dataclass
class WiggleLog:
    """What has been watched and seen so far; `result` says it at any moment, however the watch ends."""

    asked_s: float
    moving: Moving = field(default_factory=Moving)
    nets: tuple[tuple[End, ...], ...] = ()
    set_s: list[float] = field(default_factory=list)
    """For how long each set was watched, s; the first is that of the breaks."""
    shortest_us: list[int | None] = field(default_factory=list)
    lost: int = 0
    unwatched_s: float = 0.0
    seen: list[Moved] = field(default_factory=list)
    as_at_rest: tuple[End, ...] = ()

    def result(self) -> Wiggled:
        """Return what was watched and seen so far."""
        breaks_s, *touches = self.set_s or [0.0]
        touches_s = min(touches, default=0.0)
        known = [each for each in self.shortest_us if each is not None]
        return Wiggled(
            self.asked_s,
            tuple(NetWatched(net, breaks_s if len(net) > 1 else 0.0, touches_s) for net in self.nets),
            max(known) if known and len(known) == len(self.shortest_us) else None,
            self.lost,
            self.unwatched_s,
            tuple(sorted(self.seen, key=lambda moved: moved.began_s)),
            self.as_at_rest,
            dict(self.moving.spent_s()),
        )


def wiggle(
    plan: Plan,
    bench: Bench,
    clearance: Clearance,
    log: WiggleLog,
    clock: Callable[[], float] = time.monotonic,
) -> Generator[Event, None, None]:
    """Watch all nets of a plan for ``log.asked_s`` seconds, and tell each change as it begins and as it ends.

    A change is yielded without a length as it begins, with it as it ends. What was watched and seen is in
    ``log`` at any moment, however this ends. An event lost on the line ends nothing: the time after the last
    one seen is left out of what was watched, and the watch goes on. Raises `SafetyError` without a clearance,
    `UnfitError` for a bench that can't watch, `LinkError` for one that reports nothing, `LostEventError`
    where the line carries no watch at all, and the bench's errors.
    """
    asker = Asker(bench, clearance, plan.scope.points)
    if asker.capabilities().watch_us is None:
        raise UnfitError(
            "this bench cannot watch a loom while it is moved",
            cure="Take a bench that watches; a scanner that can says so among its abilities.",
        )
    watch = _Watch(plan, asker, log, clock)
    yield from watch.at_rest()
    yield Prompt(
        f"Move the loom now, for {log.asked_s:g} s: one plug or bundle after another, and say which.",
    )
    yield WatchBegins(log.asked_s, log.nets)
    yield from watch.run()


def shortest_seen_us(
    summary: WatchSummary | None, spent_s: float, sets: int, watch_us: int | None
) -> int | None:
    """Return the shortest change that a watch of so many sets surely saw, µs; ``None`` where none can tell.

    What begins just after its set was driven is missed once; the next reading ends a cycle and one set later.
    Cycles are counted to the end, so over all that was spent; ``watch_us`` is what the bench states of one.
    """
    if summary is None or not summary.cycles:
        return None
    mean_us = max(spent_s / summary.cycles * 1e6, float(watch_us or 0))
    return math.ceil(mean_us * (1 + 1 / sets))


class _Watch:
    """A watch that runs: sets, what they read at rest, whose turn it is, how much time is left."""

    def __init__(self, plan: Plan, asker: Asker, log: WiggleLog, clock: Callable[[], float]) -> None:
        scope = self.scope = plan.scope
        self.asker, self.log, self.clock = asker, log, clock
        self.sets = [sum(group.head for group in scope.groups), *(v.drive for v in plan.vectors)]
        self.highs = [0, *(vector.must_high for vector in plan.vectors)]
        self.size = len(plan.vectors)
        self.turn = 0
        self.spent_s = 0.0
        self.rest: list[int] = []
        log.nets = tuple(_in_order(scope, group.points) for group in scope.groups)
        log.set_s = [0.0] * len(self.sets)

    def at_rest(self) -> Iterator[Event]:
        """Read the loom at rest; tell what is not as described before anything is moved."""
        self.rest = self.asker.sense(self.sets)
        wrong = self.scope.points & ~self.rest[0]
        for low, high in zip(self.rest, self.highs, strict=True):
            wrong |= low & high
        self.log.as_at_rest = _in_order(self.scope, wrong)
        if wrong:
            yield Prompt(
                "Before anything was moved these already read otherwise than described, and changes there "
                f"may be missed: {', '.join(map(str, self.log.as_at_rest))}. Prove the loom to see why."
            )

    def run(self) -> Generator[Event, None, None]:
        fruitless = 0
        while (left_s := self.log.asked_s - self.spent_s) > 1e-6:
            share = self._share()
            whole = self.size >= len(self.sets) - 1
            before_s = self.spent_s
            try:
                yield from self._once(share, left_s if whole else min(left_s, TURN_S))
                self.turn += 1
            except UnfitError:
                if self.size == 0 or self.spent_s > before_s:
                    raise
                self.size = (self.size + 1) // 2 if self.size > 1 else 0
            except LostEventError as error:
                self.log.lost += error.lost
                fruitless = 0 if self.spent_s - before_s > 1e-3 else fruitless + 1
                if fruitless == FRUITLESS:
                    raise

    def _share(self) -> list[int]:
        """Return whose turn it is: the heads always, and as many others as fit."""
        others = list(range(1, len(self.sets)))
        if not others or not self.size:
            return [0]
        first = self.turn * self.size % len(others)
        return [
            0,
            *dict.fromkeys(others[(first + k) % len(others)] for k in range(min(self.size, len(others)))),
        ]

    def _once(self, share: Sequence[int], seconds: float) -> Generator[Event, None, None]:
        """Watch these sets once; note what was covered, whatever ends it."""
        begun, offset_s, last_s = self.clock(), self.spent_s, 0.0
        seen = _Seen(self.scope, self.rest, self.highs, self.log)
        told: set[int] = set()
        covered_s = spent_s = 0.0
        bench = self.asker.bench
        try:
            with closing(bench.watch([self.sets[k] for k in share], seconds)) as watching:
                for event in watching:
                    last_s = min(event.time_us / 1e6, seconds)
                    told.add(event.index)
                    low = event.low & self.scope.points
                    yield from seen.take(share[event.index], low, offset_s, event.time_us)
            covered_s = spent_s = seconds
            if len(told) < len(share):
                covered_s = 0.0
                raise LinkError(
                    f"the watch reported {len(told)} of its {len(share)} sets; it has not watched",
                    cure="Test the bench, and watch again.",
                )
        except UnfitError:
            raise
        except LostEventError:
            covered_s = last_s
            spent_s = min(seconds, max(last_s, self.clock() - begun))
            raise
        except BaseException:
            # Broken off: where the bench confirmed its end the watch ran until now, else to its last event.
            ran_s = self.clock() - begun if bench.watched is not None and not bench.watched.lost else last_s
            covered_s = spent_s = min(seconds, max(ran_s, last_s)) if len(told) == len(share) else 0.0
            raise
        finally:
            seen.close()
            self._note(share, covered_s, spent_s)

    def _note(self, share: Sequence[int], covered_s: float, spent_s: float) -> None:
        log, summary = self.log, self.asker.bench.watched
        self.spent_s += spent_s
        log.unwatched_s += max(0.0, spent_s - covered_s)
        if not covered_s:
            return
        for k in share:
            log.set_s[k] += covered_s
        log.shortest_us.append(
            shortest_seen_us(summary, spent_s, len(share), self.asker.capabilities().watch_us)
        )


class _Seen:
    """Which changes stand, set by set; what has ended goes into the log."""

    def __init__(self, scope: Scope, rest: Sequence[int], highs: Sequence[int], log: WiggleLog) -> None:
        self.scope, self.rest, self.highs, self.log = scope, rest, highs, log
        self.changed = 0
        self.parted: dict[int, tuple[Moved, int]] = {}
        self.touching: dict[int, int] = {}
        self.touched = 0
        self.touch: tuple[Moved, int] | None = None

    def take(self, index: int, low: int, offset_s: float, at_us: int) -> Iterator[Moved]:
        """Take what a set reads now, and yield what begins or ends by it."""
        if index == 0:
            yield from self._parting(low, offset_s, at_us)
        else:
            yield from self._touching(index, low, offset_s, at_us)

    def close(self) -> None:
        """Note what had not ended, its length unknown."""
        for moved, _ in [*self.parted.values(), *([self.touch] if self.touch else [])]:
            self.log.seen.append(moved)
        self.parted, self.touch = {}, None

    def _parting(self, low: int, offset_s: float, at_us: int) -> Iterator[Moved]:
        changed = self.rest[0] ^ low
        fresh, self.changed = changed ^ self.changed, changed
        for net, group in enumerate(self.scope.groups):
            if not fresh & group.points:
                continue
            if (before := self.parted.pop(net, None)) is not None:
                yield self._ended(*before, at_us)
            if mine := changed & group.points:
                change = Change.BREAK if mine & self.rest[0] else Change.JOIN
                moved = self._begun(change, (net,), mine, offset_s, at_us)
                self.parted[net] = (moved, at_us)
                yield moved

    def _touching(self, index: int, low: int, offset_s: float, at_us: int) -> Iterator[Moved]:
        self.touching[index] = self.highs[index] & ~self.rest[index] & low
        now = 0
        for each in self.touching.values():
            now |= each
        if now:
            more = now & ~self.touched
            self.touched |= now
            nets = tuple(k for k, group in enumerate(self.scope.groups) if group.points & self.touched)
            if self.touch is None:
                moved = self._begun(Change.TOUCH, nets, self.touched, offset_s, at_us)
                self.touch = (moved, at_us)
                yield moved
            elif more:  # the other net shows in another set
                moved, began_us = self.touch
                ends = _in_order(self.scope, self.touched)
                self.touch = (Moved(moved.began_s, moved.change, nets, ends, None, moved.place), began_us)
        elif self.touch is not None:
            before, self.touch, self.touched = self.touch, None, 0
            yield self._ended(*before, at_us)

    def _begun(
        self, change: Change, nets: tuple[int, ...], points: int, offset_s: float, at_us: int
    ) -> Moved:
        ends = _in_order(self.scope, points)
        return Moved(offset_s + at_us / 1e6, change, nets, ends, None, self.log.moving.now())

    def _ended(self, moved: Moved, began_us: int, at_us: int) -> Moved:
        ended = Moved(moved.began_s, moved.change, moved.nets, moved.cavities, at_us - began_us, moved.place)
        self.log.seen.append(ended)
        return ended


def _in_order(scope: Scope, points: int) -> tuple[End, ...]:
    """Return the cavities of a point set in the description's order."""
    return tuple(sorted(scope.ends(points), key=scope.place_of.__getitem__))
