"""What a bench must, may and can not find of a set of faults: networkx for nets, nodal analysis for readings.

Shares no code with the tool. A reading is known between bounds (`nodal`); the bench's keys say what it makes
of one: limits of error, how it judges (guard band of JCGM 106, k = 2), what it senses. *Must fail*: however a
proof chooses its readings, one of them surely fails. *Invisible*: every reading is surely one that a sound
loom may give. *May be undecided*: all else, values between thresholds or inside a guard band.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import networkx as nx

from loomproof.loom.model import Component, ComponentKind, End, Loom
from tests.diagnosis.injector import Bench, Injected, place
from tests.diagnosis.nodal import Readings, Solved, affected, network

COPPER_PER_K = 0.00393
"""Temperature coefficient of copper at 20 °C (IEC publication 28)."""

TEMPERATURE_U_K = 6.0
"""Standard uncertainty of the copper's temperature that a careful proof might charge at most (assumption)."""

SHORTED_OHM = 50.0
"""A diode with less than this beside it surely reads as conducting both ways (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Keys:
    """What the bench states: limits of error ±(ohm + ratio × reading), its sense threshold and limits."""

    accuracy_ohm: float = 0.1
    accuracy_ratio: float = 0.01
    clear_ohm: float = 250_000.0
    isolation_ohm: float = 1.0e6

    def error_ohm(self, ohm: float) -> float:
        """Return the largest error of a reading."""
        return self.accuracy_ohm + self.accuracy_ratio * ohm

    def guard_ohm(self, ohm: float) -> float:
        """Return the widest guard band: limits of error as a rectangle (GUM 4.3.7) and temperature, k = 2."""
        return 2 * math.hypot(self.error_ohm(ohm) / math.sqrt(3), COPPER_PER_K * TEMPERATURE_U_K * ohm)

    def surely_above(self, least_ohm: float, sound_ohm: float, loom: Loom) -> bool:
        """Whether what reads this or more fails, where a sound conductor reads so much at most.

        The limit is the description's, or the least that this bench can decide: sound and two guard bands.
        """
        if math.isinf(least_ohm):
            return True
        settings = loom.settings
        limit = max(
            settings.margin_ratio * sound_ohm + settings.margin_ohm,
            sound_ohm + 2 * self.guard_ohm(sound_ohm),
        )
        return least_ohm - self.error_ohm(least_ohm) > limit + self.guard_ohm(least_ohm)

    def surely_passes(self, most_ohm: float, sound_ohm: float) -> bool:
        """Whether what reads this or less passes: a tenth of the error above sound is inside any guard band.

        Two guard bands of 2/√3 errors each, less one of them and an error, leave 0.15 errors.
        """
        return most_ohm <= sound_ohm + 0.1 * self.accuracy_ohm


class Judgement(NamedTuple):
    """The class of a fault set, and the faults in it that readings surely show."""

    kind: str
    seen: tuple[Injected, ...]


class _Doubt:
    """Gathers what is sure: ``must`` once a reading surely fails, ``sound`` while all surely pass."""

    def __init__(self) -> None:
        self.must = False
        self.sound = True


def judge(loom: Loom, faults: Sequence[Injected], keys: Keys | None = None) -> Judgement:
    """Class one fault set. Loose contacts are watched for; without a watch none may be among the faults."""
    keys = keys or Keys(isolation_ohm=loom.settings.isolation_ohm)
    nets = Bench(loom).build()
    sound, now = Readings(network(loom)), Readings(network(loom, faults))
    changed = set(affected(loom.cavities, sound, now))
    doubt = _Doubt()
    for net in nets:
        if len(net) > 1 and net & changed:
            _conductor(loom, sorted(net), sound, now, keys, doubt)
    for ends in _parts_of(changed, now):
        _apart(ends, sound, now, keys, doubt)
    for part in loom.components:
        if part.fitted and changed.intersection(part.ends):
            _component(loom, part, sound, now, keys, doubt)
    if any(fault.kind == "loose" and comes_and_goes(loom, faults, fault, keys) for fault in faults):
        doubt.must = True
    kind = "must fail" if doubt.must else "invisible" if doubt.sound else "may be undecided"
    return Judgement(kind, tuple(fault for fault in faults if is_seen(loom, faults, fault, now, keys)))


def _conductor(
    loom: Loom, net: Sequence[End], sound: Readings, now: Readings, keys: Keys, doubt: _Doubt
) -> None:
    """A proof reads pairs that hang the whole net together: it fails if those that may pass do not."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(net)
    for a, b in itertools.combinations(net, 2):
        least, most = now.between(a, b)
        sound_ohm = sound.most.ohm(a, b)
        if keys.surely_above(least, sound_ohm, loom):
            doubt.sound = False
            continue
        graph.add_edge(a, b)
        if not keys.surely_passes(most, sound_ohm):
            doubt.sound = False
    if not nx.is_connected(graph):
        doubt.must = True


