"""What every kind of part joins, conducts and carries: a table by hand (DIN 72552 for relays)."""

from __future__ import annotations

import pytest

from loomproof.electrics.component_kinds import (
    FACTS,
    Closed,
    Path,
    carrying_ends,
    conducting_ends,
    joined_ends,
    lasting_ends,
    paths_of,
    resting_contacts,
)
from loomproof.electrics.conductors import component_conductor, component_ohms, copper_factor
from loomproof.electrics.couplings import couplings_of
from loomproof.electrics.currents import ways
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Component, ComponentKind, End, Settings, end_of

from .looms import loom_of, part

K = ComponentKind


def relay(*pins: str, fitted: bool = True) -> Component:
    return Component("K1", K.RELAY, tuple((pin, End("K", pin)) for pin in pins), 90.0, fitted=fitted)


def pins(pairs: tuple[tuple[End, End], ...]) -> list[str]:
    return [f"{a.cavity}-{b.cavity}" for a, b in pairs]


ALL = ("30", "85", "86", "87", "87a", "87b", "88", "88a", "88b")


@pytest.mark.parametrize(
    ("one", "joined", "lasting", "resting", "carrying", "conducting"),
    [
        (
            relay(*ALL),
            ["30-87a"],
            [],
            ["30-87a"],
            ["30-87", "30-87b", "88-88a", "88-88b"],
            ["86-85", "30-87a"],
        ),
        (relay(*ALL, fitted=False), [], [], [], ["30-87", "30-87b", "88-88a", "88-88b"], []),
        (relay("30", "85", "86", "87"), [], [], [], ["30-87"], ["86-85"]),
        (relay("a", "b", "c"), [], [], [], [], ["a-b"]),
        (relay("85", "86"), [], [], [], [], ["86-85"]),
        (relay("30", "85", "87"), [], [], [], ["30-87"], []),
        (relay("85", "1", "2"), [], [], [], [], ["85-1"]),
        (relay("30"), [], [], [], [], []),
        (part(K.FUSE, "P", "A:1", "A:2"), ["1-2"], ["1-2"], ["1-2"], ["1-2"], ["1-2"]),
        (part(K.LINK, "P", "A:1", "A:2"), ["1-2"], ["1-2"], ["1-2"], ["1-2"], ["1-2"]),
        (part(K.FUSE, "P", "A:1", "A:2", fitted=False), [], ["1-2"], [], ["1-2"], []),
        (part(K.RESISTOR, "P", "A:1", "A:2", 1.0), ["1-2"], [], [], [], ["1-2"]),
        (part(K.RESISTOR, "P", "A:1", "A:2", 1.001), [], [], [], [], ["1-2"]),
        (part(K.RESISTOR, "P", "A:1", "A:2"), [], [], [], [], ["1-2"]),
        (part(K.COIL, "P", "A:1", "A:2", 1.0), ["1-2"], [], [], [], ["1-2"]),
        (part(K.COIL, "P", "A:1", "A:2", 1.001), [], [], [], [], ["1-2"]),
        (part(K.DIODE, "P", "A:1", "A:2"), [], [], [], [], ["1-2"]),
        (part(K.CAPACITOR, "P", "A:1", "A:2"), [], [], [], [], []),
        (part(K.RESISTOR, "P", "A:1", "A:2", 1.0, fitted=False), [], [], [], [], []),
    ],
)
def test_what_a_part_joins_conducts_and_carries(
    one: Component,
    joined: list[str],
    lasting: list[str],
    resting: list[str],
    carrying: list[str],
    conducting: list[str],
) -> None:
    assert pins(joined_ends(one)) == joined
    assert pins(lasting_ends(one)) == lasting
    assert pins(resting_contacts(one)) == resting
    assert pins(carrying_ends(one)) == carrying
    assert pins(conducting_ends(one)) == conducting


def test_a_fuse_of_three_terminals_joins_each_to_the_next() -> None:
    fuse = Component("F", K.FUSE, tuple((str(k), End("A", str(k))) for k in (1, 2, 3)))
    assert pins(joined_ends(fuse)) == ["1-2", "2-3"]


def test_a_diode_conducts_from_its_anode_whatever_terminal_stands_first() -> None:
    turned = Component("D", K.DIODE, (("K", End("A", "1")), ("A", End("A", "2"))))
    assert pins(conducting_ends(turned)) == ["2-1"]
    unnamed = Component("D", K.DIODE, (("x", End("A", "1")), ("y", End("A", "2"))))
    assert pins(conducting_ends(unnamed)) == ["1-2"]


