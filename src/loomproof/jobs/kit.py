"""A kit list for looms: read, hooked up to a board of so many points, and what it takes written down."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from loomproof.bench.adapter import in_order
from loomproof.errors import UsageError
from loomproof.jobs.files import ends_in, write_file
from loomproof.jobs.plan import Constraints, NotPossibleError, hook_ups_or_split
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.planning.kit import HookedUp, kit_of
from loomproof.reports.kit import kit_pdf, kit_table
from loomproof.results.kit import Kit

__all__ = ["Kit", "kit_for", "write_kit"]


def kit_for(paths: Sequence[Path], points: int | None = None) -> Kit:
    """Return the kit for looms on a board of so many points; else of as many as the biggest loom wants.

    Raises `DescriptionError`, and `UsageError` for two looms of one name.
    """
    looms = [load(path).loom for path in paths]
    for number, loom in enumerate(looms):
        if loom.name in [other.name for other in looms[:number]]:
            raise UsageError(
                f"two looms are called {loom.name}",
                cure="Plugs and labels go by the loom's name: give each one of its own, and each loom once.",
            )
    most = points or max(1, *(len(loom.cavities) for loom in looms))
    return kit_of([_hooked_up(loom, most) for loom in looms], most)


def _hooked_up(loom: Loom, points: int) -> HookedUp:
    """Return a loom as it is hooked up: whole and in order where it fits, else plug by plug."""
    if len(loom.cavities) <= points:
        return HookedUp(loom, (in_order(loom.cavities).point_of,))
    try:
        made, _, _ = hook_ups_or_split(loom, points, Constraints())
    except NotPossibleError as error:
        return HookedUp(loom, (), error.message)
    return HookedUp(loom, tuple(hook_up.point_of for hook_up in made.hook_ups))


def write_kit(kit: Kit, out: Path) -> None:
    """Write a kit as a table (``.csv``, ``.xlsx``) or a page to print (``.pdf``), by the file's name."""
    ends_in(out, ".csv", ".xlsx", ".pdf")
    suffix = out.suffix.casefold()
    write_file(out, kit_pdf(kit) if suffix == ".pdf" else kit_table(kit, suffix))
