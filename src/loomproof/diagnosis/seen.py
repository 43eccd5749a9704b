"""What one more look showed, as a value and as a text: a wire, a cavity, a plug, a part or the adapter."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from enum import StrEnum

from loomproof.errors import UsageError
from loomproof.loom.model import End, ends_of
from loomproof.loom.text import quoted

ADAPTER = "adapter"
"""The word for the bench's adapter; its lead for a cavity is written ``adapter ECU:12``."""

_SOUND = ("sound", "good", "right")
_BAD = ("bad", "faulty", "wrong")


class What(StrEnum):
    """What kind of thing can be sound or bad."""

    WIRE = "wire"
    CAVITY = "cavity"
    CONNECTOR = "connector"
    PART = "part"
    ADAPTER = "adapter"
    LEAD = "lead"


NOWHERE = End("")


@dataclass(frozen=True, slots=True)
class Thing:
    """One thing that can be sound or bad: a wire or part by ``name``; a place, or the adapter's lead for it.

    ``end`` without a cavity is a whole connector, a lead of it all leads of a connector.
    """

    what: What
    name: str = ""
    end: End = NOWHERE

    def __str__(self) -> str:
        if self.what is What.ADAPTER:
            return ADAPTER
        if self.what is What.LEAD:
            return f"{ADAPTER} {self.end}"
        return str(self.end) if self.what in (What.CAVITY, What.CONNECTOR) else quoted(self.name)

    def holds(self, other: Thing) -> bool:
        """Whether another thing is this one or is a piece of it: a plug holds its cavities."""
        if self.what is What.ADAPTER:
            return other.what in (What.ADAPTER, What.LEAD)
        if self.what is What.LEAD and not self.end.cavity:
            return other.what is What.LEAD and other.end.connector == self.end.connector
        if self.what is What.CONNECTOR:
            inside = other.what in (What.CAVITY, What.CONNECTOR)
            return inside and other.end.connector == self.end.connector
        return self == other


@dataclass(frozen=True, slots=True)
class Observation:
    """What was seen of one thing, ``sound`` or not."""

    thing: Thing
    sound: bool

    def __str__(self) -> str:
        return f"{self.thing} {'sound' if self.sound else 'bad'}"

    @property
    def told(self) -> str:
        """The observation as a sentence of its own, without a full stop."""
        thing = f"the {self.thing}" if self.thing.what is What.ADAPTER else str(self.thing)
        if self.thing.what is What.LEAD:
            thing = f"the adapter's lead for {self.thing.end}"
        return f"{thing} was seen to be {'sound' if self.sound else 'bad'}"


def read_observation(text: str, known: Iterable[Thing]) -> Observation:
    """Read ``W12 sound``, ``wire 3 sound``, ``ECU:12 bad``, ``REAR LAMP bad``, ``adapter ECU:12 bad``.

    ``known`` are the things that are spoken of; a name with blanks needs no quotes where it is one of them.
    Raises `UsageError` for what is none of them, or says neither sound nor bad.
    """
    subject, _, word = text.strip().rpartition(" ")
    subject = subject.strip()
    if not subject or word not in (*_SOUND, *_BAD):
        raise UsageError(
            f"{text!r} says nothing that can be taken",
            cure="Write a wire, cavity, connector or part, or adapter, then sound or bad: "
            '"W12 sound", "ECU:12 bad", "adapter ECU:12 bad".',
        )
    things = set(known)
    thing = next((thing for thing in meant(subject) if thing in things), None)
    if thing is None:
        raise UsageError(
            f"no finding speaks of {subject!r}", cure="The findings of the run name what they speak of."
        )
    return Observation(thing, word in _SOUND)


def meant(subject: str) -> list[Thing]:
    """Return what a text can mean, the likeliest first: the adapter before a connector of that name."""
    if subject == ADAPTER:
        return [Thing(What.ADAPTER)]
    if subject.startswith(ADAPTER + " "):
        places = _places(subject.removeprefix(ADAPTER + " ").strip())
        return [Thing(What.LEAD, end=end) for end in places]
    places = _places(subject)
    wire = subject.removeprefix("wire ").strip()
    names = [subject, *(end.connector for end in places if not end.cavity)]
    return [
        *(Thing(What.WIRE, name) for name in names),
        *(Thing(What.CAVITY if end.cavity else What.CONNECTOR, end=end) for end in places),
        *(Thing(What.PART, name) for name in names),
        # As findings say it of a wire whose name begins with a figure: after whatever bears the whole name.
        *((Thing(What.WIRE, wire.strip('"')),) if wire != subject else ()),
    ]


def _places(text: str) -> list[End]:
    """Return the ends that a text can be: as ends are written, or a name with blanks taken as it is."""
    found = [End(text)]
    connector, colon, cavity = text.rpartition(":")
    if colon and connector and cavity:
        found.append(End(connector, cavity))
    try:
        ends = ends_of(text)
    except ValueError:
        ends = ()
    return list(dict.fromkeys([*(ends if len(ends) == 1 else ()), *found]))


def with_wholes(things: Collection[Thing]) -> set[Thing]:
    """Return things with what holds them: connectors of cavities, all leads of a plug, the whole adapter."""
    found = set(things)
    for thing in things:
        if thing.what is What.CAVITY:
            found.add(Thing(What.CONNECTOR, end=End(thing.end.connector)))
        if thing.what is What.LEAD:
            found |= {Thing(What.LEAD, end=End(thing.end.connector)), Thing(What.ADAPTER)}
    return found
