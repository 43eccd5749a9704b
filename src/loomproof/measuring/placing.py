"""What is read after a failing proof so that its faults can be placed: farads of pieces, ohms across touches.

A broken net costs one reading for each of its pieces, two conductors that touch cost four, before repeats. A
sound loom costs none. Nothing here judges: where the places are is worked out from these readings alone.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, product

from loomproof.bench.adapter import Adapter, Lead
from loomproof.bench.interface import Bench
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.nets import Net
from loomproof.errors import AdapterError, Do, Todo, UnfitError
from loomproof.locating.fitness import (
    free_of_parts,
    hanging_on,
    hinders_farads,
    lone_wire,
    screened,
    sound_beside,
    tree_or_why,
)
from loomproof.locating.tree import Tree
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require
from loomproof.measuring.counting_bench import Asker
from loomproof.measuring.events import Event, Progress
from loomproof.measuring.place_repeats import Repeats, drift_ohm, of_touch
from loomproof.planning.plan import Plan
from loomproof.planning.request import Request
from loomproof.results.figures import ohms
from loomproof.results.measured import Across, Measured, PieceFarads

MOST_PLACED = 24
"""So many broken nets, and so many touches, are followed in one proof; a loom with more has another fault."""

TOUCH_OHM = 100.0
"""A path of more between two conductors is leakage: it changes between two readings (our convention)."""

TAPS = 12
"""In a net of more cavities the two that lie farthest apart are looked for among so many."""

MOST_SOUND = 3
"""So many sound wires at most are read for each broken net of which a piece gave no capacitance."""

NO_FARADS = "no piece gave a capacitance that the bench can read"
NOT_ZEROED = "the leads' own capacitance was never learned: zero the open leads first"


def followed(
    request: Request,
    plan: Plan,
    expectation: Expectation,
    bench: Bench,
    clearance: Clearance,
    measured: Measured,
) -> Generator[Event, None, Measured]:
    """Return what was measured, with what places need where the request asks for them.

    A person with a meter who hears it beep is asked for none. Raises as `read_for_places` does.
    """
    require(clearance, bench, request.loom)
    if request.learn_capacitance:
        asker = Asker(bench, clearance, plan.scope.points)
        measured = yield from _learned(plan, expectation, asker, request.adapter, measured)
    if not request.locate or clearance.capabilities.beep_ohm:
        return measured
    return (
        yield from read_for_places(
            plan,
            expectation,
            bench,
            clearance,
            request.adapter,
            measured,
            request.repeats,
            request.place_within_m,
            known=request.known_farads is not None,
            steady=request.steady_places,
        )
    )


def read_for_places(
    plan: Plan,
    expectation: Expectation,
    bench: Bench,
    clearance: Clearance,
    adapter: Adapter,
    measured: Measured,
    repeats: int = 1,
    within_m: float = 0.0,
    *,
    known: bool = False,
    steady: bool = True,
) -> Generator[Event, None, Measured]:
    """Return what was measured, with what places need; a loom without breaks or touches is asked nothing.

    Where it is ``known`` what this loom's wires have, no sound wire is read beside a broken one. Ohms across
    a touch are repeated until its place has a U (k = 2) of ``within_m``, where that can be; ``steady``: where
    that is 0, until a scatter that self-test or zeroing found counts little beside joints.
    Raises `SafetyError` without a clearance for this loom and bench; the bench's errors.
    """
    require(clearance, bench, expectation.loom)
    broken = list(_broken(expectation, measured))[:MOST_PLACED]
    touching = list(_touching(expectation, measured))[:MOST_PLACED]
    foreign = list(_foreign(expectation, measured))[:MOST_PLACED]
    if not broken and not touching and not foreign:
        return measured
    asker = Asker(bench, clearance, plan.scope.points)
    found = replace(measured)
    if clearance.capabilities.farads is not None:
        found = replace(found, unplaced=tuple(foreign))
    if broken and clearance.capabilities.farads is not None:
        yield Progress("reading where wires are broken", 0, len(broken))
        whole = {end: group for group in measured.groups for end in group}
        leads = {lead.end: lead for lead in adapter.entries}
        reader = _Farads(plan, expectation, asker, leads, {} if known else whole)
        for net, pieces in broken:
            reader.follow(net, pieces)
        found = replace(
            found,
            farads=tuple(reader.found),
            unplaced=(*found.unplaced, *reader.unplaced),
            sound_farads=tuple(reader.sound.values()),
            capacitance_readings=reader.readings,
        )
    if touching and plan.meter is not None:
        yield Progress("reading where conductors touch", 0, len(touching))
        across = [
            tuple(_across(plan, expectation, asker, nets, repeats, within_m, steady)) for nets in touching
        ]
        found = replace(found, across=tuple(across))
    return replace(found, resistance_readings=measured.resistance_readings + asker.readings)


def can_learn(request: Request, clearance: Clearance) -> None:
    """Refuse to learn capacitance where it can't be, before anything is asked of the loom.

    Raises `UnfitError` for a bench that reads none, `AdapterError` for leads of which their own is not known.
    """
    adapter = request.adapter
    if clearance.capabilities.farads is None:
        raise UnfitError(
            "this bench reads no capacitance, so none can be learned of the loom's wires",
            cure="Prove it without, or on a bench that has a range of capacitance.",
        )
    unknown = [lead.end for lead in adapter.entries if not lead.open_zeroed]
    if unknown:
        raise AdapterError(
            f"{NOT_ZEROED} ({len(unknown)} of them, {unknown[0]} the first)",
            cure="Zero them with no loom on the adapter, then prove again.",
            do=Do(Todo.ZERO_OPEN, str(adapter.file or "")),
        )


def _learned(
    plan: Plan, expectation: Expectation, asker: Asker, adapter: Adapter, measured: Measured
) -> Generator[Event, None, Measured]:
    """Return what was measured, with the capacitance of each net in which a break could be placed.

    One reading for each; none where any net is not as it should be.
    """
    if set(measured.groups) != set(measured.expected) or measured.leaks:
        return measured
    loom, whole = expectation.loom, set(measured.groups)
    nets = [net for net in expectation.nets if net.wires and frozenset(net.cavities) in whole]
    yield Progress("learning the capacitance of each net", 0, len(nets))
    reader = _Farads(plan, expectation, asker, {lead.end: lead for lead in adapter.entries}, {})
    found: list[PieceFarads] = []
    for net in nets:
        tree = None if hinders_farads(loom, net) else tree_or_why(loom, net)[0]
        piece = reader.read(frozenset(net.cavities)) if tree is not None and tree.length_m else None
        if piece is not None and piece.farad > 0.0:
            found.append(piece)
    count = measured.resistance_readings + asker.readings
    return replace(
        measured,
        learned_farads=tuple(found),
        resistance_readings=count,
        capacitance_readings=reader.readings,
    )


def _broken(expectation: Expectation, measured: Measured) -> Iterator[tuple[Net, tuple[frozenset[End], ...]]]:
    """Yield the nets that fell apart and touch nothing else, with their pieces."""
    home = {end: group for group in measured.groups for end in group}
    for net in expectation.nets:
        pieces = tuple(dict.fromkeys(home[end] for end in net.cavities if end in home))
        if len(pieces) > 1 and all(piece <= set(net.cavities) for piece in pieces):
            yield net, pieces


def _foreign(expectation: Expectation, measured: Measured) -> Iterator[tuple[End, str]]:
    """Yield the nets that fell apart, and of which a piece touches something else, with what it touches."""
    home = {end: group for group in measured.groups for end in group}
    for net in expectation.nets:
        pieces = tuple(dict.fromkeys(home[end] for end in net.cavities if end in home))
        touching = next((piece for piece in pieces if not piece <= set(net.cavities)), None)
        if len(pieces) > 1 and touching is not None:
            own = sorted(touching & set(net.cavities))
            strangers = sorted(touching - set(net.cavities))
            others = dict.fromkeys(
                name for e in strangers for name in expectation.nets[expectation.net_of[e]].wires
            )
            yield net.cavities[0], touches(net.wires, own, tuple(others), strangers)


def touches(wires: Sequence[str], own: Sequence[End], others: Sequence[str], strangers: Sequence[End]) -> str:
    """Return why nothing is told of a broken net of which the piece at ``own`` touches these others."""
    named = "this net" if len(wires) != 1 else wires[0]
    at = ", ".join(map(str, own[:3])) + ", …" * (len(own) > 3)
    other = others[0] if len(others) == 1 else f"what ends at {strangers[0]}"
    return f"{named}'s piece at {at} touches {other}, so its capacitance is not its own; mend that first"


def _touching(expectation: Expectation, measured: Measured) -> Iterator[tuple[Net, ...]]:
    """Yield the nets that are one conductor and should not be, each of them whole."""
    home = {end: group for group in measured.groups for end in group}
    seen = list(measured.groups)
    seen += [home[leak.a] | home[leak.b] for leak in measured.leaks if leak.ohm <= TOUCH_OHM]
    told: set[tuple[int, ...]] = set()
    for group in seen:
        indices = tuple(sorted({expectation.net_of[end] for end in group}))
        nets = [expectation.nets[index] for index in indices]
        whole = all(home.get(end, group) <= group for net in nets for end in net.cavities)
        if len(nets) > 1 and whole and indices not in told:
            told.add(indices)
            yield tuple(nets)


@dataclass(slots=True)
class _Farads:
    """Reads pieces of nets against all other points, and keeps what was read."""

    plan: Plan
    expectation: Expectation
    asker: Asker
    leads: Mapping[End, Lead]
    whole: Mapping[End, frozenset[End]]
    found: list[PieceFarads] = field(default_factory=list)
    sound: dict[str, PieceFarads] = field(default_factory=dict)
    unplaced: list[tuple[End, str]] = field(default_factory=list)
    readings: int = 0

    def read(self, ends: frozenset[End]) -> PieceFarads | None:
        """Read one piece, its leads taken off; ``None`` where the bench gives no capacitance."""
        points = sum(self.plan.scope.bit(end) for end in ends)
        farad = self.asker.capacitance(points, self.plan.scope.points & ~points)
        self.readings += 1
        if farad is None or math.isinf(farad):
            return None
        own_f = math.fsum(self.leads[end].lead_f for end in ends)
        able = self.asker.capabilities()
        # Each lead was learned with the meter's offset in it, and a reading of all has it once only.
        over_f = (len(ends) - 1) * able.farad_accuracy.farad / math.sqrt(3.0) if able.farad_accuracy else 0.0
        u_f = math.hypot(able.farad_spread or 0.0, over_f, *(self.leads[end].lead_u_f / 2 for end in ends))
        return PieceFarads(ends, farad - own_f, u_f, own_f)

    def hindered(self, net: Net, pieces: Sequence[frozenset[End]]) -> str:
        """Return why no place can be told of this net; "" where it can."""
        loom = self.expectation.loom
        why = screened(loom, net) if self.free(net, pieces) else hinders_farads(loom, net)
        if not why and lone_wire(loom, net) is None:
            why = tree_or_why(loom, net)[1]
        if not why and not self.zeroed(end for piece in pieces for end in piece):
            why = NOT_ZEROED
        return why

    def free(self, net: Net, pieces: Sequence[frozenset[End]]) -> list[frozenset[End]]:
        """Return the pieces on which no part hangs: those say a place whatever hangs on the others."""
        loom = self.expectation.loom
        if not hanging_on(loom, net):
            return list(pieces)
        tree, _ = tree_or_why(loom, net)
        return [piece for piece in pieces if tree is not None and free_of_parts(loom, net, tree, piece)]

    def zeroed(self, ends: Iterable[End]) -> bool:
        """Whether the own capacitance of all these leads is known."""
        return all(end in self.leads and self.leads[end].open_zeroed for end in ends)

    def follow(self, net: Net, pieces: Sequence[frozenset[End]]) -> None:
        """Read each piece of a broken net; where one gives nothing, what sound wires beside it have."""
        why = self.hindered(net, pieces)
        if why:
            self.unplaced.append((net.cavities[0], why))
            return
        free = self.free(net, pieces)
        read = [self.read(piece) if piece in free else None for piece in pieces]
        without = tree_or_why(self.expectation.loom, net)[1]
        if not any(read) or (without and not all(read)):
            self.unplaced.append((net.cavities[0], NO_FARADS if not any(read) else without))
            return
        self.found += [piece for piece in read if piece is not None]
        if not all(read):
            self.learn_beside(net)

    def learn_beside(self, net: Net) -> None:
        """Read up to `MOST_SOUND` sound wires that run beside this net's, of which none was read before."""
        loom = self.expectation.loom
        nets = [
            each
            for each in self.expectation.nets
            if self.whole.get(each.cavities[0]) == frozenset(each.cavities)
        ]
        beside = [each for each in sound_beside(loom, net, nets) if self.zeroed(each.cavities)]
        for each in beside[:MOST_SOUND]:
            if each.wires[0] in self.sound:
                continue
            piece = self.read(frozenset(each.cavities))
            if piece is not None:
                self.sound[each.wires[0]] = piece


