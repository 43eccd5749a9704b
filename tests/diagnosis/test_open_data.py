"""The main harness of the open data (KBL sample of the prostep ivip association) as test bed.

Its routing is the topology: wires of one segment stand in one bundle, and places name them. Two of its three
configurations have wires; the third is empty, and nothing is found in it.
"""

from __future__ import annotations

import random

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.kbl.reading import configurations, read
from loomproof.loom.model import Loom, Wire
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, Injected, random_faults
from tests.diagnosis.test_recognition import visible
from tests.diagnosis.told import is_told
from tests.loom.kbl_files import MAIN_HARNESS, open_data

CONFIGURATIONS = 3
WIRES = (254, 165, 0)
"""Wires of each configuration, counted in the file."""

SETS = 100
"""Sets of faults for each configuration that has wires: 200 together."""


def harness(number: int) -> Loom:
    path = open_data(MAIN_HARNESS)
    names = configurations(path)
    assert len(names) == CONFIGURATIONS
    loom = read(path, configuration=names[number]).loom
    assert len(loom.wires) == WIRES[number]
    return loom


@pytest.mark.parametrize("number", [0, 1])
def test_faults_in_the_main_harness_are_told(number: int) -> None:
    loom = harness(number)
    bench = Bench(loom)
    expected = bench.build()
    asked = told = routed = 0
    for seed in range(SETS):
        rng = random.Random(f"{number}/{seed}")
        faults = random_faults(rng, loom, rng.randint(1, 4))
        seen = visible(loom, faults)
        found = explain(loom, Measured(expected, bench.build(faults), complete=True))
        asked += len(seen)
        told += sum(is_told(fault, found, loom) for fault in seen)
        assert bool(found) == bool(seen) or len(faults) > 1
        assert all(finding.places for finding in found)
        for finding in found:
            if finding.cause == "broken_wire":
                # A wire that is open somewhere is looked for along its way, segment by segment.
                routed += 1
                assert _segments(loom, finding) <= _named(finding)
    assert asked > 100
    assert routed > 30
    assert told >= 0.97 * asked, f"{told} of {asked}"


def test_wires_that_touch_in_a_segment_are_looked_for_there() -> None:
    loom = harness(0)
    bench = Bench(loom)
    expected = bench.build()
    home = {end: net for net in expected for end in net}
    rng = random.Random(1)
    cavities = set(loom.cavities)
    wires = [wire for wire in loom.wires if wire.bundles and set(wire.ends) <= cavities]
    named = asked = 0
    while asked < 40:
        one, other = rng.sample(wires, 2)
        apart = home[one.a] is not home[other.a]
        if apart and _shared(one, other) and one.a.connector != other.a.connector:
            asked += 1
            found = explain(
                loom, Measured(expected, bench.build([Injected("short", (one.a, other.a))]), complete=True)
            )
            assert [finding.cause for finding in found] == ["touching"]
            beside = {bundle for wire in loom.wires if wire.name in found[0].wires for bundle in wire.bundles}
            named += bool(_named(found[0]) & beside)
    assert named == asked


def test_nothing_is_found_in_the_empty_configuration() -> None:
    loom = harness(2)
    expected = Bench(loom).build()
    assert explain(loom, Measured(expected, expected, complete=True)) == ()


def _shared(one: Wire, other: Wire) -> set[str]:
    return set(one.bundles) & set(other.bundles)


def _segments(loom: Loom, finding: Finding) -> set[str]:
    return {bundle for name in finding.wires[:1] for bundle in loom.wire_by_name[name].bundles}


def _named(finding: Finding) -> set[str]:
    """Return the words of a finding's places: segments are among them by their names."""
    return {word.strip(",.") for place in finding.places for word in place.split()}