def _apart(ends: Sequence[End], sound: Readings, now: Readings, keys: Keys, doubt: _Doubt) -> None:
    """Cavities that nothing should join, not even a part: isolation between them."""
    for a, b in itertools.combinations(ends, 2):
        if sound.least.home(place(a)) == sound.least.home(place(b)):
            continue
        least, most = now.between(a, b)
        one_way = math.isinf(most) and (now.conducts(a, b) or now.conducts(b, a))
        if one_way or most < 0.95 * keys.isolation_ohm:
            doubt.must = True
            doubt.sound = False
        elif least < 1.05 * keys.isolation_ohm:
            doubt.sound = False


def _component(
    loom: Loom, part: Component, sound: Readings, now: Readings, keys: Keys, doubt: _Doubt
) -> None:
    """A part is read between the cavities that its description names."""
    if part.kind is ComponentKind.DIODE:
        terminals = dict(part.terminals)
        anode, cathode = terminals["A"], terminals["K"]
        beside = now.most.ohm(anode, cathode)
        if beside < math.inf:
            doubt.sound = False
            doubt.must = doubt.must or beside < SHORTED_OHM
        elif not now.conducts(anode, cathode) or now.conducts(cathode, anode):
            doubt.sound = False
            doubt.must = True
        elif len(now.one_ways) > len(sound.one_ways):
            doubt.sound = False
    elif part.kind is ComponentKind.RESISTOR:
        a, b = part.ends
        low, high = sound.between(a, b)
        least, most = now.between(a, b)
        high += loom.settings.margin_ohm
        if math.isinf(least) or least - keys.error_ohm(least) > high + 2 * keys.guard_ohm(
            high
        ) + keys.guard_ohm(least):
            doubt.must = True
        if most + keys.error_ohm(most) < low - 3 * keys.guard_ohm(low):
            doubt.must = True
        if not (low <= least and most <= high):
            doubt.sound = False


def _parts_of(changed: set[End], now: Readings) -> Iterator[list[End]]:
    """Yield the changed cavities of each part of the network that hangs together."""
    found: dict[tuple[str, str, str], list[End]] = {}
    for end in sorted(changed):
        found.setdefault(now.least.home(place(end)), []).append(end)
    yield from found.values()


def comes_and_goes(loom: Loom, faults: Sequence[Injected], fault: Injected, keys: Keys) -> bool:
    """Whether sensing surely tells a loose contact's open moments from its closed ones."""
    net = network(loom, faults)
    opened = network(loom, [*(f for f in faults if f is not fault), _opened(fault)])
    closed = Solved((e.u, e.v, e.most_ohm) for e in net.elements)
    least = Readings(opened).least
    for ends in _parts_of(set(loom.cavities), Readings(net)):
        for a, b in itertools.combinations(ends, 2):
            # With many points behind it a path counts for less than the threshold: then more is surely clear.
            if closed.ohm(a, b) < 100.0 and least.ohm(a, b) > keys.clear_ohm:
                return True
    return False


def _opened(fault: Injected) -> Injected:
    if fault.wires:
        return Injected("open", wires=fault.wires)
    return Injected("contact", fault.ends)


def is_seen(loom: Loom, faults: Sequence[Injected], fault: Injected, now: Readings, keys: Keys) -> bool:
    """Whether some reading surely differs from what it would be without this one fault."""
    if fault.kind == "loose":
        return comes_and_goes(loom, faults, fault, keys)
    without = Readings(network(loom, [other for other in faults if other is not fault]))
    changed = set(affected(loom.cavities, now, without))
    for where in (now, without):
        for ends in _parts_of(changed, where):
            for a, b in itertools.combinations(ends, 2):
                if _differ(now.between(a, b), without.between(a, b), keys):
                    return True
                if (now.one_ways or without.one_ways) and any(
                    now.conducts(*way) != without.conducts(*way) for way in ((a, b), (b, a))
                ):
                    return True
    return False


def _differ(one: tuple[float, float], other: tuple[float, float], keys: Keys) -> bool:
    """Whether two readings are apart by more than any guard band, one of them inside what is measured."""
    (_, low_most), (high_least, _) = sorted((one, other))
    return low_most < 0.95 * keys.isolation_ohm and high_least > 1.2 * low_most + 1.0
