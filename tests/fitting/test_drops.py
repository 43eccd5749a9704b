"""Measured resistances in voltage drops: what counts, what is marked, and when it can't be told."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.fitting import DropRow
from loomproof.results.measured import Decision
from tests.fitting.looms import demo, document


def claim(a: str, b: str, ohm: float, uncertainty_ohm: float) -> ClaimEntry:
    return ClaimEntry(
        kind="resistance", subject=f"{a} {b}", statement="", decision=Decision.PASS, rule="",
        cavities=(a, b), measured_ohm=ohm, uncertainty_ohm=uncertainty_ohm,
    )  # fmt: skip


def drop(loom: Loom, circuit: str, side: str, *claims: ClaimEntry, running_c: float = 20.0) -> DropRow:
    sheet = fitting_sheet(loom, None, document(loom, Verdict.PASS, claims=claims), running_c=running_c)
    return next(row for row in sheet.drops if (row.circuit, row.side) == (circuit, side))


def test_a_measured_wire_takes_the_place_of_the_computed_one() -> None:
    """Ohm's law by hand: 0.070 Ω read, two contacts of 0.010 Ω, 1.1 A: 55 mV."""
    row = drop(demo(), "injector-1", "return", claim("INJ1:2", "ECU-A:21", 0.070, 0.004))
    assert row.basis == "measured"
    assert row.drop_v == pytest.approx(1.1 * 0.050)
    assert row.uncertainty_v == pytest.approx(1.1 * 0.004)
    assert row.decision == "pass"
    assert drop(demo(), "injector-2", "return").basis == "computed"


def test_a_bench_that_errs_by_a_tenth_of_an_ohm_cannot_tell_a_drop_at_several_amperes() -> None:
    """0.1 Ω at 9 A is 0.9 V, more than the limit itself."""
    row = drop(demo(), "start", "feed", claim("BULK:3", "STARTER:1", 0.045, 0.1))
    assert row.uncertainty_v == pytest.approx(0.9, rel=1e-6)
    assert row.decision == "can't tell"
    assert drop(demo(), "start", "feed", claim("BULK:3", "STARTER:1", 0.5, 0.001)).decision == "fail"


def test_copper_is_corrected_to_running_temperature() -> None:
    """IEC publication 28: 0.00393 /K, so 80 °C reads 1.2358 times what 20 °C does."""
    wire = claim("INJ1:2", "ECU-A:21", 0.070, 0.004)
    hot = drop(demo(), "injector-1", "return", wire, running_c=80.0)
    assert hot.drop_v == pytest.approx(1.1 * 0.050 * 1.2358, rel=1e-4)


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
