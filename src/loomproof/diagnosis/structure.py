"""Whole connectors exchanged, mirrored, rotated, shifted or unplugged: one slip instead of many swaps.

A hypothesis says, for each leaf of one or two connectors, at which leaf the thing that belongs there was
found; ``None`` where it was found nowhere. Undoing it gives new labels for `search`. Hypotheses are
first sifted by how many leaves then agree with the rest of their nets, which costs one comparison a
leaf, and priced only then; a beam follows combinations of up to ``DEPTH`` of them.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.cuts import FREE
from loomproof.diagnosis.search import Explainer
from loomproof.diagnosis.weights import Weights
from loomproof.diagnosis.wiring import Wiring
from loomproof.loom.model import Connector, ConnectorKind, End, Loom

BEAM = 8
DEPTH = 3


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One slip with whole connectors; ``moves`` are (leaf, the leaf where its wire was found, or None)."""

    cause: Cause
    connectors: tuple[str, ...]
    moves: tuple[tuple[int, int | None], ...]
    cost: int
    detail: str = ""

    def undo(self, labels: Sequence[int]) -> list[int] | None:
        """Return the labels with the slip undone, or None where a leaf left over was not bare."""
        after = list(labels)
        targets = {leaf for leaf, _ in self.moves}
        sources = {source for _, source in self.moves}
        for leaf, source in self.moves:
            after[leaf] = FREE if source is None else labels[source]
        left_over = targets - sources
        if left_over:
            count = Counter(labels)
            if any(labels[leaf] != FREE and count[labels[leaf]] != 1 for leaf in left_over):
                return None
        return after


def hypotheses(
    loom: Loom, wiring: Wiring, weights: Weights, amiss: Collection[int] | None = None
) -> list[Hypothesis]:
    """Return every slip with one or two connectors that changes more than one pair of contacts.

    ``amiss`` are the leaves of pieces that are not sound: a slip moves two of them at least.
    """
    found: dict[tuple[tuple[int, int | None], ...], Hypothesis] = {}
    plugs = [c for c in loom.connectors if c.kind is not ConnectorKind.SPLICE]
    if amiss is not None:
        touched = {wiring.leaf_ends[leaf].connector for leaf in amiss}
        plugs = [plug for plug in plugs if plug.name in touched]
    for hypothesis in _all(plugs, wiring, weights):
        if _is_more_than_a_swap(hypothesis):
            found.setdefault(hypothesis.moves, hypothesis)
    return list(found.values())


def _is_more_than_a_swap(hypothesis: Hypothesis) -> bool:
    return len(hypothesis.moves) > 2 or (
        len(hypothesis.moves) == 2 and any(source is None for _, source in hypothesis.moves)
    )


def _all(plugs: Sequence[Connector], wiring: Wiring, weights: Weights) -> Iterator[Hypothesis]:
    for plug in plugs:
        for cause, detail, pairs in _on_one(plug):
            moves = _moves(pairs, wiring)
            yield Hypothesis(cause, (plug.name,), moves, weights.whole_connector, detail)
    by_size: dict[int, list[Connector]] = {}
    for plug in plugs:
        if len(plug.cavities) > 1:
            by_size.setdefault(len(plug.cavities), []).append(plug)
    for alike in by_size.values():
        for i, one in enumerate(alike):
            for other in alike[i + 1 :]:
                pairs = list(_partners(one, other))
                same = one.housing == other.housing and one.kind == other.kind and one.rows == other.rows
                cost = weights.exchange_alike if same else weights.exchange_unlike
                yield Hypothesis(Cause.EXCHANGED, (one.name, other.name), _moves(pairs, wiring), cost)


def _partners(one: Connector, other: Connector) -> Iterator[tuple[End, End | None]]:
    """Yield each cavity of two connectors with its partner: of the same name, else of the same rank."""
    if set(one.cavities) == set(other.cavities):
        couples = [(name, name) for name in one.cavities]
    else:
        couples = list(zip(one.cavities, other.cavities, strict=True))
    for a, b in couples:
        yield End(one.name, a), End(other.name, b)
        yield End(other.name, b), End(one.name, a)


