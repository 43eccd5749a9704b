"""How wires, contacts and parts are mended and named, over all that they can be; common practice."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis.mending import (
    cathode_mark,
    is_ring,
    is_tail,
    kept_together,
    kind_of,
    looks,
    new_part,
    rejoined,
    renewed,
    right_value,
    taken_out,
)
from loomproof.diagnosis.words import Names, of_reading
from loomproof.loom.model import (
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Wire,
    end_of,
    ends_of,
)
from loomproof.results.measured import Decision, Judged
from tests.diagnosis.test_wiring_faults import plug

LOOM = Loom(
    "mending",
    connectors=(
        plug("A", "1 2"),
        Connector("E", ConnectorKind.RING, (("1",),)),
        Connector("T", ConnectorKind.TAIL, (("1",),)),
        Connector("S", ConnectorKind.SPLICE),
    ),
    wires=(
        Wire("W1", end_of("A:1"), end_of("E:1"), "RD", 0.5, 1.0, twisted_with="W2", screened_by="W3"),
        Wire("W2", end_of("A:2"), end_of("T:1"), "BU", 0.5, 1.0, twisted_with="W1"),
        Wire("W3", end_of("S"), end_of("E:1"), "", 0.5, 1.0),
    ),
)
NAMES = Names(LOOM)


def test_what_holds_an_end() -> None:
    held = {
        text: (is_ring(NAMES, end_of(text)), is_tail(NAMES, end_of(text)))
        for text in ("A:1", "E:1", "T:1", "S")
    }
    assert held == {"A:1": (False, False), "E:1": (True, False), "T:1": (False, True), "S": (False, False)}
    assert not is_ring(NAMES, End("nowhere", "1"))
    assert not is_tail(NAMES, End("nowhere", "1"))


@pytest.mark.parametrize(
    ("ends", "first"),
    [
        ("A:1 A:2", ["Unplug and look at the contacts of A:1 and A:2"]),
        ("E:1", ["Undo the bolt of E:1"]),
        ("T:1", ["Look at the bare end of T:1"]),
        ("A:1 E:1 T:1", ["Unplug and look", "Undo the bolt of E:1", "Look at the bare end of T:1"]),
        ("S", ["Open the cover of S and tug each wire."]),
        ("A:1 S", ["Unplug and look at the contacts of A:1:"]),
    ],
)
def test_each_end_is_looked_at_as_it_is_held(ends: str, first: list[str]) -> None:
    told = looks(NAMES, ends_of(ends))
    assert len(told) == len(first)
    assert all(text.startswith(start) for text, start in zip(told, first, strict=True)), told


@pytest.mark.parametrize(
    ("ends", "said"),
    [
        ("A:1", "Crimp on a new contact of its type"),
        ("A:1 E:1", "Crimp on a new contact, or a new lug on a clean bright seat"),
        (
            "E:1",
            "Clean lug and seat to bright metal and tighten the bolt; crimp on a new lug where it is bad",
        ),
        (
            "E:1 S",
            "Clean lug and seat to bright metal and tighten the bolt; crimp on a new lug where it is bad",
        ),
        ("S", "Crimp on a new contact of its type"),
    ],
)
def test_what_holds_a_wire_is_renewed(ends: str, said: str) -> None:
    assert renewed(NAMES, ends_of(ends)) == said


@pytest.mark.parametrize(
    ("csa_mm2", "said"),
    [
        (None, "with a crimp splice and sealed heat-shrink"),
        (0.14, "is too large for 0.14 mm²"),
        (0.299, "is too large for 0.299 mm²"),
        (0.3, "with a crimp splice and sealed heat-shrink"),
        (5.9, "with a crimp splice and sealed heat-shrink"),
        (6.0, "A cable of 6 mm² that is bad along its length is renewed"),
        (35.0, "do not splice it"),
    ],
)
def test_a_wire_is_mended_by_its_section(csa_mm2: float | None, said: str) -> None:
    wire = Wire("W9", end_of("A:1"), end_of("A:2"), "RD", csa_mm2, 1.0)
    (step,) = rejoined(NAMES, [wire], ends_of("A:1"))
    assert said in step
    assert step.startswith("Crimp on a new contact of its type")
    if said.startswith("with a crimp"):
        section = "0.3 mm² red" if csa_mm2 == 0.3 else "5.9 mm² red"
        assert ("red wire of the same section" if csa_mm2 is None else section) in step


def test_a_screen_is_bridged_over_and_what_belongs_together_stays_so() -> None:
    (step,) = rejoined(NAMES, [LOOM.wires[2]], ())
    assert "with braid or a drain wire" in step
    assert "it is the screen of W1 (red)" in step
    both = kept_together(NAMES, LOOM.wires[:2])
    assert both == [
        "Keep W1 (red) and W2 (blue) twisted together up to the joint and again behind it, "
        "with the same lay.",
        "Carry the screen W3 over the joint whole, and earth it at no new place.",
    ]
    assert kept_together(NAMES, LOOM.wires[2:]) == []
    assert rejoined(NAMES, LOOM.wires[:1], ())[1:] == both


def part(kind: ComponentKind, **facts: Any) -> Component:
    pins = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
    return Component("X1", kind, tuple(zip(pins, ends_of("A:1 A:2"), strict=True)), **facts)


K = ComponentKind


@pytest.mark.parametrize(
    ("one", "said"),
    [
        (part(K.FUSE, rating_a=10.0), "a 10 A fuse of its type"),
        (part(K.FUSE), "a fuse of its type and rating"),
        (part(K.RELAY, resistance_ohm=90.0, rating_a=40.0),
         "a relay with a coil of 90 Ω, contacts for 40 A or more, and the same terminals"),
        (part(K.RELAY),
         "a relay with the same coil, contacts rated for the load behind them, and the same terminals"),
        (part(K.DIODE), "a diode of its type and rating, its band (cathode) at A:2"),
        (part(K.DIODE, forward_v=1.3), "a diode of its type and rating, its band (cathode) at A:2"),
        (part(K.DIODE, forward_v=1.4),
         "an LED of its type and rating, its flat side or short leg (cathode) at A:2"),
        (part(K.CAPACITOR), "a capacitor, of its type and for no less voltage"),
        (part(K.CAPACITOR, capacitance_f=1e-6), "a capacitor of 1 µF, of its type and for no less voltage"),
        (part(K.RESISTOR, resistance_ohm=470.0), "a resistor of 470 Ω of its type and rating"),
        (part(K.RESISTOR), "a resistor of its type and rating"),
        (part(K.COIL, resistance_ohm=12.0), "a coil of 12 Ω of its type and rating"),
        (part(K.LINK), "a link of its type and rating"),
    ],
)  # fmt: skip
def test_what_is_fitted_in_place_of_a_part(one: Component, said: str) -> None:
    assert (
        new_part(one).replace("1.00 µF", "1 µF").replace("12.0 Ω", "12 Ω").replace("90.0 Ω", "90 Ω") == said
    )


def test_parts_are_called_taken_out_and_valued() -> None:
    led = part(K.DIODE, forward_v=2.0)
    assert [kind_of(one) for one in (led, part(K.DIODE), part(K.COIL))] == ["LED", "diode", "coil"]
    assert kind_of(replace(part(K.RESISTOR), forward_v=2.0)) == "resistor"
    assert cathode_mark(led) != cathode_mark(part(K.DIODE))
    assert taken_out(part(K.CAPACITOR)) == "Discharge X1 through a resistor, take it out"
    assert taken_out(part(K.RESISTOR)) == "Take X1 out"
    assert right_value(part(K.RESISTOR, resistance_ohm=470.0), 471.0) == "470 Ω"
    assert right_value(part(K.RESISTOR), 471.0) == "471 Ω"
    assert right_value(part(K.RELAY, resistance_ohm=470.0), 471.0) == "a coil of 470 Ω"


def test_wires_and_titles_in_a_sentence() -> None:
    assert NAMES.wire("W1") == "W1 (red)"
    assert NAMES.wire("W3") == "W3"
    assert NAMES.wire("9") == "wire 9"
    assert NAMES.wire("1a") == "wire 1a"
    assert NAMES.wires(["W1", "W2"]) == "W1 (red) and W2 (blue)"
    assert NAMES.wires([f"V{k}" for k in range(6)]) == "V0, V1, V2, V3, V4 and V5"
    assert NAMES.wires([f"V{k}" for k in range(7)]) == "V0, V1, V2, V3, V4 and 2 more"
    assert NAMES.inside("Short between A:1 and A:2") == "short between A:1 and A:2"
    assert NAMES.inside("W1 (red) open") == "W1 (red) open"
    assert NAMES.inside("LED D1 missing") == "LED D1 missing"
    plain = Names(replace(LOOM, connectors=(*LOOM.connectors, plug("Lamp", "1"))))
    assert plain.inside("Lamp reaches nothing") == "Lamp reaches nothing"
    assert NAMES.inside("Lamp reaches nothing") == "lamp reaches nothing"


def test_where_a_wire_runs_and_what_it_is_mended_with() -> None:
    wire = Wire("W9", end_of("A:1"), end_of("S"), "RD", 0.5, 1.0, bundle="front")
    assert NAMES.run(wire) == "along W9 from A:1 to S, in bundle front"
    assert NAMES.run(replace(wire, bundle="")) == "along W9 from A:1 to S"
    assert NAMES.section(wire) == "0.5 mm² red wire"
    assert NAMES.section(replace(wire, colour="")) == "0.5 mm² wire"
    assert NAMES.section(replace(wire, csa_mm2=None)) == "red wire of the same section as the wire there"


@pytest.mark.parametrize(
    ("ohm", "lower", "part_name", "text", "figures"),
    [
        (5.0, 0.0, "", "A:1 to A:2", (5.0, 0.1)),
        (5.0, 0.0, "R1", "R1, A:1 to A:2", (5.0, 0.1)),
        (5.0, 4.0, "R1", "R1, A:1 to A:2, lower limit 4.00 Ω", (5.0, 0.1)),
        (float("inf"), 0.0, "", "A:1 to A:2 is open", (None, None)),
    ],
)
def test_a_reading_as_evidence(
    ohm: float, lower: float, part_name: str, text: str, figures: tuple[float | None, float | None]
) -> None:
    a, b = ends_of("A:1 A:2")
    shown = of_reading(Judged(a, b, ohm, 0.1, 1.0, 2.0, Decision.FAIL, lower, part_name))
    assert (shown.text, (shown.measured_ohm, shown.uncertainty_ohm)) == (text, figures)
    assert (shown.expected_ohm, shown.limit_ohm) == (1.0, 2.0)
