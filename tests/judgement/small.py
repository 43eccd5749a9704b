"""Small looms measured in memory, as one hook-up, for what is said of them."""

from __future__ import annotations

from functools import cache

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Capabilities
from loomproof.measuring.events import finish
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.measure import measure
from loomproof.planning.request import Request
from tests.cleared import cleared
from tests.measuring.scanner_bench import OHMS, loom_of, scanner_bench

R1 = "R1,resistor,1=A:1 2=B:2,100,5,\n"
D1 = "D1,diode,A=A:1 K=A:2,,,0.7\n"


@cache
def part_of(*faults: str, spare: str = "", parts: str = R1, able: Capabilities = OHMS) -> HookUpResult:
    """A loom of two wires and a resistor between their nets, measured on a simulated scanner."""
    loom = loom_of("1 2", parts, spare)
    bench = scanner_bench(loom, *faults, able=able)
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    return finish(measure(request, bench, cleared(loom, bench, meter_v=0.0)))
