"""What is counted of nets and plugs of a traced loom, for the rules by which ends are suggested.

Figures of a net: ``cavities``; ``rings``, connectors of one cavity; ``twos`` and ``threes``, plugs of two
and of three; ``alike_twos``, the plugs of two on it that also have a wire of their own to the computer;
``computer``, its cavities of the biggest connector; ``fuses``; ``ohm``, the most that was measured. Of a
plug: its ``size``; ``own``, its wires that go to one cavity of the computer and nowhere else; ``common``, its
cavities on nets of three and more; of those ``feed`` as the rule main-feed has it or with a fuse, else
``earthed`` with a ring on the net, ``supply`` and ``sensor_earth`` as the rules of those names have it, and
``feed`` the rest; ``bare``, its cavities on nothing; ``alike``, plugs of its size and number of own wires
that share a common net with it; ``screened``, ``resistors`` and ``diodes``.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

from loomproof.electrics.nets import Net, nets_of
from loomproof.loom.component_kinds import ComponentKind
from loomproof.loom.model import Connector, End, Loom
from loomproof.naming.rules import rules

LEAST_COMPUTER = 10
"""The biggest connector is taken for the computer's from so many cavities on. Our convention."""


@dataclass(frozen=True)
class Figures:
    """The figures of a loom as it was traced: its plugs are the adapter's, whatever was named since."""

    loom: Loom

    @cached_property
    def net_of(self) -> Mapping[End, Net]:
        """The net of each end."""
        return {end: net for net in nets_of(self.loom) for end in net.ends}

    @cached_property
    def computer(self) -> Connector | None:
        """The biggest connector, taken for the computer's; ``None`` where none is big, or two are."""
        plugs = sorted(self.loom.connectors, key=lambda each: len(each.cavities), reverse=True)
        big = [each for each in plugs if len(each.cavities) >= LEAST_COMPUTER]
        if not big or (len(big) > 1 and len(big[1].cavities) == len(big[0].cavities)):
            return None
        return big[0]

    def of_net(self, end: End, measured: Mapping[frozenset[End], float] | None = None) -> dict[str, float]:
        """Return the figures of an end's net; ``ohm`` only where something was measured on it."""
        return self._of(self.net_of[end], measured or {})

    def of_plug(self, end: End) -> dict[str, float]:
        """Return the figures of an end's plug."""
        plug = self.loom.by_name[end.connector]
        own = self._own(plug)
        nets = [self.net_of[each] for each in plug.ends]
        kinds = {"earthed": 0, "supply": 0, "sensor_earth": 0, "feed": 0}
        common = [net for net in nets if len(net.cavities) > 2]
        for net in common:
            kinds[self._kind_of(net)] += 1
        shared = {each.connector for net in common for each in net.cavities}
        alike = [
            other
            for other in (self.loom.by_name[name] for name in shared)
            if len(other.cavities) == len(plug.cavities) and self._own(other) == own
        ]
        ends = set(plug.ends)
        across = [
            part.kind
            for part in self.loom.components
            if sum(bool(set(self.net_of[each].ends) & set(part.ends)) for each in plug.ends) > 1
        ]
        wires = [wire for wire in self.loom.wires if ends & set(wire.ends)]
        figures = {
            "size": len(plug.cavities),
            "own": own,
            "common": len(common),
            **kinds,
            "bare": sum(len(net.cavities) == 1 for net in nets),
            "alike": len(alike),
            "screened": sum(bool(wire.screened_by) for wire in wires),
            "resistors": sum(kind is ComponentKind.RESISTOR for kind in across),
            "diodes": sum(kind is ComponentKind.DIODE for kind in across),
        }
        return {name: float(value) for name, value in figures.items()}

    def _of(self, net: Net, measured: Mapping[frozenset[End], float]) -> dict[str, float]:
        computer = self.computer
        plugs = [self.loom.by_name[name] for name in dict.fromkeys(end.connector for end in net.cavities)]
        sizes = [len(plug.cavities) for plug in plugs if plug is not computer]
        kinds = [part.kind for part in self.loom.components if set(part.ends) & set(net.ends)]
        read = [ohm for pair, ohm in measured.items() if pair <= set(net.cavities)]
        figures = {
            "cavities": len(net.cavities),
            "rings": sum(size == 1 for size in sizes),
            "twos": sum(size == 2 for size in sizes),
            "threes": sum(size == 3 for size in sizes),
            "alike_twos": sum(len(plug.cavities) == 2 and self._own(plug) > 0 for plug in plugs),
            "computer": sum(computer is not None and end.connector == computer.name for end in net.cavities),
            "fuses": sum(kind in (ComponentKind.FUSE, ComponentKind.LINK) for kind in kinds),
        }
        counted = {name: float(value) for name, value in figures.items()}
        return counted | ({"ohm": max(read)} if read else {})

    def _own(self, plug: Connector) -> int:
        """Return how many wires of a plug go to one cavity of the computer and nowhere else."""
        computer = self.computer
        return sum(
            len(cavities := self.net_of[end].cavities) == 2
            and any(
                computer is not None and each.connector == computer.name for each in cavities if each != end
            )
            for end in plug.ends
        )

    def _kind_of(self, net: Net) -> str:
        """Return what a common net of a plug is, as the rules about nets have it."""
        figures = self._of(net, {})
        by_name = {rule.name: rule for rule in rules()}
        if by_name["main-feed"].holds(figures) or figures["fuses"]:
            return "feed"
        if figures["rings"]:
            return "earthed"
        if by_name["sensor-supply"].holds(figures):
            return "supply"
        if by_name["sensor-earth"].holds(figures):
            return "sensor_earth"
        return "feed"
