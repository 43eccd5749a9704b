"""Parts in loops: one that is wrong, or a path across one, changes what every part of its loops reads.

The conductors as found are the nodes of a network, and stated parts its edges. A candidate changes the
conductance between its two nodes so that its own reading comes out; it explains another part's reading where
the network then gives that too (superposition in linear networks; textbook network theory).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.found import Found
from loomproof.electrics.component_kinds import conducting_ends, joined_ends
from loomproof.results.findings import Alternative, Finding

AGREES = 0.2
"""So far may a computed reading lie from the real one: parts have tolerances. Our convention."""

_SUREST = (Cause.REVERSED_DIODE, Cause.MISSING_PART, Cause.SHORTED_PART, Cause.WRONG_VALUE)
"""What makes every part of its loops read wrongly, the surest first."""

LEAST_OHM = 1e-3


@dataclass(frozen=True, slots=True)
class Amiss:
    """A part that reads wrongly: where, what it reads (inf: open), and the finding that would tell it."""

    at: tuple[Hashable, Hashable]
    ohm: float
    finding: Finding


class PartNetwork:
    """The stated parts between the conductors as found."""

    def __init__(self, found: Found) -> None:
        self.edges: list[tuple[str, Hashable, Hashable, float]] = []
        # A part whose contact was found open is out with all of its paths.
        gone = {found.wiring.edges[number].component for number in found.cut_edges}
        for part in found.loom.components:
            if part.name in gone:
                continue
            for pair in set(conducting_ends(part)) - set(joined_ends(part)):
                a, b = (found.group_at(end) for end in pair)
                if part.resistance_ohm and a is not None and b is not None and a != b:
                    self.edges.append((part.name, a, b, part.resistance_ohm))

    def ohm(
        self,
        at: tuple[Hashable, Hashable],
        added: tuple[tuple[Hashable, Hashable], float] | None = None,
        without: str = "",
    ) -> float:
        """Return what is read between two conductors, with a conductance added (S) or a part left out, Ω."""
        edges = [(a, b, 1.0 / ohm) for name, a, b, ohm in self.edges if name != without]
        if added is not None:
            edges.append((*added[0], added[1]))
        nodes = {node: k for k, node in enumerate(dict.fromkeys((*at, *(n for e in edges for n in e[:2]))))}
        laplacian = np.zeros((len(nodes), len(nodes)))
        for a, b, siemens in edges:
            i, j = nodes[a], nodes[b]
            laplacian[[i, j], [i, j]] += siemens
            laplacian[[i, j], [j, i]] -= siemens
        current = np.zeros(len(nodes))
        current[nodes[at[0]]], current[nodes[at[1]]] = 1.0, -1.0
        volts = np.linalg.pinv(laplacian, hermitian=True) @ current
        if not np.allclose(laplacian @ volts, current, atol=1e-6):
            return math.inf
        return max(float(volts[nodes[at[0]]] - volts[nodes[at[1]]]), 0.0)

    def explains(self, one: Amiss, other: Amiss) -> bool:
        """Whether what makes ``one`` read as it does makes ``other`` read as it does."""
        if set(one.at) == set(other.at):
            # Two that are both open are both out; what the rest makes of one that is out is one reading.
            return one.finding.cause != Cause.MISSING_PART or math.isfinite(one.ohm)
        sound_ohm = self.ohm(one.at)
        siemens = 1.0 / max(one.ohm, LEAST_OHM) - (0.0 if math.isinf(sound_ohm) else 1.0 / sound_ohm)
        return agree(self.ohm(other.at, (one.at, siemens)), other.ohm)


def agree(computed_ohm: float, read_ohm: float) -> bool:
    """Whether a computed reading is the real one, as far as tolerances go."""
    if math.isinf(computed_ohm) or math.isinf(read_ohm):
        return computed_ohm == read_ohm
    return abs(computed_ohm - read_ohm) <= AGREES * max(computed_ohm, read_ohm) + 1.0


def one_for_all(network: PartNetwork, amiss: Iterable[Amiss]) -> Iterator[Finding]:
    """Yield the findings, one for all that one of them explains; what else it may be are its alternatives."""
    left = list(amiss)
    while left:
        best = max(left, key=lambda one: (len(_explained(network, one, left)), -_rank(one.finding)))
        others = _explained(network, best, left)
        left = [one for one in left if one is not best and one not in others]
        first = best.finding
        yield replace(
            first,
            components=(*first.components, *(name for other in others for name in other.finding.components)),
            evidence=(*first.evidence, *(shown for other in others for shown in other.finding.evidence)),
            alternatives=(
                *first.alternatives,
                *(_instead(o.finding) for o in others if best in _explained(network, o, [best])),
            ),
        )


def _explained(network: PartNetwork, one: Amiss, amiss: Sequence[Amiss]) -> list[Amiss]:
    if one.finding.cause not in _SUREST:
        return []
    return [other for other in amiss if other is not one and network.explains(one, other)]


def _rank(finding: Finding) -> int:
    return _SUREST.index(finding.cause) if finding.cause in _SUREST else len(_SUREST)


def _instead(finding: Finding) -> Alternative:
    return Alternative(
        text=f"{finding.title}, and the parts beside it are right",
        cause=finding.cause,
        cavities=finding.cavities,
        repair=finding.repair,
        tell_apart=f"Take {', '.join(finding.components)} out and read again.",
    )
