"""Which wires hold cavities together, and which an open of would part nothing: that no sense can see."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from functools import cached_property

from loomproof.electrics.bridges import Partings, partings
from loomproof.electrics.expectation import Expectation
from loomproof.loom.model import End


class Web:
    """What hangs together in a loom: its wires, and what joins besides, parts that conduct included.

    A diode's one way is counted as a way round: its drop has no margin against an input's threshold.
    ``without`` names a part that is left out.
    """

    def __init__(self, expectation: Expectation, without: str = "") -> None:
        listed = [edge for edges in expectation.conductors.values() for edge in edges]
        couplings = [c for c in expectation.all_couplings if c.component != without and not c.joins]
        self._edges = [(a, b) for a, b, _ in listed] + [(c.a, c.b) for c in couplings]
        self._edge_of = {c.name: k for k, (_, _, c) in enumerate(listed) if c.kind == "wire"}
        self._expectation = expectation

    @cached_property
    def _partings(self) -> Partings[End]:
        return partings(self._edges)

    def joining(self, ends: Collection[End]) -> tuple[str, ...]:
        """Return the wires of these ends' nets whose open alone parts some of the ends from the others."""
        if len(set(ends)) < 2:
            return ()
        return tuple(name for name in self.wires(ends) if self._partings.parts(self._edge_of[name], ends))

    def hidden(self, ends: Collection[End]) -> tuple[str, ...]:
        """Return the other wires of these ends' nets: an open of one leaves the ends together."""
        joining = set(self.joining(ends))
        return tuple(name for name in self.wires(ends) if name not in joining)

    def wires(self, ends: Iterable[End]) -> Iterator[str]:
        """Yield every wire of these ends' nets."""
        for index in dict.fromkeys(self._expectation.net_of[end] for end in ends):
            yield from self._expectation.nets[index].wires


def hidden_from_sense(expectation: Expectation, tested: Collection[End]) -> tuple[str, ...]:
    """Return the wires of tested nets whose open would part no two ``tested`` cavities of their net.

    Others run beside them, parts make a way round, or they lead to no tested cavity: to a part, or to a
    splice.
    """
    web = Web(expectation)
    cavities = ([end for end in net.cavities if end in tested] for net in expectation.nets)
    return tuple(name for ends in cavities if ends for name in web.hidden(ends))
