"""What adapters for some looms are made of, as values; `loomproof.planning.kit` works them out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from loomproof.loom.model import ConnectorKind, End


class PlugType(NamedTuple):
    """What one plug of a kit mates with: ``of`` names the connector alone where no housing is stated."""

    kind: ConnectorKind
    housing: str
    of: str
    cavities: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plugs:
    """Plugs to have of one type: so many, for these looms."""

    type: PlugType
    quantity: int
    looms: tuple[str, ...]

    @property
    def leads(self) -> int:
        """Leads that end in them: one for each cavity."""
        return self.quantity * len(self.type.cavities)


@dataclass(frozen=True, slots=True)
class Terminals:
    """Terminals to have for the plugs of one type, by the section (mm²) of the loom's wires opposite.

    ``sections_mm2`` are several where looms or plugs differ, none where no section is described; ``sealed``
    where a seal or blanking plug is described at the loom's cavity; ``empty`` where no wire is in it.
    """

    type: PlugType
    sections_mm2: tuple[float, ...]
    sealed: bool
    empty: bool
    quantity: int


@dataclass(frozen=True, slots=True)
class LeadLabel:
    """What is written on a lead: the loom, its hook-up (1, 2, …), point, cavity and colours of its wires."""

    loom: str
    hook_up: int
    point: int
    end: End
    colours: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class PlugLabel:
    """What is written on a plug: the loom, the connector that it goes to, its housing and where that sits."""

    loom: str
    connector: str
    housing: str
    location: str


@dataclass(frozen=True, slots=True)
class Driven:
    """How a board drives a loom: its cavities with a lead, hook-ups, plugs put on in all, most points."""

    loom: str
    cavities: int
    hook_ups: int
    plug_ins: int
    points: int
    refused: str = ""


@dataclass(frozen=True, slots=True)
class Kit:
    """All of it. ``points`` is what the board has; ``questions`` is what the descriptions do not say."""

    points: int
    driven: tuple[Driven, ...]
    plugs: tuple[Plugs, ...]
    terminals: tuple[Terminals, ...]
    lead_labels: tuple[LeadLabel, ...]
    plug_labels: tuple[PlugLabel, ...]
    questions: tuple[str, ...]

    @property
    def refused(self) -> tuple[Driven, ...]:
        """Looms that no way was found to hook up to this board."""
        return tuple(each for each in self.driven if each.refused)

    @property
    def once(self) -> tuple[Plugs, ...]:
        """Plugs that several looms share."""
        return tuple(each for each in self.plugs if len(each.looms) > 1)

    def for_one(self, loom: str) -> tuple[Plugs, ...]:
        """Plugs that only this loom wants."""
        return tuple(each for each in self.plugs if each.looms == (loom,))


@dataclass(frozen=True, slots=True)
class Left:
    """What is left to make of a plug: so many of its leads are made, and these ends have none."""

    connector: str
    housing: str
    made: int
    ends: tuple[End, ...]
