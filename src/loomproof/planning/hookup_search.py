"""Hook-ups: proving a loom that has more cavities than the bench has points.

Testing what each hook-up sees proves the whole loom if and only if the cavities of each net hang together
by sharing hook-ups, and each two nets meet in some hook-up (``THEORY.md``). So nets must meet, not
connectors. Both conditions are rows of one covering problem (`hookup_cover`) over connectors.
"""

from __future__ import annotations

import random
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from loomproof.bench.adapter import Adapter, table_of
from loomproof.errors import AdapterError, Do, Todo, UsageError, suggestion
from loomproof.loom.model import ConnectorKind, End, Loom
from loomproof.planning.hookup_cover import NODES, Cover, cover
from loomproof.planning.hookup_grow import WORK, Grower
from loomproof.planning.hookup_order import best_order, good_order, plug_ins
from loomproof.planning.hookup_plan import HookUpPlan, Unit
from loomproof.planning.hookup_points import hooked
from loomproof.planning.hookup_problem import (
    Problem,
    Row,
    mask_of,
    open_cuts,
    proves,
    rows_of,
    undominated,
    units_of,
    unmet,
)
from loomproof.planning.hookup_saving import saved
from loomproof.planning.own_plugs import on_one_point, refuse_plugs, reserved

SPLITS = (1, 2, 4, 6, 8, 16)
"""Into how many groups of leads a plug that may be split is tried to be split."""


