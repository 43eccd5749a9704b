"""Bundles: the taped branches that wires run through, with their length and where they begin and end."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.loom.guards import number, refuse_flaws


@dataclass(frozen=True, slots=True)
class Bundle:
    """One branch of the loom between two places where it forks or ends.

    ``a`` and ``b`` name those places: a connector, or a fork by a name of its own; bundles that name the same
    place meet there. Both may be "", and ``length_m`` ``None``, where they are not known.
    """

    name: str
    length_m: float | None = None
    a: str = ""
    b: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        refuse_flaws("bundle", self.name, self.a, self.b, self.note)
        if not self.name:
            raise ValueError("bundle: a name is missing")
        object.__setattr__(self, "length_m", number(f"bundle {self.name}, length_m", self.length_m))

    @property
    def places(self) -> tuple[str, str]:
        """Where it begins and ends."""
        return (self.a, self.b)
