"""Expected values against ngspice: 0.1 % or 0.1 mΩ; all 200 looms in tests/figures/spice_electrics.py."""

from __future__ import annotations

import pytest

from . import spice
from .against_spice import compare


@pytest.mark.skipif(spice.FOUND is None, reason="ngspice (a Debian package) is not installed")
@pytest.mark.parametrize("seed", range(25))
def test_expectation_agrees_with_ngspice(seed: int) -> None:
    found = compare(seed)
    assert found.values > 5
    assert found.worst <= 1.0, found.what
