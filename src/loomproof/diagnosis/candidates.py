"""What a finding leaves open: each cause with its place, in the order in which the finding tells them.

An open wire may be broken along its length or bad at the contact of either end; a short may sit in either
housing or on the way. Readings leave these equal, so that a person who opens the loom decides; what they
confirm is one of them, or something that was not told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from loomproof.diagnosis.causes import CAUSES, Cause, Look, look_of
from loomproof.diagnosis.narrow import Explains, Way, ways_of
from loomproof.diagnosis.seen import Thing, What
from loomproof.loom.model import End
from loomproof.results.findings import Alternative, Finding

ANYWHERE = ""
"""What stands for a place that no finding names."""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A cause and the things that it would lie at: one cavity, one wire, the cavities where two touch."""

    cause: str
    things: tuple[Thing, ...] = ()

    @property
    def at(self) -> str:
        """What kind of thing it lies at, "" for nothing that is named."""
        return self.things[0].what.value if self.things else ANYWHERE

    @property
    def connector(self) -> str:
        """The one connector that it lies at, "" where it is none, or several."""
        homes = {thing.end.connector for thing in self.things}
        return homes.pop() if len(homes) == 1 else ""


def candidates(finding: Finding) -> tuple[Candidate, ...]:
    """Return all that a finding may be, each once, in the order in which the finding tells it."""
    told = dict.fromkeys(candidates_of(finding, is_first=True))
    for one in open_alternatives(finding):
        told.update(dict.fromkeys(candidates_of(one)))
    return tuple(told)


def open_alternatives(finding: Finding) -> tuple[Alternative, ...]:
    """Return the alternatives that readings leave as they are.

    Places of a short that readings speak against are told behind the way along its wires.
    """
    left: list[Alternative] = []
    behind = False
    for one in finding.alternatives:
        if not (behind and one.cause == Cause.TOUCHING and one.cavities):
            left.append(one)
        behind = behind or (one.cause == Cause.TOUCHING and bool(one.wires) and not one.cavities)
    return tuple(left)


_AT_AN_END = {Cause.BROKEN_WIRE: Cause.BAD_CONTACT, Cause.RESISTIVE_WIRE: Cause.RESISTIVE_CONTACT}
"""What a bad wire is called where it is bad at its end alone."""


def candidates_of(one: Explains, *, is_first: bool = False) -> Iterator[Candidate]:
    """Yield what one explanation may be; ``is_first`` marks the finding itself."""
    if one.cause not in CAUSES:
        return
    cause = CAUSES[one.cause]
    if look_of(cause) is Look.ELSEWHERE or (look_of(cause) is Look.ADDED and not is_first):
        # What no look decides, and a wire too many, are one thing wherever they sit.
        yield Candidate(cause.value)
        return
    ways = ways_of(one, is_first=is_first)
    if look_of(cause) is Look.ALONG:
        # The contacts are looked at before the wire between them, as places list them.
        ways = tuple(sorted(ways, key=lambda way: any(thing.what is What.WIRE for thing in way.things)))
    for way in ways:
        things = _named(way)
        at_end = len(things) == 1 and things[0].what is What.CAVITY
        yield Candidate(_AT_AN_END.get(cause, cause).value if at_end else cause.value, things)


def _named(way: Way) -> tuple[Thing, ...]:
    """Return the things of a way, its leads rather than the whole adapter that holds them."""
    things = sorted(way.things, key=_order)
    return tuple(thing for thing in things if thing.what is not What.ADAPTER) or tuple(things)


def _order(thing: Thing) -> tuple[str, str, End]:
    return thing.what.value, thing.name, thing.end
