"""One reading of insulation resistance, at a voltage that can hurt: armed, measured, discharged, released."""

from __future__ import annotations

import contextlib

from loomproof.bench.interface import Bench
from loomproof.bench.seam import PointSet
from loomproof.errors import BenchError, LinkError, SafetyError, UsageError
from loomproof.measuring.clearance import Clearance, require
from loomproof.measuring.safety import LONGEST_DWELL_MS


def measure_insulation(
    bench: Bench, clearance: Clearance, a: PointSet, b: PointSet, volts: float, dwell_ms: int
) -> float:
    """Measure insulation resistance, Ω: armed, measured, discharged, released, in this order.

    Raises `SafetyError` without a clearance for this bench, for a voltage above the one that a person typed
    for it, and where the line fails while the loom may be charged; `UsageError` for what is no test.
    """
    if not (volts > 0.0 and 0 <= dwell_ms <= LONGEST_DWELL_MS):
        raise UsageError(
            f"{volts:g} V for {dwell_ms} ms cannot be tested", cure=f"Dwell is at most {LONGEST_DWELL_MS} ms."
        )
    require(clearance, bench)
    if volts > clearance.insulation_v:
        raise SafetyError(
            f"an insulation test at {volts:g} V was not confirmed for this loom; nothing was driven",
            cure="Hands off the loom, everything unplugged from it, then confirm this voltage.",
        )
    bench.arm(volts)
    try:
        found = bench.insulation(a, b, volts, dwell_ms)
    except BaseException as error:
        with contextlib.suppress(BenchError):  # the first error is the one to tell
            bench.release()
        if isinstance(error, LinkError):
            raise SafetyError(
                f"the line failed during an insulation test at {volts:g} V: the loom may still be charged",
                cure="Do not touch it. Switch the bench off, wait a minute, and discharge the loom "
                "through a resistor.",
            ) from error
        raise
    bench.release()
    return found
