"""Fixtures for tests of benches."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from loomproof.bench.interface import Bench
from loomproof.bench.seam import Opening


@pytest.fixture
def all_closed(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Close every bench that a test has left open, which would say so when it is collected."""
    held: list[Bench] = []
    hold = Bench._holds

    def noted(bench: Bench, opening: Opening | None = None) -> None:
        held.append(bench)
        hold(bench, opening)

    monkeypatch.setattr(Bench, "_holds", noted)
    yield
    for bench in held:
        bench.close()