def _across(
    plan: Plan,
    expectation: Expectation,
    asker: Asker,
    nets: Sequence[Net],
    repeats: int,
    within_m: float,
    steady: bool,
) -> Iterator[Across]:
    """Read from both ends of the first net to both ends of each other one."""
    assert plan.meter is not None
    taps = [_taps(plan, expectation, net) for net in nets]
    wires = 4 if plan.meter.four_wire is not None else 2
    count = max(repeats, plan.meter.repeats)
    accuracy = plan.meter.four_wire if wires == 4 and plan.meter.four_wire else plan.meter.two_wire
    single_u_ohm = plan.meter.repeatability_ohm or accuracy.ohm / math.sqrt(3.0)
    wanted = Repeats(1, "")
    # Repeats take off what was found to be scatter; what is only inside the limits may be the same each time.
    steady = steady and plan.meter.repeatability_ohm > 0.0
    if within_m or steady:
        wanted = of_touch(expectation, nets, taps[:2], within_m, single_u_ohm, steady=steady)
        count = max(count, wanted.count)
    for other in taps[1:]:
        for a, b in product(taps[0], other):
            one, two = (plan.scope.point_of[end] for end in (a, b))
            values = [
                asker.resistance(plan.scope.bit(a), plan.scope.bit(b), 4 if wires == 4 else 2)
                for _ in range(count)
            ]
            mean = math.fsum(values) / count
            moved_ohm = drift_ohm(values, single_u_ohm) if math.isfinite(mean) else 0.0
            said = wanted.said
            if moved_ohm and wanted.said:
                said = f"the readings drifted by {ohms(moved_ohm)} meanwhile, which no repeats take away"
            if math.isfinite(mean):
                yield Across(
                    a,
                    b,
                    mean - plan.meter.leads_ohm(one, two, 4 if wires == 4 else 2),
                    math.hypot(single_u_ohm / math.sqrt(count), moved_ohm / math.sqrt(12.0)),
                    0.0 if wires == 4 else plan.meter.lead_u_ohm,
                    said,
                    count,
                    accuracy.ratio / math.sqrt(3.0),
                    single_u_ohm,
                    not plan.meter.repeatability_ohm,
                )


def _taps(plan: Plan, expectation: Expectation, net: Net) -> tuple[End, ...]:
    """Return the two tested cavities of a net that lie farthest apart along its wires, or its only one."""
    tested = [end for end in net.cavities if end in plan.scope.point_of][:TAPS]
    tree, _ = tree_or_why(expectation.loom, net)
    if len(tested) < 2 or tree is None:
        return tuple(tested[:2])
    return max(combinations(tested, 2), key=lambda pair: _apart_m(tree, *pair))


def _apart_m(tree: Tree, a: End, b: End) -> float:
    return math.fsum(run.length_m for run in tree.way(a, b))
