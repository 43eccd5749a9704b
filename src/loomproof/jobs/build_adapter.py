"""An adapter made lead by lead, each proved and saved as it is made; what is left can be printed."""

from __future__ import annotations

from collections.abc import Generator
from pathlib import Path

from loomproof.bench.adapter import Adapter, in_order, read_adapter
from loomproof.errors import Todo, UsageError
from loomproof.jobs.at_bench import BenchAt
from loomproof.jobs.events import Event
from loomproof.jobs.files import ends_in, write_file
from loomproof.jobs.learn_adapter import Guide, Patience, learn_adapter
from loomproof.jobs.operator import Operator
from loomproof.loom.colours import name_of
from loomproof.loom.model import End, Loom
from loomproof.planning.kit import left_to_make
from loomproof.reports.kit import left_pdf
from loomproof.results.kit import Left


def build_adapter(
    loom: Loom,
    at: BenchAt,
    target: Path,
    operator: Operator,
    *,
    loom_path: Path | None = None,
    patience: Patience | None = None,
    shorted: bool = False,
) -> Generator[Event, None, Adapter]:
    """Have the leads of an adapter made one by one, and write the table after each; goes on where it stopped.

    A lead is proved by a touch of its end: one point reads low, so it reaches that point and touches no other
    lead. ``shorted``: from the second lead of a plug on, by a shorting plug over it, which shows besides that
    the leads before still hold. Raises as `learn_adapter` does, and `UsageError` where nothing is left.
    """
    ends = [end for left in what_is_left(loom, target) for end in left.ends]
    if not ends:
        raise UsageError(f"{target} has a lead for every cavity", cure="Zero them next.", do=Todo.ZERO)
    guide = Guide(ends, in_order(loom.cavities).point_of, shorted, lambda end: _about(loom, end))
    resume = target.exists()
    return learn_adapter(
        loom, at, target, operator, loom_path=loom_path, patience=patience, resume=resume, guide=guide
    )


def what_is_left(loom: Loom, table: Path) -> tuple[Left, ...]:
    """Return what is left to make, plug by plug; all of it where there is no table yet."""
    made = [lead.end for lead in read_adapter(table).entries] if table.exists() else []
    return left_to_make(loom, made)


def write_left(loom: Loom, table: Path, out: Path) -> None:
    """Write what is left to make as a page to print. Raises `UsageError` for another ending than ``.pdf``."""
    ends_in(out, ".pdf")
    labels = in_order(loom.cavities).point_of
    write_file(out, left_pdf(loom.name, what_is_left(loom, table), labels, lambda end: _about(loom, end)))


def _about(loom: Loom, end: End) -> str:
    """Return the colours and sections of the loom's wires at an end, in words, a comma before them."""
    wires = loom.wires_at.get(end, ())
    said = (
        " ".join(
            filter(
                None,
                (
                    f"{wire.csa_mm2:g} mm²" if wire.csa_mm2 else "",
                    f"{wire.colour} {name_of(wire.colour)}" if wire.colour else "",
                ),
            )
        )
        for wire in wires
    )
    told = " and ".join(dict.fromkeys(filter(None, said)))
    return f" ({told})" if told else ""
