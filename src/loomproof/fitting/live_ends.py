"""Which ends of a loom can be live in this conversion, from which feed, and with or without a fuse.

What is a feed, and where it meets the car, `loomproof.fitting.feeds` says. From there current is
followed through wires, splices, fuses, links, resistors, coils, diodes (anode to cathode) and relay
contacts in either position; a change-over contact is never in both positions at once. What is
plugged in (sensors, computer, motors) is not in the description and is not followed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from typing import assert_never

from loomproof.electrics.component_kinds import Closed, PartPath, Path, paths_of
from loomproof.electrics.graph import reached, ways
from loomproof.loom.model import Component, ConnectorKind, End, Loom

MOST_CHANGE_OVERS = 8
"""Change-over relays whose positions are gone through one by one; with more, both contacts count as closed,
which can only call too much live."""

INNER = frozenset({ConnectorKind.SPLICE, ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE})
"""Kinds that meet neither car nor sensor: splices, and the places of the loom's own fuses and relays."""


@dataclass(frozen=True, slots=True)
class Feed:
    """A supply of the car: the circuit that brings it, when it is there, where it enters, its fuse.

    ``when`` is permanent, ignition, start, switched, or perhaps: nobody can rule it out, and ``why`` says on
    what ground. ``fuse`` is the text of a fuse outside the loom (``40 A``), empty where none is stated.
    """

    circuit: str
    when: str
    entries: tuple[End, ...]
    fuse: str
    why: str = ""


@dataclass(frozen=True, slots=True)
class Live:
    """One way in which an end can be live: from ``feed``, ``via`` these components (shortest way).

    ``fuses`` are those that every way from the feed crosses one of, the nearest to the end first; empty with
    ``fused`` false: some way has no fuse at all. ``weak``: every way goes through a coil or resistor.
    """

    feed: Feed
    via: tuple[str, ...]
    fuses: tuple[str, ...]
    fused: bool
    weak: bool

    @property
    def text(self) -> str:
        """Say it: ``permanent feed (feed), through K1, F1; fused by F1``."""
        through = f", through {', '.join(self.via)}" if self.via else ""
        if self.feed.why:
            return f"may be live, treat as live: {self.feed.why}{through}"
        guard = f"fused by {' or '.join(self.fuses) or self.feed.fuse}" if self.fused else "NOT FUSED"
        weak = ", little current" if self.weak else ""
        return f"{self.feed.when} feed ({self.feed.circuit}){through}; {guard}{weak}"


Step = tuple[End, Component | None, PartPath | None]


class Tracer:
    """Follows feeds through a loom; ``contacts`` says whether relay contacts could be followed."""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom
        self.relays = [part for part in loom.components if part.form.more]
        self._fixed: dict[End, list[Step]] = {}
        for wire in loom.wires:
            self._join(self._fixed, wire.a, wire.b)
        for part in loom.components:
            for path in paths_of(part):
                if path.closed is Closed.ALWAYS:
                    self._join(self._fixed, path.a, path.b, part, path)
        self._states = list(self._positions())

    @property
    def contacts_missing(self) -> tuple[str, ...]:
        """Relays whose contacts are not described, and relay bases that no described relay sits in."""
        seated = {end.connector for relay in self.relays for end in relay.ends}
        bare = [relay.name for relay in self.relays if not _contacts(relay)]
        bases = [
            connector.name
            for connector in self.loom.connectors
            if connector.kind is ConnectorKind.RELAY_BASE and connector.name not in seated
        ]
        return (*bare, *bases)

    def live(self, feeds: Iterable[Feed]) -> dict[End, tuple[Live, ...]]:
        """Return for each end that can be live every feed that reaches it."""
        found: dict[End, list[Live]] = {}
        for feed in feeds:
            ways = self._reach(feed.entries)
            bare = self._reach(feed.entries, fuses=False)
            strong = self._reach(feed.entries, weak=False)
            for end, way in ways.items():
                fused = bool(feed.fuse) or end not in bare
                fuses = self._last_fuses(end, ways) if end not in bare else ()
                found.setdefault(end, []).append(Live(feed, way, fuses, fused, end not in strong))
        return {end: tuple(ways) for end, ways in found.items()}

    def _last_fuses(self, end: End, ways: Mapping[End, tuple[str, ...]]) -> tuple[str, ...]:
        """Return the live fuses next to the end: those met first on the way back from it."""
        back = self._reach([end], fuses=False, reverse=True)
        return tuple(
            part.name
            for part in self.loom.components
            if part.form.blows
            and any(one in back for one in part.ends)
            and any(one in ways and one not in back for one in part.ends)
        )

    def _reach(
        self,
        starts: Iterable[End],
        *,
        fuses: bool = True,
        weak: bool = True,
        reverse: bool = False,
    ) -> dict[End, tuple[str, ...]]:
        """Return the ends reached and the components on the shortest way, over all relay positions."""
        starts = tuple(starts)
        best: dict[End, tuple[str, ...]] = {}
        for state in self._states:

            def onward(end: End, state: Mapping[End, list[Step]] = state) -> Iterator[tuple[End, str]]:
                for other, part, path in (*self._fixed.get(end, ()), *state.get(end, ())):
                    if part is not None and part.form.blows and not fuses:
                        continue
                    if path is None or _leads(path, end, weak=weak, reverse=reverse):
                        yield other, part.name if part else ""

            for end, steps in ways(starts, onward):
                way = tuple(part for part in steps if part)
                if end not in best or len(way) < len(best[end]):
                    best[end] = way
        return best

    def _positions(self) -> Iterator[dict[End, list[Step]]]:
        change_overs = [relay for relay in self.relays if len(_contacts(relay)) > 1]
        if len(change_overs) > MOST_CHANGE_OVERS:
            change_overs = []
        steady = [relay for relay in self.relays if relay not in change_overs]
        for pulled in product((False, True), repeat=len(change_overs)):
            steps: dict[End, list[Step]] = {}
            for relay in steady:
                for path in _contacts(relay):
                    self._join(steps, path.a, path.b, relay, path)
            for relay, is_pulled in zip(change_overs, pulled, strict=True):
                for path in _contacts(relay):
                    if (path.closed is Closed.PULLED) is is_pulled:
                        self._join(steps, path.a, path.b, relay, path)
            yield steps

    @staticmethod
    def _join(
        steps: dict[End, list[Step]],
        a: End,
        b: End,
        part: Component | None = None,
        path: PartPath | None = None,
    ) -> None:
        steps.setdefault(a, []).append((b, part, path))
        steps.setdefault(b, []).append((a, part, path))


def _leads(path: PartPath, end: End, *, weak: bool, reverse: bool) -> bool:
    """Whether current can go on through a path from one of its ends, or, in reverse, come from it."""
    match path.path:
        case Path.RESISTIVE:
            return weak
        case Path.DIODE:
            return end == (path.b if reverse else path.a)
        case Path.CONTACT:
            return True
        case Path.CAPACITOR:
            return False
        case _:
            assert_never(path.path)


def _contacts(relay: Component) -> list[PartPath]:
    return [path for path in paths_of(relay) if path.closed is not Closed.ALWAYS]


def far_ends(loom: Loom, end: End) -> list[End]:
    """Return the other cavities that wires join to an end, nearest first."""
    joined = reached([end], lambda here: (far for wire in loom.wires_at.get(here, ()) for far in wire.ends))
    return [other for other in joined[1:] if other.cavity]
