"""Fitted components that join two nets without making them one: what they are to a meter and to a sense."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from loomproof.electrics.conductors import LEAST_OHM, PART_TOLERANCE_PCT, copper_factor
from loomproof.electrics.nets import joined_ends
from loomproof.loom.model import Component, ComponentKind, End, Loom

UNSTATED_LEAST_OHM: Mapping[ComponentKind, float] = {
    ComponentKind.RESISTOR: 0.3,
    ComponentKind.COIL: 0.3,
    ComponentKind.RELAY: 2.0,
}
"""The least that a part without stated ohms has: an ignition coil's primary winding reads 0.3 Ω or more, the
coil of a plug-in relay some tens of ohms and that of a contactor a few; a resistor of less is a shunt, whose
ohms must be stated. Common practice, no source."""

UNSTATED_MOST_OHM: Mapping[ComponentKind, float] = {ComponentKind.COIL: 1e4, ComponentKind.RELAY: 1e4}
"""The most that a coil without stated ohms has; common practice, no source. A resistor may have any."""

DIODE_FORWARD_V = 0.6
"""Forward voltage of a silicon diode at a few milliamps where none is stated; common practice, no source."""

DIODE_SPREAD_V = 0.25
"""How far a forward reading may lie from the nominal one; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Coupling:
    """One fitted component (or one of its paths) between end ``a`` of ``net_a`` and end ``b`` of ``net_b``.

    ``nominal_ohm`` is ``None`` where the description states no value, and for a diode; inf for a capacitor,
    which passes no direct current once charged. ``lo_ohm`` and ``hi_ohm`` bound a sound part. ``one_way``:
    it conducts from ``a`` (anode) to ``b`` (cathode) only, dropping ``forward_v``. ``defaulted`` says that
    tolerance or forward voltage are our defaults, not the description's.
    """

    component: str
    kind: ComponentKind
    a: End
    b: End
    net_a: int
    net_b: int
    lo_ohm: float
    nominal_ohm: float | None
    hi_ohm: float
    one_way: bool = False
    forward_v: float | None = None
    capacitance_f: float | None = None
    defaulted: bool = False
    joins: bool = False
    """It makes one net of its ends: so few ohms are a conductor that has limits of its own."""

    @property
    def linear(self) -> bool:
        """Whether it is a resistance of known, finite value."""
        return not self.one_way and self.nominal_ohm is not None and math.isfinite(self.nominal_ohm)


_CONDUCTORS = frozenset({ComponentKind.LINK, ComponentKind.FUSE})
"""Parts whose only reading is that of the net that they join."""


def couplings_of(loom: Loom, net_of: Mapping[End, int], temperature_c: float = 20.0) -> tuple[Coupling, ...]:
    """Return the couplings of every fitted component that is more than a conductor, in order.

    Both ends may lie on one net (a component bridged by wires): ``net_a == net_b`` then. A coil is copper
    and its stated resistance is taken as that at 20 °C.
    """
    found: list[Coupling] = []
    for component in loom.components:
        if component.fitted and component.kind not in _CONDUCTORS and len(component.terminals) >= 2:
            found += _paths(component, loom, net_of, temperature_c)
    return tuple(found)


def _paths(
    component: Component, loom: Loom, net_of: Mapping[End, int], temperature_c: float
) -> Sequence[Coupling]:
    ends = dict(component.terminals)
    kind = component.kind
    first, second = component.ends[:2]
    if kind is ComponentKind.DIODE:
        a, b = ends.get("A", first), ends.get("K", second)
        stated = component.forward_v
        forward_v = DIODE_FORWARD_V if stated is None else stated
        diode = _between(component, a, b, net_of, 0.0, None, math.inf)
        return [replace(diode, one_way=True, forward_v=forward_v, defaulted=stated is None)]
    if kind is ComponentKind.CAPACITOR:
        capacitor = _between(
            component, first, second, net_of, loom.settings.isolation_ohm, math.inf, math.inf
        )
        return [replace(capacitor, capacitance_f=component.capacitance_f)]
    if kind is ComponentKind.RELAY and "30" in ends:
        return _relay(component, net_of, temperature_c)
    resistive = _resistive(component, first, second, net_of, temperature_c)
    return [replace(resistive, joins=bool(joined_ends(component)))]


def conducting_ends(component: Component) -> tuple[tuple[End, End], ...]:
    """Return the pairs of ends between which a component in place passes direct current, either way."""
    if not component.fitted or component.kind is ComponentKind.CAPACITOR or len(component.ends) < 2:
        return ()
    if component.kind is ComponentKind.RELAY and "30" in dict(component.terminals):
        ends = dict(component.terminals)
        coil = ((ends["86"], ends["85"]),) if "85" in ends and "86" in ends else ()
        return (*coil, *joined_ends(component))
    return joined_ends(component) or ((component.ends[0], component.ends[1]),)


def _relay(component: Component, net_of: Mapping[End, int], temperature_c: float) -> list[Coupling]:
    # Terminals by DIN 72552: 85/86 the coil, 30 common, 87 open at rest; 87a, closed at rest, is a conductor.
    ends = dict(component.terminals)
    if "85" in ends and "86" in ends:
        return [_resistive(component, ends["86"], ends["85"], net_of, temperature_c)]
    return []


def _resistive(
    component: Component, a: End, b: End, net_of: Mapping[End, int], temperature_c: float
) -> Coupling:
    nominal, tolerance = component.resistance_ohm, component.tolerance_pct
    if nominal is None:
        least_ohm = UNSTATED_LEAST_OHM[component.kind]
        return replace(_between(component, a, b, net_of, least_ohm, None, math.inf), defaulted=True)
    if component.kind in (ComponentKind.COIL, ComponentKind.RELAY):
        nominal *= copper_factor(temperature_c)
    spread = (PART_TOLERANCE_PCT[component.kind] if tolerance is None else tolerance) / 100.0
    lo, middle, hi = (max(nominal * factor, LEAST_OHM) for factor in (1.0 - spread, 1.0, 1.0 + spread))
    return replace(_between(component, a, b, net_of, lo, middle, hi), defaulted=tolerance is None)


def _between(
    component: Component,
    a: End,
    b: End,
    net_of: Mapping[End, int],
    lo_ohm: float,
    nominal_ohm: float | None,
    hi_ohm: float,
) -> Coupling:
    return Coupling(component.name, component.kind, a, b, net_of[a], net_of[b], lo_ohm, nominal_ohm, hi_ohm)
