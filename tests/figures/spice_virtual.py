"""Compare the simulator with ngspice on 200 random faulty looms without diodes and 200 with.

    python -m tests.figures spice_virtual [--short] [--looms 200] [--seed 0]

Exits with 1 where a reading is further from ngspice's than 0.1 % or 0.1 mΩ (0.1 % or 0.1 mV for sense
voltages). Needs the Debian package ngspice; its relative tolerance is set to 1e-6.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

from tests.results import table_file
from tests.virtual.spice_check import compare


def main(argv: Sequence[str] | None = None) -> int:
    """Compare, show the table, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true", help="10 looms of each sort")
    options = parser.parse_args(argv)
    looms = 10 if options.short else options.looms
    begun = time.monotonic()
    rows = [
        "Worst difference from ngspice (reltol 1e-6) as a share of what is allowed: 0.1 % or 0.1 mΩ for",
        "resistances, 0.1 % or 0.1 mV for sense voltages.",
        "",
        "| looms | parts | cavities | diodes in them | readings compared | resistance | sense voltage |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    agree = True
    for diodes in (False, True):
        found = [compare(options.seed * 10_000 + k, diodes=diodes) for k in range(looms)]
        ohm = max(one.worst_ohm for one in found)
        volt = max(one.worst_volt for one in found)
        agree &= ohm <= 1.0 and volt <= 1.0
        rows.append(
            f"| {looms} | {'resistors, coils, diodes' if diodes else 'resistors, coils'} "
            f"| {min(one.cavities for one in found)} to {max(one.cavities for one in found)} "
            f"| {sum(one.diodes for one in found)} | {sum(one.readings for one in found)} "
            f"| {ohm:.4f} | {volt:.4f} |"
        )
    table_file("figures", "spice_virtual", rows, time.monotonic() - begun, short=options.short)
    return 0 if agree else 1


if __name__ == "__main__":
    sys.exit(main())
