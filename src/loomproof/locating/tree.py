"""A net as a tree of runs of wire: which cavities hang together after a cut, and how much wire with each."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.graph import DisjointSets, reached
from loomproof.electrics.nets import Net
from loomproof.errors import UnfitError
from loomproof.loom.model import End, Loom


@dataclass(frozen=True, slots=True)
class Run:
    """One edge of a net: a wire with its length, or a fitted fuse or link, which has none."""

    name: str
    a: End
    b: End
    length_m: float = 0.0
    is_wire: bool = True

    def other(self, end: End) -> End:
        """Return the end across from this one."""
        return self.b if end == self.a else self.a


@dataclass(frozen=True)
class Tree:
    """The runs of one net, without a loop. ``cavities`` are those that can hold a point of the bench."""

    runs: tuple[Run, ...]
    cavities: tuple[End, ...]
    _memo: dict[str, tuple[frozenset[End], frozenset[End]]] = field(
        default_factory=dict, compare=False, repr=False
    )

    @cached_property
    def at(self) -> Mapping[End, tuple[Run, ...]]:
        """Runs by the end that they sit on."""
        found: dict[End, list[Run]] = {}
        for run in self.runs:
            found.setdefault(run.a, []).append(run)
            found.setdefault(run.b, []).append(run)
        return {end: tuple(runs) for end, runs in found.items()}

    @property
    def length_m(self) -> float:
        """All its wire together, m."""
        return sum(run.length_m for run in self.runs)

    def sides(self, cut: Run) -> tuple[frozenset[End], frozenset[End]]:
        """Return the ends on the side of ``a`` and on that of ``b`` where this run is cut."""
        if cut.name not in self._memo:

            def onward(end: End) -> Iterable[End]:
                return [run.other(end) for run in self.at.get(end, ()) if run is not cut]

            self._memo[cut.name] = (frozenset(reached([cut.a], onward)), frozenset(reached([cut.b], onward)))
        return self._memo[cut.name]

    def within(self, ends: Collection[End], cut: Run | None = None) -> tuple[Run, ...]:
        """Return the whole runs that lie between these ends, a cut one left out."""
        return tuple(run for run in self.runs if run is not cut and run.a in ends and run.b in ends)

    def way(self, start: End, goal: End) -> tuple[Run, ...]:
        """Return the runs from one end to another, in order. Raises `KeyError` where there is no way."""
        came: dict[End, tuple[End, Run] | None] = {start: None}
        waiting = [start]
        for end in waiting:
            for run in self.at.get(end, ()):
                if run.other(end) not in came:
                    came[run.other(end)] = (end, run)
                    waiting.append(run.other(end))
        way: list[Run] = []
        at = goal
        while (step := came[at]) is not None:
            at = step[0]
            way.append(step[1])
        return tuple(reversed(way))


def tree_of(loom: Loom, net: Net, *, with_lengths: bool = True) -> Tree:
    """Return a net's tree. Raises `UnfitError`, with the reason, for what no place can be claimed in.

    That is a net with a loop, or with a wire of unknown length where lengths count.
    """
    wires = [loom.wire_by_name[name] for name in net.wires]
    unknown = [wire.name for wire in wires if wire.length_m is None]
    if unknown and with_lengths:
        raise UnfitError(
            f"no length is given for {', '.join(unknown)}: a place can only be told as a share of the wire",
            cure="Give the lengths in the table of wires.",
        )
    runs = [Run(wire.name, wire.a, wire.b, wire.length_m or 0.0) for wire in wires]
    for name in net.components:
        part = loom.component_by_name[name]
        runs += [Run(name, a, b, is_wire=False) for a, b in joined_ends(part)]
    joined = DisjointSets(net.ends)
    for run in runs:
        if not joined.join(run.a, run.b):
            raise UnfitError(
                f"{run.name} closes a loop with other wires of its net: several places fit any reading",
                cure="Take one of the wires side by side off, and prove again.",
            )
    return Tree(tuple(runs), net.cavities)
