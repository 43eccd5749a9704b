"""Plans: what a proof will ask, and how a loom is hooked up that is bigger than the bench."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from loomproof.bench.adapter import Adapter
from loomproof.bench.interface import Bench
from loomproof.bench.seam import Capabilities
from loomproof.jobs import plan as planning
from loomproof.jobs.plan import HookUpPlan, PlannedProof
from loomproof.loom.model import Loom
from loomproof.planning.hookup_search import Constraints


def plan(
    loom: Loom, bench: Bench | None = None, adapter: Adapter | None = None, *, repeats: int = 1
) -> PlannedProof:
    """Plan a proof of a loom that is plugged whole: everything that will be asked, and its limits.

    ``bench`` is open and is asked what it can do; nothing is driven. Without one it is a scanner with a point
    for each cavity. ``adapter`` is in the description's order unless given; each resistance is read
    ``repeats`` times. Raises `AdapterError` where it fits neither loom nor bench, `UsageError` for repeats
    where no ohms are measured.

    >>> import loomproof as lp
    >>> planned = lp.plan(lp.load("fixtures/tail_lamp"))
    >>> len(planned.plan.vectors), planned.saved.loom
    (6, 'Left tail lamp')
    """
    if bench is not None:
        return planning.proof(loom, planning.bench_to_plan_for(bench), adapter, repeats)
    able = Capabilities(max(1, len(loom.cavities), *(adapter.points if adapter else ())))
    return planning.proof(loom, planning.BenchToPlanFor(able), adapter, repeats)


def plan_hookups(
    loom: Loom,
    points: int,
    *,
    split: Iterable[str] = (),
    stay: Iterable[str] = (),
    owned: Mapping[str, int] | None = None,
) -> HookUpPlan:
    """Plan hook-ups of a loom for a bench of so many points: which connectors are plugged, in which order.

    ``split`` are connectors whose leads may go to points in groups, ``stay`` those that stay plugged,
    ``owned`` how many adapter plugs of a housing there are. Raises `AdapterError` that names the connector to
    blame where there is no plan, `UsageError` for a connector or housing that the loom has not.

    >>> import loomproof as lp
    >>> planned = lp.plan_hookups(lp.load("fixtures/tail_lamp"), 10, split=["LAMP"])
    >>> len(planned.hook_ups), planned.optimal
    (2, True)
    """
    return planning.hook_ups(loom, points, Constraints(tuple(split), tuple(stay), dict(owned or {})))
