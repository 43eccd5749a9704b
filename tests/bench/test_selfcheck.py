"""The checks before a proof, each shown to pass on a sound bench and to fail on what it is for."""

from __future__ import annotations

import pytest

from loomproof.bench.seam import point_set
from loomproof.bench.selfcheck import self_check
from tests.bench.device import Clock, Scanner
from tests.bench.test_scanner import Rig

GROUPS = (frozenset({1, 2, 3}), frozenset({5, 9}))
NETS = tuple(point_set(net) for net in ({1, 2, 3}, {5, 9}, {4}, {6}, {7}, {8}, {10}))


def rig(**given: object) -> Rig:
    return Rig(Scanner(Clock(), groups=GROUPS, **given))  # type: ignore[arg-type]  # fields by name


def failed(given: Rig) -> list[str]:
    return [check.name for check in self_check(given.bench, NETS).failures]


def test_sound() -> None:
    bench = rig()
    found = self_check(bench.bench, NETS)
    assert found.passed
    assert [check.name for check in found.checks] == [
        "voltage",
        "settle",
        "empty drive",
        "read back",
        "both ways",
    ]
    assert found.settle_us == 400  # 100 and 200 agree, doubled once more
    assert bench.scanner.settle_us == 400


def test_it_is_cheap() -> None:
    bench = rig()
    self_check(bench.bench, NETS)
    senses = [body for body in bench.scanner.executed if body.startswith("SENS:DRIV?")]
    assert sum(body.count(",") + 1 for body in senses) == 2 * 6 + 1 + 3  # settings, empty, largest net


@pytest.mark.parametrize("rise_us", [150, 1000, 5000])
def test_the_settle_time_is_found(rise_us: int) -> None:
    # Doubled from 100 until it is over the rise time twice running, then doubled once more.
    steps = 100
    while steps < rise_us:
        steps *= 2
    found = self_check(rig(rise_us=rise_us).bench, NETS)
    assert found.settle_us == steps * 4
    assert found.passed


def test_far_too_short_settings_that_agree_are_not_taken() -> None:
    found = self_check(rig(rise_us=90_000).bench, NETS)
    # 100 and 200 µs agree here, both with every point still low; 102 400 µs is the first that is long
    # enough, and the second is over the longest that is looked at.
    assert found.settle_us is None
    assert not found.passed


def test_a_loom_that_never_settles() -> None:
    bench = rig(rise_us=10**9)
    found = self_check(bench.bench, NETS)
    assert found.settle_us is None
    assert "settle" in [check.name for check in found.failures]


def test_stuck_low_input() -> None:
    assert failed(rig(stuck_low=point_set([6]))) == ["settle", "empty drive", "both ways"]


def test_dead_driver_on_a_net_that_another_point_also_drives() -> None:
    bench = rig(dead=point_set([2]))
    found = self_check(bench.bench, NETS)
    assert [check.name for check in found.failures] == ["read back"]
    assert "point 2" in found.failures[0].text


def test_dead_driver_on_a_single_cavity() -> None:
    assert failed(rig(dead=point_set([7]))) == ["read back", "both ways"]


def test_voltage_on_the_loom_stops_everything() -> None:
    bench = rig(volts={(5, 1): 12.6})
    found = self_check(bench.bench, NETS)
    assert [check.name for check in found.failures] == ["voltage"]
    assert "12.6 V" in found.checks[0].text
    assert "point 5" in found.checks[0].text
    assert not any(body.startswith("SENS:DRIV?") for body in bench.scanner.executed)


@pytest.mark.parametrize(("meter_v", "passes"), [(None, False), (0.02, True), (12.0, False), (-12.0, False)])
def test_a_bench_without_a_voltmeter_needs_a_persons_reading(meter_v: float | None, passes: bool) -> None:
    bench = rig(capabilities="FOUR=0")
    found = self_check(bench.bench, NETS, meter_v=meter_v)
    assert found.passed is passes
    assert any(body.startswith("SENS:DRIV?") for body in bench.scanner.executed) is passes


@pytest.mark.parametrize("meter_v", [13.0, -13.0, 0.51])
def test_a_voltage_on_a_persons_meter_stops_a_bench_that_measures_none_of_it(meter_v: float) -> None:
    bench = rig()
    found = self_check(bench.bench, NETS, meter_v=meter_v)
    assert [check.name for check in found.failures] == ["voltage"]
    assert "by a person's meter" in found.failures[0].text
    assert not any(body.startswith(("SENS", "MEAS")) for body in bench.scanner.executed)
