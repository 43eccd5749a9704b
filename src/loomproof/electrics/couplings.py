"""Fitted components that join two nets without making them one: what they are to a meter and to a sense."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import assert_never

from loomproof.electrics.component_kinds import FACTS, PartPath, Path, joins, paths_of
from loomproof.electrics.conductors import LEAST_OHM, component_ohms
from loomproof.loom.model import Component, ComponentKind, End, Loom

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
    path: Path
    a: End
    b: End
    net_a: int
    net_b: int
    lo_ohm: float
    nominal_ohm: float | None
    hi_ohm: float
    forward_v: float | None = None
    defaulted: bool = False
    joins: bool = False
    """It makes one net of its ends: so few ohms are a conductor that has limits of its own."""

    @property
    def one_way(self) -> bool:
        """Whether it conducts from ``a`` to ``b`` only."""
        return self.path is Path.DIODE

    @property
    def linear(self) -> bool:
        """Whether it is a resistance of known, finite value."""
        return not self.one_way and self.nominal_ohm is not None and math.isfinite(self.nominal_ohm)


def couplings_of(loom: Loom, net_of: Mapping[End, int], temperature_c: float = 20.0) -> tuple[Coupling, ...]:
    """Return the couplings of every fitted component that is more than a conductor, in order.

    Both ends may lie on one net (a component bridged by wires): ``net_a == net_b`` then. A coil is copper
    and its stated resistance is taken as that at 20 °C.
    """
    isolation_ohm = loom.settings.isolation_ohm
    return tuple(
        coupling
        for component in loom.components
        if component.fitted
        for path in paths_of(component)
        for coupling in _couplings(component, path, net_of, isolation_ohm, temperature_c)
    )


def _couplings(
    component: Component,
    path: PartPath,
    net_of: Mapping[End, int],
    isolation_ohm: float,
    temperature_c: float,
) -> Iterator[Coupling]:
    def coupling(
        lo: float, middle: float | None, hi: float, *, defaulted: bool, forward_v: float | None = None
    ) -> Coupling:
        a, b = path.a, path.b
        return Coupling(
            component.name,
            component.kind,
            path.path,
            a,
            b,
            net_of[a],
            net_of[b],
            lo,
            middle,
            hi,
            forward_v,
            defaulted,
            joins(component, path),
        )

    match path.path:
        case Path.DIODE:
            stated = component.forward_v
            forward_v = DIODE_FORWARD_V if stated is None else stated
            yield coupling(0.0, None, math.inf, defaulted=stated is None, forward_v=forward_v)
        case Path.CAPACITOR:
            yield coupling(isolation_ohm, math.inf, math.inf, defaulted=False)
        case Path.RESISTIVE:
            if component.resistance_ohm is None:
                yield coupling(FACTS[component.kind].least_ohm, None, math.inf, defaulted=True)
                return
            ohms = component_ohms(component, component.resistance_ohm, temperature_c)
            lo, middle, hi = (max(ohm, LEAST_OHM) for ohm in ohms)
            yield coupling(lo, middle, hi, defaulted=component.tolerance_pct is None)
        case Path.CONTACT:
            pass  # Closed, it is a conductor, and its only reading that of the net; open, it is nothing.
        case _:
            assert_never(path.path)
