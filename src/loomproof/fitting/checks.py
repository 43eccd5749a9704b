"""Meter checks of an end, carried out while it is fitted: each can fail for the fault that it is there for.

The battery's clamps are off their posts and tied away, so a post tells nothing: earth is the negative clamp
that hangs free, and bare metal of body and engine block. The computer stays unplugged while ohms are read.
What a part or the computer would add to a reading is unplugged, and each check says so.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Mapping
from typing import assert_never

from loomproof.electrics.component_kinds import Path, paths_of
from loomproof.electrics.conductors import wire_conductor
from loomproof.electrics.graph import distances, ways
from loomproof.fitting.live_ends import INNER, far_ends
from loomproof.loom.designations import is_earth
from loomproof.loom.model import Component, ConnectorKind, End, Loom
from loomproof.results.figures import ohms
from loomproof.results.fitting import Fault, MeterCheck, SheetEnd, Spot

PATH_OHM = 1.0
"""What a workshop meter must stay below on a sound path, its leads taken off: far above copper and contacts,
far below most parts. Common practice, no source."""

APART_OHM = 10_000.0
"""What it must stay above where nothing joins; a damp loom reads less: dry it. Common practice."""

EARTH_A = 1.0
"""The current that an earth point is held to where its circuit states no load. Common practice, no source."""

CAR_KINDS = frozenset(
    {ConnectorKind.SOCKET, ConnectorKind.RING, ConnectorKind.BLADE, ConnectorKind.TAIL, ConnectorKind.BULLET}
)
"""What meets wires or metal of the car, and not a part with a plug of its own."""


def checks_of(
    loom: Loom, end: End, facts: SheetEnd, computers: Collection[str], is_live: bool, earth_a: float
) -> tuple[MeterCheck, ...]:
    """Return the checks of an end that is connected; ``earth_a`` is what returns through an earth point."""
    return tuple(_checks(loom, end, facts, computers, is_live, earth_a))


def _checks(
    loom: Loom, end: End, facts: SheetEnd, computers: Collection[str], is_live: bool, earth_a: float
) -> Iterator[MeterCheck]:
    if is_live:
        yield _short(loom, end, computers)
    path = _path(loom, end, computers)
    if path is not None:
        yield path
    else:
        text = "By eye: the terminal is home and locked, and does not come out when its wire is pulled."
        yield MeterCheck(Fault.NOT_JOINED, text)
    meets_car = loom.by_name[end.connector].kind in CAR_KINDS
    if (is_earth(facts.designation) and meets_car) or (is_earth_ring(loom, end) and not is_live):
        yield _earth(loom, end, earth_a)


def _state(off: Collection[str], out: Collection[str]) -> str:
    """Say in which state a check is made; the battery comes first."""
    said = ["Battery clamps off"]
    if off:
        said.append(f"{', '.join(off)} unplugged")
    if out:
        said.append(f"{', '.join(out)} out")
    return "; ".join(said)


def _path(loom: Loom, end: End, computers: Collection[str]) -> MeterCheck | None:
    """Return the check that the end meets what it is for, from the nearest far end in the loom."""
    found = way_of(loom, end)
    if found is None and end.connector in computers:
        found = way_of(loom, end, parts=True)
    net = far_ends(loom, end)
    if found is None or math.isnan(found[1]):
        return None
    if any(other.connector == end.connector for other in net) and end.connector not in computers:
        return None  # The contact beside it carries the reading whether or not this one meets the car.
    probe, ohm, through = found
    out = _seated(loom, probe.connector)
    apart = loom.by_name[probe.connector].kind not in (*INNER, ConnectorKind.RING)
    # What else of the net goes to the car would find its own way through the car's lamps and motors.
    car = [one.connector for one in net if loom.by_name[one.connector].kind in CAR_KINDS]
    also = [name for name in dict.fromkeys(car) if name not in (end.connector, probe.connector)]
    off = tuple(dict.fromkeys([*([probe.connector] if apart else []), *also, *sorted(computers)]))
    most = max(PATH_OHM, math.ceil(10.0 * (1.25 * ohm + 0.5)) / 10.0)
    least = ohm / 2.0 if through else None
    value = f"about {ohms(ohm)}, through {', '.join(through)}" if through else f"under {most:g} Ω"
    start = (Spot.LOOM, str(probe))
    if end.connector in computers:
        text = (
            f"{_state(off, out)}: ohms from {probe} to {end} itself: {value}, leads taken off. Then plug in "
            "until it locks. Never put an ohmmeter on the computer."
        )
        return MeterCheck(Fault.WIRE_OPEN, text, start, (Spot.LOOM, str(end)), off, out, most, least)
    if loom.by_name[end.connector].kind is ConnectorKind.RING:
        text = f"{_state(off, out)}: ohms from {probe} to bare metal beside {end}: {value}, leads taken off."
    else:
        text = (
            f"{_state(off, out)}, {end.connector} joined: ohms from {probe} to the counterpart of {end}, "
            f"back-probed: {value}, leads taken off. Where its back can't be reached: unplug "
            f"{end.connector}, measure to {end} itself, then join until it locks and pull."
        )
    return MeterCheck(Fault.NOT_JOINED, text, start, (Spot.CAR, str(end)), off, out, most, least)


def _seated(loom: Loom, connector: str) -> tuple[str, ...]:
    """Return the fuses and relays that sit in a holder or base and have to come out to probe it."""
    if loom.by_name[connector].kind not in INNER:
        return ()
    return tuple(
        part.name
        for part in loom.components
        if (part.form.seated or part.pullable) and any(end.connector == connector for end in part.ends)
    )


def way_of(loom: Loom, end: End, *, parts: bool = False) -> tuple[End, float, tuple[str, ...]] | None:
    """Return the far end from which a meter sees the end: the nearest in another housing, ohms and parts.

    By wires alone, or with ``parts`` also through what a meter reads as a resistance. Ohms are nominal at
    20 °C, joints counted, and nan where a part on the way has none stated.
    """

    def steps(here: End) -> Iterator[tuple[End, tuple[float, str]]]:
        for wire in loom.wires_at.get(here, ()):
            yield from ((other, (wire_conductor(wire, loom).nominal_ohm, "")) for other in wire.ends)
        for part in loom.components if parts else ():
            yield from ((other, (ohm, part.name)) for other, ohm in _across(part, here) if ohm is not None)

    for other, way in ways([end], steps):
        if other.cavity and other.connector != end.connector:
            return other, sum(ohm for ohm, _ in way), tuple(name for _, name in way if name)
    return None


def _across(part: Component, here: End) -> Iterator[tuple[End, float | None]]:
    """Yield the other ends that a part which stays in leads to, and the ohms stated: nan where none are.

    ``None`` stands for a diode, of which a meter reads no ohms.
    """
    for path in paths_of(part):
        if part.form.seated or here not in (path.a, path.b):
            continue
        other = path.b if here == path.a else path.a
        match path.path:
            case Path.RESISTIVE:
                yield other, math.nan if part.resistance_ohm is None else part.resistance_ohm
            case Path.CONTACT:
                yield other, part.resistance_ohm or 0.0
            case Path.DIODE:
                yield other, None
            case Path.CAPACITOR:
                pass
            case _:
                assert_never(path.path)


def _short(loom: Loom, end: End, computers: Collection[str]) -> MeterCheck:
    """Return the check that a live end does not touch earth, before it is joined."""
    zone, bound = _zone(loom, end)
    plugs = [one.connector for one in zone if one.cavity and loom.by_name[one.connector].kind not in INNER]
    off = tuple(
        name
        for name in dict.fromkeys([end.connector, *plugs, *sorted(computers)])
        if loom.by_name[name].kind is not ConnectorKind.RING or name == end.connector
    )
    touching = [part for part in loom.components if any(one in zone for one in part.ends)]
    out = tuple(part.name for part in touching if part.form.seated or part.pullable)
    charged = [part.name for part in touching if any(p.path is Path.CAPACITOR for p in paths_of(part))]
    charged = [name for name in charged if name not in out]
    if bound is None:
        text = (
            f"A meter can't tell a short of {end} to earth: the loom itself joins the two. Find out how "
            "before it is fed."
        )
        return MeterCheck(Fault.SHORTED, text)
    least = min(APART_OHM, bound / 2.0)
    what = "no path (over 10 kΩ)" if least == APART_OHM else f"over {ohms(least)}"
    text = (
        f"{_state(off, out)}: ohms from {end} to the negative clamp that hangs free, and to bare metal of "
        f"body and of the engine block: {what}."
    )
    if charged:
        is_are = "is" if len(charged) == 1 else "are"
        text += f" {', '.join(charged)} {is_are} charged first: wait until the reading stands."
    return MeterCheck(Fault.SHORTED, text, (Spot.LOOM, str(end)), (Spot.EARTH, ""), off, out, None, least)


def _zone(loom: Loom, end: End) -> tuple[Mapping[End, float], float | None]:
    """Return the ends that an end is joined to with all fuses and relays out, and the least ohms to an earth.

    Ohms are those of parts on the way. ``None``: wires alone, or a diode, join it to an earth point.
    """

    def steps(here: End) -> Iterator[tuple[End, float]]:
        yield from ((other, 0.0) for wire in loom.wires_at.get(here, ()) for other in wire.ends)
        for part in loom.components:
            for other, stated in () if part.pullable else _across(part, here):
                yield other, 0.0 if stated is None or math.isnan(stated) else stated

    seen = distances([end], steps)
    least = min(
        (ohm for one, ohm in seen.items() if one != end and is_earth_ring(loom, one)), default=math.inf
    )
    return seen, None if least <= 0.0 else least


def is_earth_ring(loom: Loom, end: End) -> bool:
    """Whether an end is a ring that no wire, one of an earth, or one without designation ends in."""
    if loom.by_name[end.connector].kind is not ConnectorKind.RING:
        return False
    circuits = [loom.circuit_by_name.get(wire.circuit) for wire in loom.wires_at.get(end, ())]
    return not circuits or any(
        one is None or not one.designation or is_earth(one.designation) for one in circuits
    )


def _earth(loom: Loom, end: End, earth_a: float) -> MeterCheck:
    """Return the check of an earth point: its ohms follow from what the earth side may lose at its load."""
    drop_v = loom.settings.earth_drop_v
    amps = earth_a or EARTH_A
    most = drop_v / amps
    load = f"{earth_a:.3g} A" if earth_a else f"no load is stated, so {EARTH_A:g} A is taken"
    is_ring = loom.by_name[end.connector].kind is ConnectorKind.RING
    at = f"the lug of {end}" if is_ring else f"the car's side of {end}, back-probed"
    text = (
        f"{_state((), ())}, {end} joined: ohms from {at} to the negative clamp that hangs free: under "
        f"{ohms(most)} ({drop_v:g} V at {load}). So little wants a four-wire meter; with any "
        "other the voltage drop at load decides."
    )
    spot = (Spot.LOOM if is_ring else Spot.CAR, str(end))
    return MeterCheck(Fault.BAD_EARTH, text, spot, (Spot.CLAMP, ""), (), (), most, None)
