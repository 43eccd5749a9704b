"""The main harness of the open data (KBL sample of the prostep ivip association) as test bed.

Its routing is the topology: wires of one segment stand in one bundle, and places name them.
"""

from __future__ import annotations

import random

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.kbl.reading import configurations, read
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, random_faults
from tests.diagnosis.test_recognition import visible
from tests.diagnosis.told import is_told
from tests.loom.kbl_files import MAIN_HARNESS, open_data


@pytest.mark.parametrize("number", [0, 1, 2])
def test_faults_in_the_main_harness_are_told(number: int) -> None:
    path = open_data(MAIN_HARNESS)
    names = configurations(path)
    assert len(names) == 3
    loom = read(path, configuration=names[number]).loom
    bench = Bench(loom)
    expected = bench.build()
    if not loom.wires:
        assert explain(loom, Measured(expected, expected, complete=True)) == ()
        return
    asked = told = 0
    for seed in range(67):
        rng = random.Random(f"{number}/{seed}")
        faults = random_faults(rng, loom, rng.randint(1, 4))
        seen = visible(loom, faults)
        found = explain(loom, Measured(expected, bench.build(faults), complete=True))
        asked += len(seen)
        told += sum(is_told(fault, found, loom) for fault in seen)
        assert bool(found) == bool(seen) or len(faults) > 1
        assert all(finding.places for finding in found)
    assert asked > 60
    assert told >= 0.97 * asked, f"{told} of {asked}"
