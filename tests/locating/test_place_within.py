"""A short is read as often as the closeness that was asked needs, or it is told what forbids that."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest
from click import BadParameter

from loomproof.cli.kinds import LENGTH
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import End, Loom, Wire
from loomproof.measuring import clearance as clearances
from loomproof.measuring.events import finish
from loomproof.measuring.place_repeats import MOST_REPEATS, MOST_UNASKED, drift_ohm, repeats_for, steadied
from loomproof.planning.request import Request
from tests.cleared import cleared
from tests.cli.running import loomproof
from tests.locating.placing_bench import FaradBench, farad_bench, zeroed
from tests.locating.test_placing import _loom, _one

TOUCH = "leak 0.4 W1 at ECU:1 0.7 m W2 at ECU:2 0.7 m"


@pytest.mark.parametrize(
    ("within_m", "ohm_per_m", "single_u_ohm", "fixed_u_ohm", "count", "said"),
    [
        # By hand: U = √(2 · 2²/n) mΩ / 74 mΩ per m. One reading: 3.8 cm; ± 1 cm takes 2 · 2²/0.74² = 14.6.
        (0.05, 0.074, 0.002, 0.0, 1, "read once"),
        (0.01, 0.074, 0.002, 0.0, 15, "read 15 times for ± 0.01 m"),
        (0.001, 0.074, 0.002, 0.0, MOST_REPEATS, "would take 1461 readings of each path"),
        (0.05, 0.074, 0.002, 0.0074, 1, "joints and contacts alone leave ± 0.10 m"),
    ],
)
def test_repeats_by_hand(
    within_m: float, ohm_per_m: float, single_u_ohm: float, fixed_u_ohm: float, count: int, said: str
) -> None:
    found = repeats_for(within_m, ohm_per_m, single_u_ohm, fixed_u_ohm)
    assert found.count == count
    assert said in found.said


def test_a_drift_is_seen_and_scatter_is_not() -> None:
    assert drift_ohm([0.1, 0.1, 0.1, 0.12, 0.12, 0.12], 0.001) == pytest.approx(0.02)
    assert drift_ohm([0.1, 0.102, 0.099, 0.101, 0.1, 0.1], 0.002) == 0.0
    assert drift_ohm([0.1, 0.2], 0.001) == 0.0, "of two readings nobody can say"


def _placed(within_m: float, *faults: str, loom: Loom | None = None) -> tuple[Outcome, FaradBench]:
    loom = loom or _loom()
    adapter = zeroed(loom)
    request = Request(loom, adapter, "p", "2026-01-01T00:00:00Z", place_within_m=within_m)
    bench = farad_bench(loom, *(faults or (TOUCH,)))
    return finish(prove(request, bench, cleared(loom, bench, adapter, meter_v=0.0))), bench


def test_what_was_asked_is_told_with_the_place() -> None:
    plain, bench = _placed(0.0)
    asked, more = _placed(0.12)
    forbidden, _ = _placed(0.001)
    place = _one(asked.document)[1]
    assert "± 0.12 m" in place.basis
    assert more.readings >= bench.readings
    assert "±" not in _one(plain.document)[1].basis
    assert "cannot be reached: joints and contacts alone leave" in _one(forbidden.document)[1].basis
    assert all(math.isfinite(one.u_ohm) for touch in forbidden.measured.across for one in touch)


def test_a_break_says_that_it_is_not_read_more_often() -> None:
    plain, once = _placed(0.0, "open W2 at ECU:2 0.6 m")
    asked, again = _placed(0.05, "open W2 at ECU:2 0.6 m")
    assert again.farad_readings == once.farad_readings
    assert "± 0.05 m was asked, but a break is not read more often" in _one(asked.document)[1].basis
    assert "was asked" not in _one(plain.document)[1].basis


def test_where_no_place_is_told_nothing_is_said_of_how_close_it_would_be() -> None:
    place = _one(_placed(0.001, loom=replace(_loom(), wires=_apart()))[0].document)[1]
    assert (place.answer, place.basis) == ("none", "")
    assert "cannot be reached" not in place.text


def _apart() -> tuple[Wire, ...]:
    """The loom's wires, W1 and W2 so that they lie side by side nowhere."""
    changed = {"W1": "lead", "W2": "trunk branch"}
    return tuple(
        replace(w, bundle=changed[w.name], b=End("RAIL", "1") if w.name == "W1" else w.b)
        for w in _loom().wires
        if w.name in changed
    )


def test_a_closeness_and_no_places_are_not_asked_together(fixtures: Path) -> None:
    done = loomproof(
        "prove", fixtures / "tail_lamp", "--bench", "sim:", "--no-locate", "--place-within", "5cm"
    )
    assert done.returncode == 2
    assert "--place-within asks for what --no-locate leaves out" in done.stderr


@pytest.mark.parametrize(
    ("text", "length_m"), [("5cm", 0.05), ("50 mm", 0.05), ("0,05 m", 0.05), ("2m", 2.0)]
)
def test_lengths_are_typed_with_their_unit(text: str, length_m: float) -> None:
    assert LENGTH.convert(text, None, None) == pytest.approx(length_m)


@pytest.mark.parametrize("text", ["5", "cm", "-5cm", "0cm", "nan m", "101m"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(BadParameter, match=r"no length|from 0 to 100 m"):
        LENGTH.convert(text, None, None)


@pytest.mark.parametrize(
    ("single_u_ohm", "fixed_u_ohm", "count"),
    [
        (0.001, 0.004, 1),
        (0.008, 0.008, 8),
        (0.008, 0.004, MOST_UNASKED),
        (0.001, 0.0, MOST_UNASKED),
    ],
)
def test_unasked_a_touch_is_read_until_scatter_counts_little_beside_joints(
    single_u_ohm: float, fixed_u_ohm: float, count: int
) -> None:
    """By hand: 2 s²/n is to be c²/4, so n = 8 s²/c²; 8 mΩ beside 8 mΩ takes 8, beside 4 mΩ 32."""
    unasked = steadied(single_u_ohm, fixed_u_ohm)
    assert unasked.count == count
    asked = repeats_for(1.0, 0.05, single_u_ohm, fixed_u_ohm, unasked.count)
    assert asked.count == count, "what is asked loosely is read no less"


def test_a_scatter_that_was_found_is_read_down_and_one_taken_from_limits_is_not() -> None:
    """Nor are runs of earlier versions asked again for what they did not ask."""
    counts = []
    for found_ohm, steady in ((0.004, True), (0.0, True), (0.004, False)):
        loom = _loom()
        adapter = zeroed(loom)
        request = Request(loom, adapter, "p", "2026-01-01T00:00:00Z", steady_places=steady)
        bench = farad_bench(loom, TOUCH)
        clearance = replace(
            cleared(loom, bench, adapter, meter_v=0.0),
            repeatability_ohm=found_ohm,
            checked=clearances._CHECKED,
        )
        (touch,) = finish(prove(request, bench, clearance)).measured.across
        counts.append({one.repeats for one in touch})
    (often,) = counts[0]
    assert 2 <= often <= MOST_UNASKED
    assert counts[1:] == [{1}, {1}]
