"""Hook-ups: proving a loom that has more cavities than the bench has points.

Testing what each hook-up sees proves the whole loom if and only if the cavities of each net hang together
by sharing hook-ups, and each two nets meet in some hook-up (``THEORY.md``). So nets must meet, not
connectors. Both conditions are rows of one covering problem (`hookup_cover`) over connectors.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise

from loomproof.bench.adapter import Adapter, table_of
from loomproof.errors import AdapterError, Do, Todo, UsageError, suggestion
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.planning.hookup_cover import Cover, Problem, Row, cover, trimmed, undominated, units_of
from loomproof.planning.hookup_order import best_order, plug_ins
from loomproof.planning.hookup_plan import HookUp, HookUpPlan, Unit
from loomproof.planning.own_plugs import on_one_point, refuse_plugs

MOST_CUTS = 6
"""Nets on up to this many connectors get all their cuts at once, others those that a plan leaves open."""

SPLITS = (1, 2, 4, 6, 8, 16)
"""Into how many groups of leads a plug that may be split is tried to be split."""


@dataclass(frozen=True, slots=True)
class Constraints:
    """What the person can't or won't do.

    ``split``: connectors whose leads may go to points in groups; all others are plugged whole. ``stay``:
    connectors that stay plugged all the time. ``owned``: how many adapter plugs of a housing there are.
    ``plugs``: adapter plugs that there are, as a table in which plugs may share points: their leads stay on
    their points.
    """

    split: tuple[str, ...] = ()
    stay: tuple[str, ...] = ()
    owned: Mapping[str, int] = field(default_factory=dict)
    plugs: Adapter | None = None


class NotPossibleError(AdapterError):
    """No plan exists; ``connector`` is the one to blame, "" where an owned adapter is."""

    def __init__(self, message: str, *, connector: str, cure: str = "", do: Do | None = None) -> None:
        super().__init__(message, cure=cure, do=do)
        self.connector = connector


def plan_hook_ups(
    loom: Loom,
    nets: Iterable[Sequence[End]],
    points: int,
    constraints: Constraints | None = None,
    *,
    seed: int = 1,
    only: Collection[int] | None = None,
) -> HookUpPlan:
    """Return the fewest hook-ups found, then the fewest plug-ins among those found, in the best order.

    ``nets`` are the cavities of each net; ``only`` are those of them that must be proved, by their places,
    all where it is ``None``. Raises `NotPossibleError` that names the connector which makes it
    impossible, `UsageError` for a constraint that names nothing of this loom.
    """
    limits = constraints or Constraints()
    _known(loom, limits)
    if limits.plugs is not None:
        refuse_plugs(loom, limits.plugs, points, limits.split, limits.stay)
    cavities = [tuple(net) for net in nets]
    task = _Task(loom, cavities, frozenset(range(len(cavities)) if only is None else only), points, limits)
    if limits.split:
        return _best_split(task, seed)
    return _planned(task, _units(loom, {}), seed)


@dataclass(frozen=True)
class _Task:
    """What is to be planned: ``only`` are the nets that must be proved, by their places in ``nets``."""

    loom: Loom
    nets: Sequence[Sequence[End]]
    only: frozenset[int]
    points: int
    limits: Constraints


def _known(loom: Loom, limits: Constraints) -> None:
    plugs = [c.name for c in loom.connectors if c.kind is not ConnectorKind.SPLICE]
    for name in (*limits.split, *limits.stay):
        if name not in plugs:
            raise UsageError(
                f"{name}: the loom has no such connector",
                cure=suggestion(name, plugs) or "The description lists its connectors.",
                do=None if suggestion(name, plugs) else Todo.CHECK_LOOM,
            )
    housings = {c.housing for c in loom.connectors if c.housing}
    for housing, count in limits.owned.items():
        if housing not in housings:
            raise UsageError(
                f"{housing}: no connector has this housing",
                cure=suggestion(housing, housings) or f"There are {', '.join(sorted(housings)) or 'none'}.",
            )
        if count < 1:
            raise UsageError(f"{housing}: {count} adapter plugs can't be planned with")


def _units(loom: Loom, parts: Mapping[str, int]) -> tuple[Unit, ...]:
    """Return what is plugged as one; ``parts`` says into how many groups a connector's leads are split."""
    units: list[Unit] = []
    for connector in loom.connectors:
        if connector.kind is ConnectorKind.SPLICE:
            continue
        ends = connector.ends
        count = min(parts.get(connector.name, 1), len(ends))
        if count == 1:
            units.append(Unit(connector.name, connector.name, ends))
            continue
        cuts = [len(ends) * k // count for k in range(count + 1)]
        for first, last in pairwise(cuts):
            some = ends[first:last]
            which = some[0].cavity if len(some) == 1 else f"{some[0].cavity} to {some[-1].cavity}"
            units.append(Unit(f"{connector.name} {which}", connector.name, some))
    return tuple(units)


def _best_split(task: _Task, seed: int) -> HookUpPlan:
    """Try numbers of groups for the plugs that may be split, and keep the best plan."""
    best: HookUpPlan | None = None
    refused: NotPossibleError | None = None
    for count in SPLITS:
        units = _units(task.loom, dict.fromkeys(task.limits.split, count))
        try:
            plan = _planned(task, units, seed, tries=6)
        except NotPossibleError as error:
            refused = error
            continue
        if best is None or _cost(plan) < _cost(best):
            best = plan
    if best is None:
        assert refused is not None
        raise refused
    return best


def _cost(plan: HookUpPlan) -> tuple[int, int]:
    return len(plan.hook_ups), plan.plug_ins


def _planned(task: _Task, units: Sequence[Unit], seed: int, *, tries: int = 60) -> HookUpPlan:
    limits = task.limits
    signatures = signatures_of(task.nets, units)
    wanted = signatures_of((net for k, net in enumerate(task.nets) if k in task.only), units)
    rows = list(meeting_rows(signatures, wanted))
    groups = [
        (_mask(k for k, u in enumerate(units) if task.loom.by_name[u.connector].housing == housing), count)
        for housing, count in limits.owned.items()
    ]
    fixed = {} if limits.plugs is None else limits.plugs.point_of
    apart = [(1 << a | 1 << b, 1) for a, b in on_one_point(units, fixed)]
    stay = _mask(k for k, unit in enumerate(units) if unit.connector in limits.stay)
    sizes = tuple(len(unit.ends) for unit in units)
    while True:
        problem = Problem(sizes, task.points, undominated(rows), (*groups, *apart), stay)
        _refuse_impossible(problem, units, task.points, limits)
        found = cover(problem, seed=seed, tries=tries)
        extra = [row for signature in wanted for row in open_cuts(found.sets, signature)]
        if not extra:
            break
        rows += extra
    return _ordered(problem, found, (signatures, wanted), units, task)


def signatures_of(nets: Iterable[Iterable[End]], units: Sequence[Unit]) -> tuple[int, ...]:
    """Return which units each net comes to, as masks, one for each different set."""
    unit_of = {end: k for k, unit in enumerate(units) for end in unit.ends}
    masks = (_mask({unit_of[end] for end in net}) for net in nets)
    return tuple(dict.fromkeys(mask for mask in masks if mask))


def meeting_rows(signatures: Sequence[int], wanted: Sequence[int] | None = None) -> Iterable[Row]:
    """Yield what must meet: each two nets, and each cut of a net (up to `MOST_CUTS` units).

    Of these only what says something of the ``wanted`` nets. A net that comes to one unit makes that this
    unit is plugged at all.
    """
    chosen = signatures if wanted is None else wanted
    yield from ((a, b) for a, b in combinations(signatures, 2) if a in chosen or b in chosen)
    for mask in chosen:
        members = list(units_of(mask))
        if len(members) == 1:
            yield mask, mask
        elif len(members) <= MOST_CUTS:
            for word in range(1 << (len(members) - 1)):
                part = _mask(u for k, u in enumerate(members) if word >> k & 1)
                if part:
                    yield part, mask & ~part


def open_cuts(sets: Sequence[int], signature: int) -> list[Row]:
    """Return a cut for each part of a net that shares no hook-up with the rest of it."""
    parts: list[int] = [1 << u for u in units_of(signature)]
    for chosen in sets:
        together = [part for part in parts if part & chosen]
        if len(together) > 1:
            parts = [part for part in parts if not part & chosen] + [sum(together)]
    return [(part, signature & ~part) for part in parts] if len(parts) > 1 else []


def proves(sets: Sequence[int], signatures: Sequence[int], wanted: Sequence[int] | None = None) -> bool:
    """Whether these sets of units prove a loom with nets on these units: both conditions, checked anew.

    Where only the ``wanted`` nets are to be proved, these and what they meet.
    """
    chosen = signatures if wanted is None else wanted
    pairs = ((a, b) for a, b in combinations(signatures, 2) if a in chosen or b in chosen)
    meet = all(any(s & a and s & b for s in sets) for a, b in pairs)
    return meet and all(any(s & a for s in sets) and not open_cuts(sets, a) for a in chosen)


def _refuse_impossible(problem: Problem, units: Sequence[Unit], points: int, limits: Constraints) -> None:
    stays = ", ".join(limits.stay)
    if not problem.fits(0):
        names = [units[u].connector for u in units_of(problem.stay)]
        raise NotPossibleError(
            f"{stays} should stay plugged and take {problem.size(problem.stay)} points of {points}",
            connector=names[0],
            cure="Let one of them be unplugged.",
        )
    bad = problem.impossible()
    if not bad:
        return
    by_size = Problem(problem.sizes, points, problem.rows, (), problem.stay)
    if not by_size.impossible():
        fixed = {} if limits.plugs is None else limits.plugs.point_of
        for a, b in on_one_point(units, fixed):
            if any({1 << a, 1 << b} == set(row) for row in bad):
                raise NotPossibleError(
                    f"{units[a].name} and {units[b].name} must be plugged together, and their plugs have "
                    "leads on the same points",
                    connector=units[b].connector,
                    cure="Put the leads of one of them on other points.",
                )
        raise NotPossibleError(
            "with the adapter plugs owned, some connectors that must meet can't be plugged together: "
            + _rows_text(bad[0], units),
            connector="",
            cure="Make another adapter plug of that housing.",
        )
    blame: dict[str, int] = {}
    for a, b in bad:
        for name in dict.fromkeys(units[u].connector for u in units_of(a | b)):
            blame[name] = blame.get(name, 0) + 1
    taken = {
        unit.connector: sum(len(u.ends) for u in units if u.connector == unit.connector) for unit in units
    }
    name = max(blame, key=lambda name: (blame[name], taken[name]))
    size = max(len(unit.ends) for unit in units if unit.connector == name)
    beside = f" beside {stays}, which stays plugged" if stays and name not in limits.stay else ""
    raise NotPossibleError(
        f"{name} takes {size} points of {points}{beside}, and what must meet it does not fit beside it: "
        + _rows_text(bad[0], units),
        connector=name,
        cure="Take a bench with more points, or let its leads go to points in groups where they may.",
        do=Do(Todo.SPLIT, name),
    )


def _rows_text(row: Row, units: Sequence[Unit]) -> str:
    sides = [" or ".join(units[u].name for u in list(units_of(mask))[:4]) for mask in row]
    return sides[0] if row[0] == row[1] else f"{sides[0]} with {sides[1]}"


def _ordered(
    problem: Problem,
    found: Cover,
    signatures: tuple[Sequence[int], Sequence[int]],
    units: Sequence[Unit],
    task: _Task,
) -> HookUpPlan:
    """Choose among covers of one length, whole and trimmed, the one with the fewest plug-ins."""
    everyone = range(len(units))
    by_size = sorted(everyone, key=lambda u: (problem.sizes[u], u))
    options: list[Sequence[int]] = []
    for sets in (found.sets, *found.others[:20]):
        if proves(sets, *signatures):
            options += [sets, *(trimmed(problem, sets, order) for order in (by_size, by_size[::-1]))]
    candidates = []
    for option in options:
        order = best_order(option)
        if proves(option, *signatures):
            candidates.append((plug_ins(option, order), [option[k] for k in order]))
    _, best = min(candidates)
    plugs = task.limits.plugs
    hooked = tuple(_hooked(best, units, task.points, {} if plugs is None else plugs.point_of))
    return HookUpPlan(
        task.points,
        hooked,
        sum(len(each.new) for each in hooked),
        found.bound,
        _named(found.by, units),
        tuple(units[u].name for u in units_of(problem.stay)),
        tuple((tuple(units[u].name for u in units_of(mask)), most) for mask, most in problem.limits),
        "" if plugs is None else table_of(plugs),
    )


def _named(by: str, units: Sequence[Unit]) -> str:
    """Put a unit's name in place of its number in the name of a bound."""
    head, _, number = by.rpartition(" unit ")
    return f"{head} {units[int(number)].name}" if number.isdigit() else by


def with_follow_ups(plan: HookUpPlan, pairs: Iterable[tuple[frozenset[End], frozenset[End]]]) -> HookUpPlan:
    """Return the plan with hook-ups added in which these pairs of conductors meet, as far as they can."""
    units = plan.units
    place = {unit.name: k for k, unit in enumerate(units)}
    rows = [tuple(signatures_of([a], units) + signatures_of([b], units)) for a, b in pairs]
    problem = Problem(
        tuple(len(unit.ends) for unit in units),
        plan.points,
        undominated((row[0], row[1]) for row in rows if len(row) == 2),
        tuple((_mask(place[name] for name in names), most) for names, most in plan.limits),
        _mask(place[name] for name in plan.stay),
    )
    bad = set(problem.impossible())
    problem = replace(problem, rows=tuple(row for row in problem.rows if row not in bad))
    if not problem.rows:
        return plan
    found = cover(problem, tries=20)
    sets = trimmed(problem, found.sets, range(len(units)))
    last = _mask(place[unit.name] for unit in plan.hook_ups[-1].units)
    held = plan.hook_ups[-1].point_of
    order = best_order(sets)
    fixed = {end: lead.point for end, lead in plan.leads.items()}
    added = tuple(_hooked([sets[k] for k in order], units, plan.points, fixed, last, held))
    return replace(plan, hook_ups=plan.hook_ups + added)


def _hooked(
    sets: Sequence[int],
    units: Sequence[Unit],
    points: int,
    fixed: Mapping[End, int] | None = None,
    on: int = 0,
    point_of: Mapping[End, int] | None = None,
) -> Iterable[HookUp]:
    """Give out points: what stays plugged keeps its points, what is new takes the lowest free ones.

    Leads of ``fixed`` stay on their points; a plug whose leads are in their way is put on again elsewhere.
    ``on`` is plugged beforehand, on the points of ``point_of``.
    """
    before, own = point_of or {}, fixed or {}
    held = {u: [before[end] for end in units[u].ends] for u in units_of(on)}
    for chosen in sets:
        members = list(units_of(chosen))
        off = [u for u in held if u not in members]
        for u in off:
            del held[u]
        bound = {u: [own[end] for end in units[u].ends] for u in members if units[u].ends[0] in own}
        taken = {point for mine in bound.values() for point in mine}
        moved = [u for u in held if u not in bound and taken & set(held[u])]
        for u in moved:
            del held[u]
        new = [u for u in members if u not in held]
        held |= bound
        free = sorted(set(range(1, points + 1)) - {p for mine in held.values() for p in mine})
        for u in sorted((u for u in new if u not in bound), key=lambda u: -len(units[u].ends)):
            size = len(units[u].ends)
            # One run of points if there is one: easier to plug and to check.
            start = next(
                (k for k in range(len(free) - size + 1) if free[k + size - 1] - free[k] == size - 1), 0
            )
            held[u], free = free[start : start + size], free[:start] + free[start + size :]
        yield HookUp(
            tuple(units[u] for u in members),
            tuple(units[u].name for u in new),
            tuple(units[u].name for u in off),
            {end: point for u in members for end, point in zip(units[u].ends, held[u], strict=True)},
        )


def _mask(units: Iterable[int]) -> int:
    mask = 0
    for unit in units:
        mask |= 1 << unit
    return mask
