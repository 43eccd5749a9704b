"""The simulated scanner behind the bench's seam, without a line between: many looms in one test."""

from __future__ import annotations

import math
from dataclasses import dataclass

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Diode, Question, Resistance, Sense, Settle
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.diagnosis import explain
from loomproof.electrics.expectation import expect
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.loom.reading import load_files
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.planning.request import Request
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from loomproof.virtual.meter import Limits
from loomproof.virtual.scanner import Make, Scanner
from tests.cleared import cleared
from tests.measuring.meter_bench import MeterBench

OHMS = Capabilities(
    points=512,
    ohms=(0.0, 2e6),
    accuracy=Accuracy(0.1, 0.01),
    diode=True,
    test_current_a=0.01,
    test_voltage_v=5.0,
)
"""What the simulated scanner states, watching and insulation left out."""


@dataclass
class ScannerBench(MeterBench):
    """The seam over a simulated scanner: sense, ohms and diode test, as far as ``able`` says."""

    model = "scanner"
    settle_s: float = math.inf

    def _answer(self, question: Question) -> Answer:
        match question:
            case Settle(settle_us):
                self.settle_s = settle_us / 1e6
                return None
            case Sense(drives):
                return [self.scanner.sense(drive, 0.0, self.settle_s) for drive in drives]
            case Resistance(a, b, wires):
                self.readings += 1
                if self.spare(a | b):
                    return math.inf
                return self.scanner.resistance(a, b, 0.0, four_wire=wires == 4)
            case Diode(a, b):
                return self.scanner.diode(a, b, 0.0)
        return super()._answer(question)


def scanner_bench(loom: Loom, *faults: str, able: Capabilities = OHMS, seed: int = 0) -> ScannerBench:
    """Return a bench of these abilities with a loom and its faults on it."""
    count = max(len(loom.cavities), 1)
    accuracy = Limits(able.accuracy.ohm, able.accuracy.ratio) if able.accuracy else None
    fine = able.four_wire_accuracy
    make = Make(
        count,
        accuracy=accuracy,
        four_wire=Limits(fine.ohm, fine.ratio) if fine else None,
        ohms=able.ohms or (0.0, 2e6),
        diode=able.diode,
        test_current_a=able.test_current_a,
        test_voltage_v=able.test_voltage_v,
    )
    return ScannerBench(Scanner(loom, make, faults=faults, seed=seed), able)


def outcome_of(loom: Loom, *faults: str, able: Capabilities = OHMS, seed: int = 0) -> Outcome:
    """Prove a loom with these faults from end to end."""
    request = Request(loom, in_order(loom.cavities), "parts", "2026-01-01T00:00:00Z")
    bench = scanner_bench(loom, *faults, able=able, seed=seed)
    return finish(prove(request, bench, cleared(loom, bench, meter_v=0.0)))


def proved(
    loom: Loom, *faults: str, able: Capabilities = OHMS, seed: int = 0, isolation_ohm: float | None = 1e6
) -> tuple[Measured, tuple[Finding, ...]]:
    """Run the plan alone, without a journal or a document, and explain what was measured."""
    expectation = expect(loom)
    points = {end: k for k, end in enumerate(loom.cavities, start=1)}
    meter = None
    if able.ohms is not None and able.accuracy is not None:
        meter = Meter(
            able.accuracy,
            able.four_wire_accuracy,
            able.ohms,
            {},
            test_current_a=able.test_current_a,
            test_voltage_v=able.test_voltage_v,
        )
    plan = plan_proof(expectation, points, able, meter, isolation_ohm=isolation_ohm if meter else None)
    bench = scanner_bench(loom, *faults, able=able, seed=seed)
    measured = finish(run_plan(plan, expectation, bench, cleared(loom, bench)))
    return measured, explain(loom, measured)


def loom_of(cavities: str, components: str = "", spare: str = "") -> Loom:
    """Return a loom of plugs A and B: wire Wn from A:n to B:n for each cavity named, none at spare ones."""
    names = cavities.split()
    files = {
        "loom.toml": '[loom]\nname = "parts"\n[tables]\ncolour_code = "IEC 60757"\n',
        "connectors.csv": "connector,kind,cavities,hazard\n"
        + "".join(f"{plug},plug,{cavities} {spare},none\n" for plug in "AB"),
        "wires.csv": "wire,from_connector,from_cavity,to_connector,to_cavity,colour,csa_mm2,length_m\n"
        + "".join(f"W{name},A,{name},B,{name},BK,0.75,1.0\n" for name in names),
        "components.csv": "component,kind,terminals,resistance_ohm,tolerance_pct,forward_v\n" + components,
        "circuits.csv": "circuit\n",
    }
    loaded = load_files({name: text.encode() for name, text in files.items()}, "parts")
    return loaded.loom
