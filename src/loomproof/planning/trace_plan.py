"""Hook-ups to trace a loom of which nothing is known: every two plugs meet, until what is found says less.

Nothing being known, each cavity may be joined to any, so every two connectors must be plugged at the same
time once: a covering design over connectors sized by their cavities (``THEORY.md``, E2, and its bounds).
What hook-ups then find to be one conductor meets whatever any of its cavities met, so that later ones may
turn out not to be needed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from loomproof.loom.model import End, Loom
from loomproof.planning.hookup_follow_ups import with_follow_ups
from loomproof.planning.hookup_plan import HookUp, HookUpPlan
from loomproof.planning.hookup_problem import unmet
from loomproof.planning.hookup_search import Constraints, plan_hook_ups, signatures_of


def hook_ups_to_trace(loom: Loom, points: int, limits: Constraints | None = None) -> HookUpPlan:
    """Return the fewest hook-ups found in which every two cavities of a loom are plugged together once.

    Wires and parts that the loom may have count for nothing. Raises as `plan_hook_ups` does.
    """
    return plan_hook_ups(loom, [(end,) for end in loom.cavities], points, limits)


def still_needed(plan: HookUpPlan, done: int, nets: Sequence[Sequence[End]]) -> HookUpPlan:
    """Return the plan with what is still needed after its first ``done`` hook-ups, never more than it had.

    ``nets`` are the conductors that those found, of all cavities that they had.
    """
    known = {end for net in nets for end in net}
    alone = [(end,) for unit in plan.units for end in unit.ends if end not in known]
    net_of: dict[int, Sequence[End]] = {}
    for net in (*nets, *alone):
        for signature in signatures_of([net], plan.units):
            net_of.setdefault(signature, net)
    made = _masks(plan.hook_ups[:done], plan)
    open_pairs = unmet(made, list(net_of))
    begun = replace(plan, hook_ups=plan.hook_ups[:done])
    if not open_pairs:
        return _counted(begun)
    pairs = [(frozenset(net_of[a]), frozenset(net_of[b])) for a, b in open_pairs]
    shorter = _counted(with_follow_ups(begun, pairs, plan.units))
    if not unmet([*made, *_masks(shorter.hook_ups[done:], plan)], list(net_of)):
        return min(plan, shorter, key=lambda each: (len(each.hook_ups), each.plug_ins))
    return plan


def _masks(hook_ups: Iterable[HookUp], plan: HookUpPlan) -> list[int]:
    return [signatures_of([[unit.ends[0] for unit in each.units]], plan.units)[0] for each in hook_ups]


def _counted(plan: HookUpPlan) -> HookUpPlan:
    return replace(plan, plug_ins=sum(len(each.new) for each in plan.hook_ups))
