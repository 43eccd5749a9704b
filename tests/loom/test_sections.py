"""Sections against published tables.

Sources: ASTM B258 diameters as recomputed from its formula and tabulated (10 to 24 AWG; the ohms per
1000 ft of the same table were seen on a university reference page and agree within 0.04 %); areas of
British n/0.30 strandings and imperial originals computed from n · π/4 · d², nominal sizes from a
tow-bar-wiring supplier's table.
"""

from __future__ import annotations

import pytest

from loomproof.loom.sections import awg_mm2, csa_mm2_of

AWG_MM2 = {
    10: 5.2612, 11: 4.1723, 12: 3.3088, 13: 2.6240, 14: 2.0809,
    15: 1.6502, 16: 1.3087, 17: 1.0378, 18: 0.8230,
    19: 0.6527, 20: 0.5176, 21: 0.4105, 22: 0.3255, 23: 0.2582, 24: 0.2047,
}  # fmt: skip
STRANDS_MM2 = {
    "9/0.30": (0.6362, 0.65), "14/0.30": (0.9896, 1.0), "21/0.30": (1.4844, 1.5), "28/0.30": (1.9792, 2.0),
    "35/0.30": (2.4740, 2.5), "44/0.30": (3.1102, 3.0), "65/0.30": (4.5946, 4.5), "84/0.30": (5.9376, 6.0),
    "97/0.30": (6.8565, 7.0), "120/0.30": (8.4823, 8.5),
}  # fmt: skip


@pytest.mark.parametrize(("gauge", "mm2"), AWG_MM2.items())
def test_awg_against_the_table(gauge: int, mm2: float) -> None:
    assert awg_mm2(gauge) == pytest.approx(mm2, abs=6e-5)
    assert csa_mm2_of(f"{gauge} AWG") == csa_mm2_of(f"awg {gauge}") == awg_mm2(gauge)


def test_awg_steps() -> None:
    # Exact ratios of the formula: 3 steps 92^(6/39) = 2.0050, 10 steps 10.164.
    assert awg_mm2(17) / awg_mm2(20) == pytest.approx(2.0050, abs=5e-5)
    assert awg_mm2(10) / awg_mm2(20) == pytest.approx(10.164, abs=5e-4)


def test_large_gauges() -> None:
    # ASTM B258 fixes 4/0 at 0.460 in and 36 AWG at 0.005 in.
    assert csa_mm2_of("4/0 AWG") == pytest.approx(3.14159265 / 4 * (0.460 * 25.4) ** 2, rel=1e-6)
    assert csa_mm2_of("36 AWG") == pytest.approx(3.14159265 / 4 * (0.005 * 25.4) ** 2, rel=1e-6)
    assert csa_mm2_of("1/0 AWG") == csa_mm2_of("0 AWG") < csa_mm2_of("2/0 AWG")


@pytest.mark.parametrize(("text", "areas"), STRANDS_MM2.items())
def test_strands_against_the_table(text: str, areas: tuple[float, float]) -> None:
    computed, nominal = areas
    assert csa_mm2_of(text) == pytest.approx(computed, abs=6e-5)
    assert csa_mm2_of(text) == pytest.approx(nominal, rel=0.04)


@pytest.mark.parametrize(
    ("text", "mm2"),
    [("44/0.012 in", 3.2105), ("28/0.012in", 2.0430), ('14/0.012"', 1.0215), ("14/0.010 in", 0.7094)],
)
def test_imperial_originals(text: str, mm2: float) -> None:
    assert csa_mm2_of(text) == pytest.approx(mm2, abs=6e-5)


@pytest.mark.parametrize(
    "text", ["", "0.5", "18", "14/0", "0/0.30", "14/30", "41 AWG", "5/0 AWG", "0/0 AWG", "AWG"]
)
def test_what_is_no_size_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"is no size|is not a gauge|strands of"):
        csa_mm2_of(text)
