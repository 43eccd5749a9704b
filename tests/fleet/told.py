"""What was told of a fleet beside what is true of it (`tests.fleet.filled.truth`)."""

from __future__ import annotations

from loomproof.fleet.questions import DIMENSIONS, Told
from tests.fleet.filled import Truth

MOST = 15


def differences(told: Told, true: Truth) -> list[str]:
    """Return the names of what is told otherwise than it is."""
    sums, count = told.sums, len(true.took_s)
    half = true.took_s[(count - 1) // 2] if count else None
    nine_tenths = true.took_s[-(-count * 9 // 10) - 1] if count else None
    months = {month.month: (month.looms, month.passed) for month in told.first_pass}
    faults = {}
    for dimension in DIMENSIONS:
        rows = sorted(true.by[dimension].items(), key=lambda row: (-row[1], row[0]))
        faults[dimension] = sorted(rows)[-MOST:] if dimension == "month" else rows[:MOST]
    alike = {
        "sums": (sums.looms, sums.proofs, sums.passed) == (true.looms, true.proofs, true.passed),
        "first pass": months == true.months and list(months) == sorted(months),
        "mending": (told.mending.times, told.mending.half_s, told.mending.nine_tenths_s)
        == (count, half, nine_tenths),
        "dimensions": tuple(told.faults) == DIMENSIONS,
        **{f"faults by {name}": told.faults[name] == rows for name, rows in faults.items()},
    }
    return [what for what, same in alike.items() if not same]
