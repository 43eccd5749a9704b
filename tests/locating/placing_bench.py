"""A simulated scanner that reads farads, over leads zeroed with nothing on them, and a loom to put on it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from loomproof.bench.adapter import Adapter, in_order
from loomproof.bench.questions import Answer, Capacitance, Question
from loomproof.bench.seam import Accuracy, Capabilities, CapacitanceAccuracy
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.virtual.meter import FaradLimits, Limits
from loomproof.virtual.scanner import Make, Scanner
from tests.cleared import cleared
from tests.measuring.scanner_bench import ScannerBench

SPREAD_F = 1e-12
FARADS = Capabilities(
    points=512,
    ohms=(0.0, 2e6),
    accuracy=Accuracy(0.1, 0.01),
    four_wire=True,
    four_wire_accuracy=Accuracy(0.001, 0.002),
    diode=True,
    test_current_a=0.01,
    test_voltage_v=5.0,
    farads=(0.0, 1e-6),
    farad_accuracy=CapacitanceAccuracy(5e-12, 0.02),
    farad_spread=SPREAD_F,
)


@dataclass
class FaradBench(ScannerBench):
    """The seam over a simulated scanner that reads farads too; ``farad_readings`` counts them."""

    farad_readings: int = 0

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Capacitance):
            self.farad_readings += 1
            farad = self.scanner.capacitance(question.a, question.b, 0.0)
            return None if farad != farad else farad
        return super()._answer(question)


def farad_bench(loom: Loom, *faults: str, able: Capabilities = FARADS, seed: int = 0) -> FaradBench:
    """Return a bench of these abilities with a loom and its faults on it."""
    assert able.accuracy is not None
    assert able.four_wire_accuracy is not None
    assert able.farad_accuracy is not None
    make = Make(
        max(len(loom.cavities), 1),
        accuracy=Limits(able.accuracy.ohm, able.accuracy.ratio),
        four_wire=Limits(able.four_wire_accuracy.ohm, able.four_wire_accuracy.ratio),
        capacitance=FaradLimits(able.farad_accuracy.farad, able.farad_accuracy.ratio, SPREAD_F),
        test_current_a=able.test_current_a,
        test_voltage_v=able.test_voltage_v,
    )
    return FaradBench(Scanner(loom, make, faults=faults, seed=seed), able)


def zeroed(loom: Loom, seed: int = 0) -> Adapter:
    """Return an adapter whose leads' own capacitance was learned on the same bench with no loom on it."""
    bare = farad_bench(replace(loom, wires=(), components=()), seed=seed).scanner
    everything = (1 << len(loom.cavities)) - 1
    leads = []
    for lead in in_order(loom.cavities).entries:
        bit = 1 << (lead.point - 1)
        read = [bare.capacitance(bit, everything & ~bit, 0.0) for _ in range(5)]
        leads.append(
            replace(
                lead,
                lead_f=sum(read) / len(read),
                lead_u_f=2 * SPREAD_F / len(read) ** 0.5,
                open_zeroed="2026-01-01",
            )
        )
    return Adapter("zeroed", tuple(leads))


def placed(
    loom: Loom, *faults: str, seed: int = 0, adapter: Adapter | None = None, locate: bool = True
) -> tuple[Outcome, FaradBench]:
    """Prove a loom with these faults from end to end; return what came of it and the bench."""
    request = Request(loom, adapter or zeroed(loom, seed), "places", "2026-01-01T00:00:00Z", locate=locate)
    bench = farad_bench(loom, *faults, seed=seed)
    return finish(prove(request, bench, cleared(loom, bench, request.adapter, meter_v=0.0))), bench
