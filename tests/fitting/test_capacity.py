"""Short-circuit heating and continuous load, against published figures."""

from __future__ import annotations

import math

import pytest

from loomproof.fitting.capacity import (
    Ampacity,
    adiabatic_k,
    fuse_rows,
    let_through_a2s,
    opening_s,
    rating_of,
    withstand_s,
)
from loomproof.loom.choices import needs_of
from tests.fitting.looms import demo


def test_k_of_copper_is_that_of_the_published_tables() -> None:
    """IEC 60364-5-54 prints 115 for PVC (70 to 160 °C) and 143 for XLPE (90 to 250 °C); from memory, and
    recomputed with the standard's formula."""
    assert adiabatic_k(70.0, 160.0) == pytest.approx(115.0, abs=0.05)
    assert adiabatic_k(90.0, 250.0) == pytest.approx(143.1, abs=0.1)


def test_the_worked_example_of_one_square_millimetre() -> None:
    """k = 115: 1 mm² takes 115 A for 1 s and 51.4 A for 5 s (115/√5)."""
    assert withstand_s(1.0, 115.0) == pytest.approx(1.0, rel=1e-3)
    assert withstand_s(1.0, 115.0 / math.sqrt(5.0)) == pytest.approx(5.0, rel=1e-3)
    assert withstand_s(2.5, 115.0) == pytest.approx(6.25, rel=1e-3)


def test_onderdonk_agrees_within_its_other_limits() -> None:
    """Onderdonk, 25 to 1083 °C: 1 mm² (1973.5 circular mils) for 1 s takes 288.7 A, a published formula.

    Its constant (33) and this one (226, 234.5) are different fits of copper: they agree to 1.5 %.
    """
    onderdonk = 1973.525 * math.sqrt(math.log10((1083.0 - 25.0) / (234.0 + 25.0) + 1.0) / 33.0)
    assert onderdonk == pytest.approx(288.7, abs=0.1)
    assert adiabatic_k(25.0, 1083.0) == pytest.approx(onderdonk, rel=0.015)


def test_opening_times_are_the_published_gates() -> None:
    """Blade fuses: 135 % up to 600 s, 200 % up to 5 s, 350 % up to 0.5 s, 600 % up to 0.15 s (typical)."""
    assert [opening_s(10.0, 10.0 * ratio) for ratio in (1.0, 1.35, 2.0, 3.5, 6.0)] == [
        None,
        600,
        5,
        0.5,
        0.15,
    ]


def test_a_continuous_load_is_never_approved_without_a_source() -> None:
    loom = demo()
    needs = needs_of(loom)
    for table in (None, Ampacity({0.5: 99.0, 6.0: 99.0}, " ", "any")):
        rows = fuse_rows(loom, needs, table)
        assert rows
        assert all(row.continuous.startswith(("not approved", "WARNING")) for row in rows)
    sourced = Ampacity({0.5: 4.0, 6.0: 45.0}, "a maker's sheet", "40 °C, eight in a bundle")
    by_wire = {row.wire: row.continuous for row in fuse_rows(loom, needs, sourced)}
    assert by_wire["W1"].startswith("within 45 A by a maker's sheet")
    assert by_wire["W4"].startswith("WARNING")


def test_ratings_are_read_from_parts_and_from_text() -> None:
    loom = demo()
    assert rating_of(loom, "F3") == 15.0
    assert rating_of(loom, "7.5 A") == 7.5
    assert rating_of(loom, "some fuse") is None
    assert rating_of(loom, "K1") is None


def test_temperatures_that_do_not_rise_are_refused() -> None:
    with pytest.raises(ValueError, match="a rise is expected"):
        adiabatic_k(160.0, 70.0)


def test_let_through_by_hand() -> None:
    """40 A fuse, 500 A: 500²·0.15 = 37 500; below 240 A 240²·0.5 = 28 800; below 140 A 140²·5 = 98 000 A²s.

    4 mm² holds (115·4)² = 211 600 A²s, 2.5 mm² (287.5)² = 82 656 A²s, which is less.
    """
    assert let_through_a2s(40.0, 500.0) == pytest.approx(98_000.0)
    assert let_through_a2s(40.0, 200.0) == pytest.approx(98_000.0)
    assert let_through_a2s(40.0, 100.0) == pytest.approx(50_000.0)
    assert let_through_a2s(40.0, 79.0) is None
    rows = {row.wire: row for row in fuse_rows(demo(), needs_of(demo()))}
    assert rows["W2"].short_circuit.startswith("holds")
    assert rows["W4"].short_circuit.startswith("can't tell")
