"""Adapter tables: made for a loom, read, and checked against a loom and a bench."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

from loomproof.bench import opening
from loomproof.bench.adapter import Adapter, in_order, parse_adapter, read_adapter, write_adapter
from loomproof.bench.adapter_fit import problems_of
from loomproof.errors import Problem, UsageError, suggestion
from loomproof.jobs.files import write_file
from loomproof.loom.model import End, Loom

__all__ = ["Adapter", "CheckedAdapter", "check", "in_order", "keep", "new", "read_adapter", "write_adapter"]


@dataclass(frozen=True)
class CheckedAdapter:
    """An adapter, what does not fit, and the cavities that it has no point for."""

    adapter: Adapter
    problems: tuple[Problem, ...]
    missing: tuple[End, ...]


def new(loom: Loom, target: Path, connectors: Collection[str] = ()) -> Adapter:
    """Write a table for a loom, or these connectors of it: point 1 to its first cavity, and so on.

    Raises `UsageError` where the file is there already, or the loom has no such connector.
    """
    refuse_strangers(connectors, [end.connector for end in loom.cavities], "the loom")
    if target.exists():
        raise UsageError(f"{target} is there already", cure="Give another name, or take it away first.")
    ends = [end for end in loom.cavities if not connectors or end.connector in connectors]
    made = in_order(ends, target.stem)
    write_adapter(made, target)
    return made


def keep(data: bytes, file: str, target: Path) -> Adapter:
    """Keep a table that was sent as the bytes of a file, once it can be read; ``file`` is what it is called.

    Raises `AdapterError` as `read_adapter` does, and keeps nothing then.
    """
    found = parse_adapter(data, name=target.stem, file=file)
    target.parent.mkdir(parents=True, exist_ok=True)
    write_file(target, data)
    return found


def refuse_strangers(wanted: Collection[str], connectors: Collection[str], whose: str) -> None:
    """Refuse connectors that are none of these, with the nearest name or all of them: `UsageError`."""
    names = list(dict.fromkeys(connectors))
    for name in wanted:
        if name not in names:
            raise UsageError(
                f"{name}: {whose} has no connector of that name",
                cure=suggestion(name, names) or f"Connectors: {', '.join(names)}.",
            )


def check(
    table: Path, loom: Loom, *, address: str | None = None, loom_path: Path, every: bool = False
) -> CheckedAdapter:
    """Check a table against a loom and, where an address is given, against the bench there.

    ``every``: say of each lead what does not fit. Raises `AdapterError` for a table that can't be read.
    """
    found = read_adapter(table)
    points = max(found.points)
    if address is not None:
        with opening.open_bench(address, loom_path=loom_path) as bench:
            points = bench.capabilities().points
    problems = problems_of(found, loom.cavities, points, every=every)
    missing = tuple(end for end in loom.cavities if end not in found.point_of)
    return CheckedAdapter(found, problems, missing)
