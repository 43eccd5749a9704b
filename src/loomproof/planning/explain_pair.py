"""What a proof asks of two cavities and claims of them, and how the limit comes about, as values.

Nothing is worked out here that a plan works out: the same scope, vectors and readings answer, so that what a
person is told before a proof is what its claims say after it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.electrics.conductors import copper_factor
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.expectation import Between, Expectation
from loomproof.electrics.network import SENSITIVITY_FLOOR
from loomproof.errors import UsageError
from loomproof.loom.model import Component, End
from loomproof.notebook import Shown
from loomproof.planning.meter import Meter
from loomproof.planning.net_access import Scope, scope_of
from loomproof.planning.plan import ConductorReading, conductor_reading, isolation_asked
from loomproof.planning.test_vectors import vector


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


class Reads(StrEnum):
    """What a proof demands that one cavity reads while another is driven; ``EITHER``: nothing."""

    LOW = "low"
    HIGH = "high"
    EITHER = "either"


@dataclass(frozen=True, slots=True)
class Explanation(Shown):
    """Everything behind what a proof on one bench asks of two cavities and claims of them.

    ``reads`` is what ``b`` must read in a digital sense while ``a``'s net alone is driven. ``sense_ohm`` is
    what that proves: on one net, that a path is under it; between two nets, that none is, by the stronger
    claim of the two; ``None`` where sense says nothing. ``isolation_ohm`` is the limit that isolation
    between the two is measured against, ``None`` where it is not. ``coupled``: parts lead from one net to
    the other, and neither sense nor isolation is asked of them; ``across`` are those that lie between these
    two nets themselves. ``reading`` is how the joint is measured, of
    one net only.
    """

    between: Between
    temperature_c: float
    copper_factor: float
    contacts_ohm: float
    margin_ratio: float
    margin_ohm: float
    steps: tuple[Step, ...]
    same_net: bool
    coupled: bool
    across: tuple[tuple[Component, Coupling], ...]
    reads: Reads
    sense_ohm: float | None
    isolation_ohm: float | None
    reading: ConductorReading | None

    @property
    def joined(self) -> bool:
        """Whether a finite resistance is expected."""
        return math.isfinite(self.between.expected_ohm)


def explain(
    expectation: Expectation, a: End, b: End, scope: Scope, capabilities: Capabilities, meter: Meter | None
) -> Explanation:
    """Return how the pair's expected value comes about, and what a proof of this scope claims of it.

    Raises `UsageError` for an unknown end, or one on a net without a point in the scope.
    """
    between = expectation.between(a, b)
    one, other = (_group(expectation, scope, end) for end in (a, b))
    same_net, coupled = one == other, scope.bundle_of[one] == scope.bundle_of[other]
    settings = expectation.loom.settings
    sense_ohm = None
    if capabilities.sense_ohm is not None and same_net:
        sense_ohm = capabilities.clear_ohm
    elif capabilities.sense_ohm is not None and not coupled:
        claims_ohm = [scope.none_under_ohm(group, capabilities) for group in (one, other)]
        sense_ohm = max(ohm for ohm in claims_ohm if ohm is not None)
    isolation_ohm = None
    if meter is not None and not coupled:
        isolation_ohm = isolation_asked(settings.isolation_ohm, capabilities, meter)
    return Explanation(
        between=between,
        temperature_c=expectation.temperature_c,
        copper_factor=copper_factor(expectation.temperature_c),
        contacts_ohm=expectation.contacts_ohm(a, b),
        margin_ratio=settings.margin_ratio,
        margin_ohm=settings.margin_ohm,
        steps=_steps(expectation, between) if math.isfinite(between.expected_ohm) else (),
        same_net=same_net,
        coupled=coupled and not same_net,
        across=tuple(
            (expectation.loom.component_by_name[part.component], part)
            for part in expectation.couplings
            if {part.net_a, part.net_b} == {expectation.net_of[a], expectation.net_of[b]}
        ),
        reads=_reads(scope, one, other),
        sense_ohm=sense_ohm,
        isolation_ohm=isolation_ohm,
        reading=conductor_reading(between, meter) if same_net and meter is not None else None,
    )


def explain_by_accuracy(
    expectation: Expectation,
    a: End,
    b: End,
    accuracy: tuple[float, float],
    *,
    lead_ohm: float = 0.0,
    repeatability_ohm: float = 0.0,
    repeats: int = 1,
    temperature_u_k: float = 0.0,
) -> Explanation:
    """Explain a pair for a scanner with a point on every cavity and a meter of these limits (Ω, ratio).

    Standard uncertainties: ``lead_ohm`` of a reading's lead correction, ``repeatability_ohm`` of one reading,
    ``temperature_u_k`` of the temperature. Its range reaches the loom's isolation limit.
    """
    loom = expectation.loom
    able = Capabilities(len(loom.cavities))
    meter = Meter(
        Accuracy(*accuracy),
        None,
        (0.0, 10.0 * loom.settings.isolation_ohm),
        {},
        lead_u_ohm=lead_ohm / math.sqrt(2.0),  # of one lead; a reading has two
        repeatability_ohm=repeatability_ohm,
        repeats=repeats,
        temperature_u_k=temperature_u_k,
    )
    scope = scope_of(expectation, in_order(loom.cavities).point_of, able.clear_ohm)
    return explain(expectation, a, b, scope, able, meter)


def _group(expectation: Expectation, scope: Scope, end: End) -> int:
    net = expectation.net_of[end]
    if net not in scope.net_of_group:
        raise UsageError(f"{end}: no cavity of its net has a point, so nothing is asked of it")
    return scope.net_of_group.index(net)


def _reads(scope: Scope, driven: int, read: int) -> Reads:
    asked = vector(scope.groups, scope.reach, frozenset({driven}))
    if asked.must_low & scope.groups[read].points:
        return Reads.LOW
    return Reads.HIGH if asked.must_high & scope.groups[read].points else Reads.EITHER


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
            shows=opens[wire.name] > between.limit_ohm,
        )
        found.append((order, k, step))
    return tuple(step for _, _, step in sorted(found, key=lambda item: item[:2]))
