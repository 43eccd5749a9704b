"""What a meter's beep proves: its threshold is the person's word, and a pair that nobody swept is named."""

from __future__ import annotations

from collections.abc import Iterator

from loomproof.bench.seam import Capabilities
from loomproof.judgement.covered import Covered
from loomproof.judgement.joined import joined_claim
from loomproof.loom.text import first_of
from loomproof.planning.plan import Plan
from loomproof.results.document import BUT_JOINED, ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Measured

BEEP_RULE = (
    "a beep, noted by the person: a path under the most at which this meter is said to beep; how many ohms "
    "it has is not measured"
)
SILENCE_RULE = (
    "silence, noted by the person: no path, taken alone, under the least at which this meter is said to "
    "beep; what conducts one way, or only above a voltage of its own, may be silent"
)


def beeped(
    plan: Plan, measured: Measured, capabilities: Capabilities, covered: Covered
) -> Iterator[ClaimEntry]:
    """Yield what sweeps prove, net by net; nothing where no person was the bench."""
    if capabilities.beep_ohm is None:
        return
    surely_ohm, at_most_ohm = capabilities.beep_ohm
    scope, whole = plan.scope, set(measured.groups)
    never = {end for pair in measured.unswept for end in pair}
    for k, group in enumerate(scope.groups):
        ends = scope.ends(group.points)
        names = tuple(sorted(ends, key=scope.place_of.__getitem__))
        if group.size > 1:
            yield joined_claim(names, whole, covered, under_ohm=at_most_ohm, rule=BEEP_RULE)
        if len(scope.groups) < 2:
            continue
        mine = ends.union(*(net for net in measured.expected if net & ends))
        apart = all(found <= mine for found in whole if found & ends)
        but = f" {BUT_JOINED}" if scope.behind[k] > group.size else ""
        others = {b if a in mine else a for a, b in measured.unswept if (a in mine) != (b in mine)}
        if others and mine & never:
            told = first_of(map(str, sorted(others, key=scope.place_of.__getitem__)), 8)
            but += f"{' and' if but else ' but'} those never swept against it: {told}"
        yield ClaimEntry(
            kind="isolation",
            subject=str(names[0]),
            statement=f"no path under {ohms(surely_ohm)} to any other net{but}"
            if apart
            else "a path to another net was found",
            decision=Decision.PASS if apart else Decision.FAIL,
            rule=SILENCE_RULE,
            cavities=names,
            wires=covered.apart(ends),
            threshold_ohm=surely_ohm,
        )
