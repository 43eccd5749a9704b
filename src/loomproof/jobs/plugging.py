"""What to plug for a hook-up, in words, and the adapter plugs that there are; no bench and no records."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from loomproof.bench.adapter import Adapter, read_adapter
from loomproof.planning.hookup_plan import HookUp


def read_plugs(path: Path) -> Adapter:
    """Read a table of adapter plugs, which may share points. Raises `AdapterError`."""
    return read_adapter(path, shared=True)


def plugging(hook_up: HookUp) -> Iterator[str]:
    """Yield what to plug and what to take off, line by line."""
    if hook_up.off:
        yield f"take off: {', '.join(hook_up.off)}"
    for unit in hook_up.units:
        word = "put on" if unit.name in hook_up.new else "leave"
        points = "point" if len(unit.ends) == 1 else "points"
        yield f"{word:<7} {unit.name}: {points} {runs([hook_up.point_of[end] for end in unit.ends])}"


def runs(points: Sequence[int]) -> str:
    """Return points as runs (``1-32 40``), in the order of the cavities."""
    found: list[list[int]] = []
    for point in points:
        if found and found[-1][-1] == point - 1:
            found[-1].append(point)
        else:
            found.append([point])
    return " ".join(f"{run[0]}-{run[-1]}" if len(run) > 1 else str(run[0]) for run in found)