@pytest.mark.parametrize(
    ("kind", "path", "tolerance", "least", "most", "copper", "shunts"),
    [
        (K.FUSE, Path.CONTACT, 0.0, 0.0, float("inf"), False, False),
        (K.LINK, Path.CONTACT, 0.0, 0.0, float("inf"), False, False),
        (K.RELAY, Path.RESISTIVE, 15.0, 2.0, 1e4, True, False),
        (K.DIODE, Path.DIODE, 0.0, 0.0, float("inf"), False, False),
        (K.RESISTOR, Path.RESISTIVE, 5.0, 0.3, float("inf"), False, True),
        (K.CAPACITOR, Path.CAPACITOR, 0.0, 0.0, float("inf"), False, False),
        (K.COIL, Path.RESISTIVE, 15.0, 0.3, 1e4, True, True),
    ],
)
def test_facts_are_those_of_the_notes(
    kind: ComponentKind, path: Path, tolerance: float, least: float, most: float, copper: bool, shunts: bool
) -> None:
    """Common practice, as the docstring of `Facts` says it; typed again."""
    facts = FACTS[kind]
    assert (facts.path, facts.tolerance_pct) == (path, tolerance)
    assert (facts.least_ohm, facts.most_ohm) == (least, most)
    assert (facts.copper, facts.shunts) == (copper, shunts)
    one = Component("P", kind, (("85", End("A", "1")), ("86", End("A", "2"))))
    assert {way.path for way in paths_of(one)} == {path}


def test_contacts_are_closed_at_rest_pulled_in_or_always() -> None:
    states = {f"{p.a.cavity}-{p.b.cavity}": p.closed for p in paths_of(relay(*ALL))}
    assert states == {
        "86-85": Closed.ALWAYS,
        "30-87": Closed.PULLED,
        "30-87a": Closed.AT_REST,
        "30-87b": Closed.PULLED,
        "88-88a": Closed.PULLED,
        "88-88b": Closed.PULLED,
    }


def test_ohms_of_a_part_by_tolerance_and_heat() -> None:
    """100 Ω at 40 °C: a coil 107.86 Ω, a resistor 100 Ω; 15 and 5 % where nothing is stated."""
    coil, resistor = part(K.COIL, "P", "A:1", "A:2", 100.0), part(K.RESISTOR, "P", "A:1", "A:2", 100.0)
    assert component_ohms(coil, 100.0, 40.0) == pytest.approx((107.86 * 0.85, 107.86, 107.86 * 1.15))
    assert component_ohms(resistor, 100.0, 40.0) == pytest.approx((95.0, 100.0, 105.0))
    exact = part(K.RESISTOR, "P", "A:1", "A:2", 100.0, tolerance_pct=0.0)
    assert component_ohms(exact, 100.0, 20.0) == (100.0, 100.0, 100.0)


def test_copper_is_corrected_from_minus_two_hundred_to_three_hundred_degrees() -> None:
    assert copper_factor(-200.0) == pytest.approx(1.0 - 0.00393 * 220.0)
    assert copper_factor(300.0) == pytest.approx(1.0 + 0.00393 * 280.0)
    for outside in (-200.1, 300.1):
        with pytest.raises(ValueError, match="between -200 and 300"):
            copper_factor(outside)


JOINTS = Settings(contact_ohm=0.010, crimp_ohm=0.005, stated=frozenset({"contact_ohm", "crimp_ohm"}))


