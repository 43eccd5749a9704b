"""What each pair of cavities of a sound loom should read, its limit, and which wires the reading shows.

``expect(loom, temperature_c)`` gives an `Expectation`; everything below it is computed when it is asked for
and kept. The rule for a limit, and why, stands in NOTES.md:
``limit = margin_ratio × (greatest sound resistance, contacts included) + margin_ohm``, and under load no more
than the load's share of the voltage drop, or margin_ratio × sound where that is greater.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from loomproof.electrics import tables
from loomproof.electrics.component_kinds import joined_ends
from loomproof.electrics.conductors import Conductor, component_conductor, wire_conductor
from loomproof.electrics.couplings import Coupling, couplings_of
from loomproof.electrics.islands import Edge, Island, islands_of
from loomproof.electrics.joints import contact_ohm
from loomproof.electrics.loads import AGED_OHM, share_ohms
from loomproof.electrics.nets import Net, nets_of
from loomproof.electrics.network import SENSITIVITY_FLOOR, alone_ohm
from loomproof.errors import UsageError, suggestion
from loomproof.loom.model import End, Loom

ROOM_TEMPERATURE_C = 20.0
"""Taken where the bench has no thermometer, with an uncertainty that covers a workshop."""

MOST_PAIRED = 60
"""Nets of more cavities are not looked at pair by pair: what copper leaves there is taken as nothing."""


@dataclass(frozen=True, slots=True)
class Between:
    """What a resistance reading between cavities ``a`` and ``b`` of a sound loom gives, Ω.

    ``expected_ohm`` is nominal, ``sound_ohm`` the most that a sound loom reads, ``limit_ohm`` the physical
    limit; all include one contact at each cavity, and all are inf where no conductor joins the two.
    ``sensitivity`` is dR/dr of each wire that carries current; ``open_ohm`` what would be read with that
    wire open (inf: it is the only way). ``wires`` are those whose open shows: ``open_ohm`` above the limit.
    ``load_ohm`` is what the stated load of the wires allows (inf: none is stated).
    ``component_open_ohm`` says the same of fitted fuses and links. ``defaults_used`` says that a length,
    a section or a cold resistance on the way was not in the description.
    """

    a: End
    b: End
    expected_ohm: float
    sound_ohm: float
    limit_ohm: float
    wires: tuple[str, ...]
    sensitivity: Mapping[str, float]
    open_ohm: Mapping[str, float]
    component_open_ohm: Mapping[str, float]
    defaults_used: bool
    load_ohm: float = math.inf


@dataclass(frozen=True)
class Expectation:
    """What a description implies at one temperature. Made by `expect`."""

    loom: Loom
    temperature_c: float
    nets: tuple[Net, ...]
    net_of: Mapping[End, int]
    all_couplings: tuple[Coupling, ...]
    conductors: Mapping[int, list[tuple[End, End, Conductor]]]
    islands: tuple[Island, ...]
    island_of: Mapping[int, Island]

    @cached_property
    def couplings(self) -> tuple[Coupling, ...]:
        """Fitted components that join two nets."""
        return tuple(coupling for coupling in self.all_couplings if coupling.net_a != coupling.net_b)

    @cached_property
    def shunts(self) -> tuple[Coupling, ...]:
        """Fitted components that join their ends to one net and have limits of their own."""
        return tuple(coupling for coupling in self.all_couplings if coupling.joins)

    @cached_property
    def bridged(self) -> tuple[Coupling, ...]:
        """Fitted components with both ends on one net: the wires beside them hide their value."""
        return tuple(coupling for coupling in self.all_couplings if coupling.net_a == coupling.net_b)

    def between(self, a: End, b: End) -> Between:
        """Return what the pair should read. Raises `UsageError` for an end that the loom has not."""
        return self.between_all([(a, b)])[0]

    def between_all(self, pairs: Sequence[tuple[End, End]]) -> list[Between]:
        """Return `between` of many pairs, solved together where they lie in one island."""
        by_island: dict[int, list[int]] = {}
        found: list[Between | None] = [None] * len(pairs)
        for k, (a, b) in enumerate(pairs):
            island = self._island(a)
            if island is self._island(b):
                by_island.setdefault(island.nets[0], []).append(k)
            else:
                found[k] = Between(a, b, math.inf, math.inf, math.inf, (), {}, {}, {}, False)
        for net, asked in by_island.items():
            solved = self._solve(self.island_of[net], [pairs[k] for k in asked])
            for k, between in zip(asked, solved, strict=True):
                found[k] = between
        return [between for between in found if between is not None]

    def contacts_ohm(self, a: End, b: End) -> float:
        """Return the two mated contacts that a reading includes; a splice has none."""
        return contact_ohm(self.loom, a) + contact_ohm(self.loom, b)

    def limit_ohm(self, sound_ohm: float, share_ohm: float = math.inf) -> float:
        """Return the physical limit of a path that reads at most ``sound_ohm`` while sound.

        ``share_ohm`` is what the load of its wires allows; below what sound copper and contacts may read with
        the ratio for tables and lengths, it asks for the impossible and is not what decides.
        """
        settings = self.loom.settings
        usual = settings.margin_ratio * sound_ohm + settings.margin_ohm
        return min(usual, max(share_ohm, settings.margin_ratio * sound_ohm + AGED_OHM))

    @cached_property
    def share_ohms(self) -> Mapping[str, float]:
        """What the stated load allows each loaded wire, Ω (`loomproof.electrics.loads`)."""
        return share_ohms(self.loom)

    def copper_ohm(self, net_index: int, temperature_u_k: float = 0.0) -> float:
        """Return what copper alone leaves between any two cavities of a net at least, Ω; 0 where unknown.

        Sections and lengths may be off as far as the loom's margin lets a limit be off, the temperature by
        two of its standard uncertainties, and current may go through parts as well as it can (Rayleigh: no
        resistance falls when one edge rises). The least over all pairs of the net is taken: contacts of one
        net may have been exchanged, which makes no other net. NOTES.md says more.
        """
        cavities = self.nets[net_index].cavities
        if not 2 <= len(cavities) <= MOST_PAIRED:
            return 0.0
        return min(self._coppers_ohm(net_index, list(combinations(cavities, 2)), temperature_u_k))

    def copper_between_ohm(self, a: End, b: End, temperature_u_k: float = 0.0) -> float:
        """Return what copper alone leaves between these two cavities of a net at least, Ω, as they should be.

        As `copper_ohm`, but for contacts of the net that were exchanged.
        """
        return self._coppers_ohm(self.net_of[a], [(a, b)], temperature_u_k)[0]

    def _coppers_ohm(
        self, net_index: int, pairs: Sequence[tuple[End, End]], temperature_u_k: float
    ) -> list[float]:
        island = self.island_of[net_index]
        cold = 1.0 - tables.copper().temperature_coefficient_per_k * 2.0 * temperature_u_k
        share = max(cold, 0.0) / max(self.loom.settings.margin_ratio, 1.0)
        if island.lone is not None:
            return [share * alone_ohm(island.lone.copper_ohm)] * len(pairs)
        nodes = [[island.node_of[end] for end in pair] for pair in pairs]
        a, b = (np.array(side, dtype=np.intp) for side in zip(*nodes, strict=True))
        return [share * float(ohm) for ohm in island.copper.resistances(a, b)]

    def _island(self, end: End) -> Island:
        net = self.net_of.get(end)
        if net is None:
            raise UsageError(
                f"{end}: the loom has no such cavity or splice",
                cure=suggestion(str(end), map(str, self.net_of)),
            )
        return self.island_of[net]

    def _solve(self, island: Island, pairs: Sequence[tuple[End, End]]) -> list[Between]:
        if island.lone is not None:
            return [self._along(island.lone, pair) for pair in pairs]
        a = np.array([island.node_of[pair[0]] for pair in pairs], dtype=np.intp)
        b = np.array([island.node_of[pair[1]] for pair in pairs], dtype=np.intp)
        contacts = np.array([self.contacts_ohm(*pair) for pair in pairs])
        nominal = island.nominal
        expected = nominal.resistances(a, b) + contacts
        sound = island.greatest.resistances(a, b) + contacts
        share = nominal.currents(a, b)
        opened = nominal.without(a, b, share) + contacts
        sensitivity = share**2
        found = []
        for k, pair in enumerate(pairs):
            carrying = [
                (island.edges[e], float(sensitivity[e, k]), float(opened[e, k]))
                for e in np.flatnonzero(sensitivity[:, k] > SENSITIVITY_FLOOR).tolist()
            ]
            found.append(self._between(pair, float(expected[k]), float(sound[k]), carrying))
        return found

    def _along(self, edge: Edge, pair: tuple[End, End]) -> Between:
        """Return what a pair reads that one edge alone joins: an open of it leaves nothing."""
        contacts_ohm = self.contacts_ohm(*pair)
        nominal_ohm = alone_ohm(edge.nominal_ohm)
        share = nominal_ohm / edge.nominal_ohm
        greatest_ohm = alone_ohm(edge.greatest_ohm)
        carrying = [(edge, share * share, math.inf)]
        return self._between(pair, nominal_ohm + contacts_ohm, greatest_ohm + contacts_ohm, carrying)

    def _between(
        self,
        pair: tuple[End, End],
        expected_ohm: float,
        sound_ohm: float,
        carrying: Sequence[tuple[Edge, float, float]],
    ) -> Between:
        """Return a reading; ``carrying``: each edge with its sensitivity, and what reads without it, Ω."""
        wire_share: dict[str, float] = {}
        wire_open: dict[str, float] = {}
        part_open: dict[str, float] = {}
        defaults = False
        for edge, sensitivity, open_ohm in carrying:
            conductor = edge.conductor
            if conductor is None:
                continue
            defaults = defaults or bool(conductor.defaulted)
            if conductor.kind == "wire":
                wire_share[conductor.name], wire_open[conductor.name] = sensitivity, open_ohm
            else:
                part_open[conductor.name] = open_ohm
        load_ohm = min((self.share_ohms.get(name, math.inf) for name in wire_share), default=math.inf)
        limit_ohm = self.limit_ohm(sound_ohm, load_ohm)
        return Between(
            a=pair[0],
            b=pair[1],
            expected_ohm=expected_ohm,
            sound_ohm=sound_ohm,
            limit_ohm=limit_ohm,
            load_ohm=load_ohm,
            wires=tuple(name for name, ohm in wire_open.items() if ohm > limit_ohm),
            sensitivity=wire_share,
            open_ohm=wire_open,
            component_open_ohm=part_open,
            defaults_used=defaults,
        )


def expect(loom: Loom, temperature_c: float = ROOM_TEMPERATURE_C) -> Expectation:
    """Return what a loom implies at this temperature. Raises `ValueError` outside -200 to 300 °C.

    >>> import loomproof as lp
    >>> expected = lp.expect(lp.load("fixtures/tail_lamp"), temperature_c=20.0)
    >>> between = expected.between(lp.End("BODY", "2"), lp.End("LAMP", "2"))
    >>> len(expected.nets), f"{between.sound_ohm * 1000:.1f} mΩ"
    (7, '66.4 mΩ')
    """
    nets = nets_of(loom)
    net_of = {end: net.index for net in nets for end in net.ends}
    conductors: dict[int, list[tuple[End, End, Conductor]]] = {}
    for wire in loom.wires:
        conductors.setdefault(net_of[wire.a], []).append(
            (wire.a, wire.b, wire_conductor(wire, loom, temperature_c))
        )
    for component in loom.components:
        for a, b in joined_ends(component):
            part = component_conductor(component, loom.settings, temperature_c)
            conductors.setdefault(net_of[a], []).append((a, b, part))
    couplings = couplings_of(loom, net_of, temperature_c)
    islands = islands_of(nets, couplings, conductors)
    return Expectation(
        loom=loom,
        temperature_c=temperature_c,
        nets=nets,
        net_of=net_of,
        all_couplings=couplings,
        conductors=conductors,
        islands=islands,
        island_of={net: island for island in islands for net in island.nets},
    )
