"""Figures of the data files and defaults, each against the source it is said to come from."""

from __future__ import annotations

import math

import pytest

from loomproof.electrics import tables
from loomproof.electrics.conductors import component_conductor, section, wire_conductor
from loomproof.electrics.decision import judge
from loomproof.electrics.expectation import expect
from loomproof.loom.designations import TERMINALS, Supply, supply_of
from loomproof.loom.model import ComponentKind, Settings

from .looms import BARE, loom_of, part

CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91}
"""IEC 60228:2004 table 3, class 5, plain copper at 20 °C: section, mm², to greatest Ω/km."""


def test_lay_factors_are_those_of_the_flexible_strands_they_come_from() -> None:
    """Greatest: the most that IEC 60228 class 5 allows over solid copper of 58 MS/m. Nominal: the middle of
    1.05 to 1.08 (a cable laboratory's rule of thumb)."""
    ratios = [ohm_per_km / 1000 * csa * 58 for csa, ohm_per_km in CLASS_5.items()]
    copper = tables.copper()
    assert copper.lay_factor_greatest == pytest.approx(max(ratios), abs=5e-4)
    assert copper.lay_factor_nominal == pytest.approx((1.05 + 1.08) / 2)
    odd = section(0.61)
    assert odd.greatest_ohm_per_m == pytest.approx(max(ratios) / 58 / 0.61, rel=5e-4)
    assert odd.nominal_ohm_per_m == pytest.approx(1.065 / 58 / 0.61, rel=5e-4)


def test_copper_is_that_of_iec_publication_28() -> None:
    """IEC publication 28 (1913, 1925): 1/58 Ω·mm²/m at 20 °C, and 0.00393 /K at constant mass."""
    copper = tables.copper()
    assert copper.resistivity_ohm_mm2_per_m == pytest.approx(1 / 58, rel=1e-12)
    assert copper.temperature_coefficient_per_k == pytest.approx(0.00393, rel=1e-12)


BLADE_FUSES = {
    5.0: (17.85, 128), 7.5: (10.91, 116), 10.0: (7.70, 109), 15.0: (4.80, 102),
    20.0: (3.38, 98), 25.0: (2.52, 92), 30.0: (1.97, 84), 40.0: (1.44, 96),
}  # fmt: skip
"""Typical cold resistance, mΩ, and drop at rated current, mV, of one maker's blade fuses (published product
data; 10 A and 40 A as quoted in repositories, the rest from memory)."""


@pytest.mark.parametrize("rating_a", sorted(BLADE_FUSES))
def test_a_blade_fuse_is_that_of_the_published_data(rating_a: float) -> None:
    row = next(row for row in tables.fuses() if row.rating_a == rating_a)
    cold_milliohm, drop_mv = BLADE_FUSES[rating_a]
    assert row.cold_ohm == pytest.approx(cold_milliohm / 1000)
    assert row.drop_v == pytest.approx(drop_mv / 1000)


def test_a_fuse_is_warmer_at_its_rated_current_than_cold() -> None:
    """Metal grows with heat: hot over cold lies between 1 and 3 in every row; more amperes, less ohms."""
    rows = tables.fuses()
    for row in rows:
        assert 1.0 < row.drop_v / row.rating_a / row.cold_ohm < 3.0, row.rating_a
    cold = [row.cold_ohm for row in rows]
    assert cold == sorted(cold, reverse=True)
    assert len({row.rating_a for row in rows}) == len(rows)


JOINTS = {1.25: (5.0, 1.5), 2.45: (2.0, 0.5), 9.0: (1.0, 0.3), 15.0: (0.3, 0.1)}
"""From section, mm²: contact and joint, mΩ. A blade contact at most 5 mV/A (a maker's specification), tabs of
6.3 and 9.5 mm from memory, a battery lug 0.1 V at 300 A (a workshop manual); common practice."""


def test_contacts_and_joints_of_thicker_wires() -> None:
    found = {row.from_mm2: (row.contact_ohm * 1000, row.joint_ohm * 1000) for row in tables.joints()}
    assert found == {size: pytest.approx(figures) for size, figures in JOINTS.items()}
    assert tables.joints_of(1.0) is None
    at = [tables.joints_of(csa) for csa in (1.25, 2.0, 2.5, 8.0, 10.0, 16.0, 50.0)]
    assert [row.from_mm2 for row in at if row] == [1.25, 1.25, 2.45, 2.45, 9.0, 15.0, 15.0]
    lug = tables.joints_of(35.0)
    assert lug is not None
    assert lug.contact_ohm * 300.0 <= 0.1, "no battery lug loses more than a workshop manual allows"


