"""What is said where an order to stop, or a bench in trouble, ends a run."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from loomproof.bench.seam import NOT_RELEASED, end_told
from loomproof.errors import BenchError, BrokenOffError


@contextmanager
def told_when_stopped(journal: Path | None, again: str = "Prove again.") -> Iterator[None]:
    """Say, where an order to stop or a bench in trouble ends the run in this block, what is left of it.

    ``again`` is what a person does then. An order to stop comes as one `KeyboardInterrupt`; that those after
    it are ignored while the bench is released is the affair of whoever catches signals.
    """
    try:
        yield
    except KeyboardInterrupt as stop:
        raise BrokenOffError(
            "the run was stopped before its end; nothing is claimed from it",
            cure=" ".join([end_told(stop) or NOT_RELEASED, *left_of(journal), again]).rstrip(),
        ) from None
    except BenchError as error:
        unsure = (NOT_RELEASED,) if end_told(error) == NOT_RELEASED else ()
        error.cure = " ".join(part for part in (error.cure, *unsure, *left_of(journal)) if part)
        raise


def left_of(journal: Path | None) -> Iterator[str]:
    """Say where the readings of a run are that has no end, if there are any."""
    if journal is not None and journal.exists():
        yield f"What was read so far is in {journal}; nothing is claimed from it."