@pytest.mark.parametrize(
    ("one", "nominal", "greatest", "least", "joints"),
    [
        (part(K.FUSE, "P", "A:1", "A:2", 0.008), 0.028, 0.036, 0.014, 0.020),
        (part(K.FUSE, "P", "A:1", "A:2", 0.008, tolerance_pct=0.0), 0.028, 0.036, 0.014, 0.020),
        (part(K.FUSE, "P", "A:1", "A:2", 0.008, tolerance_pct=50.0), 0.028, 0.032, 0.014, 0.020),
        (part(K.FUSE, "P", "A:1", "A:2", rating_a=10.0, tolerance_pct=50.0), 0.0277, 0.0354, 0.01385, 0.020),
        (part(K.LINK, "P", "A:1", "A:2"), 0.010, 0.010, 0.005, 0.010),
        (part(K.LINK, "P", "A:1", "A:2", 0.020), 0.020, 0.020, 0.010, 0.010),
        (part(K.LINK, "P", "A:1", "A:2", 0.020, tolerance_pct=10.0), 0.020, 0.022, 0.010, 0.010),
        (part(K.LINK, "P", "A:1", "A:2", 0.0), 1e-5, 1e-5, 1e-5, 0.010),
        (relay("30", "87a"), 0.05, 0.1, 0.025, 0.0),
        (part(K.RESISTOR, "P", "A:1", "A:2", 0.5), 0.5, 0.525, 0.475, 0.0),
        (part(K.RESISTOR, "P", "A:1", "A:2", 1.0, tolerance_pct=1.0), 1.0, 1.01, 0.99, 0.0),
        (part(K.COIL, "P", "A:1", "A:2", 0.5), 0.5, 0.575, 0.425, 0.0),
    ],
)
def test_what_a_part_that_joins_should_read(
    one: Component, nominal: float, greatest: float, least: float, joints: float
) -> None:
    """Two contacts or crimps and the part: stated, else of the table; by hand."""
    found = component_conductor(one, JOINTS)
    assert (found.nominal_ohm, found.greatest_ohm) == pytest.approx((nominal, greatest))
    assert (found.least_ohm, found.joints_ohm) == pytest.approx((least, joints))
    assert (found.kind, found.copper_ohm, found.length_m, found.section) == ("component", 0.0, 0.0, None)
    known = one.resistance_ohm is not None and one.kind is not K.RELAY
    assert found.defaulted == (() if known else ("resistance_ohm",))


@pytest.mark.parametrize("kind", [K.RESISTOR, K.COIL])
@pytest.mark.parametrize("ohm", [1.001, 100.0, None])
def test_a_part_of_more_than_an_ohm_joins_nothing(kind: ComponentKind, ohm: float | None) -> None:
    with pytest.raises(ValueError, match="does not make one net"):
        component_conductor(part(kind, "P", "A:1", "A:2", ohm), Settings())


@pytest.mark.parametrize(
    ("one", "lo", "middle", "hi", "forward", "defaulted", "directions"),
    [
        (part(K.RESISTOR, "P", "A:1", "B:1", 100.0), 95.0, 100.0, 105.0, None, True, 2),
        (part(K.RESISTOR, "P", "A:1", "B:1", 100.0, tolerance_pct=1.0), 99.0, 100.0, 101.0, None, False, 2),
        (part(K.RESISTOR, "P", "A:1", "B:1"), 0.3, None, float("inf"), None, True, 2),
        (part(K.COIL, "P", "A:1", "B:1"), 0.3, None, float("inf"), None, True, 2),
        (part(K.CAPACITOR, "P", "A:1", "B:1"), 1e6, float("inf"), float("inf"), None, False, 0),
        (part(K.DIODE, "P", "A:1", "B:1"), 0.0, None, float("inf"), 0.6, True, 1),
        (part(K.DIODE, "P", "A:1", "B:1", forward_v=0.3), 0.0, None, float("inf"), 0.3, False, 1),
        (part(K.DIODE, "P", "A:1", "B:1", forward_v=0.0), 0.0, None, float("inf"), 0.0, False, 1),
    ],
)
def test_what_a_part_between_two_nets_is_to_a_meter(
    one: Component,
    lo: float,
    middle: float | None,
    hi: float,
    forward: float | None,
    defaulted: bool,
    directions: int,
) -> None:
    loom = loom_of("W1 A:1 A:2\nW2 B:1 B:2", (one,))
    net_of = expect(loom).net_of
    (found,) = couplings_of(loom, net_of)
    assert (found.lo_ohm, found.hi_ohm) == pytest.approx((lo, hi))
    assert found.nominal_ohm == (None if middle is None else pytest.approx(middle))
    assert (found.forward_v, found.defaulted, found.joins) == (forward, defaulted, False)
    assert (found.net_a, found.net_b) == (net_of[end_of("A:1")], net_of[end_of("B:1")])
    assert found.linear is (middle is not None and middle < float("inf"))
    forth = (found.net_a, found.net_b)
    assert ways(found) == ((), (forth,), (forth, forth[::-1]))[directions]
    assert (
        couplings_of(
            loom_of("W1 A:1 A:2\nW2 B:1 B:2", (part(one.kind, "P", "A:1", "B:1", fitted=False),)), net_of
        )
        == ()
    )


def test_a_part_of_no_ohms_still_has_some() -> None:
    (found,) = couplings_of(
        loom_of("W1 A:1 A:2\nW2 B:1 B:2", (part(K.RESISTOR, "P", "A:1", "B:1", 0.0),)),
        {end_of("A:1"): 0, end_of("B:1"): 1},
    )
    assert found.lo_ohm == found.nominal_ohm == found.hi_ohm == 1e-5
    assert found.joins
