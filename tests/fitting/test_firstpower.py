"""What a conversion needs beyond wires, and the first power-up: said of this loom, and in order."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from loomproof.fitting import firstpower
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import Circuit, End, Loom, Wire
from loomproof.reports.fitting_sheet import sheet_csv
from loomproof.results.fitting import Level
from tests.fitting.looms import demo


def with_circuit(circuit: Circuit) -> Loom:
    return replace(demo(), circuits=(*demo().circuits, circuit))


def told(loom: Loom, start: str) -> list[tuple[Level, str]]:
    return [(warn.level, warn.text) for warn in fitting_sheet(loom).warnings if warn.text.startswith(start)]


def test_every_rule_has_a_reason_and_a_source() -> None:
    assert all(row["source"] and row["reason"] for row in firstpower.rows("first_power_up"))
    assert all(
        row["source"] and row["told"] and (row["asked"] or row["words"])
        for row in firstpower.rows("purposes")
    )
    steps = dict.fromkeys(row["step"] for row in firstpower.rows("first_power_up"))
    assert list(steps) == [str(k) for k in range(1, 11)]


@pytest.mark.parametrize(
    ("circuit", "purpose"),
    [
        (Circuit("immo", "immobiliser code line", load_a=0.01), "immobiliser"),
        (Circuit("key", "Transponder ring", load_a=0.01), "immobiliser"),
        (Circuit("clutch", "clutch switch", load_a=0.01), "interlock"),
        (Circuit("shock", "inertia switch of the pump", load_a=0.01), "pump cut-off"),
        (Circuit("charge", "alternator", "D+", 0.2), "exciter"),
        (Circuit("light", "charge tell-tale", "61", 0.2), "exciter"),
        (Circuit("vss", "road speed", load_a=0.01), "speed signal"),
        (Circuit("kam", "keep-alive of the computer", "30", 0.01, "5 A"), "keep-alive"),
    ],
)
def test_a_purpose_is_told_where_a_circuit_has_it_and_asked_where_none_has(
    circuit: Circuit, purpose: str
) -> None:
    asked = next(row["asked"] for row in firstpower.rows("purposes") if row["purpose"] == purpose)
    silent = replace(demo(), circuits=tuple(c for c in demo().circuits if c.name != "gearbox-switch"))
    silent = replace(silent, wires=tuple(w for w in silent.wires if w.circuit != "gearbox-switch"))
    if purpose != "pump cut-off":
        assert asked in fitting_sheet(silent).questions
    loom = with_circuit(circuit)
    assert asked not in fitting_sheet(loom).questions
    assert any(circuit.name in text for _, text in told(loom, f"{purpose} ("))


def test_kinds_of_injectors_and_coils_and_lamps_that_feed_back_are_told() -> None:
    for start, word in (("injector (", "peak-and-hold"), ("coil (", "logic"), ("lamp (", "both ways")):
        assert any(word in text for _, text in told(demo(), start))


def test_a_sensor_earth_joined_to_a_power_earth_is_warned_of() -> None:
    """Load current through a sensor's earth shifts its zero: they meet in the computer alone."""
    assert not told(demo(), "sensor-earth")
    joined = demo(wires=(Wire("W99", End("S-EARTH"), End("E-BODY", "1"), "BN", 1.0, 0.5, "body-earth"),))
    ((level, text),) = told(joined, "sensor-earth")
    assert level is Level.WARNING
    assert "E-BODY:1" in text


def test_a_screen_is_earthed_at_one_end() -> None:
    ((level, text),) = told(demo(), "screen W71")
    assert level is Level.NOTE
    assert "one end only" in text
    screen = demo().wire_by_name["W71"]
    twice = replace(screen, a=End("E-BODY", "1"), b=End("E-ENG", "1"))
    loom = replace(demo(), wires=tuple(twice if wire is screen else wire for wire in demo().wires))
    assert [level for level, _ in told(loom, "screen W71")] == [Level.WARNING]


