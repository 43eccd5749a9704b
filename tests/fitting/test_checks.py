"""The meter checks of a fitting sheet, carried out in a simulated car with each fault in it, and without."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import answers_of
from loomproof.loom.model import Component, ComponentKind, end_of
from loomproof.results.fitting import Fault, MeterCheck, Sheet, Spot
from tests.campaign.car import Car
from tests.campaign.fitting import ANSWERS, carried_out
from tests.fitting.looms import demo, random_fitting_loom


def check(sheet: Sheet, end: str, finds: Fault) -> MeterCheck:
    row = next(row for row in sheet.connect if str(row.facts.end) == end)
    return next(one for one in row.checks if one.finds is finds)


@pytest.mark.parametrize("said", ANSWERS)
def test_each_check_fails_for_its_fault_and_passes_on_a_sound_car(said: tuple[str, ...]) -> None:
    tallies = carried_out(demo(), said, random.Random(1))
    assert [tally.wrong for tally in tallies.values()] == [[]] * len(tallies)
    assert all(tally.made > 0 for tally in tallies.values())


@pytest.mark.parametrize("seed", range(6))
def test_so_they_do_on_random_looms(seed: int) -> None:
    tallies = carried_out(random_fitting_loom(random.Random(seed)), (), random.Random(seed))
    assert [tally.wrong for tally in tallies.values()] == [[]] * len(tallies)


def test_no_check_goes_to_a_post_and_each_says_the_state_of_the_battery() -> None:
    for said in ANSWERS:
        for row in fitting_sheet(demo(), answers_of(demo(), said)).connect:
            assert "post" not in row.check
            assert all(one.text.startswith(("Battery clamps off", "By eye")) for one in row.checks)


def test_plugs_and_fuses_that_would_add_to_a_reading_are_named() -> None:
    """F2 feeds three injectors and three coils from one net: each would read as a path to earth."""
    short = check(fitting_sheet(demo()), "INJ1:1", Fault.SHORTED)
    assert {"INJ1", "INJ2", "INJ3", "COIL1", "COIL2", "COIL3", "ECU-A"} <= set(short.off)
    assert short.out == ("F2",)
    assert all(name in short.text for name in (*short.off, *short.out))
    car = Car(demo(), {"ECU-A", "ECU-B"}, {connector.name for connector in demo().connectors})
    assert car.passes(short)
    assert not car.passes(replace(short, off=("INJ1",))), "a sound car fails where they stay plugged"


def test_a_capacitor_at_a_live_end_charges_first() -> None:
    """Between feed and earth it reads low until the meter has charged it; pulled out, it does not."""
    loom = demo()
    ends = (("1", end_of("INJ1:1")), ("2", end_of("E-ENG:1")))
    part = Component("C9", ComponentKind.CAPACITOR, ends, capacitance_f=2.2e-6)
    plain = check(fitting_sheet(loom), "INJ1:1", Fault.SHORTED)
    with_it = check(
        fitting_sheet(replace(loom, components=(*loom.components, part))), "INJ1:1", Fault.SHORTED
    )
    assert "C9 is charged first" in with_it.text
    assert "C9" not in plain.text
    assert (with_it.least_ohm, with_it.out) == (plain.least_ohm, plain.out)
    pulled = replace(part, pullable=True, fitted=False)
    out = check(fitting_sheet(replace(loom, components=(*loom.components, pulled))), "INJ1:1", Fault.SHORTED)
    assert "C9" in out.out
    assert "charged" not in out.text


def test_an_earth_is_held_to_the_drop_at_its_load() -> None:
    """0.1 V at 12.31 A (3 injectors of 1.1 A, 3 coils of 3 A, the oil switch): 8.12 mΩ; at 1 A 0.1 Ω."""
    sheet = fitting_sheet(demo())
    engine, body = (check(sheet, end, Fault.BAD_EARTH) for end in ("E-ENG:1", "E-BODY:1"))
    assert engine.most_ohm == pytest.approx(0.1 / 12.31)
    assert body.most_ohm == pytest.approx(0.1)
    assert engine.b == (Spot.CLAMP, "")
    assert "0.0081 Ω (0.1 V at 12.3 A)" in engine.text


def test_a_part_is_back_probed_or_unplugged_and_the_computer_is_never_measured() -> None:
    sheet = fitting_sheet(demo())
    part = check(sheet, "INJ1:2", Fault.NOT_JOINED)
    assert "back-probed" in part.text
    assert "unplug INJ1" in part.text
    own = check(sheet, "ECU-A:21", Fault.WIRE_OPEN)
    assert "Never put an ohmmeter on the computer" in own.text
    for row in sheet.connect:
        assert all({"ECU-A", "ECU-B"} <= set(one.off) for one in row.checks if one.off)
