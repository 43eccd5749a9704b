"""What one hook-up gave: who measured, by which plan, and what was found."""

from __future__ import annotations

from dataclasses import dataclass

from loomproof.bench.seam import Capabilities, Identity, Statistics
from loomproof.electrics.expectation import Expectation
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.selfcheck import SelfCheck
from loomproof.planning.plan import Plan
from loomproof.planning.request import Request
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Measured


@dataclass(frozen=True)
class HookUpResult:
    """One hook-up, measured: who measured, by which plan, and what was found."""

    request: Request
    address: str
    clearance: Clearance
    temperature_c: float | None
    check: SelfCheck
    expectation: Expectation
    plan: Plan
    measured: Measured
    statistics: Statistics
    elapsed_s: float
    touched: tuple[End, ...] = ()
    insulation: Insulation | None = None

    @property
    def identity(self) -> Identity:
        """The bench that measured."""
        return self.clearance.identity

    @property
    def capabilities(self) -> Capabilities:
        """What it can do."""
        return self.clearance.capabilities
