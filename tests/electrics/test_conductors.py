"""Conductor tables row by row, and what a wire, fuse or link should read."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from loomproof.electrics import tables
from loomproof.electrics.conductors import (
    component_conductor,
    copper_factor,
    fuse_cold_ohm,
    section,
    wire_conductor,
)
from loomproof.loom.model import ComponentKind, End, Settings, Wire

from .looms import BARE, loom_of, part

KNOWN = {"seen quoted", "seen quoted, recomputed", "computed", "common practice", "from memory"}


DATA = Path(tables.__file__).with_name("data")


@pytest.mark.parametrize("name", sorted(path.stem for path in DATA.glob("*.csv")))
def test_every_row_has_a_source_and_a_status(name: str) -> None:
    assert tables.rows(name)
    for row in tables.rows(name):
        assert row["source"]
        assert row["status"] in KNOWN
        assert None not in row.values()


@pytest.mark.parametrize(
    ("csa_mm2", "ohm_per_km"),
    [
        (0.5, 39.0), (0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98),
        (4.0, 4.95), (6.0, 3.30), (10.0, 1.91), (16.0, 1.21), (25.0, 0.780),
    ],
)  # fmt: skip
def test_class_5_maxima(csa_mm2: float, ohm_per_km: float) -> None:
    """IEC 60228:2004 table 3, class 5, plain copper, 20 °C, as quoted by four independent cable pages."""
    found = section(csa_mm2)
    assert found.greatest_ohm_per_m == pytest.approx(ohm_per_km / 1000, rel=1e-12)
    assert found.label.endswith("(IEC 60228 class 5)")
    # Solid copper (58 MS/m) is less than what is expected, which is no more than the maximum.
    assert 1 / 58 / csa_mm2 < found.nominal_ohm_per_m <= found.greatest_ohm_per_m


@pytest.mark.parametrize(
    ("awg", "ohm_per_1000_ft"),
    [
        (10, 0.9989), (11, 1.260), (12, 1.588), (13, 2.003), (14, 2.525), (15, 3.184), (16, 4.016),
        (17, 5.064), (18, 6.385), (19, 8.051), (20, 10.15), (21, 12.80), (22, 16.14),
        (23, 20.36), (24, 25.67),
    ],
)  # fmt: skip
def test_awg_row(awg: int, ohm_per_1000_ft: float) -> None:
    """ASTM B258 diameters and copper of 58 MS/m give the classic table (a physics course page) to 0.05 %."""
    row = next(row for row in tables.rows("awg") if row["awg"] == str(awg))
    assert float(row["solid_ohm_per_1000_ft"]) == ohm_per_1000_ft
    diameter_mm = 0.127 * 92 ** ((36 - awg) / 39)
    csa_mm2 = math.pi / 4 * diameter_mm**2
    assert float(row["csa_mm2"]) == pytest.approx(csa_mm2, rel=2e-4)
    assert 304.8 / 58 / csa_mm2 == pytest.approx(ohm_per_1000_ft, rel=5e-4)
    assert section(csa_mm2).label == f"AWG {awg}"


@pytest.mark.parametrize(
    ("strands", "csa_mm2", "milliohm_per_m"),
    [
        (9, 0.6362, 29.4), (14, 0.9896, 18.9), (21, 1.4844, 12.5),
        (28, 1.9792, 9.4), (35, 2.4740, 7.5), (44, 3.1102, 6.0),
    ],
)  # fmt: skip
def test_strands_row(strands: int, csa_mm2: float, milliohm_per_m: float) -> None:
    """n/0.30: the section follows from the strands; the figure from a supplier's guidance table."""
    assert strands * math.pi / 4 * 0.3**2 == pytest.approx(csa_mm2, abs=5e-5)
    found = section(csa_mm2)
    assert found.label == f"{strands}/0.30"
    assert found.nominal_ohm_per_m == pytest.approx(milliohm_per_m / 1000)
    assert found.greatest_ohm_per_m > found.nominal_ohm_per_m


def test_temperature_follows_iacs_and_stays_near_the_cable_standard() -> None:
    """18.5 mΩ/m, 2.5 m: 48.98 mΩ at 35 °C, 42.61 mΩ at 0 °C (0.00393 /K, IEC publication 28).

    The correction table of IEC 60228 follows 250/(230 + t); both agree within 0.5 % over its range.
    """
    assert 46.25 * copper_factor(35) == pytest.approx(48.98, abs=0.005)
    assert 46.25 * copper_factor(0) == pytest.approx(42.61, abs=0.005)
    for row in tables.rows("iec_60228_temperature"):
        t, factor = float(row["temperature_c"]), float(row["factor_to_20_c"])
        assert 250 / (230 + t) == pytest.approx(factor, abs=6e-4)
        assert 1 / copper_factor(t) == pytest.approx(factor, rel=5e-3)
    with pytest.raises(ValueError, match="corrected between"):
        copper_factor(500)


