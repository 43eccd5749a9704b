"""The estimate of a break's place alone, by thousands: intervals of drawn wires, with no link and no proof.

A loom is drawn as in `placing`; the two pieces get what the simulated wire has, and the scatter that zeroed
leads and one reading leave. Whether the interval told holds the drawn place is counted, for short and long
wires apart. `placing` counts the same of whole proofs, of which one costs fifty times as long.

    python -m tests.campaign.placing_bare [--short] [--seed N] [--looms N]
"""

from __future__ import annotations

import argparse
import math
import random
import statistics
import sys
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import NamedTuple

from loomproof.electrics.expectation import expect
from loomproof.locating.breaks import Piece, place_break
from loomproof.locating.tree import tree_of
from loomproof.locating.wander import PerMetre
from loomproof.virtual.draft import Draft
from tests.campaign.placing_looms import broken

RESULTS = Path(__file__).parent / "results" / "placing_bare.md"
LOOMS, SEED = 12_000, 1
SPREAD_F, ZERO_F = 1e-12, 0.45e-12
"""Standard deviations of one reading and of a lead's zero over five of them."""

LENGTHS_M = ((0.0, 0.8), (0.8, 2.0), (2.0, 20.0))


class Told(NamedTuple):
    """An interval told: whether it holds the place, its half, the wire's length, m; if its net branches."""

    held: bool
    half_m: float
    length_m: float
    branched: bool


def told(looms: int, seed: int) -> Iterator[Told]:
    """Yield the intervals told alone, and shorter than half the wire, of breaks in wires."""
    for number in range(looms):
        rng = random.Random(f"{seed} bare {number}")
        case = broken(rng)
        if case.truth.kind != "wire":
            continue
        ((name, at_m),) = case.truth.places_m
        net = next(net for net in expect(case.loom).nets if name in net.wires)
        tree, draft = tree_of(case.loom, net), Draft(case.loom, number)
        run = next(run for run in tree.runs if run.name == name)
        own = draft.runs[name].profile
        pieces = []
        for side, broken_f in zip(
            tree.sides(run), (own.up_to(at_m), own.farad - own.up_to(at_m)), strict=True
        ):
            whole_f = math.fsum(draft.runs[each.name].profile.farad for each in tree.within(side, run))
            u_f = math.hypot(SPREAD_F, ZERO_F)
            ends = frozenset(side & set(tree.cavities))
            pieces.append(Piece(ends, whole_f + broken_f + rng.gauss(0.0, u_f), u_f))
        place = place_break(tree, pieces, PerMetre())
        if not place.told or place.failed[0].end is not None:
            continue
        stretches = place.failed[0].stretches
        half_m = math.fsum(each.half_m for each in stretches)
        if half_m <= run.length_m / 4:
            held = any(each.wire == name and each.low_m <= at_m <= each.high_m for each in stretches)
            yield Told(held, half_m, run.length_m, len(tree.runs) > 1)


def _line(what: str, found: Sequence[Told]) -> str:
    held = sum(each.held for each in found)
    share = f"{100.0 * held / max(len(found), 1):.1f} % ({held} of {len(found)})"
    half_cm = 100.0 * statistics.median([each.half_m for each in found] or [0.0])
    return f"| {what} | {share} | {half_cm:.1f} cm |"


def main(argv: Sequence[str] | None = None) -> int:
    """Count, keep the table where it ran in full, and say whether 93 to 98 % of the intervals hold."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--looms", type=int)
    options = parser.parse_args(argv)
    looms = options.looms or (400 if options.short else LOOMS)
    found = list(told(looms, options.seed))
    lines = [
        "# Intervals of breaks, told of drawn wires without a link",
        "",
        f"{datetime.now(UTC):%Y-%m-%d}, `python -m tests.campaign.placing_bare --looms {looms} --seed "
        f"{options.seed}`; 93 to 98 % of the intervals under half the wire must hold the place.",
        "",
        "| wires | held | median half-width |",
        "| --- | --- | --- |",
        _line("all", found),
        _line("of nets with branches", [each for each in found if each.branched]),
        *(
            _line(f"{low:g} to {high:g} m", [each for each in found if low <= each.length_m < high])
            for low, high in LENGTHS_M
        ),
    ]
    text = "\n".join(lines) + "\n"
    print(text)
    if not options.short:
        RESULTS.write_text(text, encoding="utf-8")
    return 0 if 0.93 <= sum(each.held for each in found) / max(len(found), 1) <= 0.98 else 1


if __name__ == "__main__":
    sys.exit(main())
