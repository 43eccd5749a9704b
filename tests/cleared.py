"""Clearances for tests, made as any other: by the checks, with a person who answers for what none can see."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from pathlib import Path

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.interface import Bench
from loomproof.jobs.hand_questions import HandAsked, HandReply, Wish
from loomproof.judgement.inspection import Inspection
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom
from loomproof.measuring.clearance import Clearance, clear, clear_empty
from loomproof.planning.hookup_plan import HookUp

NOW = datetime(2031, 5, 4, tzinfo=UTC)


@dataclass
class Answers:
    """A person who confirms, or does not, and what was asked of them."""

    yes: bool = True
    typed: bool = True
    meter_v: float | None = None
    asked: list[str] = field(default_factory=list)

    def confirm(self, statement: str) -> bool:
        self.asked.append(statement)
        return self.yes

    def type_voltage(self, volts: float) -> bool:
        self.asked.append(f"{volts:g} V")
        return self.typed

    def read_meter(self) -> float | None:
        self.asked.append("meter")
        return self.meter_v

    def inspect(self, items: Sequence[tuple[str, str]]) -> Inspection:
        self.asked.append("inspect")
        return Inspection()

    def hold_probe(self, end: End | None) -> bool:
        self.asked.append(f"probe {end}")
        return self.yes

    def beep_limit(self) -> str:
        self.asked.append("beep limit")
        return ""

    def probe(self, asked: HandAsked) -> HandReply:
        self.asked.append(f"probe {asked.kind}")
        return HandReply(Wish.STOP)

    def plug(self, hook_up: HookUp, number: int) -> bool:
        self.asked.append(f"plug {number}")
        return self.yes


def cleared(
    loom: Loom,
    bench: Bench,
    adapter: Adapter | None = None,
    *,
    meter_v: float | None = None,
    insulation: tuple[float, int] | None = None,
    hazards: Mapping[str, Hazard] | None = None,
    selftests: Path = Path("no self-tests"),
) -> Clearance:
    """Clear this loom on this bench; a connector of which nothing is said has nothing dangerous at it."""
    said = {
        each.name: Hazard.NONE
        for each in loom.connectors
        if each.kind is not ConnectorKind.SPLICE and each.hazard is Hazard.UNKNOWN
    }
    return clear(
        loom,
        bench,
        adapter or in_order(loom.cavities),
        Answers(),
        selftests=selftests,
        now=NOW,
        hazards={**said, **(hazards or {})},
        meter_v=meter_v,
        insulation=insulation,
    )


def cleared_for_points(
    bench: Bench, *, meter_v: float | None = None, insulation: tuple[float, int] | None = None
) -> Clearance:
    """Clear a loom of one plug without wires, for tests that look at a bench and know no loom."""
    plug = Connector("X", ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE)
    loom = Loom("nothing in particular", connectors=(plug,))
    if insulation is not None:
        settings = replace(loom.settings, insulation_test_v=insulation[0])
        loom = replace(loom, settings=settings)
    assert loom.cavities == (End("X", "1"), End("X", "2"))
    return cleared(loom, bench, meter_v=meter_v, insulation=insulation)


def cleared_empty(bench: Bench) -> Clearance:
    """Clear a bench with no loom on it."""
    return clear_empty(bench, Answers())
