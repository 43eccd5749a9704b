"""Where along the loom's bundles a wire runs, and where two or more wires lie side by side."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.loom.bundles import Bundle
from loomproof.loom.model import Wire
from loomproof.loom.suspicions import MUCH_LONGER
from loomproof.results.places import BundlePart

NOTICED_M = 0.005
"""No part of a stretch is told that is shorter, nor a tail by so little: nobody finds it with a tape."""


@dataclass(frozen=True, slots=True)
class Leg:
    """A wire's way through one bundle: from ``start_m`` to ``stop_m`` of the wire, from its end ``a``.

    ``forward``: it runs from the bundle's own ``a`` to its ``b``. ``slack_m`` is how far the place of the
    bundle may be off along the wire, since nobody says how long the tails at the wire's ends are.
    """

    bundle: str
    length_m: float
    start_m: float
    stop_m: float
    forward: bool
    slack_m: float = 0.0

    def along_wire(self, place_m: float) -> float:
        """Return where on the wire a place of the bundle lies that is so far from the bundle's ``a``, m."""
        share = place_m / self.length_m if self.length_m else 0.0
        return self.start_m + (self.stop_m - self.start_m) * (share if self.forward else 1.0 - share)

    def along_bundle(self, place_m: float) -> float:
        """Return how far from the bundle's ``a`` a place of the wire lies, m."""
        span = self.stop_m - self.start_m
        share = (place_m - self.start_m) / span if span else 0.0
        return self.length_m * (share if self.forward else 1.0 - share)


@dataclass(frozen=True, slots=True)
class Beside:
    """A stretch where wires lie side by side: in ``bundle``, or assumed from the connectors that they share.

    ``low_m`` and ``high_m`` bound it, from the bundle's ``a``. ``legs`` say for each wire, by its name, where
    on it that is.
    """

    bundle: str
    low_m: float
    high_m: float
    legs: Mapping[str, Leg]

    @property
    def assumed(self) -> bool:
        """Whether no bundle says so."""
        return not self.bundle


def legs_of(bundles: Mapping[str, Bundle], wire: Wire) -> tuple[Leg, ...]:
    """Return a wire's legs through its bundles, in order; none where lengths or directions are not known."""
    known = [bundles[name] for name in wire.bundles if name in bundles]
    lengths = [bundle.length_m for bundle in known]
    if not known or len(known) != len(wire.bundles) or wire.length_m is None or None in lengths:
        return ()
    forward = _directions(known, wire)
    if forward is None:
        return ()
    total_m = sum(length for length in lengths if length is not None)
    if not total_m or total_m > wire.length_m * MUCH_LONGER:
        return ()
    scale = min(1.0, wire.length_m / total_m)
    tails_m = wire.length_m - total_m * scale
    at_a, at_b = (
        place(bundle, ahead) == end.connector
        for bundle, ahead, end, place in (
            (known[0], forward[0], wire.a, _begin),
            (known[-1], forward[-1], wire.b, _finish),
        )
    )
    # A bundle that ends in the wire's own connector leaves no tail there.
    first_m = 0.0 if at_a and not at_b else tails_m if at_b and not at_a else tails_m / 2
    slack_m = 0.0 if at_a != at_b else tails_m / 2
    legs, at_m = [], first_m
    for bundle, ahead in zip(known, forward, strict=True):
        length_m = bundle.length_m or 0.0
        legs.append(Leg(bundle.name, length_m, at_m, at_m + length_m * scale, ahead, slack_m))
        at_m += length_m * scale
    return tuple(legs)


def parts_of(
    bundles: Mapping[str, Bundle], wire: Wire, low_m: float, high_m: float, *, slack: bool = True
) -> tuple[BundlePart, ...]:
    """Return what of a stretch of a wire (m from its end ``a``) lies in which bundle, in the wire's order.

    Without ``slack`` the stretch has what bundles may be off along the wire in it already. Where there is one
    part, it is counted from where its bundle begins; of several, each from the fork that the stretch passes.
    """
    legs = legs_of(bundles, wire)
    legs = legs if slack else tuple(replace(leg, slack_m=0.0) for leg in legs)
    found: list[BundlePart] = []
    for leg in legs:
        low, high = max(low_m - leg.slack_m, leg.start_m), min(high_m + leg.slack_m, leg.stop_m)
        if high < low:
            continue
        one, other = sorted(min(max(leg.along_bundle(place_m), 0.0), leg.length_m) for place_m in (low, high))
        found.append(BundlePart(leg.bundle, bundles[leg.bundle].a, one, other))
    if legs and low_m < legs[0].start_m - legs[0].slack_m - NOTICED_M:
        tail_m = (low_m, min(high_m, legs[0].start_m))
        found.insert(0, BundlePart("", wire.a.connector, *tail_m))
    length_m = wire.length_m or 0.0
    if legs and high_m > legs[-1].stop_m + legs[-1].slack_m + NOTICED_M:
        tail_m = (length_m - high_m, length_m - max(low_m, legs[-1].stop_m))
        found.append(BundlePart("", wire.b.connector, *tail_m))
    seen = [part for part in found if part.high_m - part.low_m > NOTICED_M] or found[:1]
    return tuple(seen) if len(seen) < 2 else tuple(_from_fork(bundles, part) for part in seen)


