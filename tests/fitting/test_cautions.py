"""What can hurt people and cars is said, and no advice is given that leaves something live."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from loomproof.cautions import BEFORE_A_PROOF, BEFORE_AN_INSULATION_TEST, LIMITS_OF_THE_TEST, WITHOUT_A_LOOM
from loomproof.fitting.sheet import fitting_sheet
from loomproof.fitting.words import CAUTIONS, EXPERIENCED, NOT_CHECKED
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
)
from loomproof.results.fitting import Action, Level, SafeRow
from tests.fitting.looms import demo

HAZARDS = {
    BEFORE_A_PROOF: ["battery", "control unit", "airbag", "fuel", "local rules"],
    WITHOUT_A_LOOM: ["no loom is on the bench", "no supply", "mains earth"],
    BEFORE_AN_INSULATION_TEST: ["nobody touches", "but the adapter", "60 v", "discharge", "local rules"],
    LIMITS_OF_THE_TEST: ["broken strands", "chafed", "hot, wet, shaken"],
    CAUTIONS: [
        *("battery off", "fuel line pressure", "airbag", "never fit a larger", "moving and hot"),
        "local rules",
    ],
    EXPERIENCED: ["airbag", "fuel", "brake lamps", "licensed"],
    NOT_CHECKED: ["return path", "plugged in", "ampacity"],
}
"""Cautions as usual in the trade; 60 V d.c. is where IEC 60364 and IEC 61140 end extra-low voltage."""


@pytest.mark.parametrize(("told", "hazards"), HAZARDS.items())
def test_every_usual_hazard_is_told(told: tuple[str, ...], hazards: list[str]) -> None:
    whole = " ".join(told).casefold()
    assert [hazard for hazard in hazards if hazard not in whole] == []


def test_a_sheet_carries_its_cautions() -> None:
    sheet = fitting_sheet(demo())
    assert (sheet.cautions, sheet.experienced, sheet.not_checked) == (CAUTIONS, EXPERIENCED, NOT_CHECKED)


def test_the_first_power_up_puts_the_battery_on_and_takes_it_off_where_it_must() -> None:
    """Limited current before any fuse, fuel before spark, the battery off before anything is plugged in."""
    steps = fitting_sheet(demo()).power_up
    titles = [step.partition(".")[0] for step in steps]
    assert titles == [
        "Make safe", "Unplug what can move or spark", "Limit the current", "Fuses, one at a time",
        "Polarity and 12 V at the computer's plug", "The computer", "Fuel",
        "Crank without injection and spark", "Start and load", "Off",
    ]  # fmt: skip
    said = dict(zip(titles, steps, strict=True))
    assert "Battery still off" in said["Unplug what can move or spark"]
    assert "Positive clamp on first, negative last" in said["Limit the current"]
    battery = {
        name: re.findall(r"battery (?:still )?(on|off)\b", text.casefold()) for name, text in said.items()
    }
    assert battery["The computer"] == ["off", "on", "off", "off", "on"]
    assert battery["Start and load"] == ["off", "on"]
    for name in (*titles[:3], titles[4]):
        assert set(battery[name]) == {"off"}, name
    assert battery["Fuses, one at a time"] == ["off", "on", "off"], "30 is live: off before it is bridged"
    assert battery["Fuel"] == ["off", "on", "off", "off"], "a pump that does not stop, and a leak"
    crank = said["Crank without injection and spark"].casefold()
    assert battery["Crank without injection and spark"] == ["off", "on"], (
        "the starter was unplugged, and is plugged in"
    )
    assert crank.index("battery off") < crank.index("plug in all else") < crank.index("crank a few seconds")
    computer, start = said["The computer"].casefold(), said["Start and load"].casefold()
    assert (
        computer.index("battery off") < computer.index("plug the computer in") < computer.index("battery on")
    )
    assert start.index("battery off") < start.index("plug in coils") < start.index("battery on")
    assert "fire extinguisher" in said["Make safe"]


def two_ways(*, bare: bool) -> Loom:
    """X:1 is unused and fed by way of fuse F1, which serves nothing else; ``bare``: by a second feed too,
    which no fuse of the loom guards."""
    wires = [
        Wire("W1", End("CAR", "1"), End("H", "1A"), "RD", 2.5, 1.0, "feed"),
        Wire("W2", End("H", "1B"), End("X", "1"), "RD/WH", 1.0, 1.0, "extra"),
        Wire("W3", End("CAR", "2"), End("P", "1"), "BK", 1.0, 1.0, "lamp"),
    ]
    if bare:
        wires.append(Wire("W4", End("CAR", "2"), End("X", "1"), "BK", 1.0, 1.0, "extra"))
    return Loom(
        "two ways",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            Connector("H", ConnectorKind.FUSE_HOLDER, (("1A", "1B"),)),
            Connector("X", ConnectorKind.TAIL, (("1",),)),
            Connector("P", ConnectorKind.PLUG, (("1",),)),
        ),
        wires=tuple(wires),
        components=(
            Component(
                "F1", ComponentKind.FUSE, (("1", End("H", "1A")), ("2", End("H", "1B"))), rating_a=10.0
            ),
        ),
        circuits=(
            Circuit("feed", "permanent feed", "30", 10.0, "30 A"),
            Circuit("extra", "accessory", "", 5.0, "F1", need=Need.UNUSED),
            Circuit("lamp", "parking lamp", "58", 2.0, "5 A"),
        ),
    )  # fmt: skip


def row_of(loom: Loom, end: str) -> SafeRow:
    return next(row for row in fitting_sheet(loom).safe if str(row.facts.end) == end)


def test_a_fuse_is_taken_out_only_where_every_way_goes_through_one_that_nothing_needs() -> None:
    row = row_of(two_ways(bare=False), "X:1")
    assert (row.action, row.why) == (
        Action.REMOVE_FUSE,
        "live while F1 is in; nothing needed is behind it",
    )
    row = row_of(two_ways(bare=True), "X:1")
    assert row.action is Action.CAP, "with F1 out it is still fed from CAR:2"
    needed = replace(
        two_ways(bare=False),
        components=(replace(two_ways(bare=False).components[0], circuit="lamp"),),
    )
    assert row_of(needed, "X:1").action is Action.CAP, "F1 serves something that is needed"


def test_an_unused_end_fed_for_good_without_a_fuse_is_a_danger() -> None:
    loom = two_ways(bare=False)
    bare = replace(
        loom,
        wires=(*loom.wires, Wire("W4", End("CAR", "1"), End("X", "1"), "RD", 1.0, 1.0, "extra")),
        circuits=(replace(loom.circuits[0], fuse=""), *loom.circuits[1:]),
    )
    dangers = [warn for warn in fitting_sheet(bare).warnings if warn.level is Level.DANGER]
    assert any("X:1 (RD/WH + RD)" in warn.text and "without a fuse" in warn.text for warn in dangers)
    assert row_of(bare, "X:1").action is Action.CAP
