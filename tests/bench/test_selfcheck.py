"""The checks before a proof, each shown to pass on a sound bench and to fail on what it is for."""

from __future__ import annotations

from collections.abc import Sequence
from typing import cast

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.interface import Bench
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import point_set
from loomproof.electrics.expectation import expect
from loomproof.errors import UnfitError
from loomproof.loom.reading import load
from loomproof.measuring.selfcheck import SelfCheck, refuse_unfit, self_check
from loomproof.planning.conductors import Conductors
from loomproof.planning.net_access import scope_of
from loomproof.planning.suspects import conductors_of
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.device import Scanner as SmallScanner
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.test_scanner import Rig
from tests.bench.torture import FIXTURES
from tests.cleared import cleared_for_points

GROUPS = (frozenset({1, 2, 3}), frozenset({5, 9}))
NETS = Conductors(tuple(point_set(net) for net in ({1, 2, 3}, {5, 9}, {4}, {6}, {7}, {8}, {10})))

pytestmark = pytest.mark.usefixtures("all_closed")


def rig(**given: object) -> Rig:
    return Rig(SmallScanner(Clock(), groups=GROUPS, **given))  # type: ignore[arg-type]  # fields by name


def driven(given: Rig) -> list[str]:
    """The sets that were driven, in order."""
    sensed = [body.partition(" ")[2] for body in given.scanner.executed if body.startswith("SENS:DRIV?")]
    return [each for body in sensed for each in body.split(",") if each != "#H0"]


def failed(given: Rig) -> list[str]:
    return [check.name for check in self_check(given.bench, cleared_for_points(given.bench), NETS).failures]


def test_sound() -> None:
    bench = rig()
    found = self_check(bench.bench, cleared_for_points(bench.bench), NETS)
    assert found.passed
    assert [check.name for check in found.checks] == [
        "voltage",
        "one at a time",
        "settle",
        "empty drive",
        "read back",
        "both ways",
    ]
    assert found.settle_us == 400  # 100 and 200 agree, doubled once more
    assert bench.scanner.settle_us == 400


def test_it_is_cheap() -> None:
    bench = rig()
    self_check(bench.bench, cleared_for_points(bench.bench), NETS)
    senses = [body for body in bench.scanner.executed if body.startswith("SENS:DRIV?")]
    # Empty; a net that rises; ten points alone; settings, empty, and as often as the largest net has points.
    assert sum(body.count(",") + 1 for body in senses) == 1 + 4 + 10 + 2 * 6 + 1 + 3


@pytest.mark.parametrize("rise_us", [150, 1000, 5000])
def test_the_settle_time_is_found(rise_us: int) -> None:
    # Doubled from 100 until it is over the rise time twice running, then doubled once more.
    steps = 100
    while steps < rise_us:
        steps *= 2
    bench = rig(rise_us=rise_us).bench
    found = self_check(bench, cleared_for_points(bench), NETS)
    assert found.settle_us == steps * 4
    assert found.passed


def test_far_too_short_settings_that_agree_are_not_taken() -> None:
    bench = rig(rise_us=90_000).bench
    found = self_check(bench, cleared_for_points(bench), NETS)
    # 100 and 200 µs agree here, both with every point still low; 102 400 µs is the first that is long
    # enough, and the second is over the longest that is looked at.
    assert found.settle_us is None
    assert not found.passed


def test_a_loom_that_never_settles() -> None:
    bench = rig(rise_us=10**9)
    found = self_check(bench.bench, cleared_for_points(bench.bench), NETS)
    assert found.settle_us is None
    assert "settle" in [check.name for check in found.failures]


def test_stuck_low_input() -> None:
    bench = rig(stuck_low=point_set([6]))
    assert failed(bench) == ["empty drive"]
    assert driven(bench) == []


def test_what_is_held_low_is_named_by_the_adapter_with_what_can_hold_it() -> None:
    bench = rig(stuck_low=point_set([5, 9]))
    given = Conductors(NETS.nets, names={5: "LAMP:6", 9: "EARTH:1"})
    check = self_check(bench.bench, cleared_for_points(bench.bench), given)
    with pytest.raises(UnfitError) as refused:
        refuse_unfit(check, "Nothing was measured.")
    assert "LAMP:6, EARTH:1 (point 5, 9) read low with nothing driven" in str(refused.value)
    assert "take the probe off" in refused.value.cure
    assert refused.value.cure.endswith("Nothing was measured.")


def test_dead_driver_on_a_net_that_another_point_also_drives() -> None:
    bench = rig(dead=point_set([2]))
    found = self_check(bench.bench, cleared_for_points(bench.bench), NETS)
    assert [check.name for check in found.failures] == ["read back"]
    assert "point 2" in found.failures[0].text


def test_dead_driver_on_a_single_cavity() -> None:
    assert failed(rig(dead=point_set([7]))) == ["read back"]


