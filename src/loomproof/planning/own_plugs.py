"""Adapter plugs that there are: which leads stay on which points, and which plugs cannot be on together."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import combinations

from loomproof.bench.adapter import Adapter
from loomproof.bench.references import points_of_all
from loomproof.errors import AdapterError, Problem, UsageError, suggestion
from loomproof.loom.model import End, Loom
from loomproof.planning.hookup_plan import Unit


def refuse_plugs(
    loom: Loom, plugs: Adapter, points: int, split: Collection[str] = (), stay: Collection[str] = ()
) -> None:
    """Refuse plugs that this loom or bench cannot have. Raises `AdapterError` with every problem found.

    A plug has a lead for each cavity of its connector. `UsageError` where a plug is to be split as well, or
    two that stay plugged have leads on one point.
    """
    file, known = plugs.file or plugs.name, set(loom.cavities)
    problems = []
    for lead in plugs.entries:
        if lead.end not in known:
            cure = suggestion(str(lead.end), map(str, known))
            problems.append(Problem(f"the loom has no cavity {lead.end}", file, row=lead.row, cure=cure))
        elif lead.point > points:
            problems.append(
                Problem(f"the bench has {points} points, there is no point {lead.point}", file, row=lead.row)
            )
    beyond = sorted(point for point in points_of_all(plugs.references) if point > points)
    problems += [
        Problem(f"a reference is on point {point}, and the bench has {points} points", file)
        for point in beyond
    ]
    for name in dict.fromkeys(lead.end.connector for lead in plugs.entries):
        connector = loom.by_name.get(name)
        missing = [] if connector is None else [end for end in connector.ends if end not in plugs.point_of]
        if missing:
            problems.append(
                Problem(
                    f"the plug of {name} has no lead to {', '.join(map(str, missing[:5]))}"
                    + (f" and {len(missing) - 5} more" if len(missing) > 5 else ""),
                    file,
                    cure="Give it all of them, or leave the plug out of the table.",
                )
            )
        if name in split:
            raise UsageError(
                f"{name} has a plug in {file}, and is to be split", cure="A plug is put on whole: say one."
            )
    if problems:
        raise AdapterError(f"the table of plugs {file} does not fit", problems=problems)
    on = {name: {lead.point for lead in plugs.entries if lead.end.connector == name} for name in stay}
    for a, b in combinations(stay, 2):
        if on[a] & on[b]:
            raise UsageError(
                f"{a} and {b} are to stay plugged, and their plugs have leads on the same points",
                cure="Let one of them be unplugged.",
            )


def reserved(plugs: Adapter | None) -> frozenset[int]:
    """Return the points on which references stay beside these plugs."""
    return frozenset() if plugs is None else points_of_all(plugs.references)


def on_one_point(units: Sequence[Unit], fixed: Mapping[End, int]) -> Iterator[tuple[int, int]]:
    """Yield the pairs of units, by their places, that have leads on one point."""
    on = {k: {fixed[end] for end in unit.ends if end in fixed} for k, unit in enumerate(units)}
    yield from ((a, b) for a, b in combinations(on, 2) if on[a] & on[b])
