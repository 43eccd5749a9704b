"""Tracing an unknown loom: which cavities are one conductor, what joins conductors, and how many ohms.

Sense learns what hangs together in ceil(log2 N) vectors and an antichain proof of what was found confirms
it; where that fails, every point is asked alone. Ohms then tell conductors from parts: what is below
`WIRE_OHM` is taken for wire, what is above for a part or a bad joint, and a person is asked which.

A loom bigger than the bench is looked at hook-up by hook-up (`look`), and what all of them saw is laid
together (`together`).
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import combinations

from loomproof.bench.interface import Bench
from loomproof.bench.seam import singles
from loomproof.electrics.graph import united
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Progress
from loomproof.measuring.isolation_search import measure_isolation
from loomproof.measuring.ohmmeter import Ohmmeter, split_by_ohms
from loomproof.measuring.resolve_nets import arbitrate, learn, one_at_a_time
from loomproof.measuring.traced_parts import (
    LEAST_FARAD,
    Read,
    TracedPart,
    capacitors_between,
    one_sided,
    parts_between,
)
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope
from loomproof.planning.test_vectors import Group, sense_vectors

WIRE_OHM = 2.0
"""What reads less is wire: 2 Ω is some fifty metres of 0.5 mm². A convention of this project."""

LEAK_OHM = 1.0e6
"""Paths between conductors up to here are looked for."""

MOST_TOGETHER = 12
"""Up to so many conductors that parts join, every pair is read and the parts are worked out."""

NO_OHMS = "This bench has no ohms: what senses as joined may be joined by a part."


@dataclass(frozen=True, slots=True)
class Seen:
    """What one hook-up saw of a loom: its conductors, the wire readings within them, and all between them.

    ``between`` is Ω from a to b, each pair both ways; ``volts`` are forward voltages from a to b, ``farads``
    have all other cavities open. ``test_current_a`` is what the meter puts on the loom. ``confirmed``: sense
    was the same both ways. ``one_way`` is only filled where there are no ohms.
    """

    conductors: tuple[tuple[End, ...], ...]
    wires: tuple[Read, ...] = ()
    between: tuple[Read, ...] = ()
    volts: tuple[Read, ...] = ()
    farads: tuple[Read, ...] = ()
    one_way: tuple[tuple[End, End], ...] = ()
    confirmed: bool = True
    questions: tuple[str, ...] = ()
    sense_vectors: int = 0
    resistance_readings: int = 0
    test_current_a: float = 0.0


@dataclass(frozen=True, slots=True)
class Traced:
    """A loom as found. ``ohms`` are readings from one cavity of a net to another, with uncertainty.

    In one hook-up they are from a net's first cavity to each other.
    """

    nets: tuple[tuple[End, ...], ...]
    ohms: Mapping[tuple[End, End], tuple[float, float]]
    parts: tuple[TracedPart, ...]
    confirmed: bool
    questions: tuple[str, ...] = ()
    sense_vectors: int = 0
    resistance_readings: int = 0
    test_current_a: float = 0.0


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
    return together([(yield from look(bench, clearance, end_of, meter))])


def together(seen: Sequence[Seen], order: Sequence[End] = ()) -> Traced:
    """Lay what hook-ups saw together: cavities that are one conductor in any of them are one conductor.

    Ends stand in the ``order`` given, else in that in which they were plugged.
    Where another one saw them apart that is asked about, as a contact that comes and goes.
    """
    nets = _merged(seen, order)
    questions = list(dict.fromkeys(text for each in seen for text in each.questions))
    questions += contradictions(seen)
    found, asked = parts_between(nets, _all(seen, "between"), _all(seen, "volts"))
    parts = [*found, *capacitors_between(nets, _all(seen, "farads"))]
    home = {end: k for k, net in enumerate(nets) for end in net}
    ways = {(home[a], home[b]): (a, b) for each in seen for a, b in each.one_way}
    parts += (TracedPart(a, b, one_way=True) for (i, j), (a, b) in ways.items() if i != j)
    ohms: dict[tuple[End, End], tuple[float, float]] = {}
    for each in _all(seen, "wires"):
        ohms.setdefault((each.a, each.b), (math.inf if each.value is None else each.value, each.u))
    return Traced(
        nets,
        ohms,
        tuple(parts),
        all(each.confirmed for each in seen),
        (*questions, *asked),
        sum(each.sense_vectors for each in seen),
        sum(each.resistance_readings for each in seen),
        max((each.test_current_a for each in seen), default=0.0),
    )


def _all(seen: Iterable[Seen], what: str) -> Iterator[Read]:
    for each in seen:
        yield from getattr(each, what)


def _merged(seen: Sequence[Seen], order: Sequence[End] = ()) -> tuple[tuple[End, ...], ...]:
    """Return the conductors of all hook-ups as one."""
    place: dict[End, int] = {end: k for k, end in enumerate(order)}
    for each in seen:
        for net in each.conductors:
            for end in net:
                place.setdefault(end, len(place))
    groups = united(net for each in seen for net in each.conductors)
    ordered = (tuple(sorted(group, key=place.__getitem__)) for group in groups)
    return tuple(sorted(ordered, key=lambda net: place[net[0]]))


def contradictions(seen: Sequence[Seen], *, open_only: bool = False) -> list[str]:
    """Ask about cavities that are one conductor in one hook-up and apart in another: one for each net.

    With ``open_only`` those are left out between which the other one read ohms: a bad joint more likely than
    a plug.
    """
    home = {end: k for k, net in enumerate(_merged(seen)) for end in net}
    found: dict[int, str] = {}
    for number, each in enumerate(seen, start=1):
        first: dict[int, End] = {}
        near = {frozenset((read.a, read.b)) for read in each.between if read.value is not None}
        for net in each.conductors:
            k = home[net[0]]
            if k in first and k not in found and not (open_only and {first[k], net[0]} in near):
                found[k] = (
                    f"{first[k]} and {net[0]} are apart in hook-up {number}, and one conductor by what the "
                    "others show: a contact that comes and goes, or a plug that was not home or in a wrong "
                    "place?"
                )
            first.setdefault(k, net[0])
    return list(found.values())


def look(
    bench: Bench, clearance: Clearance, end_of: Mapping[int, End], meter: Meter | None
) -> Generator[Event, None, Seen]:
    """Read all that this hook-up shows of an unknown loom. The caller's ``with bench`` releases every point.

    Raises as `trace` does.
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
    conductors.sort(key=_head)
    ways: tuple[tuple[End, End], ...] = ()
    between: list[Read] = []
    volts: list[Read] = []
    farads: list[Read] = []
    wires: list[Read] = []
    if tracing.ohmmeter is None:
        ways = tuple((tracing.end(a), tracing.end(b)) for a, b in one_way)
        tracing.questions.append(NO_OHMS)
    else:
        yield Progress("looking for parts between conductors")
        home = {p: k for k, points in enumerate(conductors) for p in singles(points)}
        pairs = {(min(home[a], home[b]), max(home[a], home[b])) for a, b in (*known, *one_way)}
        pairs = {pair for pair in pairs if pair[0] != pair[1]} | _leaks(tracing.ohmmeter, conductors)
        between, volts = _between(tracing, tracing.ohmmeter, conductors, pairs)
        if asker.capabilities().farads is not None:
            yield Progress("looking for capacitors")
            farads = list(_farads(tracing, asker, conductors, between))
        yield Progress("measuring wires")
        for points in conductors:
            first, *others = singles(points)
            for other in others:
                ohm, u_ohm = tracing.ohmmeter.read_sets(first, other)
                wires.append(_read(tracing, first, other, ohm, u_ohm))
    nets = tuple(tuple(tracing.end(p) for p in singles(points)) for points in conductors)
    return Seen(
        nets,
        tuple(wires),
        tuple(between),
        tuple(volts),
        tuple(farads),
        ways,
        confirmed,
        tuple(tracing.questions),
        asker.vectors,
        asker.readings,
        meter.test_current_a if meter else 0.0,
    )


