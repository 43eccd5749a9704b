"""What the tests' own benches share: all but their answers."""

from __future__ import annotations

from typing import ClassVar

from loomproof.bench.interface import TimedBench
from loomproof.bench.questions import Answer, Carried, Confirm, Question, Release, Temperature
from loomproof.bench.seam import Capabilities, Identity, Opening, Statistics


def simulated() -> Opening:
    """Return an opening of a bench on which nothing real hangs."""
    return Opening(simulated=True)


class MemoryBench(TimedBench):
    """A bench without a line. One that is asked what it has no answer to fails its test."""

    model: ClassVar[str] = "bench in memory"
    elapsed_s = 0.0

    def __init__(self, able: Capabilities, opened: Opening | None = None) -> None:
        self.able = able
        self.opened = opened or simulated()

    @property
    def opening(self) -> Opening:
        return self.opened

    def identify(self) -> Identity:
        return Identity("the tests", self.model, "1", "1")

    def capabilities(self) -> Capabilities:
        return self.able

    def touched(self, end: str | None) -> bool:
        return end is None

    def _answer(self, question: Question) -> Answer:
        match question:
            case Carried():
                return Statistics()
            case Confirm() | Release() | Temperature():
                return None
        raise AssertionError(f"the {self.model} was asked {question}")

    def _disconnect(self) -> None:
        pass
