"""From explanations of labels to faults: one value for each thing that a person would mend."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.search import Explainer, Explanation, Piece
from loomproof.diagnosis.structure import Arrangement, Hypothesis
from loomproof.diagnosis.wiring import Wiring


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault in terms of the wiring's numbers; ``cause`` is a key of `causes.CAUSES`.

    ``leaves`` are the cavities that show it. ``edges`` and ``splices`` are what is open. ``pieces`` are the
    leaves of each conductor that was found joined to the others. ``connectors`` and ``detail`` belong to
    slips with whole connectors.
    """

    cause: str
    leaves: tuple[int, ...]
    edges: tuple[int, ...] = ()
    splices: tuple[int, ...] = ()
    pieces: tuple[tuple[int, ...], ...] = ()
    connectors: tuple[str, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True)
class Choice:
    """One fault with the others that would explain the same, each a set of faults in its place."""

    fault: Fault
    others: tuple[tuple[Fault, ...], ...] = ()


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """All faults of the wiring, what they cost, and whether that is proved to be the least.

    ``labels`` are the groups found with everything that sits in a wrong place put right; ``moved`` are
    (leaf, the leaf where its wire was found).
    """

    choices: tuple[Choice, ...]
    cost: int
    proved: bool
    arrangement: Arrangement
    labels: tuple[int, ...] = ()
    moved: tuple[tuple[int, int], ...] = ()
    equals: int = 1


def diagnose(found: Sequence[Arrangement], explainer: Explainer) -> Diagnosis:
    """Return the cheapest explanation over all arrangements of whole connectors."""
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
    arrangement, explained = kept[0]
    wiring = explainer.wiring
    choices: list[Choice] = []
    equals = 1
    for slip in arrangement.slips:
        others = []
        for other, pieces_then in kept[1:]:
            if slip in other.slips:
                continue
            new = [_slip(s) for s in other.slips if s not in arrangement.slips]
            new += [
                fault
                for piece in pieces_then
                if piece not in explained
                for fault in faults_of(piece.explanations[0], wiring)
            ]
            others.append(tuple(new))
        equals *= 1 + len(others)
        choices.append(Choice(_slip(slip), tuple(dict.fromkeys(other for other in others if other))))
    if not arrangement.slips and len(kept) > 1:
        slips = [tuple(_slip(s) for s in other.slips) for other, _ in kept[1:]]
    else:
        slips = []
    for piece in explained:
        made = _choices(piece, wiring)
        equals *= len(piece.explanations)
        choices += made
    if slips and choices:
        choices[0] = Choice(choices[0].fault, (*choices[0].others, *slips))
    labels, moved = _put_right(arrangement, explained)
    proved = all(piece.proved for piece in explained)
    return Diagnosis(tuple(choices), best, proved, arrangement, labels, moved, equals)


def _put_right(
    arrangement: Arrangement, pieces: Sequence[Piece]
) -> tuple[tuple[int, ...], tuple[tuple[int, int], ...]]:
    source = list(range(len(arrangement.labels)))
    for slip in arrangement.slips:
        so_far = list(source)
        for leaf, found in slip.moves:
            source[leaf] = -1 if found is None else so_far[found]
    before = list(source)
    labels = list(arrangement.labels)
    for piece in pieces:
        for cycle in piece.explanations[0].cycles:
            for here, there in zip(cycle, (*cycle[1:], cycle[0]), strict=True):
                labels[here] = arrangement.labels[there]
                source[here] = before[there]
    moved = tuple((leaf, found) for leaf, found in enumerate(source) if found not in (leaf, -1))
    return tuple(labels), moved


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
            cause = "moved_to_spare"
        else:
            cause = "crossed" if len(homes) == 1 else "crossed_housings"
        found.append(Fault(cause, tuple(sorted(cycle))))
    joins = list(explanation.joins)
    for number in explanation.edges:
        found.append(_open(number, wiring))
    found += [_splice(node, wiring) for node in explanation.splices]
    found += [
        Fault("touching", tuple(leaf for piece in join.pieces for leaf in piece), pieces=join.pieces)
        for join in joins
    ]
    return tuple(found)


def _open(number: int, wiring: Wiring) -> Fault:
    edge = wiring.edges[number]
    leaves = tuple(node for node in (edge.u, edge.v) if node < wiring.leaf_count)
    if edge.contact >= 0:
        cause = "bad_contact"
    elif edge.component:
        cause = "open_part"
    else:
        cause = "broken_wire"
    return Fault(cause, leaves or _cut_off(number, wiring), edges=(number,))


def _splice(node: int, wiring: Wiring) -> Fault:
    leaves: list[int] = []
    for number in wiring.at.get(node, ()):
        leaves += wiring.side(number, node)
    return Fault("open_splice", tuple(sorted(leaves)), splices=(node,))


def _cut_off(number: int, wiring: Wiring) -> tuple[int, ...]:
    """Return the leaves of the smaller side of an edge between two inner nodes."""
    edge = wiring.edges[number]
    sides = [wiring.side(number, edge.u), wiring.side(number, edge.v)]
    sides = sorted((side for side in sides if side), key=len)
    return tuple(sorted(sides[0])) if sides else ()


def _choices(piece: Piece, wiring: Wiring) -> list[Choice]:
    """Return the faults of a piece, each with what could stand in its place.

    Where the equal explanations are independent choices (this or that wire, this or that end), each fault
    carries its own; where they hang together, the first fault carries the others whole.
    """
    solutions = list(dict.fromkeys(frozenset(faults_of(e, wiring)) for e in piece.explanations))
    first = faults_of(piece.explanations[0], wiring)
    chosen = solutions[0]
    common = frozenset.intersection(*solutions)
    loose = [fault for fault in first if fault not in common]
    settled = [Choice(fault) for fault in first if fault in common]
    if not loose:
        return settled
    rest = [solution - common for solution in solutions[1:]]
    single: dict[Fault, list[Fault]] = {
        fault: [
            next(iter(solution - chosen))
            for solution in solutions[1:]
            if len(solution - chosen) == 1 and chosen - solution == {fault}
        ]
        for fault in loose
    }
    count = 1
    for others in single.values():
        count *= 1 + len(others)
    if count == len(solutions):
        return settled + [
            Choice(fault, tuple((other,) for other in others)) for fault, others in single.items()
        ]
    whole = tuple(_ordered(solution) for solution in rest)
    return settled + [Choice(loose[0], whole)] + [Choice(fault) for fault in loose[1:]]


def _ordered(faults: Iterable[Fault]) -> tuple[Fault, ...]:
    return tuple(sorted(faults, key=lambda fault: (fault.cause, fault.leaves, fault.edges, fault.splices)))
