"""The look at the loom before it is tested, as a value: what a person saw, item by item."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

ITEMS = (
    ("chafing", "Chafed insulation, tape worn through, wires against sharp edges"),
    ("corrosion", "Green corrosion at terminals and under insulation"),
    ("pins", "Bent, pushed-back or missing pins"),
    ("seals", "Missing or torn seals and plugs"),
    ("joints", "Home-made joints, twisted and taped wires"),
    ("heat", "Melted or brittle insulation"),
)
"""What to look for: name and question. Common practice, no source."""


ANSWERED = "hazard looked at: "
"""How a record begins the line of an answer about a connector's hazard, which is no look at the loom."""


def looked_over(lines: Iterable[str]) -> bool:
    """Whether a record's inspection says that somebody looked at more than connectors' hazards.

    A blank says nothing.
    """
    return any(line.strip() and not line.startswith(ANSWERED) for line in lines)


@dataclass(frozen=True, slots=True)
class Inspection:
    """What a person saw. ``notes`` are pairs of item and note; an empty note says that it is in order."""

    notes: tuple[tuple[str, str], ...] = ()
    person: str = ""
    date: str = ""

    @property
    def done(self) -> bool:
        """Whether every item was looked at."""
        return {name for name, _ in ITEMS} <= {name for name, _ in self.notes}

    @property
    def lines(self) -> tuple[str, ...]:
        """The inspection as a record holds it, one text an item; empty where nobody looked."""
        said = dict(self.notes)
        return tuple(f"{name}: {said[name].strip() or 'in order'}" for name, _ in ITEMS if name in said)
