"""What the command's tests share: benches that start with it cost no process."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _simulated_within(simulated_within: None) -> None:
    """Commands that a test starts as a process start the simulator's process too."""
