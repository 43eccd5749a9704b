"""From explanations of labels to faults: one value for each thing that a person would mend."""

from __future__ import annotations

import itertools
import math
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.search import Explainer, Explanation, Piece
from loomproof.diagnosis.structure import Arrangement, Hypothesis
from loomproof.diagnosis.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in terms of the wiring's numbers; ``cause`` is one of `causes.Cause`.

    ``leaves`` are the cavities that show it. ``edges`` and ``splices`` are what is open. ``pieces`` are the
    leaves of each conductor that was found joined to the others. ``connectors`` and ``detail`` belong to
    slips with whole connectors.
    """

    cause: Cause
    leaves: tuple[int, ...]
    edges: tuple[int, ...] = ()
    splices: tuple[int, ...] = ()
    pieces: tuple[tuple[int, ...], ...] = ()
    connectors: tuple[str, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One fault with the others that would explain the same, each a set of faults in its place.

    ``proved``: the search that found it came to its end, so that nothing cheaper explains the same.
    """

    fault: Fault
    others: tuple[tuple[Fault, ...], ...] = ()
    proved: bool = True


@dataclass(frozen=True, slots=True)
class Righted:
    """The wiring as found with one explanation taken as real.

    ``labels`` are the groups found with everything that sits in a wrong place put right; ``moved`` are
    (leaf, the leaf where its wire was found); ``edges`` and ``splices`` are open.
    """

    labels: tuple[int, ...]
    moved: tuple[tuple[int, int], ...] = ()
    edges: frozenset[int] = frozenset()
    splices: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All faults of the wiring, what they cost, and the wiring as found with them taken as real."""

    choices: tuple[Choice, ...]
    cost: int
    arrangement: Arrangement
    righted: Righted


class Strain(Protocol):
    """What speaks for one of several equally cheap explanations of the wiring.

    Called, it counts the readings of parts and paths that an explanation leaves to be explained.
    """

    def __call__(self, righted: Righted) -> int:
        """Return how many."""
        ...

    def touches(self, groups: Collection[int]) -> bool:
        """Whether any such reading lies on these groups."""
        ...

    def apart(self, explanation: Explanation) -> tuple[int, int]:
        """Return how many housings hold crossed contacts, how many do not sit side by side: fewer first."""
        ...


def diagnose(found: Sequence[Arrangement], explainer: Explainer, strain: Strain) -> Diagnosis:
    """Return the cheapest explanation over all arrangements of whole connectors.

    Of equally cheap ones those stay that leave the fewest readings of parts and paths unexplained.
    """
    best: int | None = None
    kept: list[tuple[Arrangement, list[Piece]]] = []
    for arrangement in found:
        pieces = explainer.split(arrangement.labels)
        least = arrangement.cost + sum(explainer.floor(arrangement.labels, nets) for nets in pieces)
        if best is not None and least > best:
            continue
        explained = [explainer.piece(arrangement.labels, nets) for nets in pieces]
        total = arrangement.cost + sum(piece.cost for piece in explained)
        if best is None or total < best:
            best, kept = total, []
        if total == best:
            kept.append((arrangement, explained))
    assert best is not None
    kept = _borne_out(
        [(arrangement, _sifted(arrangement, pieces, strain)) for arrangement, pieces in kept], strain
    )
    kept.sort(key=lambda each: _moved(*each))
    arrangement, explained = kept[0]
    choices = [Choice(_slip(slip)) for slip in arrangement.slips]
    choices += [choice for piece in explained for choice in _choices(piece, explainer.wiring)]
    instead: dict[Fault, dict[tuple[Fault, ...], None]] = {}
    for other in kept[1:]:
        for gone, new in _instead(kept[0], other, explainer):
            there = {leaf for fault in new for leaf in fault.leaves}
            at = max(gone, key=lambda fault: len(there.intersection(fault.leaves)))
            instead.setdefault(at, {})[_ordered(new, at)] = None
    told = tuple(
        replace(choice, others=tuple(dict.fromkeys((*choice.others, *instead.get(choice.fault, ())))))
        for choice in choices
    )
    return Diagnosis(told, best, arrangement, _righted(arrangement, explained))


EASY = frozenset({Cause.EXCHANGED, Cause.NOT_PLUGGED, Cause.ADAPTER_BOARD})
"""Slips with whole connectors that come before crossed contacts where both cost the same."""


def _moved(arrangement: Arrangement, pieces: Sequence[Piece]) -> int:
    """Return how many contacts sit in wrong places: the fewer, the simpler.

    Plugs left off or in each other's place count for nothing: hands slip so more often than crimps do.
    """
    slipped = sum(len(slip.moves) for slip in arrangement.slips if slip.cause not in EASY)
    return slipped + sum(len(cycle) for piece in pieces for cycle in piece.explanations[0].cycles)


def _instead(
    mine: tuple[Arrangement, list[Piece]], other: tuple[Arrangement, list[Piece]], explainer: Explainer
) -> Iterator[tuple[list[Fault], list[Fault]]]:
    """Yield the faults of one arrangement that others would replace, and those others."""
    wiring = explainer.wiring
    had = [_slip(slip) for slip in mine[0].slips if slip not in other[0].slips]
    had += [f for piece in mine[1] if piece not in other[1] for f in faults_of(piece.explanations[0], wiring)]
    slips = [_slip(slip) for slip in other[0].slips if slip not in mine[0].slips]
    ways = [piece.explanations for piece in other[1] if piece not in mine[1]]
    for picked in itertools.islice(itertools.product(*ways), explainer.weights.bound_alternatives):
        then = [*slips, *(fault for explanation in picked for fault in faults_of(explanation, wiring))]
        gone = [fault for fault in had if fault not in then]
        new = [fault for fault in then if fault not in had]
        if gone and new:
            yield gone, new


def _sifted(arrangement: Arrangement, pieces: Sequence[Piece], strain: Strain) -> list[Piece]:
    """Return the pieces, each with the explanations that its readings bear out best, the likeliest first."""
    kept = [
        replace(piece, explanations=tuple(sorted(piece.explanations, key=strain.apart))) for piece in pieces
    ]
    for at, piece in enumerate(kept):
        groups = {arrangement.labels[leaf] for leaf in piece.leaves}
        if len(piece.explanations) < 2 or not strain.touches(groups):
            continue
        strains = [
            strain(_righted(arrangement, [*kept[:at], replace(piece, explanations=(one,)), *kept[at + 1 :]]))
            for one in piece.explanations
        ]
        least = min(strains)
        left = tuple(one for one, much in zip(piece.explanations, strains, strict=True) if much == least)
        kept[at] = replace(piece, explanations=left)
    return kept


def _borne_out(
    kept: list[tuple[Arrangement, list[Piece]]], strain: Strain
) -> list[tuple[Arrangement, list[Piece]]]:
    if len(kept) < 2 or not strain.touches({label for labels in kept for label in labels[0].labels}):
        return kept
    strains = [strain(_righted(arrangement, pieces)) for arrangement, pieces in kept]
    return [one for one, much in zip(kept, strains, strict=True) if much == min(strains)]


def _righted(arrangement: Arrangement, pieces: Sequence[Piece]) -> Righted:
    """Return the wiring as found with the first explanation of each piece taken as real."""
    source = list(range(len(arrangement.labels)))
    for slip in arrangement.slips:
        so_far = list(source)
        for leaf, found in slip.moves:
            source[leaf] = -1 if found is None else so_far[found]
    before = list(source)
    labels = list(arrangement.labels)
    firsts = [piece.explanations[0] for piece in pieces]
    for first in firsts:
        for cycle in first.cycles:
            for here, there in zip(cycle, (*cycle[1:], cycle[0]), strict=True):
                labels[here] = arrangement.labels[there]
                source[here] = before[there]
    return Righted(
        tuple(labels),
        tuple((leaf, found) for leaf, found in enumerate(source) if found not in (leaf, -1)),
        frozenset(edge for first in firsts for edge in first.edges),
        frozenset(node for first in firsts for node in first.splices),
    )


def _slip(slip: Hypothesis) -> Fault:
    leaves = tuple(leaf for leaf, _ in slip.moves)
    return Fault(slip.cause, leaves, connectors=slip.connectors, detail=slip.detail)


def faults_of(explanation: Explanation, wiring: Wiring) -> tuple[Fault, ...]:
    """Return the faults of one explanation, a wire moved to a wrong place as one."""
    found: list[Fault] = []
    for cycle in explanation.cycles:
        bare = [leaf for leaf in cycle if not wiring.at.get(leaf)]
        homes = {wiring.leaf_ends[leaf].connector for leaf in cycle}
        if len(cycle) == 2 and len(bare) == 1 and len(homes) == 1:
            cause = Cause.MOVED_TO_SPARE
        else:
            cause = Cause.CROSSED if len(homes) == 1 else Cause.CROSSED_HOUSINGS
        found.append(Fault(cause, tuple(sorted(cycle))))
    joins = list(explanation.joins)
    for number in explanation.edges:
        found.append(_open(number, wiring))
    found += [_splice(node, wiring) for node in explanation.splices]
    found += [
        Fault(Cause.TOUCHING, tuple(leaf for piece in join.pieces for leaf in piece), pieces=join.pieces)
        for join in joins
    ]
    return tuple(found)


def _open(number: int, wiring: Wiring) -> Fault:
    edge = wiring.edges[number]
    leaves = tuple(node for node in (edge.u, edge.v) if node < wiring.leaf_count)
    if edge.contact >= 0:
        cause = Cause.BAD_CONTACT
    elif edge.component:
        cause = Cause.OPEN_PART
    else:
        cause = Cause.BROKEN_WIRE
    return Fault(cause, leaves or _cut_off(number, wiring), edges=(number,))


def _splice(node: int, wiring: Wiring) -> Fault:
    leaves: list[int] = []
    for number in wiring.at.get(node, ()):
        leaves += wiring.side(number, node)
    return Fault(Cause.OPEN_SPLICE, tuple(sorted(leaves)), splices=(node,))


def _cut_off(number: int, wiring: Wiring) -> tuple[int, ...]:
    """Return the leaves of the smaller side of an edge between two inner nodes."""
    edge = wiring.edges[number]
    sides = [wiring.side(number, edge.u), wiring.side(number, edge.v)]
    sides = sorted((side for side in sides if side), key=len)
    return tuple(sorted(sides[0])) if sides else ()


def _choices(piece: Piece, wiring: Wiring) -> list[Choice]:
    """Return the faults of a piece, each with what could stand in its place.

    Where the equal explanations are independent choices (this or that wire, this or that end), each fault
    carries its own; where they hang together, each carries the others whole, its counterpart in front.
    """
    solutions = list(dict.fromkeys(frozenset(faults_of(e, wiring)) for e in piece.explanations))
    first = faults_of(piece.explanations[0], wiring)
    chosen = solutions[0]
    common = frozenset.intersection(*solutions)
    loose = [fault for fault in first if fault not in common]
    choices = [Choice(fault, proved=piece.proved) for fault in first if fault in common]
    single: dict[Fault, list[tuple[Fault, ...]]] = {
        fault: [
            tuple(solution - chosen)
            for solution in solutions[1:]
            if len(solution - chosen) == 1 and chosen - solution == {fault}
        ]
        for fault in loose
    }
    count = math.prod(1 + len(others) for others in single.values())
    for fault in loose:
        others = single[fault]
        if count != len(solutions):
            others = [_ordered(solution - chosen, fault) for solution in solutions if fault not in solution]
        choices.append(Choice(fault, tuple(dict.fromkeys(others)), piece.proved))
    return choices


def _ordered(faults: Iterable[Fault], instead_of: Fault) -> tuple[Fault, ...]:
    """Return faults with the one in front that is most like the fault that they would replace."""
    shown = set(instead_of.leaves)
    return tuple(
        sorted(
            faults,
            key=lambda fault: (
                fault.cause != instead_of.cause,
                -len(shown.intersection(fault.leaves)),
                fault.cause,
                fault.leaves,
                fault.edges,
                fault.splices,
            ),
        )
    )
