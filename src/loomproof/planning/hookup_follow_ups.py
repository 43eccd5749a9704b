"""Hook-ups added to a plan: what was to meet and did not, as far as it can."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace

from loomproof.loom.model import End
from loomproof.planning.hookup_cover import cover
from loomproof.planning.hookup_grow import Grower
from loomproof.planning.hookup_order import best_order
from loomproof.planning.hookup_plan import HookUpPlan, Unit
from loomproof.planning.hookup_points import hooked
from loomproof.planning.hookup_problem import Problem, mask_of, undominated
from loomproof.planning.hookup_search import signatures_of


def with_follow_ups(
    plan: HookUpPlan, pairs: Iterable[tuple[frozenset[End], frozenset[End]]], units: Sequence[Unit] = ()
) -> HookUpPlan:
    """Return the plan with hook-ups added in which these pairs of conductors meet, as far as they can.

    ``units`` is what can be plugged, where that is more than the plan has.
    """
    units = units or plan.units
    place = {unit.name: k for k, unit in enumerate(units)}
    rows = [tuple(signatures_of([a], units) + signatures_of([b], units)) for a, b in pairs]
    problem = Problem(
        tuple(len(unit.ends) for unit in units),
        plan.points - len(plan.reserved),
        undominated((row[0], row[1]) for row in rows if len(row) == 2),
        tuple((mask_of(place[name] for name in names), most) for names, most in plan.limits),
        mask_of(place[name] for name in plan.stay),
    )
    bad = set(problem.impossible())
    problem = replace(problem, rows=tuple(row for row in problem.rows if row not in bad))
    if not problem.rows:
        return plan
    found = cover(problem, tries=20)
    sets = Grower(problem, random.Random(0)).trimmed(found.sets, range(len(units)))
    last = mask_of(place[unit.name] for unit in plan.hook_ups[-1].units)
    held = plan.hook_ups[-1].point_of
    order = best_order(sets)
    fixed = {end: lead.point for end, lead in plan.leads.items()}
    added = tuple(hooked([sets[k] for k in order], units, plan.points, fixed, last, held, plan.reserved))
    return replace(plan, hook_ups=plan.hook_ups + added)
