"""Places of shorts against loop tests as textbooks have them, and against the budget worked by hand."""

from __future__ import annotations

import math

import pytest

from loomproof.locating.routes import beside, legs_of
from loomproof.locating.shorts import Copper, Reading, ShortPlace, place_short
from loomproof.locating.tree import Run, Tree
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import End, Wire

A1, A2, B1, B2 = End("P", "1"), End("Q", "1"), End("P", "2"), End("Q", "2")


def _pair(
    length_m: float,
    per_m: float,
    near_ohm: float,
    far_ohm: float,
    u_ohm: float = 1e-4,
    contact: float = 0.0,
    ratio: float = 1e-4,
) -> ShortPlace:
    runs = (Run("A", A1, A2, length_m), Run("B", B1, B2, length_m))
    copper = Copper(
        {run.name: per_m * length_m for run in runs},
        {(run.name, end): (0.0, 0.0) for run in runs for end in (run.a, run.b)},
        dict.fromkeys((A1, A2, B1, B2), (0.0, contact)),
        shared_ratio=ratio,
        own_ratio=ratio,
    )
    wires = [Wire(run.name, run.a, run.b, length_m=length_m) for run in runs]
    readings = [Reading(A1, B1, near_ohm, u_ohm), Reading(A2, B2, far_ohm, u_ohm)]
    return place_short([Tree((r,), (r.a, r.b)) for r in runs], readings, copper, beside({}, wires))


def test_the_touch_itself_drops_out() -> None:
    for touch in (0.0, 0.7, 40.0):
        place = _pair(2.0, 0.05, 0.06 + touch, 0.14 + touch)
        assert place.touches[0].middle_m == pytest.approx(0.6, abs=0.01)
        assert place.touch_ohm == pytest.approx(touch, abs=0.01)


@pytest.mark.parametrize(
    ("length_m", "ratio", "expected_m"),
    [(300.0, 2.0 / 1.0, 200.0), (600.0, 3.0 / 1.0, 300.0)],
)
def test_loop_tests_of_textbooks(length_m: float, ratio: float, expected_m: float) -> None:
    """Bridge ratio R_a : R_b over a loop of two cables of the same length: x = 2 L / (1 + ratio).

    A Murray loop of 300 m with R_a = 2 and R_b = 1 (university exercise): 200 m. A cable of 600 m looped
    with a sound one, 3 : 1 (engineering examination of 2021): 300 m. The bridge sees the loop to the fault
    on the one side and the rest on the other; here both are ohms of two readings.
    """
    loop_m = 2.0 * length_m
    near_m = loop_m / (1.0 + ratio)
    assert near_m == pytest.approx(expected_m)
    per_m = 0.001
    runs = (Run("A", A1, A2, loop_m), Run("B", B1, B2, loop_m))
    wires = [Wire(run.name, run.a, run.b, length_m=loop_m) for run in runs]
    copper = Copper(
        {"A": per_m * loop_m, "B": 1e-9},
        {(run.name, end): (0.0, 0.0) for run in runs for end in (run.a, run.b)},
        dict.fromkeys((A1, A2, B1, B2), (0.0, 0.0)),
        shared_ratio=1e-6,
        own_ratio=1e-6,
    )
    readings = [
        Reading(A1, B1, per_m * near_m + 5.0, 1e-4),
        Reading(A2, B2, per_m * (loop_m - near_m) + 5.0, 1e-4),
    ]
    place = place_short([Tree((r,), (r.a, r.b)) for r in runs], readings, copper, beside({}, wires))
    assert place.touches[0].middle_m == pytest.approx(expected_m, abs=loop_m / 300)


