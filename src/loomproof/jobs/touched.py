"""What a touch of the probe says of a known loom: nets, wires, where they go, what they are for. Pure."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from loomproof.bench.adapter import Adapter
from loomproof.diagnosis.words import listed
from loomproof.electrics.component_kinds import conducting_ends
from loomproof.electrics.graph import DisjointSets
from loomproof.electrics.nets import Net, nets_of
from loomproof.loom.colours import name_of
from loomproof.loom.model import Circuit, Component, End, Loom, Wire
from loomproof.loom.text import first_of
from loomproof.measuring.events import Touched
from loomproof.results.figures import value_of

WHICH = "The probe tells the net, not which of its ends it is on."
"""Said where a touch reaches more than one end."""


@dataclass(frozen=True, slots=True)
class EndTold:
    """An end, and what its connector is and where it sits, as far as that is described."""

    end: End
    about: str


@dataclass(frozen=True, slots=True)
class WireTold:
    """A wire: from where to where, its colour as held and in words, section and length in words."""

    name: str
    a: End
    b: End
    colour: str
    colour_name: str
    size: str


@dataclass(frozen=True, slots=True)
class NetTold:
    """One net of the description: ends that the probe reaches and those that it does not, what is in it."""

    ends: tuple[EndTold, ...]
    missing: tuple[EndTold, ...]
    wires: tuple[WireTold, ...]
    parts: tuple[str, ...]
    purposes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TouchTold:
    """A touch: the nets that it reaches, points to which no lead goes, and what is not as described."""

    nets: tuple[NetTold, ...]
    bare_points: tuple[int, ...]
    doubts: tuple[str, ...]

    @property
    def ends(self) -> tuple[End, ...]:
        """All ends that the probe reaches."""
        return tuple(told.end for net in self.nets for told in net.ends)

    @property
    def sentences(self) -> Iterator[str]:
        """Yield it as a person hears it: ends, wires, what it is for, what is odd."""
        if self.ends:
            yield f"{first_of(self.ends, 8)}."
        if len(self.ends) > 1:
            yield WHICH
        for net in self.nets:
            for wire in net.wires:
                colour = f", {wire.colour_name}" if wire.colour_name else ""
                yield f"Wire {wire.name}{colour}: {wire.a} to {wire.b}."
            yield from (f"For {purpose}." for purpose in net.purposes)
            yield from (f"{part[:1].upper()}{part[1:]}." for part in net.parts)
        yield from self.doubts


@dataclass(frozen=True)
class Telling:
    """A loom on the points of an adapter, of which touches are told."""

    loom: Loom
    adapter: Adapter

    def touch(self, event: Touched) -> TouchTold:
        """Return what a touch says."""
        bare = tuple(point for point in event.points if point not in self.adapter.end_of)
        return self._told(event.cavities, bare)

    def net_of(self, end: End) -> TouchTold:
        """Return what the description says of an end's net, as if the probe reached all of it."""
        net = self._net_of[end]
        return self._told(net.cavities, ())

    def _told(self, reached: Collection[End], bare: tuple[int, ...]) -> TouchTold:
        indices = dict.fromkeys(self._net_of[end].index for end in reached if end in self._net_of)
        nets = [self._nets[index] for index in indices]
        told = tuple(self._net(net, set(reached)) for net in nets)
        return TouchTold(told, bare, tuple(self._doubts(nets, told, bare)))

    def _net(self, net: Net, reached: Collection[End]) -> NetTold:
        wires = [self.loom.wire_by_name[name] for name in net.wires]
        there = self.adapter.point_of
        circuits = dict.fromkeys(wire.circuit for wire in wires if wire.circuit)
        return NetTold(
            tuple(self._end(end) for end in net.cavities if end in reached),
            tuple(self._end(end) for end in net.cavities if end in there and end not in reached),
            tuple(map(_wire, wires)),
            tuple(_part(part) for part in self._parts_at(net)),
            tuple(_purpose(self.loom.circuit_by_name.get(name, Circuit(name))) for name in circuits),
        )

    def _end(self, end: End) -> EndTold:
        plug = self.loom.by_name[end.connector]
        note = self.loom.facts_by_end[end].note if end in self.loom.facts_by_end else ""
        return EndTold(end, ", ".join(filter(None, (plug.description, plug.location, note))))

    def _parts_at(self, net: Net) -> list[Component]:
        return [part for part in self.loom.components if set(part.ends) & set(net.ends)]

    def _doubts(self, nets: Sequence[Net], told: Sequence[NetTold], bare: Sequence[int]) -> Iterator[str]:
        for each in told:
            if each.missing:
                missing = first_of([end.end for end in each.missing], 4)
                yield (
                    f"By the description {missing} is on this net too, and the probe does not reach it: is a "
                    "lead off, or a wire broken?"
                )
        groups = self._groups(nets)
        if len(groups) > 1:
            sides = " and ".join(str(group[0].cavities[0]) for group in groups[:3])
            why = "are contacts exchanged" if any(each.missing for each in told) else "do they touch"
            yield f"By the description no part joins {sides}, and the probe reaches both: {why}?"
        elif len(nets) > 1:
            indices = {net.index for net in nets}
            parts = [name for name, joined in self._joining if len(indices & set(joined)) > 1]
            through = f" through {first_of(parts, 4)}" if parts else ""
            yield f"These are {len(nets)} nets by the description, which parts of the loom join{through}."
        if bare:
            points = ", ".join(map(str, bare))
            yield f"The probe reads at point {points}, and no lead of the adapter goes there."

    def _groups(self, nets: Sequence[Net]) -> list[list[Net]]:
        """Return the nets in groups that no chain of parts joins."""
        islands = DisjointSets((net.index for net in self._nets), (joined for _, joined in self._joining))
        groups: dict[int, list[Net]] = {}
        for net in nets:
            groups.setdefault(islands.root(net.index), []).append(net)
        return list(groups.values())

    @cached_property
    def _nets(self) -> tuple[Net, ...]:
        return nets_of(self.loom)

    @cached_property
    def _net_of(self) -> dict[End, Net]:
        return {end: net for net in self._nets for end in net.ends}

    @cached_property
    def _joining(self) -> tuple[tuple[str, tuple[int, int]], ...]:
        """Parts through which the probe reaches from net to net: those that direct current passes."""
        return tuple(
            (part.name, (self._net_of[a].index, self._net_of[b].index))
            for part in self.loom.components
            if part.fitted
            for a, b in conducting_ends(part)
        )


def _wire(wire: Wire) -> WireTold:
    size = (
        wire.section or (f"{wire.csa_mm2:g} mm²" if wire.csa_mm2 is not None else ""),
        f"{wire.length_m:g} m" if wire.length_m is not None else "",
    )
    colour = name_of(wire.colour) if wire.colour else ""
    return WireTold(wire.name, wire.a, wire.b, wire.colour, colour, ", ".join(filter(None, size)))


def _part(part: Component) -> str:
    value = f", {value_of(part)}," if value_of(part) else ""
    return f"{part.kind.value} {part.name}{value} at {listed(dict.fromkeys(part.ends))}"


def _purpose(circuit: Circuit) -> str:
    purpose = f": {circuit.purpose}" if circuit.purpose not in ("", circuit.name) else ""
    return f"{circuit.name}{purpose}" + (f", terminal {circuit.designation}" if circuit.designation else "")
