"""How to read a component that joins two nets: the pair, the way round, and the limits of a sound one."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.electrics.component_kinds import Path
from loomproof.electrics.couplings import DIODE_SPREAD_V, Coupling
from loomproof.electrics.currents import on_the_way
from loomproof.electrics.expectation import Expectation
from loomproof.loom.model import ComponentKind, End
from loomproof.loom.plain import Ohm

DIODE_BESIDE_OHM = 1000.0
"""A resistance beside a diode hides it below this: a diode test drives about a milliamp, so 1 kΩ drops more
than a junction does. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class ComponentReading:
    """The reading of one component from cavity ``a`` to cavity ``b`` (current flows from a to b).

    ``expected_ohm`` is what a sound loom reads and is ``None`` where no value was stated or a diode is
    read; a sound part reads between ``lower_ohm`` and ``upper_ohm``. ``missing_ohm`` is what the rest of the
    loom reads without the part (inf: nothing else joins the two). For a diode ``a`` is the anode side and
    ``forward_v`` bounds the forward voltage. ``masked_by`` names components whose presence makes the
    reading no proof of this one: a diode that conducts this way round, or a part of unknown value.
    ``provable``: a part that is missing would show. Of a diode, ``alike`` and ``against`` name other diodes
    through which current can flow from a to b and from b to a, and ``beside`` says whether anything lets it
    flow back at all. ``charges``: a capacitor lies across it, and a reading rises while it is charged.
    """

    component: str
    kind: ComponentKind
    a: End
    b: End
    expected_ohm: Ohm | None
    lower_ohm: Ohm
    upper_ohm: Ohm
    missing_ohm: Ohm
    forward_v: tuple[float, float] | None = None
    masked_by: tuple[str, ...] = ()
    defaults_used: bool = False
    alike: tuple[str, ...] = ()
    against: tuple[str, ...] = ()
    beside: bool = False
    charges: bool = False

    @property
    def provable(self) -> bool:
        """Whether a missing part would show: above the upper limit, or for a diode as no forward drop."""
        if self.masked_by or (self.expected_ohm is None and self.forward_v is None):
            return False
        return self.missing_ohm > (self.upper_ohm if self.forward_v is None else DIODE_BESIDE_OHM)


def component_reading(expectation: Expectation, coupling: Coupling) -> ComponentReading:
    """Return how to read this coupling of ``expectation.couplings``.

    Where an end is a splice, the nearest cavity of its net stands for it. Raises `ValueError` where a net
    has no cavity.
    """
    a, b = _cavity(expectation, coupling.a), _cavity(expectation, coupling.b)
    if coupling.one_way:
        return _diode(expectation, coupling, a, b)
    masked = _masks(expectation, coupling, coupling.net_a, coupling.net_b)
    if masked:
        other_way = _masks(expectation, coupling, coupling.net_b, coupling.net_a)
        if len(other_way) < len(masked):
            a, b, masked = b, a, other_way
    contacts = expectation.contacts_ohm(a, b)
    missing = _missing(expectation, coupling, a, b) + contacts
    if not coupling.linear:
        return ComponentReading(
            coupling.component,
            coupling.kind,
            a,
            b,
            coupling.nominal_ohm,
            min(coupling.lo_ohm, missing),
            math.inf,
            missing,
            masked_by=masked,
            defaults_used=coupling.defaulted,
        )
    island = expectation.island_of[coupling.net_a]
    nodes = island.node_of[a], island.node_of[b]
    settings = expectation.loom.settings
    return ComponentReading(
        coupling.component,
        coupling.kind,
        a,
        b,
        island.nominal.resistance(*nodes) + contacts,
        island.least.resistance(*nodes),
        island.greatest.resistance(*nodes) + contacts + settings.margin_ohm,
        missing,
        masked_by=masked,
        defaults_used=coupling.defaulted,
        charges=any(
            other.path is Path.CAPACITOR and {other.net_a, other.net_b} == {coupling.net_a, coupling.net_b}
            for other in expectation.couplings
        ),
    )


def _diode(expectation: Expectation, coupling: Coupling, a: End, b: End) -> ComponentReading:
    nominal = coupling.forward_v or 0.0
    others = [other for other in expectation.couplings if other is not coupling]
    forward = on_the_way(others, coupling.net_a, [coupling.net_b])
    backward = on_the_way(others, coupling.net_b, [coupling.net_a])
    return ComponentReading(
        coupling.component,
        coupling.kind,
        a,
        b,
        None,
        0.0,
        math.inf,
        _missing(expectation, coupling, a, b) + expectation.contacts_ohm(a, b),
        forward_v=(max(nominal - DIODE_SPREAD_V, 0.0), nominal + DIODE_SPREAD_V),
        masked_by=tuple(dict.fromkeys(other.component for other in forward if not other.linear)),
        defaults_used=coupling.defaulted,
        alike=tuple(other.component for other in forward if other.one_way),
        against=tuple(other.component for other in backward if other.one_way),
        beside=bool(backward),
    )


def _cavity(expectation: Expectation, end: End) -> End:
    net = expectation.nets[expectation.net_of[end]]
    if not expectation.loom.is_splice(end):
        return end
    if not net.cavities:
        raise ValueError(f"{end}: no cavity leads to this end of a component")
    network = expectation.island_of[net.index]
    node = network.node_of[end]
    return min(net.cavities, key=lambda cavity: network.nominal.resistance(network.node_of[cavity], node))


def _missing(expectation: Expectation, coupling: Coupling, a: End, b: End) -> float:
    """What the two cavities read without this coupling, Ω; inf where nothing else joins them."""
    island = expectation.island_of[coupling.net_a]
    if a not in island.node_of or b not in island.node_of:
        return math.inf
    nodes = island.node_of[a], island.node_of[b]
    if not coupling.linear:
        return island.nominal.resistance(*nodes)
    place = next(k for k, edge in enumerate(island.edges) if edge.coupling is coupling)
    return float(island.nominal.without([nodes[0]], [nodes[1]])[place, 0])


def _masks(expectation: Expectation, coupling: Coupling, source: int, sink: int) -> tuple[str, ...]:
    """Diodes and parts of unknown value through which current can flow beside this part."""
    others = [other for other in expectation.couplings if other is not coupling]
    beside = on_the_way(others, source, [sink])
    return tuple(dict.fromkeys(other.component for other in beside if not other.linear))
