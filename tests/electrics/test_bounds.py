"""The least that parts let a sound loom read, by series and parallel sums; and what a relay conducts."""

from __future__ import annotations

import math

import pytest

from loomproof.electrics.bounds import least_ohm
from loomproof.electrics.component_kinds import Path, conducting_ends
from loomproof.electrics.conductors import RELAY_CONTACT_OHM, component_conductor, wire_conductor
from loomproof.electrics.couplings import DIODE_SPREAD_V, Coupling
from loomproof.electrics.expectation import expect
from loomproof.electrics.uncertainty import reading_budget
from loomproof.loom.model import Component, ComponentKind, End, Settings, end_of

from .looms import loom_of, part

CURRENT_A = 0.02


def resistor(net_a: int, net_b: int, ohm: float) -> Coupling:
    ends = end_of("A:1"), end_of("B:1")
    return Coupling("R", ComponentKind.RESISTOR, Path.RESISTIVE, *ends, net_a, net_b, ohm, ohm, ohm)


def diode(anode: int, cathode: int, volts: float | None) -> Coupling:
    ends = end_of("A:1"), end_of("B:1")
    kind = ComponentKind.DIODE
    return Coupling("D", kind, Path.DIODE, *ends, anode, cathode, 0.0, None, math.inf, forward_v=volts)


@pytest.mark.parametrize(
    ("parts", "source", "sink", "ohm"),
    [
        ([resistor(0, 1, 100.0)], 0, 1, 100.0),
        ([resistor(0, 1, 100.0)], 1, 0, 100.0),
        ([resistor(0, 1, 100.0), resistor(0, 1, 300.0)], 0, 1, 75.0),
        ([resistor(0, 1, 100.0), resistor(1, 2, 50.0)], 0, 2, 150.0),
        ([resistor(0, 1, 100.0), resistor(1, 2, 50.0), resistor(0, 2, 150.0)], 0, 2, 75.0),
        ([resistor(0, 1, 100.0), resistor(1, 3, 1.0)], 0, 1, 100.0),  # a branch that leads nowhere
        ([resistor(0, 1, 100.0), resistor(2, 3, 1.0)], 0, 1, 100.0),
        ([resistor(0, 1, 100.0)], 0, 2, math.inf),
        ([], 0, 1, math.inf),
        ([diode(0, 1, 0.6)], 0, 1, (0.6 - DIODE_SPREAD_V) / CURRENT_A),
        ([diode(0, 1, 0.6)], 1, 0, math.inf),
        ([diode(0, 1, 0.6), resistor(0, 1, 100.0)], 1, 0, 100.0),
        ([diode(0, 1, 0.6), resistor(1, 2, 100.0)], 0, 2, 100.0 + (0.6 - DIODE_SPREAD_V) / CURRENT_A),
        ([diode(0, 1, 0.2)], 0, 1, 0.0),
        ([diode(0, 1, 0.0)], 0, 1, 0.0),
        ([diode(0, 1, None)], 0, 1, 0.0),
    ],
)
def test_the_least_between_two_nets_is_that_of_the_network(
    parts: list[Coupling], source: int, sink: int, ohm: float
) -> None:
    """Ohm's and Kirchhoff's laws by hand; a diode counts as its smallest voltage over the largest current."""
    assert least_ohm(parts, [source], [sink], CURRENT_A) == pytest.approx(ohm, abs=1e-4)


def test_nets_joined_on_one_side_are_one() -> None:
    """Read from nets 0 and 1 together to net 2: their parts lie side by side."""
    parts = [resistor(0, 2, 100.0), resistor(1, 2, 300.0), resistor(0, 1, 1.0)]
    assert least_ohm(parts, [0, 1], [2], CURRENT_A) == pytest.approx(75.0)
    assert least_ohm(parts, [2], [1, 0], CURRENT_A) == pytest.approx(75.0)


def relay(*pins: str) -> Component:
    return Component("K1", ComponentKind.RELAY, tuple((pin, End("K", pin)) for pin in pins), 90.0)


def told(component: Component) -> set[frozenset[str]]:
    return {frozenset(end.cavity for end in pair) for pair in conducting_ends(component)}