@dataclass(frozen=True, slots=True)
class Constraints:
    """What the person can't or won't do.

    ``split``: connectors whose leads may go to points in groups; all others are plugged whole. ``stay``:
    connectors that stay plugged all the time. ``owned``: how many adapter plugs of a housing there are.
    ``plugs``: adapter plugs that there are, as a table in which plugs may share points: their leads stay on
    their points, and references on theirs, which no plug gets.
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
    searches = [
        _Search.of(task, _units(loom, dict.fromkeys(limits.split, count)), seed)
        for count in (SPLITS if limits.split else SPLITS[:1])
    ]
    return (_best(searches) if limits.split else searches[0]).planned()


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


def _best(searches: Sequence[_Search]) -> _Search:
    """Return the search, each with its own number of groups for split plugs, that finds least at first.

    Raises `NotPossibleError` of the last where none has a plan.
    """
    best: tuple[int, _Search] | None = None
    refused: NotPossibleError | None = None
    for search in searches:
        try:
            count = search.first_look(WORK / len(searches) / 2)
        except NotPossibleError as error:
            refused = error
            continue
        if best is None or count < best[0]:
            best = count, search
    if best is None:
        assert refused is not None
        raise refused
    return best[1]


@dataclass
class _Search:
    """The search for one choice of units: its rows grow by what covers leave open.

    ``signatures`` are of all nets, ``wanted`` of those that must be proved.
    """

    task: _Task
    problem: Problem
    signatures: tuple[int, ...]
    wanted: tuple[int, ...]
    units: tuple[Unit, ...]
    seed: int
    known: tuple[tuple[int, ...], ...] = ()

    @classmethod
    def of(cls, task: _Task, units: tuple[Unit, ...], seed: int) -> _Search:
        """Return a search with the rows that are known from the start."""
        limits = task.limits
        signatures = signatures_of(task.nets, units)
        wanted = signatures_of((net for k, net in enumerate(task.nets) if k in task.only), units)
        housings = [task.loom.by_name[unit.connector].housing for unit in units]
        groups = [
            (mask_of(u for u, each in enumerate(housings) if each == housing), count)
            for housing, count in limits.owned.items()
        ]
        fixed = {} if limits.plugs is None else limits.plugs.point_of
        apart = [(1 << a | 1 << b, 1) for a, b in on_one_point(units, fixed)]
        stay = mask_of(k for k, unit in enumerate(units) if unit.connector in limits.stay)
        sizes = tuple(len(unit.ends) for unit in units)
        rows = rows_of(signatures, wanted)
        problem = Problem(sizes, task.points - len(reserved(limits.plugs)), rows, (*groups, *apart), stay)
        return cls(task, problem, signatures, wanted, units, seed)

    def _look(self, work: float, nodes: int = 0) -> tuple[Cover, list[tuple[int, ...]], bool]:
        """Return what is found, which of it proves the loom, and whether most does; add rows left open.

        Raises `NotPossibleError`.
        """
        _refuse_impossible(self.problem, self.units, self.task)
        tries = TRIES if work else QUICK
        found = cover(self.problem, self.known, seed=self.seed, tries=tries, work=work, nodes=nodes)
        every = (found.sets, *found.others)
        proved = [sets for sets in every if proves(sets, self.signatures, self.wanted)]
        if proved and (not self.known or len(proved[0]) <= len(self.known[0])):
            self.known = tuple(proved)
        if len(proved) < len(every):
            more = _open_rows(every, self.signatures, self.wanted)
            self.problem = replace(self.problem, rows=undominated((*self.problem.rows, *more)))
        return found, proved, len(proved) * 2 >= len(every)

    def first_look(self, work: float = 0.0) -> int:
        """Return how many hook-ups a quick search takes: it shows most of the rows that are still wanted."""
        while not self.known:
            found = self._look(0.0)[0]
            if not self.known and len(self.problem.rows) > MOST_ROWS:
                self.known = (self._completed(found.sets),)
        if work:
            self._look(work)
        return len(self.known[0])

    def planned(self) -> HookUpPlan:
        """Return the best plan found. Raises `NotPossibleError`.

        It is worth to look once more where most of what is found leaves something open.
        """
        if not self.known:
            self.first_look()
        again = True
        while True:
            before = self.problem
            found, proved, most = self._look(WORK, NODES)
            if proved and (most or not again):
                return _ordered(before, found, proved, self)
            if len(self.problem.rows) > MOST_ROWS:
                return _ordered(before, found, self.known, self)
            again = False

    def _completed(self, sets: Sequence[int]) -> tuple[int, ...]:
        """Return these sets with further ones that are grown for all that they leave open."""
        whole = list(sets)
        while rows := undominated(_open_rows([whole], self.signatures, self.wanted)):
            rest = Grower(replace(self.problem, rows=rows), random.Random(self.seed))
            whole += rest.grown(rest.every_row)
        return tuple(whole)


TRIES = 60
"""So many covers are grown, or chosen among listed sets, from nothing."""

QUICK = 6
"""So many covers are grown for a first look at which rows are still wanted."""

MOST_NEW_ROWS = 2_000
"""So many meetings that a plan leaves open become rows at a time."""

MOST_ROWS = 20_000
"""Where covers of so many rows still leave some open, one is completed: to look on would take minutes."""

MOST_LOOKED_AT = 40
"""In so many covers what they leave open is looked for."""


def _open_rows(
    covers: Sequence[Sequence[int]], signatures: Sequence[int], wanted: Sequence[int]
) -> list[Row]:
    """Return rows that the covers leave open, of meetings an even choice where they are many."""
    rows: list[Row] = []
    for sets in covers[:MOST_LOOKED_AT]:
        apart = unmet(sets, signatures, wanted)
        rows += apart[:: 1 + len(apart) // MOST_NEW_ROWS]
        rows += (row for signature in wanted for row in open_cuts(sets, signature))
        if len(rows) > MOST_NEW_ROWS:
            break
    return rows


def signatures_of(nets: Iterable[Iterable[End]], units: Sequence[Unit]) -> tuple[int, ...]:
    """Return which units each net comes to, as masks, one for each different set."""
    unit_of = {end: k for k, unit in enumerate(units) for end in unit.ends}
    masks = (mask_of({unit_of[end] for end in net}) for net in nets)
    return tuple(dict.fromkeys(mask for mask in masks if mask))


def _refuse_impossible(problem: Problem, units: Sequence[Unit], task: _Task) -> None:
    limits, points = task.limits, problem.capacity
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
    if not Problem(problem.sizes, points, problem.rows, (), problem.stay).impossible():
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
    row = next(row for row in bad if name in {units[u].connector for u in units_of(row[0] | row[1])})
    beside = f" beside {stays}, which stays plugged" if stays and name not in limits.stay else ""
    raise NotPossibleError(
        f"{name} takes {size} points of {points}{beside}, and what must meet it does not fit beside it: "
        + _rows_text(row, units),
        connector=name,
        cure="Take a bench with more points, or let its leads go to points in groups where they may.",
        do=Do(Todo.SPLIT, name),
    )


def _rows_text(row: Row, units: Sequence[Unit]) -> str:
    sides = [" or ".join(units[u].name for u in list(units_of(mask))[:4]) for mask in row]
    return sides[0] if row[0] == row[1] else f"{sides[0]} with {sides[1]}"


def _ordered(problem: Problem, found: Cover, proved: Sequence[Sequence[int]], search: _Search) -> HookUpPlan:
    """Choose among covers of one length, whole and trimmed, the one with the fewest plug-ins."""
    units = search.units
    everyone = range(len(units))
    by_size = sorted(everyone, key=lambda u: (problem.sizes[u], u))
    grower = Grower(problem, random.Random(0))
    options: dict[tuple[int, ...], int] = {}
    for sets in proved:
        for option in (tuple(sets), *(tuple(grower.trimmed(sets, o)) for o in (by_size, by_size[::-1]))):
            options.setdefault(option, plug_ins(option, good_order(option)))
    candidates = []
    many = max(MOST_ORDERED, min(MOST_OF_SMALL, ORDERED // (len(found.sets) ** 2 * len(units))))
    for option in sorted(options, key=lambda option: (options[option], option))[:many]:
        for each in (option, tuple(saved(grower, option))):
            # A net on many units may hang together by more than the rows ask.
            if proves(each, search.signatures, search.wanted):
                order = best_order(each)
                candidates.append((plug_ins(each, order), [each[k] for k in order]))
    _, best = min(candidates)
    plugs, points = search.task.limits.plugs, search.task.points
    fixed = {} if plugs is None else plugs.point_of
    made = tuple(hooked(best, units, points, fixed, reserved=reserved(plugs)))
    return HookUpPlan(
        points,
        made,
        sum(len(one.new) for one in made),
        found.bound,
        _named(found.by, units),
        tuple(units[u].name for u in units_of(problem.stay)),
        tuple((tuple(units[u].name for u in units_of(mask)), most) for mask, most in problem.limits),
        "" if plugs is None else table_of(plugs),
    )


MOST_ORDERED, MOST_OF_SMALL, ORDERED = 24, 120, 200_000
"""So many covers, of those with the fewest plug-ins in a good order, are ordered as well as can be; of a
small loom more, so many that each, its hook-ups squared times its units, comes to no more than the last."""


def _named(by: str, units: Sequence[Unit]) -> str:
    """Put a unit's name in place of its number in the name of a bound."""
    head, _, number = by.rpartition(" unit ")
    return f"{head} {units[int(number)].name}" if number.isdigit() else by