@pytest.mark.parametrize(
    ("per_m", "u_ohm", "u_cm"),
    [(0.0367, 0.5e-3, 0.5), (0.0367, 2e-3, 1.9), (0.0245, 2e-3, 2.9), (0.0126, 2e-3, 5.6)],
)
def test_repeatability_alone_gives_the_interval_of_the_hand_calculation(
    per_m: float, u_ohm: float, u_cm: float
) -> None:
    """u = √2 u_R / (2 (r_A + r_B)), k = 1: half of the k = 2 interval (0.5, 0.75 and 1.5 mm²)."""
    by_hand = 100.0 * math.sqrt(2.0) * u_ohm / (2.0 * 2.0 * per_m)
    assert by_hand == pytest.approx(u_cm, abs=0.06)
    place = _pair(2.0, per_m, 2 * per_m, 2 * per_m, u_ohm)
    assert sum(touch.half_m for touch in place.touches) * 100.0 / 2.0 == pytest.approx(by_hand, abs=0.5)


def test_contacts_are_an_item_of_the_budget() -> None:
    """1.5 mΩ of spread at each of four contacts adds about 2 cm (k = 1) for 0.5 mm²."""
    alone, spread = (_pair(2.0, 0.0367, 0.0734, 0.0734, 1e-4, c).touches[0].half_m for c in (0.0, 1.5e-3))
    assert math.sqrt(spread**2 - alone**2) / 2 * 100.0 == pytest.approx(2.0, abs=0.3)


def test_readings_that_fit_no_place_are_not_placed() -> None:
    place = _pair(1.0, 0.05, 0.5, 0.0)
    assert not place.touches
    assert "routing" in place.reason


def test_wires_that_lie_apart_touch_nowhere_on_the_way() -> None:
    assert not beside(
        {}, [Wire("A", A1, A2, length_m=1.0), Wire("B", End("X", "1"), End("Y", "1"), length_m=1.0)]
    )


FORK = {
    "trunk": Bundle("trunk", 1.0, "ECU", "fork"),
    "left": Bundle("left", 0.5, "fork", "INJ"),
    "right": Bundle("right", 0.7, "PUMP", "fork"),
}


def test_legs_follow_the_places_where_bundles_meet() -> None:
    wire = Wire("W", End("ECU", "1"), End("PUMP", "1"), length_m=1.7, bundle="trunk right")
    legs = legs_of(FORK, wire)
    assert [(leg.bundle, leg.forward) for leg in legs] == [("trunk", True), ("right", False)]
    assert [(leg.start_m, leg.stop_m) for leg in legs] == [(0.0, 1.0), (1.0, 1.7)]
    assert legs[1].along_wire(0.2) == pytest.approx(1.5)
    assert legs[1].along_bundle(1.5) == pytest.approx(0.2)


def test_wires_share_what_both_run_through() -> None:
    one = Wire("W1", End("ECU", "1"), End("PUMP", "1"), length_m=1.7, bundle="trunk right")
    other = Wire("W2", End("INJ", "1"), End("ECU", "2"), length_m=1.5, bundle="left trunk")
    (stretch,) = beside(FORK, [one, other])
    assert (stretch.bundle, stretch.high_m) == ("trunk", 1.0)
    assert stretch.legs["W1"].along_wire(0.3) == pytest.approx(0.3)
    assert stretch.legs["W2"].along_wire(0.3) == pytest.approx(1.2)


def test_no_leg_where_the_description_does_not_say_which_way_round() -> None:
    lost = {"trunk": Bundle("trunk", 1.0)}
    assert legs_of(lost, Wire("W", A1, A2, length_m=1.2, bundle="trunk")) == ()
    long = {"trunk": Bundle("trunk", 9.0, "P", "Q")}
    assert legs_of(long, Wire("W", A1, A2, length_m=1.2, bundle="trunk")) == ()


def test_tails_of_unknown_length_leave_slack() -> None:
    middle = {"trunk": Bundle("trunk", 1.0, "fork", "other fork"), "t": Bundle("t", 0.2, "other fork", "far")}
    (leg, _) = legs_of(middle, Wire("W", A1, A2, length_m=1.6, bundle="trunk t"))
    assert leg.start_m == pytest.approx(0.2)
    assert leg.slack_m == pytest.approx(0.2)