def test_a_part_in_place_conducts_between_these_ends() -> None:
    """DIN 72552: the coil between 85 and 86; at rest the contact 30 to 87a is closed, 30 to 87 open."""
    assert told(relay("30", "85", "86", "87", "87a")) == {frozenset({"85", "86"}), frozenset({"30", "87a"})}
    assert told(relay("30", "85", "86", "87")) == {frozenset({"85", "86"})}
    assert told(relay("30", "87", "87a")) == {frozenset({"30", "87a"})}
    for kind, conducts in (
        (ComponentKind.RESISTOR, True),
        (ComponentKind.DIODE, True),
        (ComponentKind.FUSE, True),
        (ComponentKind.CAPACITOR, False),
    ):
        assert bool(told(part(kind, "P1", "A:1", "A:2", 100.0))) is conducts
        assert not told(part(kind, "P1", "A:1", "A:2", 100.0, fitted=False))


def test_the_least_of_a_wire_counts_its_joints_on_the_same_side() -> None:
    """Half of what it should read, whatever of that is joints: with two crimps of 5 mΩ it is 5 mΩ more."""
    bare, crimped = (
        wire_conductor(loom.wires[0], loom)
        for loom in (
            loom_of(
                "W1 A:1 B:1 1.0m 0.5mm2", settings=Settings(crimp_ohm=ohm, stated=frozenset({"crimp_ohm"}))
            )
            for ohm in (0.0, 0.005)
        )
    )
    assert crimped.nominal_ohm - bare.nominal_ohm == pytest.approx(0.010)
    assert crimped.greatest_ohm - bare.greatest_ohm == pytest.approx(0.010)
    assert crimped.least_ohm - bare.least_ohm == pytest.approx(0.005)
    assert bare.least_ohm == pytest.approx(bare.nominal_ohm / 2)


def test_a_single_reading_is_taken_once_unless_it_says_otherwise() -> None:
    """s/√n (GUM 4.2.3), k = 2: 20 mΩ of one reading with s = 10 mΩ, half of it of four."""
    assert reading_budget(0.0, 0.0, 1.0, repeatability_ohm=0.01).expanded_ohm == pytest.approx(0.02)
    assert reading_budget(0.0, 0.0, 1.0, repeatability_ohm=0.01, repeats=4).expanded_ohm == pytest.approx(
        0.01
    )


def test_nothing_is_charged_that_nobody_stated() -> None:
    """Without an error, a lead, a scatter or a temperature of its own a reading has no uncertainty."""
    assert reading_budget(0.0, 0.0, 100.0).expanded_ohm == 0.0


def test_a_resting_contact_of_a_relay_reads_half_of_what_it_may() -> None:
    pins = tuple((pin, End("K", pin)) for pin in ("30", "85", "86", "87a"))
    found = component_conductor(Component("K1", ComponentKind.RELAY, pins, 90.0), Settings())
    assert found.greatest_ohm == RELAY_CONTACT_OHM
    assert found.nominal_ohm == pytest.approx(RELAY_CONTACT_OHM / 2)


@pytest.mark.parametrize(
    ("kind", "ohm", "joins"),
    [
        (ComponentKind.RESISTOR, 0.1, True),
        (ComponentKind.COIL, 0.1, True),
        (ComponentKind.RESISTOR, 100.0, False),
        (ComponentKind.COIL, 100.0, False),
        (ComponentKind.RESISTOR, None, False),
        (ComponentKind.FUSE, None, True),
        (ComponentKind.LINK, None, True),
        (ComponentKind.DIODE, None, False),
    ],
)
def test_parts_of_next_to_no_ohms_make_one_net(kind: ComponentKind, ohm: float | None, joins: bool) -> None:
    """A tenth of an ohm is a shunt or a winding of a starter: two wires of a bench tell it from none."""
    loom = loom_of("W1 A:1 A:2\nW2 B:1 B:2", (part(kind, "P1", "A:1", "B:1", ohm),))
    found = expect(loom)
    assert (found.net_of[end_of("A:1")] == found.net_of[end_of("B:1")]) is joins
