"""What the command's tests share: benches that start with it cost no process."""

from __future__ import annotations

import pytest

from tests.cli.simulating import started


@pytest.fixture(autouse=True)
def _simulated_within(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have ``sim:`` answer from a thread: half of a short proof's time would be the simulator's imports.

    Commands that a test starts as a process start the simulator's process too, as do tests of benches.
    """
    monkeypatch.setattr("loomproof.bench.simulation.Simulation", started)
