"""How diodes and parts beside them are to be read: small networks by hand."""

from __future__ import annotations

import math
from typing import Any

import pytest

from loomproof.electrics.components import ComponentReading, component_reading
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Component, ComponentKind, end_of

from .looms import loom_of, part

K = ComponentKind
WIRES = "W1 A:1 A:2\nW2 B:1 B:2\nW3 C:1 C:2"


def readings(*parts: Component) -> dict[str, ComponentReading]:
    expectation = expect(loom_of(WIRES, parts))
    return {
        one.component: one for one in (component_reading(expectation, each) for each in expectation.couplings)
    }


def diode(name: str, a: str, b: str, **more: Any) -> Component:
    return part(K.DIODE, name, a, b, **more)


def resistor(name: str, a: str, b: str, ohm: float | None) -> Component:
    return part(K.RESISTOR, name, a, b, ohm, tolerance_pct=1.0)


def test_a_lone_diode_shows_by_its_drop() -> None:
    """0.6 V where none is stated, 0.25 V either way; nothing else joins the two."""
    found = readings(diode("D1", "A:1", "B:1"))["D1"]
    assert found.forward_v == pytest.approx((0.35, 0.85))
    assert math.isinf(found.missing_ohm)
    assert (found.expected_ohm, found.lower_ohm, found.upper_ohm) == (None, 0.0, math.inf)
    assert (found.masked_by, found.alike, found.against, found.beside) == ((), (), (), False)
    assert found.provable
    assert found.defaults_used


@pytest.mark.parametrize(("stated", "bounds"), [(0.0, (0.0, 0.25)), (0.2, (0.0, 0.45)), (1.9, (1.65, 2.15))])
def test_a_stated_drop_is_read_within_a_quarter_of_a_volt(stated: float, bounds: tuple[float, float]) -> None:
    found = readings(diode("D1", "A:1", "B:1", forward_v=stated))["D1"]
    assert found.forward_v == pytest.approx(bounds)
    assert not found.defaults_used


@pytest.mark.parametrize(("ohm", "provable"), [(900.0, False), (970.0, False), (990.0, True), (5000.0, True)])
def test_a_resistance_beside_a_diode_hides_it_below_a_kilohm(ohm: float, provable: bool) -> None:
    """A:1 to B:1 through R: its ohms, and a contact of 10 mΩ at each cavity; at 1 kΩ a milliamp drops 1 V."""
    found = readings(diode("D1", "A:1", "B:1"), resistor("R1", "A:1", "B:1", ohm + 20.0))["D1"]
    assert found.missing_ohm == pytest.approx(ohm + 20.0 + 0.020, abs=1e-6)
    assert found.provable is provable
    assert found.masked_by == ()
    assert found.beside
    assert (found.alike, found.against) == ((), ())


def test_diodes_beside_a_diode_are_told_by_the_way_they_conduct() -> None:
    """D2 alike beside D1, D3 against it; D4 from C leads nowhere; through C there is a way round for both."""
    found = readings(
        diode("D1", "A:1", "B:1"),
        diode("D2", "A:2", "B:2"),
        diode("D3", "B:1", "A:1"),
        diode("D4", "C:1", "A:1"),
    )["D1"]
    assert (found.alike, found.against, found.beside) == (("D2",), ("D3",), True)
    assert found.masked_by == ("D2",)
    assert not found.provable
    round_ = readings(
        diode("D1", "A:1", "B:1"), diode("D2", "A:1", "C:1"), resistor("R1", "C:1", "B:1", 100.0)
    )["D1"]
    assert (round_.alike, round_.against, round_.beside) == (("D2",), (), False)
    assert round_.masked_by == ("D2",)
    back = readings(
        diode("D1", "A:1", "B:1"), diode("D2", "B:1", "C:1"), resistor("R1", "C:1", "A:1", 100.0)
    )["D1"]
    assert (back.alike, back.against, back.beside, back.masked_by) == ((), ("D2",), True, ())


def test_only_of_a_diode_is_it_said_what_flows_beside_it() -> None:
    found = readings(resistor("R1", "A:1", "B:1", 100.0), resistor("R2", "A:1", "B:1", 100.0))["R1"]
    assert (found.beside, found.alike, found.against, found.forward_v) == (False, (), (), None)


def test_a_part_of_unknown_ohms_masks_what_lies_beside_it() -> None:
    found = readings(
        diode("D1", "A:1", "B:1"), resistor("R1", "A:1", "B:1", None), resistor("R2", "A:1", "B:1", 100.0)
    )
    assert found["D1"].masked_by == ("R1",)
    assert found["R2"].masked_by == ("R1", "D1") or set(found["R2"].masked_by) == {"R1"}
    assert not found["R2"].provable
    assert found["R1"].expected_ohm is None
    assert not found["R1"].provable


def test_a_resistor_is_read_the_way_in_which_fewer_parts_mask_it() -> None:
    """D1 from A to B: read from B to A nothing masks R1. Masked both ways, it stays as it is described."""
    found = readings(resistor("R1", "A:1", "B:1", 100.0), diode("D1", "A:1", "B:1"))["R1"]
    assert (found.a, found.b, found.masked_by) == (end_of("B:1"), end_of("A:1"), ())
    found = readings(resistor("R1", "B:1", "A:1", 100.0), diode("D1", "A:1", "B:1"))["R1"]
    assert (found.a, found.b, found.masked_by) == (end_of("B:1"), end_of("A:1"), ())
    both = readings(
        resistor("R1", "A:1", "B:1", 100.0), diode("D1", "A:1", "B:1"), diode("D2", "B:1", "A:1")
    )["R1"]
    assert (both.a, both.b, both.masked_by) == (end_of("A:1"), end_of("B:1"), ("D1",))


@pytest.mark.parametrize(
    ("a", "b", "charges"), [("A:1", "B:2", True), ("B:1", "A:1", True), ("A:1", "C:1", False)]
)
def test_a_reading_rises_where_a_capacitor_lies_across_it(a: str, b: str, charges: bool) -> None:
    found = readings(resistor("R1", "A:1", "B:1", 100.0), part(K.CAPACITOR, "C1", a, b))
    assert found["R1"].charges is charges
    assert not found["C1"].charges


def test_a_part_without_a_value_reads_its_least_or_what_lies_beside_it() -> None:
    """A coil has 0.3 Ω at least; beside 0.2 Ω … of another part it reads no more than that part."""
    alone = readings(part(K.COIL, "L1", "A:1", "B:1"))["L1"]
    assert (alone.lower_ohm, alone.upper_ohm, alone.missing_ohm) == (0.3, math.inf, math.inf)
    capacitor = readings(part(K.CAPACITOR, "C1", "A:1", "B:1"), resistor("R1", "A:1", "B:1", 100.0))["C1"]
    assert capacitor.lower_ohm == capacitor.missing_ohm == pytest.approx(100.02)
    assert capacitor.expected_ohm == math.inf