def _read(tracing: _Tracing, a: int, b: int, value: float, u: float) -> Read:
    if math.isinf(value):
        return Read(tracing.end(a), tracing.end(b), None)
    return Read(tracing.end(a), tracing.end(b), value, u)


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
    """Split what senses as joined by ohms; return conductors, and pairs of points that something joins."""
    if tracing.ohmmeter is None:
        return list(found), set()
    conductors: list[int] = []
    pairs: set[tuple[int, int]] = set()
    for group in found:
        clusters = split_by_ohms(tracing.ohmmeter, tuple(singles(group)), WIRE_OHM).clusters
        conductors += clusters
        pairs |= set(combinations(map(_head, clusters), 2))
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


def _between(
    tracing: _Tracing, ohmmeter: Ohmmeter, conductors: Sequence[int], pairs: set[tuple[int, int]]
) -> tuple[list[Read], list[Read]]:
    """Read what joins conductors both ways, cluster by cluster; volts where one way conducts better."""
    heads = [_head(points) for points in conductors]
    ohms: list[Read] = []
    volts: list[Read] = []
    for nodes in sorted(map(sorted, united(pairs))):
        asked = (
            list(combinations(nodes, 2))
            if len(nodes) <= MOST_TOGETHER
            else sorted(pair for pair in pairs if pair[0] in nodes)
        )
        for i, j in asked:
            there, back = (
                _settled(tracing, ohmmeter, *way) for way in ((heads[i], heads[j]), (heads[j], heads[i]))
            )
            ohms += (_read(tracing, heads[i], heads[j], *there), _read(tracing, heads[j], heads[i], *back))
            if one_sided(there, back) and ohmmeter.asker.capabilities().diode:
                a, b = (heads[i], heads[j]) if there[0] < back[0] else (heads[j], heads[i])
                volts.append(_read(tracing, a, b, ohmmeter.asker.diode(a, b), 0.0))
    return ohms, volts