def test_voltage_on_the_loom_stops_everything() -> None:
    bench = rig(volts={(5, 1): 12.6})
    found = self_check(bench.bench, cleared_for_points(bench.bench), NETS)
    assert [check.name for check in found.failures] == ["voltage"]
    assert "12.6 V" in found.checks[0].text
    assert "point 5" in found.checks[0].text
    assert driven(bench) == []


@pytest.mark.parametrize(("meter_v", "passes"), [(None, False), (0.02, True), (12.0, False), (-12.0, False)])
def test_a_bench_without_a_voltmeter_needs_a_persons_reading(meter_v: float | None, passes: bool) -> None:
    bench = rig(capabilities="FOUR=0")
    found = self_check(bench.bench, cleared_for_points(bench.bench, meter_v=meter_v), NETS)
    assert found.passed is passes
    assert bool(driven(bench)) is passes


@pytest.mark.parametrize("meter_v", [13.0, -13.0, 0.51])
def test_a_voltage_on_a_persons_meter_stops_a_bench_that_measures_none_of_it(meter_v: float) -> None:
    bench = rig()
    found = self_check(bench.bench, cleared_for_points(bench.bench, meter_v=meter_v), NETS)
    assert [check.name for check in found.failures] == ["voltage"]
    assert "by a person's meter" in found.failures[0].text
    assert not any(body.startswith(("SENS", "MEAS")) for body in bench.scanner.executed)


LOOM = load(FIXTURES / "hillclimb_engine").loom


@pytest.mark.parametrize(
    "source",
    [
        "voltage 12 BULK:1 E-ENG:1",  # a battery left between feed and earth
        "voltage 1 BULK:1 E-ENG:1",
        "voltage 1 E-BODY:1 E-ENG:1",
        "voltage 24 K-MAIN:30 E-BODY:1",
        "voltage 1 E-ENG:1 INJ1:2",  # an earth against any conductor
        "voltage 12 E-BODY:1",  # against the scanner's own 0 V
    ],
)
def test_a_source_at_a_feed_or_an_earth_is_found_with_no_driver_on(source: str) -> None:
    asked, found = looked(source)
    assert [check.name for check in found.failures][:1] == ["voltage"]
    assert " V at " in found.failures[0].text
    assert "charged capacitor" in found.failures[0].text
    assert not any(asked)


def test_a_source_between_other_conductors_is_found_before_two_points_are_driven() -> None:
    asked, found = looked("voltage 1 INJ1:2 COIL2:1")
    assert [check.name for check in found.failures] == ["voltage"]
    assert all(drive.bit_count() <= 1 for drive in asked)


def test_a_diode_that_should_not_be_there_is_no_voltage() -> None:
    _, found = looked("part diode INJ1:2 COIL2:1")
    assert found.passed
    told = next(check.text for check in found.checks if check.name == "one at a time")
    assert "pairs that pull each other without being one conductor read, largest 0.00" in told


def test_what_a_bench_without_a_voltmeter_cannot_see_is_put_to_a_person() -> None:
    """12 V between a feed of one point and an earth of eight does not show in the empty drive."""
    asked, found = looked("voltage 12 BULK:1 E-ENG:1", make=Make(points=127, volt_max=None))
    assert [check.name for check in found.failures][:1] == ["voltage"]
    told = found.failures[0].text
    assert all(words in told for words in ("black lead on each earth", "BULK:1", "backup supply"))
    assert not any(asked)


def test_it_says_what_the_empty_drive_shows() -> None:
    _, found = looked(None, meter_v=0.0, make=Make(points=127, volt_max=None))
    assert found.passed
    assert "from 10 V on between conductors of equal size" in found.checks[0].text
    assert "where no meter was held, nobody has looked" in found.checks[0].text


def looked(
    source: str | None, *, meter_v: float | None = None, make: Make | None = None
) -> tuple[list[int], SelfCheck]:
    """Check a simulated bench with this on the loom; return every set that was driven, and what was found."""
    device = Device(Scanner(LOOM, make, faults=[source] if source else []))
    clock = Clock()
    bench = ScannerBench(lambda: SimLine(device, clock, Noise(Harm())), "sim:", clock=clock).connect()
    asked: list[int] = []

    class Seen:
        def __getattr__(self, name: str) -> object:
            return getattr(bench, name)

        def sense(self, drives: Sequence[int]) -> list[int]:
            asked.extend(drives)
            return bench.sense(drives)

    expectation = expect(LOOM)
    point_of = in_order(LOOM.cavities).point_of
    given = conductors_of(expectation, scope_of(expectation, point_of, bench.capabilities().clear_ohm))
    seen = cast("Bench", Seen())
    return asked, self_check(seen, cleared_for_points(seen, meter_v=meter_v), given)
