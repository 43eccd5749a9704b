"""Compare expected values with ngspice on 200 random looms, linear and with diodes.

    python -m tests.figures spice_electrics [--short] [--looms 200] [--seed 0]

Exits with 1 where a value is further from ngspice's than 0.1 % or 0.1 mΩ. Needs the Debian package ngspice;
its relative tolerance is set to 1e-6.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Sequence

from tests.electrics.against_spice import compare
from tests.results import table_file


def main(argv: Sequence[str] | None = None) -> int:
    """Compare, show the table, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true", help="20 looms")
    options = parser.parse_args(argv)
    looms = 20 if options.short else options.looms
    begun = time.monotonic()
    found = [compare(options.seed * 1000 + k) for k in range(looms)]
    worst = max(found, key=lambda compared: compared.worst)
    rows = [
        "Worst difference from ngspice (reltol 1e-6) as a share of what is allowed, 0.1 % or 0.1 mΩ:",
        "expected and greatest sound values, readings with a wire open, component readings with and without",
        "the component; diodes with a real curve in the circuit, at -10 to 40 °C.",
        "",
        "| looms | first seed | values compared | worst | which |",
        "| --- | --- | --- | --- | --- |",
        f"| {looms} | {options.seed * 1000} | {sum(compared.values for compared in found)} "
        f"| {worst.worst:.4f} | {worst.what} |",
    ]
    table_file("figures", "spice_electrics", rows, time.monotonic() - begun, short=options.short)
    return 0 if worst.worst <= 1.0 else 1


if __name__ == "__main__":
    sys.exit(main())