def _settled(tracing: _Tracing, ohmmeter: Ohmmeter, a: int, b: int) -> tuple[float, float]:
    """Return what is read once nothing charges any more, Ω; what charges and leads nowhere is open."""
    ohm, u_ohm, rose, rises = ohmmeter.settled(a, b, LEAK_OHM, charged=True)
    if not rose:
        return ohm, u_ohm
    if ohmmeter.asker.capabilities().farads is None or not (rises or ohm >= LEAK_OHM):
        one, other = sorted((tracing.end(a), tracing.end(b)))
        question = f"Between {one} and {other} a reading rises: is there a capacitor, and of how many farads?"
        if question not in tracing.questions:
            tracing.questions.append(question)
    return (math.inf, 0.0) if rises or ohm >= LEAK_OHM else (ohm, u_ohm)


def _farads(
    tracing: _Tracing, asker: Asker, conductors: Sequence[int], between: Iterable[Read]
) -> Iterator[Read]:
    """Read each conductor against all that no part joins to it, then, of those with much, pair by pair."""
    able = asker.capabilities()
    limits = able.farad_accuracy
    heads = [_head(points) for points in conductors]
    number = {tracing.end(head): k for k, head in enumerate(heads)}
    joined = [(number[each.a], number[each.b]) for each in between if each.value is not None]
    cluster = {k: group for group in united(joined) for k in group}
    much = []
    for k, head in enumerate(heads):
        others = sum(h for j, h in enumerate(heads) if j not in cluster.get(k, {k}) and j != k)
        farad = asker.capacitance(head, others) if others else 0.0
        if farad is None or farad >= LEAST_FARAD:
            much.append(k)
    for i, j in combinations(much, 2):
        if j in cluster.get(i, ()):
            continue
        farad = asker.capacitance(heads[i], heads[j])
        a, b = tracing.end(heads[i]), tracing.end(heads[j])
        if farad is None or math.isinf(farad):
            why = "it does not settle" if farad is None else "it is more than this bench reads"
            tracing.questions.append(
                f"Between {a} and {b} there is a capacitor of which no farads are told, for {why}: how many?"
            )
        elif farad > 0.0:
            u = 0.0 if limits is None else limits.farad + limits.ratio * farad
            yield Read(a, b, farad, u)
