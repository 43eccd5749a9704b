"""The wiring as it was found: which group each node hangs on once the diagnosed faults are taken as real."""

from __future__ import annotations

import heapq
from collections.abc import Mapping
from dataclasses import dataclass, field

from loomproof.diagnosis.faults import Diagnosis
from loomproof.diagnosis.wiring import Wiring
from loomproof.loom.model import ComponentKind, End, Loom
from loomproof.results.measured import Measured

OPEN_TO_METER = frozenset({ComponentKind.CAPACITOR})
"""Parts that pass no direct current."""


@dataclass(slots=True)
class Found:
    """The found wiring of one measured loom."""

    loom: Loom
    wiring: Wiring
    measured: Measured
    labels: tuple[int, ...]
    moved: Mapping[int, int]
    """Place in the wiring of what was found at a leaf; leaves where nothing moved are left out."""
    cut_edges: frozenset[int]
    cut_splices: frozenset[int]
    node_group: dict[int, int] = field(default_factory=dict)
    group_of: dict[End, int] = field(default_factory=dict)

    def place_of(self, end: End) -> int | None:
        """Return the leaf in the wiring as it should be whose wire was found at a cavity."""
        leaf = self.wiring.leaf_of.get(end)
        return None if leaf is None else self.moved.get(leaf, leaf)

    def group_at(self, end: End) -> int | None:
        """Return the group that the wires of an end hang on, None where nothing tested reaches them."""
        node = self.wiring.node_of(end)
        return None if node is None else self.node_group.get(node)

    def parts_between(self, one: int, other: int, without: str = "") -> float | None:
        """Return the nominal ohms of the shortest chain of built-in parts between two groups.

        None where there is no chain. A part of unknown value counts as 0 Ω.
        """
        queue: list[tuple[float, int]] = [(0.0, one)]
        best: dict[int, float] = {one: 0.0}
        while queue:
            ohm, group = heapq.heappop(queue)
            if group == other:
                return ohm
            if ohm > best[group]:
                continue
            for part, beside, value in self._chains.get(group, ()):
                if part != without and ohm + value < best.get(beside, float("inf")):
                    best[beside] = ohm + value
                    heapq.heappush(queue, (ohm + value, beside))
        return None

    _chains: dict[int, list[tuple[str, int, float]]] = field(default_factory=dict)

    def part_pairs(self) -> set[frozenset[int]]:
        """Return the pairs of groups that a built-in part sits directly between."""
        return {frozenset((a, b)) for a, others in self._chains.items() for _, b, _ in others}

    def parts_joining(self, one: int, other: int) -> list[str]:
        """Return the parts that sit directly between two groups."""
        return [name for name, beside, _ in self._chains.get(one, ()) if beside == other]


def found_wiring(
    loom: Loom, wiring: Wiring, measured: Measured, labels: list[int], diagnosis: Diagnosis | None
) -> Found:
    """Return the found wiring; without a diagnosis the nets are as expected."""
    group_of = dict(zip(wiring.leaf_ends, labels, strict=True))
    cut: set[int] = set()
    splices: set[int] = set()
    right = tuple(labels)
    moved: dict[int, int] = {}
    if diagnosis is not None:
        right = diagnosis.labels
        moved = {there: here for here, there in diagnosis.moved}
        for choice in diagnosis.choices:
            cut.update(choice.fault.edges)
            splices.update(choice.fault.splices)
    found = Found(loom, wiring, measured, right, moved, frozenset(cut), frozenset(splices), group_of=group_of)
    _flood(found)
    for part in loom.components:
        if not part.fitted or part.kind in OPEN_TO_METER:
            continue
        groups = [found.group_at(end) for end in part.ends]
        for i, a in enumerate(groups):
            for b in groups[i + 1 :]:
                if a is not None and b is not None and a != b:
                    value = part.resistance_ohm or 0.0
                    found._chains.setdefault(a, []).append((part.name, b, value))
                    found._chains.setdefault(b, []).append((part.name, a, value))
    return found


def _flood(found: Found) -> None:
    wiring = found.wiring
    for leaf, label in enumerate(found.labels):
        if label < 0 or leaf in found.node_group:
            continue
        found.node_group[leaf] = label
        stack = [leaf]
        while stack:
            node = stack.pop()
            if node in found.cut_splices:
                continue
            for number in wiring.at.get(node, ()):
                other = wiring.edges[number].u + wiring.edges[number].v - node
                if number not in found.cut_edges and other not in found.node_group:
                    found.node_group[other] = label
                    stack.append(other)