_Slip = tuple[Cause, str, list[tuple[End, End | None]]]


def _on_one(plug: Connector) -> Iterator[_Slip]:
    """Yield (cause, detail, cavity with the cavity where its wire was found) for one connector."""
    order = plug.cavities
    count = len(order)
    if count < 2:
        return
    place = {name: (y, x) for y, row in enumerate(plug.rows) for x, name in enumerate(row) if name}
    at = {spot: name for name, spot in place.items()}
    height, width = len(plug.rows), max(len(row) for row in plug.rows)

    def mapped(cause: Cause, detail: str, where: Mapping[str, str | None]) -> _Slip:
        pairs = [
            (End(plug.name, a), None if b is None else End(plug.name, b)) for a, b in where.items() if a != b
        ]
        return cause, detail, pairs

    grids: list[tuple[Cause, str, Callable[[int, int], tuple[int, int]]]] = [
        (Cause.MIRRORED, "left for right", lambda y, x: (y, width - 1 - x)),
        (Cause.MIRRORED, "row for row", lambda y, x: (height - 1 - y, x)),
        (Cause.ROTATED, "half a turn", lambda y, x: (height - 1 - y, width - 1 - x)),
    ]
    for cause, detail, turn in grids:
        where = {name: at.get(turn(*spot)) for name, spot in place.items()}
        if None not in where.values():
            yield mapped(cause, detail, where)
    yield mapped(Cause.MIRRORED, "last for first", dict(zip(order, reversed(order), strict=True)))
    for step in (1, -1, 2, -2):
        if abs(step) >= count:
            continue
        far = {order[i]: order[(i + step) % count] for i in range(count)}
        way = f"{'1 cavity' if abs(step) == 1 else f'{abs(step)} cavities'} {'on' if step > 0 else 'back'}"
        yield mapped(Cause.ROTATED, f"each contact {way}, the end round to the start", far)
        near: dict[str, str | None] = {
            order[i]: order[i + step] if 0 <= i + step < count else None for i in range(count)
        }
        yield mapped(Cause.SHIFTED, f"by {way}", near)
        if height > 1 and abs(step) == 1:
            rows = {name: at.get((y, x + step)) for name, (y, x) in place.items()}
            yield mapped(Cause.SHIFTED, f"by {way} in every row", rows)
    yield mapped(Cause.NOT_PLUGGED, "", dict.fromkeys(order))


def _moves(pairs: Iterable[tuple[End, End | None]], wiring: Wiring) -> tuple[tuple[int, int | None], ...]:
    leaf_of = wiring.leaf_of
    return tuple(
        sorted(
            (
                (leaf_of[a], None if b is None else leaf_of.get(b))
                for a, b in pairs
                if a in leaf_of and (b is None or leaf_of.get(b) != leaf_of[a])
            ),
            key=lambda move: move[0],
        )
    )


@dataclass(frozen=True, slots=True)
class Arrangement:
    """Slips with whole connectors, what they cost, and the labels with them undone."""

    slips: tuple[Hypothesis, ...]
    cost: int
    labels: tuple[int, ...]
    rest: int

    @property
    def total(self) -> int:
        """Cost of the slips with plain opens and shorts for what they leave."""
        return self.cost + self.rest


