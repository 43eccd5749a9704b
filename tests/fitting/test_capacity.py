"""Short-circuit heating and continuous load, against published figures."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.fitting.fuse_coordination import (
    Ampacity,
    adiabatic_k,
    fuse_rows,
    let_through_a2s,
    opening_s,
    rating_of,
    withstand_s,
)
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import needs_of
from loomproof.results.document import Verdict
from loomproof.results.fitting import Level
from tests.fitting.looms import demo, document


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
    assert by_wire["W1"].startswith("WARNING: 34 A is 85 %"), "the load against the fuse comes first"
    plenty = Ampacity({0.5: 45.0}, "a maker's sheet", "40 °C, eight in a bundle")
    wide = {row.wire: row.continuous for row in fuse_rows(loom, needs, plenty)}
    assert wide["W8"].startswith("within 45 A by a maker's sheet")
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
    """40 A: from 240 A 240²·0.15 = 8 640; below it 240²·0.5 = 28 800; below 140 A 140²·5 = 98 000 A²s."""
    assert let_through_a2s(40.0, 500.0) == pytest.approx(98_000.0)
    assert let_through_a2s(40.0, 200.0) == pytest.approx(98_000.0)
    assert let_through_a2s(40.0, 100.0) == pytest.approx(50_000.0)
    assert let_through_a2s(40.0, 79.0) is None
    assert let_through_a2s(40.0, 500.0, 150.0) == pytest.approx(28_800.0)
    assert let_through_a2s(40.0, 500.0, 300.0) == pytest.approx(8_640.0)


def test_the_fault_at_the_near_end_and_at_the_far_end_both_count() -> None:
    """W14 and W16 start at one splice behind one 10 A fuse: what happens near it is the same fault."""
    rows = {row.wire: row for row in fuse_rows(demo(), needs_of(demo()))}
    assert rows["W14"].near_a == rows["W16"].near_a > rows["W14"].far_a > rows["W16"].far_a
    assert {rows[name].short_circuit.partition(":")[0] for name in ("W14", "W16", "W2", "W4")} == {"holds"}
    # Ohm's law by hand for W1: 12.6 V behind 5 mΩ draw 2520 A at its start, where no wire is before it.
    assert rows["W1"].near_a == pytest.approx(12.6 / 0.005)
    # And behind 30 mΩ, 0.9 m of 10 mm² at 70 °C (1.91 mΩ/m · 1.1965) and two joints of 0.3 mΩ, doubled.
    assert rows["W1"].far_a == pytest.approx(12.6 / (0.030 + 0.9 * 0.00191 * 1.1965 + 0.0012), rel=1e-4)
    # Behind K1: 0.2 m of 4 mm² with two joints of 0.5 mΩ, the contact of 5 mΩ and its seats of 2 mΩ, doubled,
    # and 0.15 m of 4 mm² (4.95 mΩ/m).
    behind = 0.030 + 0.9 * 0.00191 * 1.1965 + 0.0012 + 0.35 * 0.00495 * 1.1965 + 4 * 0.001 + 2 * 0.009
    assert rows["W6"].far_a == pytest.approx(12.6 / behind, rel=1e-4)
    # F2 of 15 A (4.80 mΩ, seats of 2 mΩ) and 0.2 m of 4 mm² before W18, 1.1 m of 4 mm².
    behind += 1.3 * 0.00495 * 1.1965 + 4 * 0.001 + 2 * (0.0048 + 0.004)
    assert rows["W18"].far_a == pytest.approx(12.6 / behind, rel=1e-4)
    # At least: copper of 58 MS/m with a lay factor of 1.065 before it, and nothing else.
    before = 1.065 / 58.0 * (0.9 / 10.0 + 0.35 / 4.0 + 0.2 / 4.0)
    assert rows["W18"].near_a == pytest.approx(12.6 / (0.005 + before))


def test_a_wire_so_long_that_the_fuse_need_not_open_is_told() -> None:
    """40 m of 0.75 mm² have 1.24 Ω hot: 9 A at the far end, and a fuse of 10 A need not open at all."""
    long = replace(demo().wire_by_name["W16"], length_m=40.0)
    loom = demo(wires=[long], without=["W16"])
    row = next(row for row in fuse_rows(loom, needs_of(loom)) if row.wire == "W16")
    assert row.short_circuit.startswith("can't tell: a fault draws 9 A at the far end")
    assert row.opening_s is None


@pytest.mark.parametrize(("rating_a", "level"), [(30.0, None), (35.0, Level.WARNING), (40.0, Level.DANGER)])
def test_a_fuse_too_large_for_its_wire_is_told_without_a_table(rating_a: float, level: Level | None) -> None:
    """Common practice: at most 30 A before 2.5 mm², and by more than a quarter above it is a danger."""
    loom = demo()
    parts = tuple(replace(one, rating_a=rating_a) if one.name == "F3" else one for one in loom.components)
    loom = replace(loom, components=parts)
    row = next(row for row in fuse_rows(loom, needs_of(loom)) if row.wire == "W26")
    assert row.level is level
    told = [warn.level for warn in fitting_sheet(loom).warnings if "F3" in warn.parts]
    assert told == ([level] if level else [])
    if level is Level.DANGER:
        assert row.continuous.startswith("DANGER")
        assert not fitting_sheet(loom, None, document(loom, Verdict.PASS)).ready


def test_the_weakest_wire_behind_a_fuse_is_told_first() -> None:
    behind = [row.csa_mm2 for row in fuse_rows(demo(), needs_of(demo())) if row.fuse == "F1"]
    assert behind == sorted(behind)
    assert behind[0] == 0.75


def test_a_load_near_the_rating_is_warned_of() -> None:
    """34 A on a 40 A fuse is 85 %, above the 80 % of common practice; 17 A on 25 A is 68 %."""
    rows = {row.wire: row for row in fuse_rows(demo(), needs_of(demo()))}
    assert rows["W1"].level is Level.WARNING
    assert "85 %" in rows["W1"].continuous
    assert rows["W30"].level is None


@pytest.mark.parametrize(
    ("circuit", "level"), [("feed", Level.DANGER), ("ignition", Level.DANGER), ("start", Level.WARNING)]
)
def test_a_feed_without_a_fuse_is_told(circuit: str, level: Level) -> None:
    bare = demo(circuits={circuit: replace(demo().circuit_by_name[circuit], fuse="")})
    told = [warn.level for warn in fitting_sheet(bare).warnings if f"feed {circuit} has no fuse" in warn.text]
    assert told == [level]
    assert not any("has no fuse" in warn.text for warn in fitting_sheet(demo()).warnings)
