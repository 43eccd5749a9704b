"""Hook-up plans of random looms beside the plans of the planner before, and beside the best that there are.

    python -m tests.figures hookups [--short]

200 looms that are bigger than a bench (`tests.planning.hookup_looms`), against hook-ups and plug-ins that the
integer program of November 2026 found, with the bound below which no plan goes; and 200 looms so small that
every way is tried (`tests.planning.hookup_exact`). Exits with 1 where a plan is worse.
"""

from __future__ import annotations

import argparse
import json
import sys
import time
from collections import Counter
from collections.abc import Sequence

from loomproof.planning.hookup_search import NotPossibleError, plan_hook_ups
from tests.planning.hookup_exact import fewest, small_case
from tests.planning.hookup_looms import SIZES, sizes_of
from tests.results import table_file

WHAT = ("hook-ups", "plug-ins", "bound")


def beside_before(numbers: Sequence[int]) -> tuple[list[str], int]:
    """Return the lines of the looms that are bigger than a bench, and how many plans are worse."""
    kept = json.loads(SIZES.read_text())
    counts: Counter[str] = Counter()
    sums: Counter[str] = Counter()
    worse = []
    for number in numbers:
        was, now = kept[str(number)], sizes_of(number)
        if "not possible" in (was[0], now[0]):
            counts["not possible in both" if was[0] == now[0] else "possible in one only"] += 1
            continue
        sums += Counter(
            dict(zip(("hook-ups, before", "plug-ins, before", "bound, before"), was, strict=True))
        )
        sums += Counter(dict(zip(("hook-ups, now", "plug-ins, now", "bound, now"), now, strict=True)))
        if now[0] < was[0]:
            counts["fewer hook-ups"] += 1
        elif now[0] == was[0] and now[1] < was[1]:
            counts["as many hook-ups, fewer plug-ins"] += 1
        elif now[:2] == was[:2]:
            counts["the same"] += 1
        else:
            counts["worse"] += 1
            worse.append(number)
        counts["as few hook-ups as the bound"] += now[0] == now[2]
    lines = [f"| {len(numbers)} looms bigger than a bench | before | now |", "| --- | ---: | ---: |"]
    for what in WHAT:
        lines.append(f"| {what}, in sum | {sums[f'{what}, before']} | {sums[f'{what}, now']} |")
    lines += ["", "| beside the plan before | looms |", "| --- | ---: |"]
    for what in ("fewer hook-ups", "as many hook-ups, fewer plug-ins", "the same", "worse"):
        lines.append(f"| {what} | {counts[what]} |")
    for what in ("not possible in both", "possible in one only", "as few hook-ups as the bound"):
        lines.append(f"| {what} | {counts[what]} |")
    if worse:
        lines += ["", f"Worse: {', '.join(map(str, worse))}."]
    return lines, len(worse) + counts["possible in one only"]


def beside_the_best(numbers: Sequence[int]) -> tuple[list[str], int]:
    """Return the lines of the looms of which every way is tried, and how many plans are not the best."""
    counts: Counter[str] = Counter()
    for number in numbers:
        loom, nets, points = small_case(number)
        best = fewest(loom, nets, points)
        try:
            plan = plan_hook_ups(loom, nets, points)
            found: tuple[int, int] | None = (len(plan.hook_ups), plan.plug_ins)
            counts["a bound above the best"] += best is None or plan.bound > best[0]
        except NotPossibleError:
            found = None
        if best is None or found is None:
            counts["not possible, both say" if best is found else "possible, one says"] += 1
        elif found[0] > best[0]:
            counts["more hook-ups than the fewest"] += 1
        else:
            counts["the fewest hook-ups and plug-ins" if found == best else "more plug-ins"] += 1
    lines = [f"| {len(numbers)} looms of three to six plugs, every way tried | looms |", "| --- | ---: |"]
    good = ("the fewest hook-ups and plug-ins", "not possible, both say")
    bad = ("more hook-ups than the fewest", "more plug-ins", "possible, one says", "a bound above the best")
    lines += [f"| {what} | {counts[what]} |" for what in good + bad]
    return lines, sum(counts[what] for what in bad)


def main(argv: Sequence[str] | None = None) -> int:
    """Plan, compare, show the table, and say whether no plan is worse."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="a tenth of the looms")
    options = parser.parse_args(argv)
    begun = time.monotonic()
    numbers = range(0, 200, 10 if options.short else 1)
    before, worse = beside_before(numbers)
    best, not_best = beside_the_best(numbers)
    table_file("figures", "hookups", [*before, "", *best], time.monotonic() - begun, short=options.short)
    return 1 if worse + not_best else 0


if __name__ == "__main__":
    sys.exit(main())
