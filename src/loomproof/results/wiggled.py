"""What was seen of a loom while a person moved it, and what was watched at all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from loomproof.loom.model import End


class Change(StrEnum):
    """What a net did: parted from itself, touched another, or joined what was open at rest."""

    BREAK = "break"
    TOUCH = "touch"
    JOIN = "join"


@dataclass(frozen=True, slots=True)
class Place:
    """Something that a person moves and calls by a name: plugs by connector, bundles by the wires in them."""

    name: str
    connectors: frozenset[str] = frozenset()
    wires: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class Moved:
    """One change, ``began_s`` after the watch began; ``nets`` count in `Wiggled.nets` from 0.

    ``cavities`` changed together: of a break those parted from the net's first one. ``length_us`` is from
    the first reading that showed it to the first that did not, so true to one cycle; ``None``: it had not
    ended when it was last seen. ``place`` is what the person said was being moved, "" for nothing said.
    """

    began_s: float
    change: Change
    nets: tuple[int, ...]
    cavities: tuple[End, ...]
    length_us: int | None = None
    place: str = ""


@dataclass(frozen=True, slots=True)
class NetWatched:
    """A net and for how long it was watched, s: for breaks, and for touching any other net.

    A net of one cavity has nothing to part from: its ``breaks_s`` is 0.
    """

    cavities: tuple[End, ...]
    breaks_s: float
    touches_s: float


@dataclass(frozen=True, slots=True)
class Wiggled:
    """What was watched and what was seen; of what was not watched nothing is claimed.

    ``shortest_us`` is the shortest change that is surely seen, µs: whatever lasts as long is read at least
    once, at the mean pace of the slowest watch; ``None`` where the bench does not say how often it looked.
    ``lost`` counts events that were lost on the line, and ``unwatched_s`` the time they left open, s, which
    is in no net's time. ``as_at_rest`` are cavities that already read otherwise than described before
    anything was moved: changes there may be missed. ``moved_s`` says how long each named place was moved.
    """

    asked_s: float
    nets: tuple[NetWatched, ...]
    shortest_us: int | None
    lost: int = 0
    unwatched_s: float = 0.0
    seen: tuple[Moved, ...] = ()
    as_at_rest: tuple[End, ...] = ()
    moved_s: Mapping[str, float] = field(default_factory=dict)

    @property
    def watched_s(self) -> float:
        """For how long every net of several cavities was watched for breaks, s; else for touches."""
        told = [net.breaks_s for net in self.nets if len(net.cavities) > 1]
        return min(told or [net.touches_s for net in self.nets], default=0.0)

    @property
    def touches_s(self) -> float:
        """For how long every two nets were watched for touching, s."""
        return min((net.touches_s for net in self.nets), default=0.0)


@dataclass(frozen=True, slots=True)
class Suspect:
    """A wire, or the contact of a cavity, that can have caused a change; ``share`` is 1 over all suspects.

    ``what`` says it in words; ``wires`` are the wires (of a contact, those in it), ``contact`` its cavity.
    """

    what: str
    wires: tuple[str, ...]
    contact: End | None
    share: float


@dataclass(frozen=True, slots=True)
class Trouble:
    """Breaks of one net in which the same cavities moved together, and who can have done it, likeliest first.

    ``longest_us`` and ``shortest_us`` are over those that ended, ``None`` where none did; ``places`` counts
    them by what was being moved.
    """

    change: Change
    cavities: tuple[End, ...]
    nets: tuple[int, ...]
    times: int
    shortest_us: int | None
    longest_us: int | None
    places: Mapping[str, int]
    suspects: tuple[Suspect, ...]
