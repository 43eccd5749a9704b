"""What a bench must, may and must not say of a loom, from its truth and the rule of grades.

Shares no code with the tool. The rule: a claim has a limit L of its own, margin_ratio × the most that sound
copper, joints and contacts have + margin_ohm. Of a reading y with expanded uncertainty U: y + U ≤ L holds,
y - U > L fails, else it is not decided; y > L never stands in a pass. The bench errs by no more than it
states, so a reading lies in truth ± that error, and U is 1.15 of it (a rectangle, k = 2, GUM 4.3.7) and what
the copper's temperature adds.

*Must fail*: however the proof chooses its readings, one of them surely fails. *Never pass*: one surely lies
above its limit. *Differs*: something is outside what a sound loom of this description can have; where nothing
is, a fail is false. *Doubts*: why a sound loom may stay undecided.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any, cast

import networkx as nx

from loomproof.loom.model import Component, ComponentKind, End, Loom, Need, Wire
from tests.campaign.sound_bounds import UNSTATED_LEAST_OHM, sound_circuitry
from tests.campaign.true_benches import Make
from tests.campaign.true_looms import COPPER_PER_K, circuitry_of
from tests.campaign.truth import Circuitry, Truth
from tests.diagnosis.injector import Bench, Injected, place

POWER_A, AGED_OHM = 5.0, 0.010
"""From this load on a conductor is held to it, with so much for contacts that aged (common practice)."""

TEMPERATURE_U_K = 6.0
SHUNT_OHM = 1.0
"""A part stated at no more is a conductor of its net (the rule that the description's page gives)."""

MANY = 1e12
TELLS = 1.5
"""By how much a reading must change when a part is missing or wrong, to count as telling."""

PART_FAULTS = ("missing", "value", "shorted", "reversed")


@dataclass
class Judgement:
    """What the truth says; each list holds reasons in words."""

    must_fail: list[str] = field(default_factory=list)
    never_pass: list[str] = field(default_factory=list)
    differs: list[str] = field(default_factory=list)
    doubts: list[str] = field(default_factory=list)

    @property
    def kind(self) -> str:
        """The class in one word."""
        if self.must_fail:
            return "must fail"
        if self.never_pass or self.differs:
            return "may be undecided"
        return "sound, in doubt" if self.doubts else "sound"


def expanded_ohm(make: Make, ohm: float) -> float:
    """Return the greatest U that a careful proof states of a reading."""
    expanded = 2 * math.hypot(make.error_ohm(ohm) / math.sqrt(3), COPPER_PER_K * TEMPERATURE_U_K * ohm)
    # Below its range a meter says no more than that.
    return max(expanded, make.ohms[0]) if make.ohms and ohm < make.ohms[0] else expanded


def _is_shunt(part: Component) -> bool:
    return (
        part.kind in (ComponentKind.RESISTOR, ComponentKind.COIL)
        and part.resistance_ohm is not None
        and part.resistance_ohm <= SHUNT_OHM
    )


class Oracle:
    """The truth of one loom with faults, and what the description allows."""

    def __init__(self, loom: Loom, faults: Sequence[Injected], seed: str, make: Make) -> None:
        self.loom, self.faults, self.seed, self.make = loom, faults, seed, make
        self.now = Truth(circuitry_of(loom, faults, seed))
        self.nets = [sorted(net) for net in Bench(loom).build()]
        self.net_of = {end: n for n, net in enumerate(self.nets) for end in net}
        unused = {c.name for c in loom.circuits if c.need is Need.UNUSED}
        needed = {end for w in loom.wires if w.circuit not in unused for end in w.ends}
        self.unused_ends = {end for w in loom.wires for end in w.ends} - needed
        joins: nx.Graph[int] = nx.Graph()
        joins.add_nodes_from(range(len(self.nets)))
        joins.add_edges_from((self.net_of[a], self.net_of[b]) for _, a, b in self.couplings)
        self.group_of = {n: g for g, nets in enumerate(nx.connected_components(joins)) for n in nets}

    @cached_property
    def sound(self) -> Truth:
        """The same loom without faults."""
        return Truth(circuitry_of(self.loom, (), self.seed))

    @cached_property
    def couplings(self) -> list[tuple[Component, End, End]]:
        """Parts that join two nets, with the ends they join them at."""
        found: list[tuple[Component, End, End]] = []
        for part in self.loom.components:
            if not part.fitted or part.kind in (ComponentKind.FUSE, ComponentKind.LINK):
                continue
            at = dict(part.terminals)
            if part.kind is ComponentKind.RELAY:
                found.append((part, at["85"], at["86"]))
                if "87a" in at:
                    found.append((part, at["30"], at["87a"]))
            else:
                one, two = part.ends
                found.append((part, one, two))
        return [each for each in found if self.net_of[each[1]] != self.net_of[each[2]]]

    def share_ohm(self, a: End, b: End) -> float:
        """Feed side: the drop limit of one wire over the greatest load of a wire on a way from a to b, Ω."""
        loads = {c.name: c.load_a for c in self.loom.circuits if c.load_a and c.load_a >= POWER_A}
        if not loads or not any(wire.circuit in loads for wire in self.loom.wires):
            return math.inf
        ways: nx.Graph[Any] = nx.Graph([(a, b)])
        for wire in self.loom.wires:
            nx.add_path(ways, (wire.a, wire, wire.b))
        for part in self.loom.components:
            joins = part.kind in (ComponentKind.FUSE, ComponentKind.LINK) or _is_shunt(part)
            if part.fitted and joins:
                nx.add_path(ways, (part.ends[0], part, part.ends[1]))
        # With a and b joined, what lies on a way between them is in one block with that edge.
        blocks = cast("Iterator[set[Any]]", nx.biconnected_components(ways))
        for block in blocks:
            if a in block and b in block:
                carried = [loads.get(w.circuit, 0.0) for w in block if isinstance(w, Wire)]
                greatest = max(carried, default=0.0)
                return self.loom.settings.wire_drop_v / greatest if greatest else math.inf
        return math.inf

    @cached_property
    def shunts(self) -> list[Component]:
        """Resistors and coils of so few stated ohms that they are conductors, beside copper.

        A sound loom has them in: they lower what its net may read, and have limits of their own.
        """
        coupled = {part.name for part, _, _ in self.couplings}
        return [p for p in self.loom.components if p.fitted and _is_shunt(p) and p.name not in coupled]

    @cached_property
    def shunted(self) -> list[Component]:
        """Parts of more than a few ohms with all their ends on one net: no reading can tell them."""
        joined = {part.name for part, _, _ in self.couplings}
        plain = (ComponentKind.FUSE, ComponentKind.LINK, ComponentKind.RELAY)
        return [
            part
            for part in self.loom.components
            if part.fitted and part.kind not in plain and part.name not in joined and not _is_shunt(part)
        ]

    @cached_property
    def greatest(self) -> Truth:
        """Copper alone, each wire, joint and contact at the most that a sound one has."""
        return Truth(self._bounds(most=True, parts=False))

    def limit_ohm(self, a: End, b: End) -> float:
        """Return the limit of a claim between two cavities of one net.

        Where its circuits state a load of power conductors, no more than the drop limit of one wire over the
        load, but never less than sound copper and aged contacts may have (drop limits: common practice).
        """
        settings = self.loom.settings
        most = settings.margin_ratio * self.greatest.copper_ohm(a, b)
        return min(most + settings.margin_ohm, max(self.share_ohm(a, b), most + AGED_OHM))

    def judged(self) -> Judgement:
        """Return what the truth says of this loom on this bench."""
        judgement = Judgement()
        for net in self.nets:
            if len(net) > 1:
                self._conductor(net, judgement)
        self._isolation(judgement)
        judgement.differs += [f"{f.kind} {f.parts[0]}" for f in self.faults if f.kind in PART_FAULTS]
        if self.faults and not judgement.must_fail:
            self._coupled(judgement)
        if self.make.ohms is not None:
            self._parts(judgement)
        return judgement

    def _conductor(self, net: Sequence[End], judgement: Judgement) -> None:
        make = self.make
        may_pass: nx.Graph[End] = nx.Graph()
        may_hold: nx.Graph[End] = nx.Graph()
        for graph in (may_pass, may_hold):
            graph.add_nodes_from(net)
        beside = self.now.beside_siemens(net[0])
        where = f"{net[0]} and its net"
        for a, b in itertools.combinations(net, 2):
            limit = self.limit_ohm(a, b)
            most = self.now.copper_ohm(a, b)
            least = most if not beside else 1.0 / (beside + (1.0 / most if math.isfinite(most) else 0.0))
            if make.ohms is None:
                joined = math.isfinite(most) or self.now.read([a], [b], 5.0, 0.0) < make.clear_ohm
                if joined:
                    may_pass.add_edge(a, b)
                    may_hold.add_edge(a, b)
                continue
            error = make.error_ohm(least)
            if least - error <= limit:
                may_pass.add_edge(a, b)
            if least - error - expanded_ohm(make, least) <= limit:
                may_hold.add_edge(a, b)
            if most > limit and not set(net) <= self.unused_ends:
                judgement.differs.append(f"{a} to {b}: {most:.4g} Ω, limit {limit:.4g} Ω")
            if most + make.error_ohm(most) > limit:
                judgement.doubts.append(
                    f"{a} to {b}: {most:.4g} Ω ± {make.error_ohm(most):.4g}, {limit:.4g} Ω"
                )
        if set(net) <= self.unused_ends:
            return
        if not nx.is_connected(may_hold):
            judgement.must_fail.append(f"open or high in {where}")
        elif not nx.is_connected(may_pass):
            judgement.never_pass.append(f"above the limit in {where}")

    def _isolation(self, judgement: Judgement) -> None:
        """Cavities that nothing should join, not even a part."""
        for a, b in self._strangers():
            ohm = self.now.ohm(a, b)
            ways = [self.now.read([x], [y], self.make.test_v, 0.0) for x, y in ((a, b), (b, a))]
            self._apart(a, b, ohm, min(ways), judgement)

    def _strangers(self) -> Iterator[tuple[End, End]]:
        """Yield one pair of cavities for each two pieces or nets of an island that should be apart."""
        for number, ends in enumerate(self.now.ends_of):
            if len({self.group_of[self.net_of[end]] for end in ends}) < 2:
                continue
            first: dict[tuple[int, int], End] = {}
            for end in ends:
                first.setdefault((self.net_of[end], self.now.piece_of[place(end)]), end)
            assert number >= 0
            for a, b in itertools.combinations(first.values(), 2):
                if self.group_of[self.net_of[a]] != self.group_of[self.net_of[b]]:
                    yield a, b

    def _apart(self, a: End, b: End, ohm: float, least: float, judgement: Judgement) -> None:
        make, limit = self.make, self.loom.settings.isolation_ohm
        text = f"{a} and {b} should be apart: {least:.4g} Ω" + ("" if ohm == least else ", one way")
        if {a, b} <= self.unused_ends:  # within circuits that this car does not need: a note
            judgement.differs.append(text)
            return
        if make.ohms is not None:
            shown = self.now.read([a], [b], make.test_v, make.series_ohm)
            shown = min(shown, self.now.read([b], [a], make.test_v, make.series_ohm))
            sure = min(limit, make.ohms[1])
            if shown + make.error_ohm(shown) + expanded_ohm(make, shown) < 0.97 * sure:
                judgement.must_fail.append(text)
        elif math.isfinite(ohm):
            points = len(self.now.ends_of[self.now.island(place(a))])
            assert make.sense_ohm is not None
            if ohm < 0.95 * make.sense_ohm / points:
                judgement.must_fail.append(text)
        if least < 1.05 * max(limit, make.clear_ohm):
            judgement.differs.append(text)

    def _coupled(self, judgement: Judgement) -> None:
        """Nets that parts join: what is read between them, against what sound parts can look like."""
        least, most = (Truth(self._bounds(most=which, parts=True)) for which in (False, True))
        # What an ohmmeter makes of a diode goes by its current, and it states its largest only: with less, in
        # a higher range, it reads any more. Only what lies beside diodes bounds such a reading from above.
        straight = (
            most
            if self.make.diode or self.make.ohms is None
            else Truth(self._bounds(most=True, parts=True, diodes=False))
        )
        direct = {frozenset((self.net_of[a], self.net_of[b])) for _, a, b in self.couplings}
        groups: dict[int, list[int]] = {}
        for net, group in self.group_of.items():
            groups.setdefault(group, []).append(net)
        touched = self._touched()
        for nets in groups.values():
            if len(nets) < 2 or not touched & {end for net in nets for end in self.nets[net]}:
                continue
            for one, two in itertools.combinations(nets, 2):
                a, b = self._reader(one, two)
                for x, y in ((a, b), (b, a)):
                    readings = [
                        truth.read([x], [y], self.make.test_v, self.make.series_ohm)
                        for truth in (least, self.now, most, straight)
                    ]
                    self._between(x, y, readings, frozenset((one, two)) in direct, judgement)

    def _reader(self, one: int, two: int) -> tuple[End, End]:
        """Return where two nets are read: at a part that joins them, else at their first cavities."""
        for _, a, b in self.couplings:
            for x, y in ((a, b), (b, a)):
                if (self.net_of[x], self.net_of[y]) == (one, two):
                    return x, y
        return self.nets[one][0], self.nets[two][0]

    def _touched(self) -> set[End]:
        """Return the cavities of the islands that a fault changed."""
        sound, now = ({frozenset(ends) for ends in truth.ends_of} for truth in (self.sound, self.now))
        changed = {end for ends in sound ^ now for end in ends}
        for fault in self.faults:
            near = {e for e in fault.ends if e.cavity}
            near |= {e for name in fault.parts for e in self.loom.component_by_name[name].ends}
            near |= {e for name in fault.wires for e in self.loom.wire_by_name[name].ends if e.cavity}
            near |= {e for name in fault.connectors for e in self.loom.by_name[name].ends}
            for truth in (self.sound, self.now):
                changed |= {e for end in near for e in truth.ends_of[truth.island(place(end))]}
        return changed

    def _between(self, a: End, b: End, readings: Sequence[float], direct: bool, judgement: Judgement) -> None:
        low, now, high, straight = readings
        make = self.make
        if 0.99 * low <= now <= 1.01 * high:
            return
        text = f"{a} to {b}: {now:.4g} Ω, sound parts have {low:.4g} to {high:.4g} Ω"
        judgement.differs.append(text)
        if make.ohms is None:
            points = len(self.now.ends_of[self.now.island(place(a))])
            assert make.sense_ohm is not None
            # What a junction drops stands near the thresholds of inputs: either is right then.
            no_diode = not self.sound.islands[self.sound.island(place(a))].junctions
            surely_low = high < 0.9 * make.sense_ohm / points
            if direct and no_diode and surely_low and now > 1.1 * make.clear_ohm:
                judgement.must_fail.append(text)
            return
        top = min(make.ohms[1], self.loom.settings.isolation_ohm)
        low, now, high, straight = (ohm if ohm < 0.97 * top else MANY for ohm in (low, now, high, straight))
        if now < MANY:
            band = make.error_ohm(now) + expanded_ohm(make, now)
            if now + band < low - expanded_ohm(make, min(low, top)) and (direct or low == MANY):
                judgement.must_fail.append(text)
            if now - band > straight + expanded_ohm(make, min(straight, top)) + 0.1 and direct:
                judgement.must_fail.append(text)
        elif high < 0.9 * top and direct:
            judgement.must_fail.append(text)

    def _parts(self, judgement: Judgement) -> None:
        """Parts of which this bench cannot tell all."""
        make = self.make
        assert make.ohms is not None
        judgement.doubts += [f"{part.name}: beside copper" for part in self.shunted]
        for part, a, b in self.couplings:
            stated = part.kind in (ComponentKind.DIODE, ComponentKind.CAPACITOR) or (
                part.resistance_ohm is not None
            )
            if not stated:
                judgement.doubts.append(f"{part.name}: no ohms stated")
                continue
            if not self.tells(part, a, b):
                judgement.doubts.append(f"{part.name}: no reading tells it")
            if part.kind is not ComponentKind.DIODE:
                spread = (part.tolerance_pct or 0.0) / 100 * (part.resistance_ohm or 0.0)
                ohm = self.sound.ohm(a, b)
                if math.isfinite(ohm) and make.error_ohm(ohm) > 0.3 * spread:
                    judgement.doubts.append(f"{part.name}: {ohm:.4g} Ω is near its limits for this meter")

    def tells(self, part: Component, a: End, b: End) -> bool:
        """Whether a reading at a part changes much when the part is missing, shorted or turned round."""
        assert self.make.ohms is not None
        states = ["missing"]
        if part.kind is ComponentKind.DIODE:
            states.append("reversed")
        if part.resistance_ohm is None or part.resistance_ohm > UNSTATED_LEAST_OHM:
            states.append("shorted")
        sound = self._both_ways(self.sound, a, b)
        for state in states:
            other = Truth(circuitry_of(self.loom, (Injected(state, parts=(part.name,)),), self.seed))
            changed = self._both_ways(other, a, b)
            if not any(max(x, y) > TELLS * min(x, y) for x, y in zip(sound, changed, strict=True)):
                return False
        return True

    def _both_ways(self, truth: Truth, a: End, b: End) -> list[float]:
        assert self.make.ohms is not None
        error, most = self.make.accuracy_ohm, self.make.ohms[1]
        ways = ((a, b), (b, a))
        read = [truth.read([x], [y], self.make.test_v, self.make.series_ohm) for x, y in ways]
        return [max(4 * error, ohm) if ohm < most else MANY for ohm in read]

    def _bounds(self, *, most: bool, parts: bool, diodes: bool = True) -> Circuitry:
        couplings = self.couplings if parts else ()
        return sound_circuitry(self.loom, couplings, self.shunts, most=most, diodes=diodes)