@pytest.mark.parametrize(
    ("kind", "spread"),
    [(ComponentKind.RESISTOR, 0.05), (ComponentKind.COIL, 0.15), (ComponentKind.RELAY, 0.15)],
)
def test_parts_without_a_stated_tolerance_have_the_usual_one(kind: ComponentKind, spread: float) -> None:
    """Resistors: ± 5 %, the tolerance of the series E24 (IEC 60063). Windings: ± 15 %, common practice."""
    loom = loom_of("W1 A:1 A:2\nW2 B:1 B:2", (part(kind, "P1", "A:1", "B:1", 100.0),))
    (coupling,) = expect(loom).couplings
    assert (coupling.lo_ohm, coupling.hi_ohm) == pytest.approx((100 * (1 - spread), 100 * (1 + spread)))
    assert coupling.defaulted
    stated = loom_of("W1 A:1 A:2\nW2 B:1 B:2", (part(kind, "P1", "A:1", "B:1", 100.0, tolerance_pct=1.0),))
    (coupling,) = expect(stated).couplings
    assert (coupling.lo_ohm, coupling.hi_ohm, coupling.defaulted) == (99.0, 101.0, False)


def test_a_shunt_without_a_stated_tolerance_has_the_usual_one_too() -> None:
    """So few ohms are a conductor: 0.2 Ω ± 5 % (series E24, IEC 60063)."""
    shunt = component_conductor(part(ComponentKind.RESISTOR, "R1", "A:1", "A:2", 0.2), Settings())
    assert (shunt.least_ohm, shunt.greatest_ohm) == pytest.approx((0.19, 0.21))


@pytest.mark.parametrize("csa", sorted(CLASS_5))
@pytest.mark.parametrize("length_m", [0.3, 2.0])
def test_the_least_of_a_wire_is_below_solid_copper_and_not_far_below(csa: float, length_m: float) -> None:
    """No strand leads better than solid copper of its section (58 MS/m); a wire cut a little short, or of a
    section a little larger, is still above half of it."""
    loom = loom_of(f"W1 A:1 B:1 {length_m}m {csa}mm2", settings=BARE)
    found = wire_conductor(loom.wires[0], loom)
    solid = length_m / 58 / csa
    assert 0.5 * solid <= found.least_ohm <= solid
    assert found.copper_ohm == pytest.approx(solid)


def test_a_fail_has_its_guard_band_as_a_pass_has() -> None:
    """ILAC-G8:09/2019, decision rule with guard band w = U on both sides: between them nothing is decided."""
    assert [judge(y, 0.01, 0.12) for y in (0.105, 0.115, 0.125, 0.1299, 0.1301)] == [
        "pass", "undecided", "undecided", "undecided", "fail",
    ]  # fmt: skip
    assert [judge(y, 0.1, 11.0, 10.0) for y in (9.85, 9.95, 10.05, 10.15, 10.95, 11.15)] == [
        "fail", "undecided", "undecided", "pass", "undecided", "fail",
    ]  # fmt: skip
    assert judge(math.inf, 0.01, 0.12) == "fail"


FED = {
    Supply.PERMANENT: "30 30a 51 B+",
    Supply.IGNITION: "15 15a 17 19",
    Supply.START: "45 45a 45b 50 50a 50h",
    Supply.SWITCHED: "33 33a 49 49a 53 53a 53b 54 55 56 56a 56b 57 58 58L 58R 61 71 75 D+ DF",
    Supply.OUTPUT: "86 87 87a 87b 88 88a",
    Supply.THROUGH: "1 1a 1b 2 4 7 31b 32 85",
    Supply.EARTH: "31 31a 31c B- D-",
}
"""DIN 72552 as quoted in an encyclopaedia and makers' tables: what brings current, and what takes it away."""


@pytest.mark.parametrize(("supply", "names"), FED.items())
def test_a_terminal_is_fed_as_the_published_table_says(supply: Supply, names: str) -> None:
    assert {name: supply_of(name) for name in names.split()} == dict.fromkeys(names.split(), supply)


def test_the_ends_of_a_relay_coil_are_not_exchanged() -> None:
    """DIN 72552: 85 is the end of the winding, to negative, 86 its start, positive; 87 makes, 87a breaks (on
    plug-in relays of today). A diode across the coil burns where they are exchanged."""
    words = {
        name: TERMINALS[name].meaning for name in ("85", "86", "87", "87a", "17", "19", "53b", "56a", "56b")
    }
    assert "negative" in words["85"]
    assert "positive" in words["86"]
    assert "make" in words["87"]
    assert "break" in words["87a"]
    assert ("start" in words["17"], "preheat" in words["19"]) == (True, True)
    assert ("second speed" in words["53b"], "main" in words["56a"], "dipped" in words["56b"]) == (True,) * 3
