"""Loose ends that no adapter fits, read one at a time with a probe joined to the scanner's 0 V.

Nothing is driven. The points of the net that the probe touches read low, and those of nets that parts join to
it may. So a touch says on which conductor an end is; how many ohms it has is not measured.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from loomproof.bench.interface import Bench
from loomproof.electrics.expectation import Expectation
from loomproof.electrics.undetectable_opens import Web
from loomproof.loom.model import End
from loomproof.measuring.clearance import Clearance, require_loom
from loomproof.planning.net_access import Scope
from loomproof.results.document import ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Measured

ALIKE = 3
"""Readings that must agree before a touch is believed: a hand is not steady."""
TRIES = 5


@dataclass(frozen=True, slots=True)
class Touch:
    """One end that the probe was held on, and the points that read low meanwhile."""

    end: End
    low: int


def read_touch(bench: Bench, clearance: Clearance, scope: Scope) -> int | None:
    """Return the points that read low while the probe is held; ``None`` where they never read alike.

    Raises `SafetyError` without a clearance for this bench.
    """
    require_loom(clearance, bench)
    for _ in range(TRIES):
        first, *others = bench.sense([0] * ALIKE)
        if all(low == first for low in others):
            return first & scope.points
    return None


def with_touches(
    measured: Measured, expectation: Expectation, scope: Scope, touches: Sequence[Touch]
) -> tuple[Measured, tuple[End, ...]]:
    """Return the loom as found with the touched ends in it, and the ends that now count as tested.

    An end whose whole net has no point answers nothing whatever it is joined to: it stays untested.
    """
    net_of = {end: frozenset(net.cavities) for net in expectation.nets for end in net.cavities}
    expected, groups = list(measured.expected), list(measured.groups)
    unstable, notes, told = list(measured.unstable), list(measured.notes), []
    for touch in touches:
        net = net_of[touch.end]
        home = next((k for k, known in enumerate(expected) if known & net), None)
        if home is None and len(net) > 1:
            notes.append(
                f"{touch.end}: no end of its net has a point; touching it can't say what it is joined to."
            )
            continue
        if home is None:
            expected.append(frozenset({touch.end}))
        else:
            expected[home] |= {touch.end}
        told.append(touch.end)
        if not touch.low:
            notes.append(
                f"{touch.end}: the probe saw nothing. That it was held there is the word of whoever held it; "
                "it may have missed bare metal."
            )
        k, fits = _group_of(touch, net, groups, scope)
        if not fits:
            unstable.append(touch.end)
        if k is None:
            groups.append(frozenset({touch.end}))
        else:
            groups[k] |= {touch.end}
    return (
        replace(
            measured,
            expected=tuple(expected),
            groups=tuple(groups),
            unstable=tuple(unstable),
            untested=tuple(end for end in measured.untested if end not in told),
            notes=tuple(notes),
        ),
        tuple(told),
    )


def _group_of(
    touch: Touch, net: frozenset[End], groups: Sequence[frozenset[End]], scope: Scope
) -> tuple[int | None, bool]:
    """Return which conductor was touched, and whether the rest of what read low is there through parts."""
    low = scope.ends(touch.low)
    reached = [k for k, group in enumerate(groups) if group & low]
    if not reached:
        return None, True
    # Its own net first; else the largest, for a part lets a small net be pulled down with a large one.
    own = [k for k in reached if groups[k] & net]
    home = max(own or reached, key=lambda k: (len(groups[k] & net), len(groups[k] & low), -k))
    bundles = {scope.bundle_of[scope.group_of[end]] for end in groups[home] if end in scope.group_of}
    others = {
        scope.bundle_of[scope.group_of[end]]
        for k in reached
        if k != home
        for end in groups[k]
        if end in scope.group_of
    }
    seen = {end for end in groups[home] if end in scope.group_of}
    return home, others <= bundles and seen <= low


def claims_of(
    touched: Iterable[End], measured: Measured, clear_ohm: float | None, expectation: Expectation
) -> tuple[ClaimEntry, ...]:
    """Return what was proved of each touched end."""
    web = Web(expectation)
    net_of = {end: net for net in measured.expected for end in net}
    found = {end: group for group in measured.groups for end in group}
    claims = []
    for end in touched:
        right = net_of[end] == found[end] and end not in measured.unstable
        others = tuple(sorted(found[end] - {end}))
        joined = f"joined to {', '.join(map(str, others))}" if others else "joined to nothing"
        under = f" by a path under {ohms(clear_ohm)}" if others and clear_ohm is not None else ""
        claims.append(
            ClaimEntry(
                kind="continuity",
                subject=str(end),
                statement=f"read with the probe: {joined}{under}; its ohms are not measured",
                decision=Decision.PASS if right else Decision.FAIL,
                rule="the probe at 0 V on the end, nothing driven: what reads low is joined to it",
                cavities=(end, *others),
                wires=web.joining(net_of[end]),
                threshold_ohm=clear_ohm if others else None,
            )
        )
    return tuple(claims)