@dataclass(frozen=True, slots=True)
class InBundle:
    """A stretch of a wire as one bundle sees it: middle and half of it, m from the bundle's ``a``.

    It may reach past the bundle's ends.
    """

    bundle: str
    middle_m: float
    half_m: float


def in_bundles(
    bundles: Mapping[str, Bundle], wire: Wire, low_m: float, high_m: float
) -> tuple[InBundle, ...]:
    """Return a stretch of a wire (m from its end ``a``) as each bundle sees it in which some of it lies."""
    found = []
    for leg in legs_of(bundles, wire):
        if max(low_m - leg.slack_m, leg.start_m) < min(high_m + leg.slack_m, leg.stop_m):
            one, other = leg.along_bundle(low_m), leg.along_bundle(high_m)
            found.append(InBundle(leg.bundle, (one + other) / 2, abs(other - one) / 2 + leg.slack_m))
    return tuple(found)


def _from_fork(bundles: Mapping[str, Bundle], part: BundlePart) -> BundlePart:
    """Return a part counted from the end of its bundle that it reaches."""
    length_m = bundles[part.bundle].length_m if part.bundle else None
    if length_m is None:
        return part
    at_a, at_b = part.low_m <= NOTICED_M, part.high_m >= length_m - NOTICED_M
    if at_a and at_b:
        return replace(part, low_m=0.0, high_m=length_m, whole=True)
    if at_b:
        return BundlePart(part.bundle, bundles[part.bundle].b, length_m - part.high_m, length_m - part.low_m)
    return part


def beside(bundles: Mapping[str, Bundle], wires: Sequence[Wire]) -> tuple[Beside, ...]:
    """Return where all of these wires lie side by side.

    By the bundles that all of them share, as far as these are described. Where they are not, and where no
    wire names one, wires that leave one connector together are taken to lie together as far as the shortest
    goes: those whose bundle at that connector is the same, or that are twisted with each other.
    """
    if len({wire.name for wire in wires}) != len(wires) or len(wires) < 2:
        return ()
    ways = [{leg.bundle: leg for leg in legs_of(bundles, wire)} for wire in wires]
    if all(ways) and not _twisted(wires):
        shared = [name for name in ways[0] if all(name in way for way in ways[1:])]
        return tuple(
            Beside(
                name,
                0.0,
                ways[0][name].length_m,
                {wire.name: way[name] for wire, way in zip(wires, ways, strict=True)},
            )
            for name in shared
        )
    lengths = [wire.length_m for wire in wires]
    reach = min((length for length in lengths if length is not None), default=0.0)
    if None in lengths or not reach:
        return ()
    for origin in dict.fromkeys(end.connector for end in wires[0].ends):
        legs, first = {}, set[str]()
        for wire in wires:
            length_m = wire.length_m or 0.0
            if wire.a.connector == origin:
                legs[wire.name] = Leg("", reach, 0.0, reach, True)
                first.add(wire.bundles[0] if wire.bundles else "")
            elif wire.b.connector == origin:
                legs[wire.name] = Leg("", reach, length_m - reach, length_m, False)
                first.add(wire.bundles[-1] if wire.bundles else "")
        if len(legs) == len(wires) and (len(first) == 1 or _twisted(wires)):
            return (Beside("", 0.0, reach, legs),)
    return ()


def may_lie_together(wires: Sequence[Wire]) -> bool:
    """Whether the description leaves open that all of these wires lie side by side somewhere.

    It does where they name a bundle that all share, and where one of them names none.
    """
    named = [set(wire.bundles) for wire in wires]
    return not all(named) or bool(set.intersection(*named))


def _twisted(wires: Sequence[Wire]) -> bool:
    names = {wire.name for wire in wires}
    return all(names - {wire.name} <= set(wire.partners) for wire in wires)


def _begin(bundle: Bundle, forward: bool) -> str:
    return bundle.places[0 if forward else 1]


def _finish(bundle: Bundle, forward: bool) -> str:
    return bundle.places[1 if forward else 0]


def _directions(bundles: Sequence[Bundle], wire: Wire) -> list[bool] | None:
    """Return which way a wire runs through each of its bundles; ``None`` where the places do not say.

    Bundles that follow each other meet in one place; the first or last may meet the wire's own connector.
    """
    ways: list[list[bool]] = [[]]
    for bundle in bundles:
        if not all(bundle.places) or bundle.a == bundle.b:
            return None
        ways = [[*way, ahead] for way in ways for ahead in (True, False)]
        ways = [
            way
            for way in ways
            if len(way) < 2
            or _finish(bundles[len(way) - 2], way[-2]) == _begin(bundles[len(way) - 1], way[-1])
        ]
    if len(ways) > 1:  # one bundle alone, or two that meet at both ends: the connectors decide
        named = [
            (_begin(bundles[0], way[0]) == wire.a.connector)
            + (_finish(bundles[-1], way[-1]) == wire.b.connector)
            for way in ways
        ]
        best = max(named)
        ways = [way for way, count in zip(ways, named, strict=True) if count == best] if best else []
    return ways[0] if len(ways) == 1 else None
