"""Which feeds are limited, how fuses behind a relay are tried, and what the computer's plug may read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import End, Loom, Wire
from loomproof.loom.reading import load
from tests.fitting.looms import demo

TAIL_LAMP = load(Path(__file__).parents[2] / "fixtures" / "tail_lamp").loom


def steps(loom: Loom) -> tuple[str, ...]:
    return fitting_sheet(loom).power_up


def moved(name: str, b: End) -> Loom:
    """Return the model loom with one wire ending elsewhere."""
    wires = (replace(wire, b=b) if wire.name == name else wire for wire in demo().wires)
    return replace(demo(), wires=tuple(wires))


def test_fuses_behind_a_relay_go_in_one_by_one_when_its_contact_is_bridged() -> None:
    """K1 is not pulled in while the computer is unplugged: without the bridge a short stays dark."""
    step = steps(demo())[3]
    bridge, off = step.index("join 30 to 87"), step.index("Battery off (30 is live)")
    assert off < bridge < step.index("battery on") < step.index("Then F1, F2, one at a time")
    assert "watching the lamp of feed" in step


def test_the_bridge_comes_out_after_the_readings_behind_it() -> None:
    step = steps(demo())[4]
    assert (
        step.index("12 V at ECU-A:1") < step.index("A 5 W lamp") < step.index("battery off, the lead out, K1")
    )


def test_what_energises_the_relay_is_read_from_the_wires_at_its_coil() -> None:
    """W10 takes K-MAIN:85 to ECU-A:5; to an earth ring, K1 pulls in by itself; to nothing, nobody knows."""
    assert "The computer energises K1 (K-MAIN:85 goes to ECU-A:5), and is unplugged" in steps(demo())[3]
    earthed = moved("W10", End("E-BODY", "1"))
    earthed = replace(
        earthed,
        wires=tuple(replace(w, circuit="body-earth") if w.name == "W10" else w for w in earthed.wires),
    )
    assert "join 30 to 87" not in steps(earthed)[3]
    assert "Put in K1" in steps(earthed)[3]
    assert steps(earthed)[3].index("K1") < steps(earthed)[3].index("Then F1, F2")
    assert "ignition on" in steps(earthed)[3], "only then is K1 pulled in, and F1 and F2 are tried"
    assert "K1 energised: 12 V at ECU-A:1" in steps(earthed)[4]
    assert "does not say what energises K1. Battery off" in steps(demo(without=["W10"]))[3]


def test_every_feed_of_the_car_is_limited_not_the_permanent_and_ignition_ones_alone() -> None:
    step = steps(demo())[2]
    for feed in ("feed (40 A)", "ignition (5 A)", "start (15 A)", "warning-lamp (5 A)"):
        assert f" {feed}" in step
    assert step.index("every lamp stays dark") < step.index("ignition on") < step.index("key at start")


def test_cavities_that_read_12_v_in_a_sound_loom_are_named_with_what_they_read_it_through() -> None:
    """ECU-A:5 hangs on ignition through the coil of K1; the lamp at BULK:7 pulls ECU-A:10 up."""
    step = steps(demo())[4]
    assert "ECU-A:5 through K1 once K1 is in" in step
    assert "ECU-A:10 (warning-lamp) through what BULK:7 meets in the car" in step
    allowed = step.partition("12 V is no fault at ")[2].partition(" Any other sign")[0]
    assert "ECU-A:6" not in allowed, "K2 is out"
    assert "ECU-A:1 " not in allowed, "a feed"
    joined = demo(wires=(Wire("W99", End("ECU-A", "10"), End("E-BODY", "1"), "BN", 1.0, 0.5, "body-earth"),))
    assert "ECU-A:10" not in steps(joined)[4].partition("12 V is no fault at ")[2].partition(" Any other")[0]


def test_a_loom_to_a_lamp_has_no_step_for_an_engine() -> None:
    """Six wires to a lamp: no computer, fuel, cranking or coils; yet feeds, loads and the wait."""
    said = steps(TAIL_LAMP)
    assert [text.partition(".")[0] for text in said] == [
        "Make safe", "Unplug the loads", "Limit the current", "Fuses back", "Loads", "Off",
    ]  # fmt: skip
    whole = " ".join(said).casefold()
    for word in ("computer", "fuel", "crank", "oil pressure", "coils", "engine", "gearbox", "charge lamp"):
        assert word not in whole
    assert "tail (7.5 A)" in said[2]
    assert "reverse (10 A)" in said[2] or "reverse (none is named" in said[2], "it may be a feed"


def test_wires_of_no_circuit_keep_every_step_of_an_engine() -> None:
    """What is not described can be an engine's."""
    bare = replace(TAIL_LAMP, circuits=())
    titles = [text.partition(".")[0] for text in steps(bare)]
    assert len(titles) == 9, "all but the fuses of its own, which it has not"
    assert "Crank without injection and spark" in titles


def test_a_pump_without_an_engine_waits_for_the_step_that_it_has() -> None:
    """Its own circuit alone beside the lamps: kept off until the step that says fuel, whatever its number."""
    pump = replace(TAIL_LAMP.circuit_by_name["reverse"], name="pump", purpose="fuel pump", designation="87")
    loom = replace(
        TAIL_LAMP,
        circuits=tuple(pump if one.name == "reverse" else one for one in TAIL_LAMP.circuits),
        wires=tuple(
            replace(wire, circuit="pump") if wire.circuit == "reverse" else wire for wire in TAIL_LAMP.wires
        ),
    )
    said = steps(loom)
    fuel = next(number for number, text in enumerate(said, 1) if text.startswith("Fuel."))
    assert f"until step {fuel}" in said[1]
    assert not any("Crank" in text for text in said)
