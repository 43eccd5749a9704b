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

from loomproof.loom.model import Component, ComponentKind, ConnectorKind, End, Loom

MOST_CHANGE_OVERS = 8
"""Change-over relays whose positions are gone through one by one; with more, both contacts count as closed,
which can only call too much live."""

INNER = frozenset({ConnectorKind.SPLICE, ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE})
"""Kinds that meet neither car nor sensor: splices, and the places of the loom's own fuses and relays."""

_WEAK = frozenset({ComponentKind.RESISTOR, ComponentKind.COIL})


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


Step = tuple[End, str, ComponentKind | None]


class Tracer:
    """Follows feeds through a loom; ``contacts`` says whether relay contacts could be followed."""

    def __init__(self, loom: Loom) -> None:
        self.loom = loom
        self.relays = [part for part in loom.components if part.kind is ComponentKind.RELAY]
        self._fixed: dict[End, list[Step]] = {}
        for wire in loom.wires:
            self._join(self._fixed, wire.a, wire.b, "", None)
        for part in loom.components:
            for a, b in _paths(part):
                self._join(self._fixed, a, b, part.name, part.kind)
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
            bare = self._reach(feed.entries, without=frozenset({ComponentKind.FUSE}))
            strong = self._reach(feed.entries, without=_WEAK, coils=False)
            for end, way in ways.items():
                fused = bool(feed.fuse) or end not in bare
                fuses = self._last_fuses(end, ways) if end not in bare else ()
                found.setdefault(end, []).append(Live(feed, way, fuses, fused, end not in strong))
        return {end: tuple(ways) for end, ways in found.items()}

    def _last_fuses(self, end: End, ways: Mapping[End, tuple[str, ...]]) -> tuple[str, ...]:
        """Return the live fuses next to the end: those met first on the way back from it."""
        back = self._reach([end], without=frozenset({ComponentKind.FUSE}), reverse=True)
        return tuple(
            part.name
            for part in self.loom.components
            if part.kind is ComponentKind.FUSE
            and any(one in back for one in part.ends)
            and any(one in ways and one not in back for one in part.ends)
        )

    def _reach(
        self,
        starts: Iterable[End],
        *,
        without: frozenset[ComponentKind] = frozenset(),
        coils: bool = True,
        reverse: bool = False,
    ) -> dict[End, tuple[str, ...]]:
        """Return the ends reached and the components on the shortest way, over all relay positions."""
        starts = tuple(starts)
        best: dict[End, tuple[str, ...]] = {}
        for state in self._states:
            seen: dict[End, tuple[str, ...]] = dict.fromkeys(starts, ())
            wave = list(starts)
            while wave:
                after: list[End] = []
                for end in wave:
                    for other, part, kind in self._steps(end, state, coils=coils, reverse=reverse):
                        if other in seen or kind in without:
                            continue
                        seen[other] = (*seen[end], part) if part else seen[end]
                        after.append(other)
                wave = after
            for end, way in seen.items():
                if end not in best or len(way) < len(best[end]):
                    best[end] = way
        return best

    def _steps(
        self, end: End, state: Mapping[End, list[Step]], *, coils: bool, reverse: bool
    ) -> Iterator[Step]:
        for step in self._fixed.get(end, ()):
            _, part, kind = step
            if kind is ComponentKind.DIODE and reverse != self._is_cathode(part, end):
                continue
            if kind is ComponentKind.RELAY and not coils:
                continue
            yield step
        yield from state.get(end, ())

    def _is_cathode(self, diode: str, end: End) -> bool:
        part = self.loom.component_by_name[diode]
        return dict(part.terminals).get("K", part.ends[-1]) == end

    def _positions(self) -> Iterator[dict[End, list[Step]]]:
        change_overs = [relay for relay in self.relays if len(_contacts(relay)) > 1]
        if len(change_overs) > MOST_CHANGE_OVERS:
            change_overs = []
        steady = [relay for relay in self.relays if relay not in change_overs]
        for pulled in product((False, True), repeat=len(change_overs)):
            steps: dict[End, list[Step]] = {}
            for relay in steady:
                for _, a, b in _contacts(relay):
                    self._join(steps, a, b, relay.name, None)
            for relay, is_pulled in zip(change_overs, pulled, strict=True):
                for rests, a, b in _contacts(relay):
                    if rests != is_pulled:
                        self._join(steps, a, b, relay.name, None)
            yield steps

    @staticmethod
    def _join(
        steps: dict[End, list[Step]],
        a: End,
        b: End,
        part: str,
        kind: ComponentKind | None,
    ) -> None:
        steps.setdefault(a, []).append((b, part, kind))
        steps.setdefault(b, []).append((a, part, kind))


def _paths(part: Component) -> Iterator[tuple[End, End]]:
    ends = dict(part.terminals)
    if part.kind is ComponentKind.RELAY:
        if "85" in ends and "86" in ends:
            yield ends["86"], ends["85"]
    elif part.kind is not ComponentKind.CAPACITOR:
        yield from zip(part.ends, part.ends[1:], strict=False)


def _contacts(relay: Component) -> list[tuple[bool, End, End]]:
    """Return (closed at rest, end, end) of each contact. Terminals of DIN 72552; 87b and 88 count as make."""
    ends = dict(relay.terminals)
    found: list[tuple[bool, End, End]] = []
    for common, makes in (("30", ("87", "87a", "87b")), ("88", ("88a", "88b"))):
        if common in ends:
            found += [(name == "87a", ends[common], ends[name]) for name in makes if name in ends]
    return found
