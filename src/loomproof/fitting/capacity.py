"""Wire and fuse: continuous load against a table with a source, short circuit by adiabatic heating.

Adiabatic: (I/A)²·t = k², k = 226·√(ln(1 + (θf - θi)/(234.5 + θi))) A·√s/mm² for copper (form of
IEC 60364-5-54, constants from memory; 70 to 160 °C gives the table's 115). It holds for short times only, and
is no permission to load a wire.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from loomproof.electrics.conductors import wire_conductor
from loomproof.loom.model import ComponentKind, Loom, Need, Wire
from loomproof.results.fitting import FuseRow

WORKING_C, FINAL_C = 70.0, 160.0
"""Copper under PVC at work and at the end of a short circuit (IEC 60364-5-54, from memory)."""

SUPPLY_V = 12.6
"""A charged 12 V battery at rest; common practice, no source."""

SOURCE_OHM = 0.010
"""Battery and its leads in a short circuit; common practice, no source."""

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
    if part is not None and part.kind is ComponentKind.FUSE:
        return part.rating_a
    found = _AMPERES.match(fuse.strip())
    return float(found[1]) if found else None


def fuse_rows(loom: Loom, needs: Mapping[str, Need], table: Ampacity | None = None) -> tuple[FuseRow, ...]:
    """Return a row for each wire of a needed circuit that names a fuse."""
    return tuple(_rows(loom, needs, table))


def _rows(loom: Loom, needs: Mapping[str, Need], table: Ampacity | None) -> Iterator[FuseRow]:
    for wire in loom.wires:
        circuit = loom.circuit_by_name.get(wire.circuit)
        if circuit is None or not circuit.fuse or needs.get(circuit.name) is Need.UNUSED:
            continue
        rating = rating_of(loom, circuit.fuse)
        if rating is None:
            continue
        csa = wire.csa_mm2 or loom.settings.wire_csa_mm2
        fault = SUPPLY_V / (SOURCE_OHM + wire_conductor(wire, loom, WORKING_C).greatest_ohm)
        holds, opens = withstand_s(csa, fault), opening_s(rating, fault)
        yield FuseRow(
            wire=wire.name,
            fuse=circuit.fuse,
            rating_a=rating,
            csa_mm2=csa,
            load_a=circuit.load_a,
            continuous=_continuous(wire, csa, rating, circuit.load_a, table),
            fault_a=fault,
            withstand_s=holds,
            opening_s=opens,
            short_circuit=_short(csa, rating, fault),
        )


def let_through_a2s(rating_a: float, fault_a: float) -> float | None:
    """Return the most I²t that a blade fuse lets through at any fault current up to this one, A²s.

    Only currents that the fuse opens within `LONGEST_S` count: below them the formula does not hold. ``None``
    where the fault is too small for that.
    """
    found = []
    above = math.inf
    for ratio, time in GATES:
        if time <= LONGEST_S and fault_a >= ratio * rating_a:
            found.append(min(above * rating_a, fault_a) ** 2 * time)
        above = ratio
    return max(found, default=None)


def _short(csa: float, rating_a: float, fault_a: float) -> str:
    through = let_through_a2s(rating_a, fault_a)
    if through is None:
        return "can't tell: the fault current is too small for the fuse to open at once"
    held = (adiabatic_k(WORKING_C, FINAL_C) * csa) ** 2
    said = f"wire {held:.0f} A²s, fuse at most {through:.0f} A²s by its slowest gates"
    if held > through:
        return f"holds from twice the rating up: {said} (typical fuse data)"
    return f"can't tell: {said}; ask for the fuse's own I²t"


def _continuous(wire: Wire, csa: float, rating: float, load: float | None, table: Ampacity | None) -> str:
    if load is not None and load > rating:
        return f"WARNING: the load of {load:g} A is above the fuse"
    beside = f" Bundled in {', '.join(wire.bundles)}." if wire.bundles else ""
    if table is None or not table.source.strip():
        return f"not approved: no ampacity table with a source was given.{beside}"
    carried = max((amps for size, amps in table.amperes.items() if size <= csa * 1.005), default=None)
    if carried is None:
        return f"not approved: {csa:g} mm² is below the table of {table.source}"
    said = f"{carried:g} A by {table.source} at {table.conditions}"
    return f"within {said}" if rating <= carried else f"WARNING: the fuse is above {said}"
