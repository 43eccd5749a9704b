"""A short is read as often as the closeness that was asked needs, or it is told what forbids that."""

from __future__ import annotations

import math

import pytest

from loomproof.cli.given import metres_given
from loomproof.errors import UsageError
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.measuring.events import finish
from loomproof.measuring.place_repeats import MOST_REPEATS, drift_ohm, repeats_for
from loomproof.planning.request import Request
from tests.cleared import cleared
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


def _placed(within_m: float) -> tuple[Outcome, FaradBench]:
    loom = _loom()
    adapter = zeroed(loom)
    request = Request(loom, adapter, "p", "2026-01-01T00:00:00Z", place_within_m=within_m)
    bench = farad_bench(loom, TOUCH)
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


@pytest.mark.parametrize(
    ("text", "length_m"), [("5cm", 0.05), ("50 mm", 0.05), ("0,05 m", 0.05), ("2m", 2.0)]
)
def test_lengths_are_typed_with_their_unit(text: str, length_m: float) -> None:
    assert metres_given(text, "--place-within") == pytest.approx(length_m)


@pytest.mark.parametrize("text", ["5", "cm", "-5cm", "0cm", "nan m", "101m"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="no length"):
        metres_given(text, "--place-within")
