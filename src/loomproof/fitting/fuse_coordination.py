"""Wire and fuse: the rating against the wire and the load, the short circuit by adiabatic heating.

Without a table of a person's own, a fuse is held to what common practice lets guard a section
(`loomproof.loom.suspicions.FUSE_OF_CSA`): that can warn, and never approves a load.

Adiabatic: (I/A)²·t = k², k = 226·√(ln(1 + (θf - θi)/(234.5 + θi))) A·√s/mm² for copper (form of
IEC 60364-5-54, constants from memory; 70 to 160 °C gives the table's 115). It holds for short times only, and
is no permission to load a wire.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import assert_never

from loomproof.electrics.component_kinds import carrying_ends
from loomproof.electrics.conductors import fuse_cold_ohm, wire_conductor
from loomproof.electrics.graph import distances
from loomproof.electrics.joints import contact_ohm, seat_ohm
from loomproof.fitting.feeds import feeds_of, sources_of
from loomproof.fitting.live_ends import Live, Tracer
from loomproof.fitting.load_flow import closed_ohm
from loomproof.loom.model import Component, ComponentKind, End, Loom, Need, Settings, Wire
from loomproof.loom.suspicions import largest_fuse_a
from loomproof.results.fitting import FuseRow, Level, Warn

WORKING_C, FINAL_C = 70.0, 160.0
"""Copper under PVC at work and at the end of a short circuit (IEC 60364-5-54, from memory)."""

SUPPLY_V = 12.6
"""A charged 12 V battery at rest; common practice, no source."""

SOURCE_OHM = (0.005, 0.030)
"""Battery and its leads in a short circuit, least and most; common practice, no source."""

CONTINUOUS_SHARE = 0.8
"""The share of its rating that a blade fuse carries for long; common practice, no source."""

DANGER_RATIO = 1.25
"""A fuse above common practice for its wire by more than this is a danger and not a warning."""

SIZE_NAMES = 1.03
"""Sizes are rounded when they are named (14/0.30 is 0.99 mm²), so 3 % is no difference."""

LONGEST_S = 5.0
"""Above this the adiabatic formula no longer holds."""

GATES: tuple[tuple[float, float], ...] = ((6.0, 0.15), (3.5, 0.5), (2.0, 5.0), (1.6, 50.0), (1.35, 600.0))
"""Longest opening time of a blade fuse by multiple of its rating: typical data of blade fuses as quoted in
design documents (the gate at 6 for 35 and 40 A only); typical, not a limit of a standard."""

_AMPERES = re.compile(r"^(\d+(?:\.\d+)?)\s*A$")


@dataclass(frozen=True, slots=True)
class Ampacity:
    """A table of continuous current by section, A by mm², for one ambient and bundling, and its source."""

    amperes: Mapping[float, float]
    source: str
    conditions: str


def adiabatic_k(initial_c: float, final_c: float) -> float:
    """Return k of copper, A·√s/mm². Raises `ValueError` unless the final temperature is the higher one."""
    if not -200.0 < initial_c < final_c:
        raise ValueError(f"{initial_c} to {final_c} °C: a rise is expected")
    return 226.0 * math.sqrt(math.log1p((final_c - initial_c) / (234.5 + initial_c)))


def withstand_s(csa_mm2: float, current_a: float, initial_c: float = WORKING_C) -> float:
    """Return how long copper of this section takes a current before it reaches `FINAL_C`, s."""
    return (adiabatic_k(initial_c, FINAL_C) * csa_mm2 / current_a) ** 2


def opening_s(rating_a: float, current_a: float) -> float | None:
    """Return the longest opening time of a blade fuse at this current, s; ``None`` where no gate speaks."""
    return next((time for ratio, time in GATES if current_a >= ratio * rating_a), None)


def rating_of(loom: Loom, fuse: str) -> float | None:
    """Return the rating of a fuse of the loom, or of one named by its rating (``10 A``)."""
    part = loom.component_by_name.get(fuse)
    if part is not None and part.form.blows:
        return part.rating_a
    found = _AMPERES.match(fuse.strip())
    return float(found[1]) if found else None


def fuse_rows(loom: Loom, needs: Mapping[str, Need], table: Ampacity | None = None) -> tuple[FuseRow, ...]:
    """Return a row for each wire that a feed reaches, and for each of a needed circuit that names a fuse.

    The fuse of a wire is the last one on every way from a feed to it; of several the largest. Rows stand
    fuse by fuse, the weakest wire behind each first.
    """
    rows = list(_rows(loom, needs, table))
    order = list(dict.fromkeys(row.fuse for row in rows))
    rows.sort(key=lambda row: (order.index(row.fuse), row.csa_mm2))
    return tuple(rows)


def _rows(loom: Loom, needs: Mapping[str, Need], table: Ampacity | None) -> Iterator[FuseRow]:
    live = Tracer(loom).live(feeds_of(loom, needs))
    least, greatest = reach_ohms(loom, sources_of(loom, needs))
    for wire in loom.wires:
        circuit = loom.circuit_by_name.get(wire.circuit)
        guard = _guard(loom, wire, live)
        if guard is None and circuit is not None and needs.get(circuit.name) is not Need.UNUSED:
            rating = rating_of(loom, circuit.fuse)
            guard = (circuit.fuse, rating) if rating is not None else None
        if guard is None:
            continue
        fuse, rating_a = guard
        csa = wire.csa_mm2 or loom.settings.wire_csa_mm2
        near = SUPPLY_V / (SOURCE_OHM[0] + min(least.get(end, 0.0) for end in wire.ends))
        alone = wire_conductor(wire, loom, WORKING_C).greatest_ohm
        far = SUPPLY_V / (SOURCE_OHM[1] + max(greatest.get(end, alone) for end in wire.ends))
        load_a = circuit.load_a if circuit else None
        yield FuseRow(
            wire=wire.name,
            fuse=fuse,
            rating_a=rating_a,
            csa_mm2=csa,
            load_a=load_a,
            continuous=_continuous(wire, csa, rating_a, load_a, table),
            near_a=near,
            far_a=far,
            withstand_s=withstand_s(csa, near),
            opening_s=opening_s(rating_a, far),
            short_circuit=_short(csa, rating_a, near, far),
            level=_level(csa, rating_a, load_a),
        )


def _guard(loom: Loom, wire: Wire, live: Mapping[End, tuple[Live, ...]]) -> tuple[str, float] | None:
    """Return the fuse that a fault on this wire has to blow and its rating; ``None`` where none is known."""
    found: list[tuple[str, float]] = []
    for way in live.get(wire.a, ()):
        if way.weak or not way.fused:
            continue
        for name in way.fuses or (way.feed.fuse,):
            rating = rating_of(loom, name)
            if rating is not None:
                found.append((name, rating))
    return max(found, key=lambda one: one[1], default=None)


def reach_ohms(loom: Loom, sources: Iterable[End]) -> tuple[dict[End, float], dict[End, float]]:
    """Return the ohms from the sources to each end by the shortest way: at least, and at most.

    At least: copper alone at 20 °C. At most: the greatest copper at working temperature; joints, fuses, seats
    and contacts at twice their figures.
    """
    edges: dict[End, list[tuple[End, float, float]]] = {}

    def join(a: End, b: End, low: float, high: float) -> None:
        edges.setdefault(a, []).append((b, low, high))
        edges.setdefault(b, []).append((a, low, high))

    for wire in loom.wires:
        cold = wire_conductor(wire, loom)
        hot = wire_conductor(wire, loom, WORKING_C)
        join(wire.a, wire.b, cold.nominal_ohm - cold.joints_ohm, hot.greatest_ohm + hot.joints_ohm)
    for part in loom.components:
        for a, b in carrying_ends(part):
            join(a, b, 0.0, _most_ohm(part, contact_ohm(loom, a) + contact_ohm(loom, b), loom.settings))
    starts = tuple(sources)
    least = distances(starts, lambda end: ((other, ohm) for other, ohm, _ in edges.get(end, ())))
    most = distances(starts, lambda end: ((other, ohm) for other, _, ohm in edges.get(end, ())))
    return least, most


def _most_ohm(part: Component, contacts_ohm: float, settings: Settings) -> float:
    """Return what a part that carries load current has at most between two ends in such contacts, Ω."""
    match part.kind:
        case ComponentKind.FUSE:
            return 2.0 * (fuse_cold_ohm(part.rating_a) + 2.0 * seat_ohm(settings, part.rating_a))
        case ComponentKind.LINK:
            return part.resistance_ohm or 0.0
        case ComponentKind.RELAY:
            return 2.0 * (contacts_ohm + closed_ohm(part.rating_a))
        case ComponentKind.DIODE | ComponentKind.RESISTOR | ComponentKind.CAPACITOR | ComponentKind.COIL:
            raise ValueError(f"{part.name}: a {part.kind} is not taken to carry load current")
        case _:
            assert_never(part.kind)


def let_through_a2s(rating_a: float, fault_a: float, least_a: float = 0.0) -> float | None:
    """Return the most I²t that a blade fuse lets through at any fault current between the two, A²s.

    Only currents that the fuse opens within `LONGEST_S` count: below them the formula does not hold. ``None``
    where no current between is large enough for that.
    """
    found = []
    above = math.inf
    for ratio, time in GATES:
        low, high = max(ratio * rating_a, least_a), min(above * rating_a, fault_a)
        if time <= LONGEST_S and low <= high:
            # Beyond the last gate the element melts faster than it sheds heat: its I²t grows no more.
            found.append((high if math.isfinite(above) else ratio * rating_a) ** 2 * time)
        above = ratio
    return max(found, default=None)


def _short(csa: float, rating_a: float, near_a: float, far_a: float) -> str:
    through = let_through_a2s(rating_a, near_a, far_a)
    faults = f"a fault draws {far_a:.0f} A at the far end to {near_a:.0f} A at the near one"
    if through is None or far_a < GATES[2][0] * rating_a:
        return f"can't tell: {faults}, too little for the fuse to open at once"
    held = (adiabatic_k(WORKING_C, FINAL_C) * csa) ** 2
    said = f"wire {held:.0f} A²s, fuse at most {through:.0f} A²s by its slowest gates; {faults}"
    if held > through:
        return f"holds: {said} (typical fuse data)"
    return f"can't tell: {said}; ask for the fuse's own I²t"


def _level(csa: float, rating_a: float, load_a: float | None) -> Level | None:
    """Return how bad a fuse is for its wire and load, by common practice; ``None``: nothing to say."""
    most = largest_fuse_a(csa * SIZE_NAMES)
    if rating_a > DANGER_RATIO * most:
        return Level.DANGER
    if rating_a > most or (load_a is not None and load_a > CONTINUOUS_SHARE * rating_a):
        return Level.WARNING
    return None


def _continuous(wire: Wire, csa: float, rating: float, load: float | None, table: Ampacity | None) -> str:
    most = largest_fuse_a(csa * SIZE_NAMES)
    if rating > most:
        word = "DANGER" if rating > DANGER_RATIO * most else "WARNING"
        return (
            f"{word}: a fuse of {rating:g} A does not guard {csa:.3g} mm²; common practice is at most "
            f"{most:.3g} A"
        )
    if load is not None and load > rating:
        return f"WARNING: the load of {load:g} A is above the fuse"
    if load is not None and load > CONTINUOUS_SHARE * rating:
        return (
            f"WARNING: {load:g} A is {100.0 * load / rating:.0f} % of the fuse; common practice is at most "
            f"{100.0 * CONTINUOUS_SHARE:.0f} % of its rating for long"
        )
    beside = f" Bundled in {', '.join(wire.bundles)}." if wire.bundles else ""
    if table is None or not table.source.strip():
        return f"not approved: no ampacity table with a source was given.{beside}"
    carried = max((amps for size, amps in table.amperes.items() if size <= csa * 1.005), default=None)
    if carried is None:
        return f"not approved: {csa:g} mm² is below the table of {table.source}"
    said = f"{carried:g} A by {table.source} at {table.conditions}"
    return f"within {said}" if rating <= carried else f"WARNING: the fuse is above {said}"


def fuse_warnings(rows: Iterable[FuseRow]) -> Iterator[Warn]:
    """Yield a danger for each fuse that does not guard a wire, and a warning for a load too near one."""
    said: dict[tuple[str, Level, str], list[str]] = {}
    for row in rows:
        if row.level is not None:
            why = row.continuous.partition(": ")[2]
            said.setdefault((row.fuse, row.level, why), []).append(row.wire)
    for (fuse, level, why), wires in said.items():
        cure = (
            " Fit a fuse for the wire; do not energise it so." if level is Level.DANGER else " Look at both."
        )
        yield Warn(
            level,
            f"fuse {fuse}, wire{'s' if len(wires) > 1 else ''} {', '.join(wires)}: {why}.{cure}",
            (),
            (fuse, *wires),
        )
