"""Questions to a real scanner, asked only where ``--device ADDRESS`` names one. NOTHING may be plugged in.

What they may damage: every point is driven to 0 V in turn and the meter's test current flows between
points. Whatever is joined to the scanner takes that current; a control unit, a sensor or an airbag part on
it could be harmed or set off. Unplug everything first, adapters too.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from loomproof.bench.interface import Bench
from loomproof.bench.opening import open_bench
from loomproof.measuring.selftest import try_empty
from tests.cleared import cleared_empty


@pytest.fixture
def device(request: pytest.FixtureRequest) -> Iterator[Bench]:
    address = request.config.getoption("--device")
    if not address:
        pytest.skip("no real scanner named: --device ADDRESS runs this, with nothing plugged into it")
    with open_bench(address) as bench:
        yield bench


def test_it_says_who_it_is_twice_alike_with_device(device: Bench) -> None:
    assert device.identify() == device.identify()
    assert device.capabilities().points > 0


def test_nothing_plugged_reads_clear_with_device(device: Bench) -> None:
    assert [check for check in try_empty(device, cleared_empty(device)) if not check.passed] == []


def test_release_leaves_nothing_driven_with_device(device: Bench) -> None:
    if device.capabilities().sense_ohm is None:
        pytest.skip("this bench does not sense")
    device.sense([0b1])
    device.release()
    assert device.sense([0]) == [0]
