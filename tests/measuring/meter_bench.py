"""A bench that measures and cannot sense, over the simulated loom: what a switch matrix and a meter are.

Without the instruments' line between, so that many looms can be proved in a test; the SCPI side of such a
bench is tested in tests/bench.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.seam import Accuracy, Capabilities, Opening
from loomproof.loom.model import Loom
from loomproof.virtual.scanner import Make, Scanner
from tests.memory_bench import MemoryBench, simulated

METER_ONLY = Capabilities(
    points=128,
    sense_ohm=None,
    clear_ohm=None,
    ohms=(0.001, 1e8),
    accuracy=Accuracy(0.2, 0.0005),
    four_wire=True,
    four_wire_accuracy=Accuracy(0.002, 0.0005),
    reading_ms=40,
    test_current_a=0.001,
    test_voltage_v=12,
)
"""A bench meter of six digits behind reed relays."""


@dataclass
class MeterBench(MemoryBench):
    """The seam over a simulated loom; only resistance is there to be asked."""

    model = "matrix and meter"
    scanner: Scanner
    able: Capabilities = METER_ONLY
    readings: int = 0
    opened: Opening = field(default_factory=simulated)

    def spare(self, points: int) -> bool:
        """Whether any of these points has no lead."""
        return bool(points >> self.scanner.make.points)

    def _answer(self, question: Question) -> Answer:
        if not isinstance(question, Resistance):
            return super()._answer(question)
        self.readings += 1
        if self.spare(question.a | question.b):
            return math.inf
        ohm = self.scanner.true_resistance(question.a, question.b, 0.0, four_wire=question.wires == 4)
        assert self.able.ohms is not None
        return ohm if ohm <= self.able.ohms[1] else math.inf


def meter_bench(loom: Loom, *faults: str, able: Capabilities = METER_ONLY) -> MeterBench:
    """Return such a bench with a faulty loom on it."""
    return MeterBench(Scanner(loom, Make(len(loom.cavities)), faults=faults), able)
