"""One cause for many readings, whatever else is wrong with the loom: told before any wire is accused.

Readings of conductors that share nothing are taken together, all on one bus against all on the other:

- Conductors side by side read less than each alone, by the sum of their conductances. What is in the meter,
  in its leads or on its buses is in that reading once, and was in each of the others: so an offset shows.
- Leaks between conductors side by side read less than each alone as well. What leaks on the bench's own board
  reads the same, wherever it is asked.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from loomproof.errors import Todo, UnfitError
from loomproof.measuring.controls import spare_point
from loomproof.measuring.ohmmeter import Ohmmeter
from loomproof.measuring.separate_nets import Groups
from loomproof.planning.plan import Plan
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision, Judged

TOGETHER = 8
"""So many conductors are read side by side."""

ROUNDS = 3
"""So often that must come out the same: a contact that comes and goes does not."""

LEAST_OHM = 1e-6

BESIDE_SHARE = 0.05
"""A conductor of more than this share of a part may lead through the part beside it. Our convention."""


def refuse_common_offset(plan: Plan, ohmmeter: Ohmmeter, groups: Groups, judged: Sequence[Judged]) -> None:
    """Refuse a meter that reads conductors side by side as no less than its readings of each allow.

    Asked where a conductor would be blamed for its ohms. What leads were zeroed to may all be the bench's:
    it is no offset. Raises `UnfitError`.
    """
    blamed = any(
        r.decision is Decision.FAIL and not r.component and math.isfinite(r.measured_ohm) for r in judged
    )
    if not blamed:
        return
    pairs = _one_a_net(plan, groups, judged)
    if len(pairs) < 2:
        return
    a, b = (sum(pair[k] for pair in pairs) for k in (0, 1))
    leads_ohm = max(0.0, *(ohmmeter.meter.leads_ohm(a.bit_length(), b.bit_length(), 2) for a, b in pairs))
    least_ohm = math.inf
    for _ in range(ROUNDS):
        alone = [ohmmeter.asker.resistance(*pair) for pair in pairs]
        together_ohm = ohmmeter.asker.resistance(a, b)
        if math.isinf(together_ohm) or min(alone) <= 0.0:
            return
        expected_ohm = 1 / math.fsum(1 / ohm for ohm in alone)
        u_ohm = ohmmeter.meter.uncertainty_ohm(together_ohm, 2) + math.fsum(
            (expected_ohm / ohm) ** 2 * ohmmeter.meter.uncertainty_ohm(ohm, 2)
            for ohm in alone
            if math.isfinite(ohm)
        )
        if together_ohm - expected_ohm <= leads_ohm + u_ohm:
            return
        least_ohm = min(least_ohm, together_ohm - expected_ohm)
    raise UnfitError(
        f"{len(pairs)} conductors of as many nets read {ohms(together_ohm)} side by side, and by what each "
        f"reads alone it would be {ohms(expected_ohm)}: {ohms(least_ohm)} or more of every reading is the "
        "bench's own",
        cure="Look at the meter's leads and its zero; zero the leads with this meter and read a "
        "known resistance.",
        do=Todo.ZERO_OR_RESISTOR,
    )


def _one_a_net(plan: Plan, groups: Groups, judged: Sequence[Judged]) -> list[tuple[int, int]]:
    """Return one pair of points of each net found as described, whose reading no part beside it decides."""
    scope = plan.scope
    as_found = set(groups)
    parts = [r.lower_ohm for r in plan.parts if r.part.forward_v is None and r.lower_ohm > 0.0]
    most_ohm = BESIDE_SHARE * min(
        [*parts, *(b.lower_ohm for b in plan.bounds if b.component)], default=math.inf
    )
    found: dict[int, tuple[int, int]] = {}
    for r in judged:
        net = scope.group_of[r.a]
        own = scope.group_of[r.b] == net and scope.ends(scope.groups[net].points) in as_found
        if own and not r.component and r.measured_ohm <= most_ohm:
            found.setdefault(net, (scope.bit(r.a), scope.bit(r.b)))
    return list(found.values())[:TOGETHER]


def refuse_leaking_board(plan: Plan, ohmmeter: Ohmmeter) -> None:
    """Refuse a bench on which what shares nothing leaks alike, one by one and side by side: `UnfitError`.

    Asked where a leak would be blamed on the loom. One reading ends it on a bench whose board does not leak.
    """
    scope = plan.scope
    firsts: dict[int, int] = {}
    for group, bundle in zip(scope.groups, scope.bundle_of, strict=True):
        firsts.setdefault(bundle, group.head)
    heads = list(firsts.values())
    spare = 0
    if len(heads) > 3:
        sets = [(heads[0], heads[1]), (heads[2], heads[3]), (heads[0] | heads[2], heads[1] | heads[3])]
    elif spare := spare_point(plan, ohmmeter.asker.capabilities().points):
        sets = [(heads[0], spare)]
    else:
        return
    for _ in range(ROUNDS):
        read = []
        for pair in sets:
            read.append(ohmmeter.asker.resistance(*pair))
            u_ohm = 0.0 if math.isinf(read[0]) else ohmmeter.meter.isolation_u_ohm(read[0])
            if math.isinf(read[-1]) or abs(read[-1] - read[0]) > 2 * u_ohm:
                return
        # Two leaks of the loom read as resistors side by side do: what may be that is no sign of the bench.
        if (
            len(read) > 1
            and read[2] - 1 / (1 / max(read[0], LEAST_OHM) + 1 / max(read[1], LEAST_OHM)) <= 2 * u_ohm
        ):
            return
    where = (
        f"point {spare.bit_length()}, which no lead goes to, and {scope.end_of[heads[0].bit_length()]}"
        if spare
        else "conductors that share nothing, one pair, another, and both side by side,"
    )
    raise UnfitError(
        f"{where} read {ohms(read[0])} to each other, {ROUNDS} times of {ROUNDS}: that is a leak of the "
        "bench, not of the loom",
        cure="Look for dirt or damp on its board, relays and plugs, and for a second meter across the "
        "first. Then test the bench with the loom off.",
        do=Todo.SELFTEST,
    )
