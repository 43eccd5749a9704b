"""How an expected value and its limit come about, as values: for a person who asks why."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.electrics.conductors import copper_factor
from loomproof.electrics.decision import Zones, surely_decided, zones
from loomproof.electrics.expectation import Between, Expectation
from loomproof.electrics.isolation import IsolationClaim, isolation_claim
from loomproof.electrics.readings import SENSITIVITY_FLOOR
from loomproof.electrics.sensing import Level, Thresholds, expected_levels
from loomproof.electrics.uncertainty import Budget
from loomproof.loom.model import End


@dataclass(frozen=True, slots=True)
class Step:
    """One conductor or part that carries current between the two cavities, in the direction of the current.

    ``share`` is its part of the current (1: all of it). ``section`` says size and table, ``length_m`` is 0
    for a part. ``defaulted`` names what the description left out. ``shows``: an open here lifts the reading
    above the physical limit.
    """

    name: str
    kind: str
    start: End
    stop: End
    share: float
    nominal_ohm: float
    greatest_ohm: float
    joints_ohm: float = 0.0
    length_m: float = 0.0
    section: str = ""
    source: str = ""
    status: str = ""
    defaulted: tuple[str, ...] = ()
    shows: bool = True


@dataclass(frozen=True, slots=True)
class Explanation:
    """Everything behind one expected value: the steps, the contacts, the limit, and what a sense would say.

    ``reads`` is what ``b`` reads in a digital sense while ``a`` is driven, and ``sense_ohm`` what that
    proves: on one net, that a low path is less; between two nets that read high, that none is less.
    ``isolation`` is the claim of a resistance reading between the nets of the two, ``None`` on one net.
    """

    between: Between
    temperature_c: float
    copper_factor: float
    contacts_ohm: float
    margin_ratio: float
    margin_ohm: float
    steps: tuple[Step, ...]
    same_net: bool
    reads: Level
    sense_ohm: float
    isolation: IsolationClaim | None

    @property
    def joined(self) -> bool:
        """Whether a finite resistance is expected."""
        return math.isfinite(self.between.expected_ohm)


@dataclass(frozen=True, slots=True)
class Decidable:
    """What a bench makes of a limit: the uncertainty at a sound reading, and the zones around the limit.

    ``decided``: every sound conductor is told to be within its limit. ``shown_ohm`` is what each is surely
    shown to be below, decided or not.
    """

    budget: Budget
    limit_ohm: float
    shown_ohm: float
    decided: bool
    zones: Zones


def explain(expectation: Expectation, a: End, b: End, thresholds: Thresholds | None = None) -> Explanation:
    """Return how the pair's expected value comes about. Raises `UsageError` for an unknown end."""
    between = expectation.between(a, b)
    net_a, net_b = expectation.net_of[a], expectation.net_of[b]
    settings = expectation.loom.settings
    rule = thresholds or Thresholds()
    points = [max(len(expectation.nets[net].cavities), 1) for net in (net_a, net_b)]
    return Explanation(
        between=between,
        temperature_c=expectation.temperature_c,
        copper_factor=copper_factor(expectation.temperature_c),
        contacts_ohm=expectation.contacts_ohm(a, b),
        margin_ratio=settings.margin_ratio,
        margin_ohm=settings.margin_ohm,
        steps=_steps(expectation, between) if math.isfinite(between.expected_ohm) else (),
        same_net=net_a == net_b,
        reads=expected_levels(expectation, [net_a], rule)[net_b],
        sense_ohm=rule.low_proves_below_ohm() if net_a == net_b else rule.isolation_ohm(*points),
        isolation=None if net_a == net_b else isolation_claim(expectation, [net_a], [net_b]),
    )


def decidable(explanation: Explanation, budget: Budget) -> Decidable:
    """Return what a bench with this uncertainty at a sound reading can tell of the pair's limit."""
    between, u_ohm = explanation.between, budget.expanded_ohm
    return Decidable(
        budget,
        between.limit_ohm,
        between.sound_ohm + 2.0 * u_ohm,
        surely_decided(between.limit_ohm, between.sound_ohm, u_ohm),
        zones(u_ohm, between.limit_ohm),
    )


def _steps(expectation: Expectation, between: Between) -> tuple[Step, ...]:
    island = expectation.island_of[expectation.net_of[between.a]]
    network = island.nominal
    node_a, node_b = island.node_of[between.a], island.node_of[between.b]
    share = network.currents([node_a], [node_b])[:, 0]
    potential = network.inverse[:, node_a] - network.inverse[:, node_b]
    end_of = {node: end for end, node in island.node_of.items()}
    found = []
    for k, edge in enumerate(island.edges):
        if share[k] ** 2 <= SENSITIVITY_FLOOR:
            continue
        tail, head = (edge.tail, edge.head) if share[k] > 0 else (edge.head, edge.tail)
        order = -float(potential[tail] + potential[head])
        common = (end_of[tail], end_of[head], abs(float(share[k])), edge.nominal_ohm, edge.greatest_ohm)
        wire, part = edge.conductor, edge.coupling
        if wire is None:
            assert part is not None
            found.append((order, k, Step(part.component, str(part.kind), *common)))
            continue
        section = wire.section
        opens = between.open_ohm if wire.kind == "wire" else between.component_open_ohm
        step = Step(
            wire.name,
            wire.kind,
            *common,
            joints_ohm=wire.joints_ohm,
            length_m=wire.length_m,
            section=section.label if section else "",
            source=section.source if section else "",
            status=section.status if section else "",
            defaulted=wire.defaulted,
            shows=opens.get(wire.name, 0.0) > between.limit_ohm,
        )
        found.append((order, k, step))
    return tuple(step for _, _, step in sorted(found, key=lambda item: item[:2]))
