"""What ``workshop.toml`` stands in for where a command's own options say nothing."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from loomproof.errors import UsageError

if TYPE_CHECKING:
    from loomproof.jobs.workshop import Found


def workshop_of(loom: object = None) -> Found:
    """Return the workshop for a command, beside its LOOM where that is a path. Raises `InputError`."""
    from loomproof.jobs.workshop import find

    return find(loom if isinstance(loom, Path) else None)


def store_of(context: click.Context, _: click.Parameter, value: str | None) -> str | None:
    """Return the store that was named, else the workshop's; ``None`` for the user's own."""
    if value is not None or context.resilient_parsing:
        return value
    return workshop_of(context.params.get("loom")).store


def bench_of(context: click.Context, _: click.Parameter, value: str | None) -> str | None:
    """Return the bench that was named, else the workshop's. Raises `UsageError` where neither is."""
    if value is not None or context.resilient_parsing:
        return value
    found = workshop_of(context.params.get("loom"))
    if not found.workshop.bench:
        raise UsageError(
            "no bench is named",
            cure='Give --bench ADDRESS, or write bench = "ADDRESS" into a workshop.toml beside the looms.',
        )
    return found.workshop.bench
