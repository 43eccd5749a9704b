"""Tracing an unknown loom: which cavities are one conductor, what joins conductors, and how many ohms.

Sense learns what hangs together in ceil(log2 N) vectors and an antichain proof of what was found confirms
it; where that fails, every point is asked alone. Ohms then tell conductors from parts: what is below
`WIRE_OHM` is taken for wire, what is above for a part or a bad joint, and a person is asked which.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from loomproof.bench.interface import Bench
from loomproof.bench.seam import singles
from loomproof.electrics.graph import united
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Progress
from loomproof.measuring.isolation_search import measure_isolation
from loomproof.measuring.ohmmeter import Ohmmeter, alike, split_by_ohms
from loomproof.measuring.resolve_nets import arbitrate, learn, one_at_a_time
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.test_vectors import Group, sense_vectors

WIRE_OHM = 2.0
"""What reads less is wire: 2 Ω is some fifty metres of 0.5 mm². A convention of this project."""

LEAK_OHM = 1.0e6
"""Paths between conductors up to here are looked for."""

MOST_TOGETHER = 12
"""Up to so many conductors that parts join, every pair is read and the parts are worked out."""


@dataclass(frozen=True, slots=True)
class TracedPart:
    """A resistive path (``forward_v`` and ``one_way`` unset), or one that conducts from a to b only."""

    a: End
    b: End
    ohm: float | None = None
    one_way: bool = False
    forward_v: float | None = None


@dataclass(frozen=True, slots=True)
class Traced:
    """A loom as found. ``ohms`` are readings from a net's first cavity to each other, with uncertainty."""

    nets: tuple[tuple[End, ...], ...]
    ohms: Mapping[tuple[End, End], tuple[float, float]]
    parts: tuple[TracedPart, ...]
    confirmed: bool
    questions: tuple[str, ...] = ()
    sense_vectors: int = 0
    resistance_readings: int = 0


@dataclass(slots=True)
class _Tracing:
    ohmmeter: Ohmmeter | None
    scope: Scope
    questions: list[str] = field(default_factory=list)

    def end(self, point: int) -> End:
        return self.scope.end_of[point.bit_length()]


def trace(
    bench: Bench, clearance: Clearance, end_of: Mapping[int, End], meter: Meter | None
) -> Generator[Event, None, Traced]:
    """Find out what the loom on these points is. The caller's ``with bench`` releases every point.

    Raises `SafetyError` without a clearance for a loom on this bench: the one with these connectors and no
    wires, which is all that is known of it.
    """
    require_loom(clearance, bench)
    everyone = sum(1 << (point - 1) for point in end_of)
    scope = Scope((), (), (), {end: point for point, end in end_of.items()}, dict(end_of), ())
    asker = Asker(bench, clearance, everyone)
    yield Progress("sensing what hangs together")
    found, one_way, confirmed = _sensed(asker, everyone)
    tracing = _Tracing(Ohmmeter(asker, meter, scope) if meter else None, scope)
    yield Progress("measuring")
    conductors, known = _conductors(tracing, found)
    parts: tuple[TracedPart, ...]
    if tracing.ohmmeter is None:
        parts = tuple(TracedPart(tracing.end(a), tracing.end(b), one_way=True) for a, b in one_way)
        tracing.questions.append("This bench has no ohms: what senses as joined may be joined by a part.")
    else:
        yield Progress("looking for parts between conductors")
        pairs = known | _leaks(tracing.ohmmeter, conductors)
        home = {p: k for k, points in enumerate(conductors) for p in singles(points)}
        pairs |= {(min(home[a], home[b]), max(home[a], home[b])) for a, b in one_way if home[a] != home[b]}
        parts = tuple(_parts(tracing, conductors, pairs))
    nets = tuple(tuple(tracing.end(p) for p in singles(points)) for points in sorted(conductors, key=_head))
    yield Progress("measuring wires")
    ohms = {}
    if tracing.ohmmeter is not None:
        for net in nets:
            for end in net[1:]:
                ohms[net[0], end] = tracing.ohmmeter.read(net[0], end)
    return Traced(nets, ohms, parts, confirmed, tuple(tracing.questions), asker.vectors, asker.readings)


def _head(points: int) -> int:
    return points & -points


def _sensed(asker: Asker, everyone: int) -> tuple[tuple[int, ...], list[tuple[int, int]], bool]:
    """Return groups, one-way pairs (source, sink), and whether the short way was confirmed."""
    found = learn(asker.sense, everyone)
    groups = [Group.of(points) for points in found]
    vectors = sense_vectors(groups)
    lows = asker.sense([vector.drive for vector in vectors])
    # Numbered the other way round a path that conducts one way groups otherwise, and gives itself away.
    again = arbitrate(asker.sense, [(everyone, tuple(singles(everyone))[::-1])])
    wrong = any(vector.wrong(low) for vector, low in zip(vectors, lows, strict=True))
    if not wrong and set(again) == set(found):
        return found, [], True
    slow = one_at_a_time(asker.sense, groups, everyone)
    return slow.groups, list(slow.one_way), False


def _conductors(tracing: _Tracing, found: Sequence[int]) -> tuple[list[int], set[tuple[int, int]]]:
    """Split what senses as joined by ohms; return conductors and the pairs that something joins."""
    if tracing.ohmmeter is None:
        return list(found), set()
    conductors: list[int] = []
    pairs: set[tuple[int, int]] = set()
    for group in found:
        clusters = split_by_ohms(tracing.ohmmeter, tuple(singles(group)), WIRE_OHM).clusters
        first = len(conductors)
        conductors += clusters
        pairs |= set(combinations(range(first, len(conductors)), 2))
    return conductors, pairs


