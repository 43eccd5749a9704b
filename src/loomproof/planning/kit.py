"""What adapters for some looms are made of: plugs that looms share, terminals, leads and their labels. Pure.

One loom is on the bench at a time, so of plugs of one housing as many are wanted as the most demanding loom
has on at once. What the description does not say is a question, never a guess.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom
from loomproof.results.kit import Driven, Kit, LeadLabel, Left, PlugLabel, Plugs, PlugType, Terminals


@dataclass(frozen=True, slots=True)
class HookedUp:
    """A loom as a board is to drive it: on which point each cavity is, hook-up by hook-up.

    ``refused`` says why no way of hooking it up was found, "" where one was.
    """

    loom: Loom
    hook_ups: tuple[Mapping[End, int], ...]
    refused: str = ""


def left_to_make(loom: Loom, made: Iterable[End]) -> tuple[Left, ...]:
    """Return the plugs of a loom with what is left of each, those that are whole among them."""
    have = set(made)
    return tuple(
        Left(
            plug.name,
            plug.housing,
            sum(end in have for end in plug.ends),
            tuple(end for end in plug.ends if end not in have),
        )
        for plug in plugged(loom)
    )


def kit_of(looms: Sequence[HookedUp], points: int) -> Kit:
    """Return what to make for these looms, whose names differ, on a board of so many points."""
    names = [each.loom.name for each in looms]
    at_once = {each.loom.name: _at_once(each) for each in looms}
    types = dict.fromkeys(kind for counts in at_once.values() for kind in counts)
    plugs = tuple(
        Plugs(
            kind,
            max(at_once[name][kind] for name in names),
            tuple(name for name in names if at_once[name][kind]),
        )
        for kind in types
    )
    return Kit(
        points,
        tuple(map(_driven, looms)),
        plugs,
        tuple(row for each in plugs for row in _terminals(each, looms)),
        tuple(label for each in looms for label in _lead_labels(each)),
        tuple(
            PlugLabel(each.loom.name, plug.name, plug.housing, plug.location)
            for each in looms
            for plug in plugged(each.loom)
        ),
        tuple(dict.fromkeys((*_unknown(looms), *_differing(looms), *_left_out(looms)))),
    )


def plugged(loom: Loom) -> tuple[Connector, ...]:
    """Return the connectors that get a plug: neither splices nor what must never be driven."""
    return tuple(
        each
        for each in loom.connectors
        if each.kind is not ConnectorKind.SPLICE and each.hazard is not Hazard.PYROTECHNIC and each.cavities
    )


NAMELESS = (ConnectorKind.RING, ConnectorKind.BLADE, ConnectorKind.BULLET, ConnectorKind.TAIL)
"""What has no housing: what goes onto it is alike for all of its kind."""


def _type(loom: Loom, plug: Connector) -> PlugType:
    alike = plug.housing or plug.kind in NAMELESS
    return PlugType(plug.kind, plug.housing, "" if alike else f"{plug.name} of {loom.name}", plug.cavities)


def _at_once(hooked: HookedUp) -> Counter[PlugType]:
    """Count the plugs of each type that are on at once at most; all where there is no way to hook it up."""
    most: Counter[PlugType] = Counter()
    plugs = {each.name: each for each in plugged(hooked.loom)}
    for on in [{end.connector for end in each} for each in hooked.hook_ups] or [set(plugs)]:
        most |= Counter(_type(hooked.loom, plug) for name, plug in plugs.items() if name in on)
    return most


def _driven(hooked: HookedUp) -> Driven:
    before: set[str] = set()
    plug_ins = 0
    for each in hooked.hook_ups:
        on = {end.connector for end in each}
        plug_ins += len(on - before)
        before = on
    return Driven(
        hooked.loom.name,
        sum(len(plug.cavities) for plug in plugged(hooked.loom)),
        len(hooked.hook_ups),
        plug_ins,
        max((len(each) for each in hooked.hook_ups), default=0),
        hooked.refused,
    )


def _terminals(plugs: Plugs, looms: Sequence[HookedUp]) -> Iterable[Terminals]:
    found: Counter[tuple[tuple[float, ...], bool, bool]] = Counter()
    for cavity in plugs.type.cavities:
        sections: set[float] = set()
        sealed, empty = False, True
        for hooked in looms:
            for plug in plugged(hooked.loom):
                if _type(hooked.loom, plug) == plugs.type:
                    end = End(plug.name, cavity)
                    wires = hooked.loom.wires_at.get(end, ())
                    sections |= {wire.csa_mm2 for wire in wires if wire.csa_mm2}
                    facts = hooked.loom.facts_by_end.get(end)
                    sealed = sealed or bool(facts and facts.sealed)
                    empty = empty and not wires
        found[tuple(sorted(sections)), sealed, empty] += plugs.quantity
    for (sections_mm2, sealed, empty), quantity in found.items():
        yield Terminals(plugs.type, sections_mm2, sealed, empty, quantity)


def _lead_labels(hooked: HookedUp) -> Iterable[LeadLabel]:
    driven = {plug.name for plug in plugged(hooked.loom)}
    for number, point_of in enumerate(hooked.hook_ups, 1):
        for end, point in sorted(point_of.items(), key=lambda each: each[1]):
            if end.connector in driven:
                wires = hooked.loom.wires_at.get(end, ())
                colours = tuple(dict.fromkeys(wire.colour for wire in wires if wire.colour))
                yield LeadLabel(hooked.loom.name, number, point, end, colours)


def _unknown(looms: Sequence[HookedUp]) -> Iterable[str]:
    for hooked in looms:
        for plug in plugged(hooked.loom):
            if not plug.housing and plug.kind not in NAMELESS:
                where = f", {plug.location}" if plug.location else ""
                size = "1 cavity" if len(plug.cavities) == 1 else f"{len(plug.cavities)} cavities"
                yield f"{hooked.loom.name}: which housing has {plug.name} ({plug.kind}, {size}{where})?"


def _differing(looms: Sequence[HookedUp]) -> Iterable[str]:
    """Ask about one housing that is described with other cavities, or as another kind, at another place."""
    first: dict[str, tuple[str, PlugType]] = {}
    for hooked in looms:
        for plug in plugged(hooked.loom):
            if plug.housing:
                mine = f"{plug.name} of {hooked.loom.name}", _type(hooked.loom, plug)
                other, kind = first.setdefault(plug.housing, mine)
                if kind != mine[1]:
                    how = f"{kind.kind} of {len(kind.cavities)} at {other}"
                    yield (
                        f"Housing {plug.housing} is {how}, but {plug.kind} of {len(plug.cavities)} at "
                        f"{mine[0]}, or its cavities are named otherwise: is it one housing? "
                        "They are listed apart."
                    )


def _left_out(looms: Sequence[HookedUp]) -> Iterable[str]:
    for hooked in looms:
        for plug in hooked.loom.connectors:
            if plug.hazard is Hazard.PYROTECHNIC:
                yield (
                    f"{hooked.loom.name}: {plug.name} is pyrotechnic. No plug is listed for it: nothing may "
                    "ever be driven there, and no bench proves a loom with it."
                )
