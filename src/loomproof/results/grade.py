"""How far a pass goes: what it says of joints and parts beyond that nothing is open, shorted or crossed."""

from __future__ import annotations

from enum import StrEnum


class Grade(StrEnum):
    """The grade of a pass, from the strongest to the weakest.

    ``wire``: each joint and part holds to its own limit. ``bench``: joints are shown to be under what this
    bench can show, which is above some of their limits. ``connections``: joined and apart only, or parts are
    left that nobody could tell.
    """

    WIRE = "wire"
    BENCH = "bench"
    CONNECTIONS = "connections"

    @property
    def rank(self) -> int:
        """0 for the strongest."""
        return list(Grade).index(self)

    def meets(self, demanded: Grade) -> bool:
        """Whether this grade is the demanded one or a stronger one."""
        return self.rank <= demanded.rank