def test_the_first_power_up_names_what_is_unplugged_limited_and_measured() -> None:
    steps = fitting_sheet(demo()).power_up
    assert len(steps) == 10
    assert "neutral" in steps[0]
    assert "fan and belts" in steps[0]
    assert all(
        name in steps[1] for name in ("ECU-A", "ECU-B", "INJ2", "COIL3", "STARTER", "BULK:4", "F1", "K3")
    )
    assert "feed (40 A)" in steps[2]
    assert "lamp" in steps[2]
    assert all(f"12 V at {ends}" in steps[4] for ends in ("ECU-A:1, ECU-A:2", "ECU-A:4", "ECU-A:8"))
    assert all(name in steps[4] for name in ("ECU-A:15", "ECU-A:16", "ECU-A:31", "ECU-A:32"))
    first = next(k for k, text in enumerate(steps) if "12 V at" in text)
    plugged = next(k for k, text in enumerate(steps) if "plug the computer in" in text)
    assert first < plugged, "12 V and polarity come before the computer goes on"
    assert "E-ENG:1 to the battery's negative post under 0.1 V" in steps[8]


def test_a_load_without_a_plug_of_its_own_is_kept_off_by_its_own_fuse_and_relay() -> None:
    """The bulkhead plug brings battery and ignition: it stays in, and the pump must not run before step 7."""
    steps = fitting_sheet(demo()).power_up
    unplugged = steps[1].partition("unplug ")[2].partition(".")[0]
    assert "BULK" not in unplugged
    assert "BULK:4 (fuel pump in the tank) is one cavity of BULK" in steps[1]
    assert "leave F3 and K2 out until step 7" in steps[1]
    assert "leave F4 and K3 out until step 8" in steps[1]
    assert "leave K1 out and join 30 to 87" in steps[3]
    assert "Then F1, F2, one at a time" in steps[3]
    assert "never that of a pump, starter or fan (K2, K3)" in steps[3]
    assert "put in F3 and K2, and plug the pump itself in again where it was unplugged" in steps[6]
    assert "plug in the pump alone" not in steps[6], "its plug brings other things, and stayed in"
    assert "put in F4 and K3" in steps[7]


def test_a_load_without_a_fuse_or_relay_of_its_own_is_unplugged_in_the_car() -> None:
    """With the pump wired to the fuse that the computer is fed by, nothing can be left out for it."""
    wires = tuple(
        replace(w, a=End("FUSES", "1B"), b=End("BULK", "4")) if w.name == "W27" else w for w in demo().wires
    )
    steps = fitting_sheet(replace(demo(), wires=wires)).power_up
    assert "stays plugged in: unplug the load itself, in the car, until step 7." in steps[1]
    assert "plug the pump itself in again, in the car, battery on" in steps[6]
    assert "Then K2, one at a time" in steps[3]


def test_steps_and_questions_are_in_the_table_as_well() -> None:
    rows = list(csv.DictReader(io.StringIO(sheet_csv(fitting_sheet(demo())))))
    assert [row["order"] for row in rows if row["list"] == "first power-up"] == [str(k) for k in range(1, 11)]
    assert [row["check"] for row in rows if row["list"] == "question"] == list(
        fitting_sheet(demo()).questions
    )


def test_loads_without_a_row_are_named() -> None:
    sheet = fitting_sheet(demo())
    rows = {row.circuit for row in sheet.drops}
    wanted = {c.name for c in demo().circuits if (c.load_a or 0) > 0.1 and c.need.value == "needed"} - rows
    assert {text.partition(" (")[0] for text in sheet.left_out} == wanted
    assert wanted


def test_a_pump_that_does_not_stop_is_stopped_and_the_rail_is_under_pressure_when_the_engine_is_cranked() -> (
    None
):
    steps = fitting_sheet(demo()).power_up
    assert "Still runs: ignition off, battery off, K2 out" in steps[6]
    assert "without fuel" not in steps[7]
    assert "the rail is under pressure: look for leaks" in steps[7]


def test_a_lamp_in_series_is_not_called_a_fault_of_a_computer_that_wants_more() -> None:
    """21 W / 12 V = 1.75 A, and the loom states 3 A: what tells a short from that load is the voltage."""
    step = fitting_sheet(demo()).power_up[5]
    assert "does not shine" not in step
    assert "the loom states computer-feed 3 A" in step
    assert "Under 1 V: a short" in step
    little = replace(demo().circuit_by_name["computer-feed"], load_a=1.0)
    assert "the loom states" not in fitting_sheet(demo(circuits={"computer-feed": little})).power_up[5]


def test_the_ammeter_is_fitted_before_the_ten_minutes() -> None:
    """Taking a clamp off for the ammeter wakes everything: the wait starts after that."""
    step = fitting_sheet(demo()).power_up[9]
    assert step.index("Battery off") < step.index("ammeter") < step.index("ten minutes")