def _leaks(ohmmeter: Ohmmeter, conductors: Sequence[int]) -> set[tuple[int, int]]:
    """Return pairs of conductors that something joins, whichever way it conducts."""
    found: set[tuple[int, int]] = set()
    ratio = 2 * ohmmeter.meter.two_wire.ratio + 0.01
    for turned in (False, True):

        def measure(a: int, b: int, turned: bool = turned) -> float:
            return ohmmeter.asker.resistance(b, a) if turned else ohmmeter.asker.resistance(a, b)

        isolation = measure_isolation(measure, conductors, LEAK_OHM, ratio)
        found |= {(leak.i, leak.j) for leak in isolation.leaks}
    return found


def _parts(
    tracing: _Tracing, conductors: Sequence[int], pairs: Iterable[tuple[int, int]]
) -> Iterable[TracedPart]:
    """Work out what joins conductors, cluster by cluster."""
    pairs = set(pairs)
    for nodes in sorted(map(sorted, united(pairs))):
        asked = (
            list(combinations(nodes, 2))
            if len(nodes) <= MOST_TOGETHER
            else sorted(pair for pair in pairs if pair[0] in nodes)
        )
        yield from _cluster_parts(tracing, conductors, nodes, asked)


def _cluster_parts(
    tracing: _Tracing, conductors: Sequence[int], nodes: Sequence[int], asked: Sequence[tuple[int, int]]
) -> Iterable[TracedPart]:
    ohmmeter = tracing.ohmmeter
    assert ohmmeter is not None
    heads = {k: conductors[k] & -conductors[k] for k in nodes}
    forward = {}
    for i, j in asked:
        forward[i, j] = _settled(tracing, ohmmeter, heads[i], heads[j])
        forward[j, i] = _settled(tracing, ohmmeter, heads[j], heads[i])
    both_ways = all(_alike(forward[i, j], forward[j, i]) for i, j in asked)
    whole = len(asked) == len(nodes) * (len(nodes) - 1) // 2
    if both_ways and whole and all(math.isfinite(forward[pair]) for pair in asked):
        for i, j, ohm in resistors(nodes, forward):
            yield TracedPart(tracing.end(heads[i]), tracing.end(heads[j]), ohm)
        return
    for i, j in asked:
        a, b = tracing.end(heads[i]), tracing.end(heads[j])
        there, back = forward[i, j], forward[j, i]
        if math.isinf(there) and math.isinf(back):
            continue
        if _through_others(nodes, forward, i, j):
            tracing.questions.append(f"{a} and {b} conduct, as it seems through other parts. Is that so?")
        elif _alike(there, back):
            yield TracedPart(a, b, (there + back) / 2)
        else:
            if there > back:
                a, b, i, j = b, a, j, i
            if math.isfinite(max(there, back)):
                yield TracedPart(a, b, max(there, back))
            volt = ohmmeter.asker.diode(heads[i], heads[j]) if ohmmeter.asker.capabilities().diode else None
            yield TracedPart(a, b, None, True, volt if volt is not None and math.isfinite(volt) else None)


def _settled(tracing: _Tracing, ohmmeter: Ohmmeter, a: int, b: int) -> float:
    """Return what is read once nothing charges any more, Ω; what charges and leads nowhere is open."""
    ohm, _, rose, rises = ohmmeter.settled(a, b, LEAK_OHM, charged=True)
    if not rose:
        return ohm
    one, other = sorted((tracing.end(a), tracing.end(b)))
    question = f"Between {one} and {other} a reading rises: is there a capacitor, and of how many farads?"
    if question not in tracing.questions:
        tracing.questions.append(question)
    return math.inf if rises or ohm >= LEAK_OHM else ohm


def _alike(there: float, back: float) -> bool:
    """Closer than for a leak: a coil with a diode across it may read three quarters of itself one way."""
    return alike(there, back, ratio=1.11, within_ohm=0.5)


def _through_others(nodes: Sequence[int], forward: Mapping[tuple[int, int], float], i: int, j: int) -> bool:
    """Whether a third conductor lies on a way that conducts as this pair does, with no more ohms a leg."""

    def passes(a: int, b: int) -> bool:
        ohm = forward.get((a, b), math.inf)
        return math.isfinite(ohm) and any(
            math.isfinite(forward.get((a, k), math.inf))
            and math.isfinite(forward.get((k, b), math.inf))
            and max(forward[a, k], forward[k, b]) < ohm
            for k in nodes
            if k not in (i, j)
        )

    ways = [(a, b) for a, b in ((i, j), (j, i)) if math.isfinite(forward.get((a, b), math.inf))]
    return all(passes(a, b) for a, b in ways)


def resistors(nodes: Sequence[int], ohms: Mapping[tuple[int, int], float]) -> list[tuple[int, int, float]]:
    """Return the resistors that give these resistances between all pairs of conductors.

    There is one such network: with J = I − 1/n, its Laplacian is the pseudo-inverse of −J R J / 2, the
    inverse of the resistance distance (Klein and Randić 1993; from memory, and tested against a nodal solve).
    """
    n = len(nodes)
    matrix = np.zeros((n, n))
    for x, y in combinations(range(n), 2):
        matrix[x, y] = matrix[y, x] = (ohms[nodes[x], nodes[y]] + ohms[nodes[y], nodes[x]]) / 2
    centre = np.eye(n) - 1 / n
    laplacian = np.linalg.pinv(-0.5 * centre @ matrix @ centre)
    found = []
    for x, y in combinations(range(n), 2):
        siemens = -laplacian[x, y]
        # A part that carries less than a twentieth of what the pair conducts is within the readings' error.
        if siemens * matrix[x, y] > 0.05:
            found.append((nodes[x], nodes[y], float(1 / siemens)))
    return found
