"""Which feeds are limited, how fuses behind a relay are tried, and what the computer's plug may read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Wire,
)
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
    assert "reverse (10 A)" in said[2] or "for reverse (no fuse is named" in said[2], "it may be a feed"


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


def with_counter(purpose: str, designation: str = "", plug: str = "LAMP") -> Loom:
    """Return the tail lamp's loom with its reversing wire put to another use."""
    circuit = replace(
        TAIL_LAMP.circuit_by_name["reverse"],
        name="signal",
        purpose=purpose,
        designation=designation,
        load_a=0.01,
        fuse="",
    )
    return replace(
        TAIL_LAMP,
        connectors=tuple(
            replace(one, description=plug) if one.name == "LAMP" else one for one in TAIL_LAMP.connectors
        ),
        circuits=tuple(circuit if one.name == "reverse" else one for one in TAIL_LAMP.circuits),
        wires=tuple(
            replace(wire, circuit="signal") if wire.circuit == "reverse" else wire for wire in TAIL_LAMP.wires
        ),
    )


@pytest.mark.parametrize(
    ("purpose", "designation", "plug", "engine"),
    [
        ("pulses for the rev counter", "", "dashboard", False),
        ("rev counter", "1", "dashboard", False),
        ("rev", "", "dashboard", False),
        ("tacho", "1", "dashboard", False),
        ("", "1", "dashboard", True),
        ("rev counter", "1", "ignition coil", True),
        ("injector of cylinder 1", "", "rail", True),
        ("crankshaft sensor", "", "block", True),
        ("starter solenoid", "50", "starter", True),
        ("oil pressure lamp", "", "dashboard", False),
    ],
)
def test_what_only_shows_an_engine_gives_a_loom_none_of_its_steps(
    purpose: str, designation: str, plug: str, engine: bool
) -> None:
    """Terminal 1 is the coil's by DIN 72552, and feeds a rev counter as well; the entry says which it is."""
    said = " ".join(steps(with_counter(purpose, designation, plug)))
    assert ("crank a few seconds" in said) == engine
    assert ("Gearbox in neutral" in said) == engine


def own_fuse(*, horn: bool = False, fuse: bool = True) -> Loom:
    """Return a battery ring, a fuse of the loom's own, a lamp, and on request a horn before that fuse."""
    wires = [
        Wire("W1", End("BATT", "1"), End("FUSES", "1A"), "RD", 1.5, 0.5, "feed"),
        Wire("W2", End("FUSES", "1B"), End("LAMP", "1"), "RD", 1.5, 0.5, "feed"),
        Wire("W3", End("LAMP", "2"), End("EARTH", "1"), "BN", 1.5, 0.5, "earth"),
    ]
    if horn:
        wires.append(Wire("W4", End("BATT", "1"), End("HORN", "1"), "RD", 1.5, 0.5, "feed"))
    holder = Connector("FUSES", ConnectorKind.FUSE_HOLDER, (("1A", "1B"),), location="left of the box")
    ends = (("1", End("FUSES", "1A")), ("2", End("FUSES", "1B")))
    return Loom(
        "lamp of a trailer",
        connectors=(
            Connector("BATT", ConnectorKind.RING, (("1",),)),
            holder,
            Connector("LAMP", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("HORN", ConnectorKind.PLUG, (("1",),)),
            Connector("EARTH", ConnectorKind.RING, (("1",),)),
        ),
        wires=tuple(wires),
        components=(Component("F1", ComponentKind.FUSE, ends, rating_a=10.0),) if fuse else (),
        circuits=(Circuit("feed", "lamp", "30", 1.0, "F1" if fuse else ""), Circuit("earth", "", "31")),
    )


def test_the_loom_s_own_fuse_is_named_and_none_is_asked_for() -> None:
    """It guards what lies behind it alone: the lamp stands before it, and it goes in under that lamp."""
    said = steps(own_fuse())
    assert (
        "in the car's lead to BATT:1 for feed, which has its fuse in the loom: F1 (10 A, FUSES:1A to "
        "FUSES:1B, left of the box), and none in the wire up to it."
    ) in said[2]
    assert "fit one" not in said[2]
    assert said[3].startswith("Fuses, one at a time. Put in F1")
    assert "fuse or lead back in place of each lamp" in said[4]


def test_a_fuse_is_asked_for_where_something_has_none_before_it() -> None:
    assert "left of the box), but none before HORN:1: fit one in that lead" in steps(own_fuse(horn=True))[2]
    bare = next(text for text in steps(own_fuse(fuse=False)) if text.startswith("Limit"))
    assert "for feed (no fuse is named: fit one)." in bare


def test_the_loom_s_own_fuses_behind_a_relay_are_named_each() -> None:
    feed = replace(demo().circuit_by_name["feed"], fuse="")
    step = steps(demo(circuits={"feed": feed}))[2]
    for fuse in ("F1 (10 A, FUSES:1A to FUSES:1B, relay box)", "F4 (25 A, FUSES:4A to FUSES:4B, relay box)"):
        assert fuse in step
    assert "in place of the fuse of ignition (5 A)" in step


def test_a_loom_without_an_engine_is_asked_nothing_of_one() -> None:
    """A tail lamp has neither starter, alternator nor pump; a rev counter on terminal 1 is no coil."""
    for loom in (TAIL_LAMP, with_counter("rev counter", "1", "dashboard")):
        sheet = fitting_sheet(loom)
        assert sheet.questions == ()
        assert not any("coil" in warn.text for warn in sheet.warnings)
    assert any("immobiliser" in text for text in fitting_sheet(demo()).questions)
    assert any("immobiliser" in text for text in fitting_sheet(replace(TAIL_LAMP, circuits=())).questions)


def test_of_several_ends_of_a_feed_none_is_said_to_have_a_lead_of_the_car_s() -> None:
    """Ignition comes in at BULK:2 and goes on to the computer's plug: which is which the person sees."""
    bare = replace(demo().circuit_by_name["ignition"], fuse="")
    loom = replace(demo(), circuits=tuple(bare if c.name == bare.name else c for c in demo().circuits))
    said = steps(loom)[2]
    assert "in every lead that the car brings to BULK:2 or ECU-A:4 for ignition (no fuse is named" in said