def arrangements(
    candidates: Sequence[Hypothesis], explainer: Explainer, labels: Sequence[int]
) -> list[Arrangement]:
    """Return the plain arrangement and the most promising combinations of slips, cheapest first."""
    pieces = explainer.split(labels)
    amiss = explainer.leaves_of(pieces)
    candidates = [slip for slip in candidates if sum(leaf in amiss for leaf, _ in slip.moves) > 1]
    rest = sum(explainer.price(labels, nets) for nets in pieces)
    start = Arrangement((), 0, tuple(labels), rest)
    kept: dict[frozenset[Hypothesis], Arrangement] = {frozenset(): start}
    beam = [start]
    for _ in range(DEPTH):
        grown: dict[frozenset[Hypothesis], Arrangement] = {}
        for parent in beam:
            for child in _children(parent, candidates, explainer):
                grown.setdefault(frozenset(child.slips), child)
        beam = sorted(grown.values(), key=lambda found: found.total)[:BEAM]
        kept.update((frozenset(found.slips), found) for found in beam)
    return sorted(kept.values(), key=lambda found: found.total)


def _children(
    parent: Arrangement, candidates: Sequence[Hypothesis], explainer: Explainer
) -> Iterator[Arrangement]:
    labels = list(parent.labels)
    agree = _agreement(explainer.wiring, labels)
    counts = Counter(labels)
    for slip in candidates:
        if slip in parent.slips:
            continue
        if slip.cause in (Cause.NOT_PLUGGED, Cause.ADAPTER_BOARD):
            if not _bare(slip, explainer.wiring, labels, counts):
                continue
        elif _gain(slip, explainer.wiring, labels, agree) < 2:
            continue
        after = slip.undo(labels)
        if after is None:
            continue
        change = _change(slip, explainer, labels, after)
        if change + slip.cost < 0:
            yield Arrangement(
                (*parent.slips, slip), parent.cost + slip.cost, tuple(after), parent.rest + change
            )


def _bare(slip: Hypothesis, wiring: Wiring, labels: list[int], counts: Counter[int]) -> bool:
    """Whether every cavity of a connector was found alone, two or more that should not be."""
    wired = [leaf for leaf, _ in slip.moves if len(wiring.nets[wiring.net_of[leaf]].leaves) > 1]
    return len(wired) > 1 and all(counts[labels[leaf]] == 1 for leaf, _ in slip.moves)


def _change(slip: Hypothesis, explainer: Explainer, before: list[int], after: list[int]) -> int:
    wiring = explainer.wiring
    nets = sorted({wiring.net_of[leaf] for leaf, _ in slip.moves})
    total = 0
    for net in nets:
        leaves, cuts = wiring.nets[net].leaves, explainer.cuts(net)
        total += cuts.cost(tuple(after[leaf] for leaf in leaves))
        total -= cuts.cost(tuple(before[leaf] for leaf in leaves))
    groups = len(set(after) - {FREE}) - len(set(before) - {FREE})
    return total - explainer.weights.short * groups


def _agreement(wiring: Wiring, labels: list[int]) -> list[Counter[int]]:
    """Return, for each leaf, how often each label occurs in its net."""
    counters = [Counter(labels[leaf] for leaf in net.leaves) for net in wiring.nets]
    return [counters[net] for net in wiring.net_of]


def _gain(slip: Hypothesis, wiring: Wiring, labels: list[int], agree: list[Counter[int]]) -> int:
    """Return how many more leaves would agree with the rest of their nets.

    Nets inside the connectors that slipped move as a whole: their leaves are held against one another.
    """
    gain = 0
    moved: dict[int, list[tuple[int, int | None]]] = {}
    for leaf, source in slip.moves:
        net = wiring.net_of[leaf]
        if len(wiring.nets[net].leaves) > 1:
            moved.setdefault(net, []).append((leaf, source))
    for net, moves in moved.items():
        if len(moves) == len(wiring.nets[net].leaves):
            gain += _most([labels[source] for _, source in moves if source is not None])
            gain -= _most([labels[leaf] for leaf, _ in moves])
            continue
        own = agree[moves[0][0]]
        for leaf, source in moves:
            now = own[labels[leaf]] > 1
            then = source is not None and own[labels[source]] > (1 if labels[source] == labels[leaf] else 0)
            gain += then - now
    return gain


def _most(labels: list[int]) -> int:
    return max(Counter(labels).values(), default=0)
