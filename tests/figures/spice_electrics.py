"""Compare expected values with ngspice on 200 random looms, linear and with diodes.

    python tests/figures/spice_electrics.py [--short] [--looms 200] [--seed 0]

Prints the worst deviation; exits with 1 where one is beyond 0.1 % and 0.1 mΩ. Needs the Debian package
ngspice.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.electrics.against_spice import compare


def main() -> int:
    """Compare, print, and say whether all agree."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--looms", type=int, default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--short", action="store_true", help="20 looms")
    options = parser.parse_args()
    looms = 20 if options.short else options.looms
    found = [compare(options.seed * 1000 + k) for k in range(looms)]
    worst = max(found, key=lambda compared: compared.worst)
    print(
        f"{looms} looms, {sum(compared.values for compared in found)} values, first seed "
        f"{options.seed * 1000}: worst {worst.worst:.4f} of what is allowed (0.1 % or 0.1 mΩ), {worst.what}"
    )
    return 0 if worst.worst <= 1.0 else 1


if __name__ == "__main__":
    sys.exit(main())
