"""How well an explanation of the wiring fits the readings of parts and paths."""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence

from loomproof.diagnosis.entangled import low_pairs, senses_alone
from loomproof.diagnosis.faults import Righted
from loomproof.diagnosis.found import Found, found_wiring, read_ends
from loomproof.diagnosis.parts import part_findings, reaches
from loomproof.diagnosis.paths import path_findings
from loomproof.diagnosis.search import Explanation
from loomproof.diagnosis.writing import Writer
from loomproof.electrics.graph import DisjointSets
from loomproof.results.measured import Decision, Measured


class PartStrain:
    """Counts what an explanation of the wiring leaves to be explained: parts amiss, and paths from nowhere.

    A contact crossed at one end of a wire or at the other gives the same nets, but a part on the
    wire then hangs elsewhere, and its reading tells which.
    """

    def __init__(self, writer: Writer, measured: Measured, labels: Sequence[int]) -> None:
        self.writer, self.labels, self.measured = writer, labels, measured
        wiring = writer.wiring
        ends = [end for read in measured.judged if read.component for end in (read.a, read.b)]
        ends += [end for diode in measured.diodes for end in (diode.anode, diode.cathode)]
        ends += [end for path in (*measured.paths, *measured.leaks) for end in (path.a, path.b)]
        ends += [end for way in measured.one_way for end in (way.source, way.sink)]
        pairs = [(path.a, path.b) for path in (*measured.paths, *measured.leaks)]
        pairs += [(way.source, way.sink) for way in measured.one_way]
        group_of = dict(zip(wiring.leaf_ends, labels, strict=True))
        self.between = [{group_of.get(a), group_of.get(b)} for a, b in pairs]
        self.groups = {labels[wiring.leaf_of[end]] for end in ends if end in wiring.leaf_of}
        self.sensed: dict[int, int] = {}
        if senses_alone(measured):
            # What was sensed as one, of each conductor that it was parted into.
            one = {end: k for k, group in enumerate(writer.measured.groups) for end in group}
            self.sensed = {label: one[end] for end, label in group_of.items() if end in one}
            self.groups |= self._coupled()

    def touches(self, groups: Collection[int]) -> bool:
        """Whether a reading of a part or path lies on any of these groups."""
        return not self.groups.isdisjoint(groups)

    def apart(self, explanation: Explanation) -> tuple[int, int]:
        """Return how many housings hold crossed contacts, and how many of these do not sit side by side.

        The fewer, the likelier: whoever had one housing open crossed all of them there.
        """
        ends, loom = self.writer.wiring.leaf_ends, self.writer.loom
        pairs = [
            (ends[cycle[k - 1]], ends[leaf]) for cycle in explanation.cycles for k, leaf in enumerate(cycle)
        ]
        homes = {end.connector for pair in pairs for end in pair}
        return len(homes), sum(a not in loom.neighbours(b) for a, b in pairs)

    def __call__(self, righted: Righted) -> int:
        """Return how many parts and paths are left to be explained, a part in the wrong place too."""
        writer = self.writer
        found = found_wiring(writer.loom, writer.wiring, self.measured, self.labels, righted)
        reads = [
            (read.component, read.a, read.b, read.within, read.decision is Decision.FAIL)
            for read in writer.measured.judged
        ]
        reads += [
            (d.component, d.anode, d.cathode, d.decision is Decision.PASS, d.decision is Decision.FAIL)
            for d in writer.measured.diodes
        ]
        # What only has to read high passes wherever its contacts are.
        bound = {read.component for read in writer.measured.judged if math.isinf(read.limit_ohm)}
        misplaced = 0
        for name, a, b, sound, failed in reads:
            if not name or reaches(found, name, a, b):
                continue
            # Sound, it is read where it cannot be; else it should show where the explanation puts it.
            misplaced += (sound and name not in bound) or (failed and not self._shows(found, name))
        return (
            misplaced
            + self.senses(righted)
            + sum(1 for _ in part_findings(found, writer))
            + sum(1 for _ in path_findings(found, writer))
        )

    def senses(self, righted: Righted) -> int:
        """Return how often sense would find other conductors joined, or parted, by parts than it did."""
        if not self.sensed:
            return 0
        writer = self.writer
        found = found_wiring(writer.loom, writer.wiring, self.measured, self.labels, righted)
        pairs = {
            frozenset(group for end in pair if (group := found.group_at(end)) is not None)
            for pair in low_pairs(writer.loom)
        }
        joined = DisjointSets(self.sensed)
        across = 0
        for pair in pairs:
            if len(pair) == 2 and pair <= self.sensed.keys():
                one, other = sorted(pair)
                across += self.sensed[one] != self.sensed[other]
                joined.join(one, other)
        roots = {joined.root(label) for label in self.sensed}
        return across + len(roots) - len({self.sensed[root] for root in roots})

    def _coupled(self) -> set[int]:
        """Return the labels that parts lie at: by which of them sense found joined, explanations differ."""
        wiring = self.writer.wiring
        nets = {
            wiring.net_of[leaf]
            for part in self.writer.loom.components
            for end in part.ends
            if (leaf := wiring.leaf_of.get(end)) is not None
        }
        return {label for leaf, label in enumerate(self.labels) if wiring.net_of[leaf] in nets}

    def _shows(self, found: Found, name: str) -> bool:
        """Whether a path was read between the conductors that a part lies between, or it could not be."""
        groups = {found.group_at(end) for end in read_ends(found.loom.component_by_name[name])}
        return len(groups - {None}) != 2 or groups in self.between
