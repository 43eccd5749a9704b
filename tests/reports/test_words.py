from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from loomproof.reports.words import clean, plural, uncertain, when
from loomproof.results.document import ClaimEntry
from loomproof.results.figures import ohms
from loomproof.results.measured import Decision


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (None, "open"),
        (math.inf, "open"),
        (0.0, "0 Ω"),
        (0.0000042, "0.0000042 Ω"),
        (0.071, "0.071 Ω"),
        (0.0225, "0.022 Ω"),
        (0.00642, "0.0064 Ω"),
        (0.00996, "0.010 Ω"),
        (0.303, "0.303 Ω"),
        (0.9996, "1.00 Ω"),
        (4.7312, "4.73 Ω"),
        (999.6, "1.00 kΩ"),
        (3571.4285, "3.57 kΩ"),
        (25_000.0, "25.0 kΩ"),
        (1e6, "1.00 MΩ"),
        (2.5e9, "2.50 GΩ"),
        (-0.02, "-0.020 Ω"),
    ],
)
def test_resistances_have_three_figures_small_ones_to_the_milliohm(value: float | None, text: str) -> None:
    assert ohms(value) == text


@given(st.floats(min_value=1e-6, max_value=1e11))
def test_a_shown_resistance_is_what_was_meant(value: float) -> None:
    number, unit = ohms(value).split(" ")
    factor = {"GΩ": 1e9, "MΩ": 1e6, "kΩ": 1e3, "Ω": 1.0}[unit]
    near = 0.051 * value if value < 0.00995 else max(0.000501, 0.006 * value)
    assert float(number) * factor == pytest.approx(value, abs=near)


def test_uncertainty_stands_beside_the_value() -> None:
    """One unit and one last place, two figures of uncertainty or a third: GUM (JCGM 100) 7.2.6."""
    assert uncertain(4.7312, 0.11) == "4.73 Ω ± 0.11 Ω"
    assert uncertain(1025.0, 16.2) == "1.025 kΩ ± 0.016 kΩ"
    assert uncertain(15.1, 0.374) == "15.10 Ω ± 0.37 Ω"
    assert uncertain(0.025, 0.1163) == "0.025 Ω ± 0.116 Ω"
    assert uncertain(0.0421, 0.00138) == "0.0421 Ω ± 0.0014 Ω"
    assert uncertain(22_000.0, 0.996e3) == "22.0 kΩ ± 1.0 kΩ"
    assert uncertain(47.0, 300.0) == "47 Ω ± 300 Ω"
    assert uncertain(-0.0003, 0.116) == "0.000 Ω ± 0.116 Ω"
    assert uncertain(0.0, 0.116) == "0.000 Ω ± 0.116 Ω"
    assert uncertain(4.7, 0.0) == "4.70 Ω ± 0.00 Ω"
    assert uncertain(None, 0.11) == "open"
    assert uncertain(1.0, None) == "1.00 Ω"


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2026-11-25T13:43:45.644Z", "2026-11-25 13:43:45 UTC"),
        ("2026-11-25T13:43:45+02:00", "2026-11-25 13:43:45 UTC+0200"),
        ("2026-11-25T13:43:45", "2026-11-25 13:43:45"),
        ("last week", "last week"),
        ("", ""),
    ],
)
def test_times_are_written_as_people_do(text: str, said: str) -> None:
    assert when(text) == said


def test_control_characters_are_shown_not_sent() -> None:
    assert clean("a\x1b[2Jb\nc\x85d") == "a\ufffd[2Jb\ufffdc\ufffdd"
    assert clean("gnp.\u202egro\ue000") == "gnp.\ufffdgro\ufffd"
    assert clean("Ω µ – 中") == "Ω µ – 中"


def claim(measured: float, limit: float, lower: float | None = None) -> ClaimEntry:
    return ClaimEntry(
        kind="resistance",
        subject="",
        statement="",
        decision=Decision.PASS,
        rule="",
        measured_ohm=measured,
        uncertainty_ohm=0.1,
        limit_ohm=limit,
        lower_limit_ohm=lower,
    )


def test_margin_counts_the_uncertainty_as_used() -> None:
    assert claim(0.4, 1.0).margin == pytest.approx(0.5)
    assert claim(1.0, 1.0).margin == pytest.approx(-0.1)
    assert claim(100.0, 110.0, 90.0).margin == pytest.approx(0.99)
    assert claim(92.0, 110.0, 90.0).margin == pytest.approx(0.19)
    assert claim(0.4, 1.0).model_copy(update={"measured_ohm": None}).margin is None


def test_counts_are_said_right() -> None:
    assert plural(1, "fault") == "1 fault"
    assert plural(0, "fault") == "0 faults"
    assert plural(2, "cavity", "cavities") == "2 cavities"
