"""What is found where a traced loom is laid on a known one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum

from loomproof.loom.model import ConnectorKind, End, Loom


class Standing(StrEnum):
    """How well it is known which connector one is.

    ``SURE``: each other place contradicts more readings, and no change of the loom explains them better.
    ``ALIKE``: others fit every reading as well. ``OPEN``: another place is nearly as good. ``UNTOLD``: no
    net or part speaks for any place; what stands there is by size alone.
    """

    SURE = "sure"
    ALIKE = "alike"
    OPEN = "open"
    UNTOLD = "untold"


@dataclass(frozen=True)
class Touch:
    """An end of the known loom that a person can find by its place, and the nets that may answer.

    ``answers`` are nets of the traced loom, each by its cavities; an empty one says that none may answer.
    """

    known: End
    answers: tuple[tuple[End, ...], ...]


@dataclass(frozen=True)
class Place:
    """Where one connector of the traced loom belongs.

    ``known`` is empty where nothing there is like it. ``agreed`` of its ``wired`` cavities are on the nets
    that the known one has. ``others`` are the known connectors that may be meant as well.
    """

    traced: str
    known: str
    standing: Standing
    agreed: int
    wired: int
    others: tuple[str, ...] = ()


@dataclass(frozen=True)
class CavityPlace:
    """Which known cavity one of the traced loom is; ``sure`` unless others of its plug share the net."""

    traced: End
    known: End
    sure: bool


class Unlike(StrEnum):
    """How the two looms differ on a net."""

    MISSING = "missing"
    """The known loom has these ends on one net, the traced one has not."""
    EXTRA = "extra"
    """The traced loom has these ends on one net, the known one has not."""


@dataclass(frozen=True)
class Difference:
    """Ends that are on a net in one loom and not in the other, with the ends that both have on it.

    Ends of the traced loom are given as such, ends of the known one in ``known``.
    """

    kind: Unlike
    known: tuple[End, ...]
    traced: tuple[End, ...]
    beside: tuple[End, ...]


@dataclass(frozen=True)
class Match:
    """A traced loom laid on a known one; nothing of it is taken over before a person says so.

    ``by_names`` says that cavity names were found to mean the same in both and helped. ``score`` is the
    share of the known loom's wired cavities that agree. ``touch`` is the end of the known loom to touch next.
    """

    traced: Loom
    known: Loom
    places: tuple[Place, ...]
    cavities: tuple[CavityPlace, ...]
    differences: tuple[Difference, ...]
    score: float
    by_names: bool
    touch: Touch | None

    @property
    def place_of(self) -> Mapping[str, Place]:
        """Places by the traced loom's connector."""
        return {place.traced: place for place in self.places}

    @property
    def unseen(self) -> tuple[str, ...]:
        """Connectors of the known loom that no traced one belongs to."""
        taken = {place.known for place in self.places}
        return tuple(
            c.name
            for c in self.known.connectors
            if c.kind is not ConnectorKind.SPLICE and c.name not in taken
        )