def test_a_size_between_rows_is_computed_and_says_so() -> None:
    found = section(0.35)
    assert found.status == "computed"
    assert found.nominal_ohm_per_m == pytest.approx(1.065 / 58 / 0.35)
    with pytest.raises(ValueError, match="above 0"):
        section(0.0)


def test_a_wire_without_length_and_section_takes_the_looms_defaults_and_names_them() -> None:
    loom = loom_of("W1 A:1 B:1", settings=Settings(wire_length_m=3.0, wire_csa_mm2=1.0, crimp_ohm=0.004))
    found = wire_conductor(loom.wires[0], loom)
    assert found.defaulted == ("length_m", "csa_mm2")
    assert found.greatest_ohm == pytest.approx(3 * 0.0195 + 2 * 0.004)
    assert found.joints_ohm == pytest.approx(0.008)


def test_joints_are_crimps_in_cavities_and_splice_joints_in_splices() -> None:
    loom = loom_of("W1 A:1 S1 1m 0.5mm2", settings=Settings(crimp_ohm=0.001, splice_ohm=0.1))
    assert wire_conductor(loom.wires[0], loom).joints_ohm == pytest.approx(0.101)


def test_a_wire_of_no_length_still_conducts() -> None:
    loom = loom_of("W1 A:1 B:1 0m 0.5mm2", settings=BARE)
    assert 0 < wire_conductor(Wire("W", End("A", "1"), End("B", "1"), length_m=0.0), loom).nominal_ohm < 1e-4


def test_fuses_take_the_row_of_their_rating_or_the_next_smaller() -> None:
    table = {float(row["rating_a"]): float(row["cold_ohm"]) for row in tables.rows("fuses")}
    for rating, ohm in table.items():
        assert fuse_cold_ohm(rating) == ohm
    assert fuse_cold_ohm(12.0) == table[10.0]
    assert fuse_cold_ohm(None) == fuse_cold_ohm(1.0) >= max(table.values())
    assert fuse_cold_ohm(0.5) == pytest.approx(4.0 * table[1.0])
    # Small blade fuses are far above 20 mΩ (makers' data from memory: about 123, 50 and 31 mΩ at 1, 2, 3 A).
    assert all(2.0 * fuse_cold_ohm(rating) > ohm for rating, ohm in ((1.0, 0.2), (2.0, 0.08), (3.0, 0.05)))
    # 109 mV at 10 A is hot, 10.9 mΩ: a bench at milliamps must expect the smaller, cold figure.
    assert fuse_cold_ohm(10.0) < 0.0109


@pytest.mark.parametrize(("rating", "milliohm"), [(10.0, 7.70), (15.0, 4.80), (40.0, 1.44)])
def test_fuse_rows_that_were_read(rating: float, milliohm: float) -> None:
    """Typical data of one maker, as quoted in repositories; the other rows are from memory."""
    row = next(row for row in tables.fuses() if row.rating_a == rating)
    assert row.cold_ohm == pytest.approx(milliohm / 1000)
    assert row.status == "seen quoted"


def test_fuse_and_link() -> None:
    settings = Settings(contact_ohm=0.010, crimp_ohm=0.005, stated=frozenset({"contact_ohm"}))
    fuse = component_conductor(part(ComponentKind.FUSE, "F1", "A:1", "A:2", rating_a=10.0), settings)
    assert fuse.nominal_ohm == pytest.approx(0.0277)
    assert fuse.greatest_ohm == pytest.approx(0.0354)
    assert fuse.defaulted == ("resistance_ohm",)
    stated = component_conductor(part(ComponentKind.FUSE, "F1", "A:1", "A:2", 0.005), settings)
    assert stated.nominal_ohm == pytest.approx(0.025)
    assert not stated.defaulted
    link = component_conductor(part(ComponentKind.LINK, "L1", "A:1", "A:2"), settings)
    assert link.nominal_ohm == pytest.approx(0.010)
    with pytest.raises(ValueError, match="does not make one net"):
        component_conductor(part(ComponentKind.RESISTOR, "R1", "A:1", "A:2", 5.0), settings)
