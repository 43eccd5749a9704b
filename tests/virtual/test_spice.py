"""The simulator against ngspice on a sample of random looms; ``tests/figures/spice_virtual.py`` does 200."""

from __future__ import annotations

import shutil

import pytest

from tests.virtual.spice_check import compare

pytestmark = pytest.mark.skipif(shutil.which("ngspice") is None, reason="ngspice is not installed")


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("diodes", [False, True], ids=["linear", "diodes"])
def test_resistances_and_sense_voltages_agree_with_ngspice(seed: int, diodes: bool) -> None:
    compared = compare(seed, diodes=diodes)
    assert compared.worst_ohm <= 1.0
    assert compared.worst_volt <= 1.0
