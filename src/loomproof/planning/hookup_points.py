"""Which points a plug gets in each hook-up."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence

from loomproof.loom.model import End
from loomproof.planning.hookup_plan import HookUp, Unit
from loomproof.planning.hookup_problem import units_of


def hooked(
    sets: Sequence[int],
    units: Sequence[Unit],
    points: int,
    fixed: Mapping[End, int] | None = None,
    on: int = 0,
    point_of: Mapping[End, int] | None = None,
    reserved: Collection[int] = (),
) -> Iterable[HookUp]:
    """Give out points: what stays plugged keeps its points, what is new takes the lowest free ones.

    Leads of ``fixed`` stay on their points; a plug whose leads are in their way is put on again elsewhere.
    ``on`` is plugged beforehand, on the points of ``point_of``. ``reserved`` are points that no plug gets.
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
        free = sorted(set(range(1, points + 1)) - {p for mine in held.values() for p in mine} - {*reserved})
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
