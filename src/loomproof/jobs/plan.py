"""What a proof will ask, before anything is plugged; nothing is driven."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from loomproof.bench import opening
from loomproof.bench.adapter import Adapter, in_order, read_adapter
from loomproof.bench.adapter_fit import check_adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities, Identity
from loomproof.electrics.expectation import ROOM_TEMPERATURE_C, Expectation, expect
from loomproof.errors import Problem
from loomproof.jobs.gate import selftests
from loomproof.loom.model import Loom
from loomproof.measuring import selftest
from loomproof.measuring.plausibility import temperature_of
from loomproof.measuring.preparing import meter_as_proved
from loomproof.notebook import Shown
from loomproof.planning.hookup_plan import HookUpPlan
from loomproof.planning.hookup_search import Constraints, plan_hook_ups
from loomproof.planning.meter import Meter
from loomproof.planning.plan import Plan, plan_proof
from loomproof.planning.plan_json import SavedPlan
from loomproof.planning.request import Request

__all__ = [
    "BenchToPlanFor",
    "Constraints",
    "HookUpPlan",
    "Plan",
    "PlannedProof",
    "bench_at",
    "bench_to_plan_for",
    "hook_ups",
    "proof",
]


@dataclass(frozen=True)
class BenchToPlanFor:
    """What a bench says of itself; ``temperature_c`` is ``None`` where nothing measures it."""

    able: Capabilities
    temperature_c: float | None = None
    simulated: bool = False
    identity: Identity | None = None
    """Who it is; ``None`` where none was asked."""

    def expect(self, loom: Loom) -> Expectation:
        """Return what the loom should be, at this bench's temperature."""
        return expect(loom, ROOM_TEMPERATURE_C if self.temperature_c is None else self.temperature_c)


@dataclass(frozen=True)
class PlannedProof(Shown):
    """A plan, as it is saved, and what of the loom it leaves out."""

    plan: Plan
    saved: SavedPlan
    warnings: tuple[Problem, ...]


def bench_at(
    address: str | None, loom: Loom, *, loom_path: Path, points: int | None = None
) -> BenchToPlanFor:
    """Ask the bench at this address what it can do; without one it is a scanner of so many points."""
    if address is None:
        return BenchToPlanFor(Capabilities(points or max(1, len(loom.cavities))))
    with opening.open_bench(address, loom_path=loom_path) as bench:
        return bench_to_plan_for(bench)


def bench_to_plan_for(bench: Bench) -> BenchToPlanFor:
    """Ask an open bench what it can do; nothing is driven."""
    return BenchToPlanFor(
        bench.capabilities(), temperature_of(bench), bench.opening.simulated, bench.identify()
    )


def proof(loom: Loom, bench: BenchToPlanFor, adapter: Adapter | str | None = None) -> PlannedProof:
    """Plan a proof of this loom, all of it plugged at once, through an adapter, its table, or in order.

    Raises `AdapterError` where the adapter fits neither loom nor bench.
    """
    leads = (
        adapter
        if isinstance(adapter, Adapter)
        else in_order(loom.cavities)
        if adapter in (None, "in-order")
        else read_adapter(Path(str(adapter)))
    )
    meter = None if bench.identity is None else _meter(loom, bench, bench.identity, leads)
    warnings = check_adapter(leads, loom.cavities, bench.able.points)
    isolation_ohm = loom.settings.isolation_ohm
    made = plan_proof(bench.expect(loom), leads.point_of, bench.able, meter, isolation_ohm=isolation_ohm)
    return PlannedProof(made, SavedPlan(made, loom.name, loom.digest, leads.digest), warnings)


def _meter(loom: Loom, bench: BenchToPlanFor, identity: Identity, leads: Adapter) -> Meter | None:
    """Return what this bench's ohms are worth to a proof today, self-tests and zeroing counted."""
    standing = selftest.standing(selftests(), identity, leads.wiring)
    return meter_as_proved(
        identity,
        bench.able,
        Request(loom, leads, run="", started=datetime.now(UTC).isoformat(timespec="milliseconds")),
        bench.temperature_c,
        simulated=bench.simulated,
        repeatability_ohm=0.0 if standing is None else standing.repeatability_ohm or 0.0,
    )


def hook_ups(loom: Loom, points: int, limits: Constraints) -> HookUpPlan:
    """Plan hook-ups of this loom on so many points. Raises `NotPossibleError`."""
    return plan_hook_ups(loom, [net.cavities for net in expect(loom).nets], points, limits)
