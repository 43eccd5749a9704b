"""Measured resistances in voltage drops: what counts, what is marked, and when it can't be told."""

from __future__ import annotations

import math
import random
from pathlib import Path

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.ends import end_of
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.fitting import DropRow
from loomproof.results.measured import Decision
from tests.campaign.drops import BENCHES, compared, drawn
from tests.fitting.looms import demo, document


def claim(a: str, b: str, ohm: float, uncertainty_ohm: float) -> ClaimEntry:
    return ClaimEntry(
        kind="resistance", subject=f"{a} {b}", statement="", decision=Decision.PASS, rule="",
        cavities=(end_of(a), end_of(b)), measured_ohm=ohm, uncertainty_ohm=uncertainty_ohm,
    )  # fmt: skip


def drop(loom: Loom, circuit: str, side: str, *claims: ClaimEntry, running_c: float = 20.0) -> DropRow:
    sheet = fitting_sheet(loom, None, document(loom, Verdict.PASS, claims=claims), running_c=running_c)
    return next(row for row in sheet.drops if (row.circuit, row.side) == (circuit, side))


CONTACTS_U_OHM = 2.0 * math.hypot(0.005, 0.005) / math.sqrt(3.0)
"""Two contacts from 0 to 10 mΩ: each a rectangle of half width 5 mΩ (GUM 4.3.7), k = 2."""


def test_a_measured_wire_that_the_description_does_not_explain_counts() -> None:
    """Ohm's law by hand: 0.070 Ω read, two contacts of 5 ± 5 mΩ, 1.1 A: 66 mV, where sound is 46 mV."""
    row = drop(demo(), "injector-1", "return", claim("INJ1:2", "ECU-A:21", 0.070, 0.004))
    assert row.basis == "measured"
    assert row.drop_v == pytest.approx(1.1 * 0.060)
    assert row.uncertainty_v == pytest.approx(1.1 * math.hypot(0.004, CONTACTS_U_OHM))
    assert row.decision == "pass"
    assert drop(demo(), "injector-2", "return").basis == "computed"


def test_a_reading_never_takes_the_place_of_a_better_computed_value() -> None:
    """A bench of ±0.1 Ω knows less of 2.1 m of 2.5 mm² than a table does; one that contradicts it counts."""
    plain = drop(demo(), "start", "feed")
    poor = drop(demo(), "start", "feed", claim("BULK:3", "STARTER:1", 0.045, 0.1))
    assert (poor.basis, poor.drop_v, poor.uncertainty_v) == ("computed", plain.drop_v, plain.uncertainty_v)
    bad = drop(demo(), "start", "feed", claim("BULK:3", "STARTER:1", 0.5, 0.001))
    assert (bad.basis, bad.decision) == ("measured", "fail")


def test_a_computed_drop_by_hand() -> None:
    """2.1 m of 2.5 mm²: 58 MS/m, lay factor 1.065, and two crimps of 0.25 ± 0.25 mΩ at 9 A and 20 °C."""
    row = drop(demo(), "start", "feed")
    copper, greatest = 2.1 * 1.065 / 58.0 / 2.5, 2.1 * 0.00798
    assert row.drop_v == pytest.approx(9.0 * (copper + 0.0005))
    joints_u = 2.0 * math.hypot(0.00025, 0.00025) / math.sqrt(3.0)
    copper_u = 2.0 * (greatest - copper) / math.sqrt(3.0)
    assert row.uncertainty_v == pytest.approx(9.0 * math.hypot(joints_u, copper_u))


def test_copper_is_corrected_to_running_temperature_and_joints_are_not() -> None:
    """IEC publication 28: 0.00393 /K, so 60 K add 0.2358 of 1.5 m of 0.75 mm², and nothing of the rest."""
    wire = claim("INJ1:2", "ECU-A:21", 0.070, 0.004)
    hot = drop(demo(), "injector-1", "return", wire, running_c=80.0)
    assert hot.drop_v == pytest.approx(1.1 * (0.060 + 0.2358 * 1.5 * 1.065 / 58.0 / 0.75), rel=1e-4)
    cold, warm = drop(demo(), "start", "feed"), drop(demo(), "start", "feed", running_c=80.0)
    assert warm.drop_v - cold.drop_v == pytest.approx(9.0 * 0.2358 * 2.1 * 1.065 / 58.0 / 2.5, rel=1e-4)


def test_a_difference_on_a_shared_way_is_charged_to_the_uncertainty_and_no_place_is_named() -> None:
    fused = claim("FUSES:2B", "INJ1:1", 0.40, 0.001)
    plain, excess = drop(demo(), "injector-1", "feed"), drop(demo(), "injector-1", "feed", fused)
    assert excess.basis == "part measured"
    assert excess.drop_v > plain.drop_v
    assert excess.uncertainty_v > plain.uncertainty_v
    assert "do not say where" in excess.remark


def test_earth_points_carry_the_sum_of_their_users() -> None:
    """Three injectors of 1.1 A, three coils of 3 A and the oil pressure switch: 12.31 A."""
    earths = {row.end: row.current_a for row in fitting_sheet(demo()).earths}
    assert earths == {"E-ENG:1": pytest.approx(12.31), "E-BODY:1": 1.0}
    assert any("return path" in text and "not" in text for text in fitting_sheet(demo()).not_checked)


def test_what_the_car_switches_is_a_load_and_no_row_goes_nowhere() -> None:
    """The tail lamp: brake lamps (54), tail (58L) and indicator (49a) are fed straight from the car."""
    here = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
    rows = fitting_sheet(load(here).loom).drops
    fed = {row.circuit: row.path for row in rows if row.side == "feed"}
    assert {"tail", "brake", "indicator"} <= set(fed)
    assert fed["brake"] == "BODY:2 → LAMP:2"
    assert all(row.path.split(" → ")[0] != row.path.split(" → ")[-1] for row in rows)
    assert {row.side for row in rows if row.circuit == "reverse"} == {"wire"}


@pytest.mark.parametrize("bench", list(BENCHES))
def test_the_interval_holds_the_truth_of_looms_whose_every_resistance_is_known(bench: str) -> None:
    """A sample of tests/campaign/drops.py: 95 of 100 intervals at k = 2 hold what its own solver finds."""
    held = []
    for number in range(12):
        rng = random.Random(f"{bench} {number}")
        for row, volts in compared(drawn(rng), BENCHES[bench], rng):
            held.append(abs(row.drop_v - volts) <= row.uncertainty_v + 1e-6)
    assert len(held) > 30
    assert sum(held) >= 0.95 * len(held)


def test_a_measured_feed_grows_with_the_heat_of_its_copper_alone() -> None:
    """0.5 Ω read at 20 °C from BULK:3 to STARTER:1, less two contacts of 1 ± 1 mΩ; at 80 °C the
    copper of 2.1 m of 2.5 mm² has 0.2358 more (IEC publication 28), and what else was read stays."""
    bad = claim("BULK:3", "STARTER:1", 0.5, 0.001)
    cold, warm = (drop(demo(), "start", "feed", bad, running_c=celsius) for celsius in (20.0, 80.0))
    assert (cold.basis, warm.basis) == ("measured", "measured")
    assert cold.drop_v == pytest.approx(9.0 * 0.498)
    assert warm.drop_v - cold.drop_v == pytest.approx(9.0 * 0.2358 * 2.1 * 1.065 / 58.0 / 2.5, rel=1e-3)
