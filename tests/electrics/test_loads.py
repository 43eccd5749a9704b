"""Limits of conductors under a stated load, by hand: margin or share, and never below sound copper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.electrics.expectation import expect
from loomproof.electrics.loads import load_of_wires, share_ohms, too_weak
from loomproof.loom.model import Circuit, Connector, ConnectorKind, End, Loom, Settings, Wire
from loomproof.loom.reading import load

DEMO = Path(__file__).parents[2] / "fixtures" / "hillclimb_engine"


PLAIN = Settings()
GOOD = Settings(contact_ohm=0.001, crimp_ohm=0.0005)


def one_wire(
    load_a: float | None, csa_mm2: float = 6.0, length_m: float = 0.9, settings: Settings = PLAIN
) -> Loom:
    return Loom(
        "one",
        connectors=(
            Connector("A", ConnectorKind.PLUG, (("1",),)),
            Connector("B", ConnectorKind.PLUG, (("1",),)),
        ),
        wires=(Wire("W1", End("A", "1"), End("B", "1"), "RD", csa_mm2, length_m, "c"),),
        circuits=(Circuit("c", "", "30", load_a),),
        settings=settings,
    )


def limit(loom: Loom) -> tuple[float, float]:
    between = expect(loom).between(End("A", "1"), End("B", "1"))
    return between.sound_ohm, between.limit_ohm


def test_without_a_load_the_margin_decides() -> None:
    """0.9 m of 6 mm² (3.30 mΩ/m), 2 joints of 0.5 mΩ, 2 contacts of 2 mΩ: 7.97 mΩ; 1.25 times, and 50 mΩ."""
    for load_a in (None, 0.5):
        sound, most = limit(one_wire(load_a))
        assert sound == pytest.approx(0.00797)
        assert most == pytest.approx(1.25 * 0.00797 + 0.050)


def test_a_load_leaves_its_share_of_the_drop() -> None:
    """0.2 V at 5 A are 40 mΩ, between 1.25 times sound and 10 mΩ (20.0 mΩ) and the margin's 60.0 mΩ."""
    assert limit(one_wire(5.0))[1] == pytest.approx(0.040)
    assert limit(one_wire(4.9))[1] == pytest.approx(0.0600, rel=1e-3)


def test_a_share_below_sound_copper_and_contacts_fails_no_sound_loom() -> None:
    """0.2 V at 34 A are 5.9 mΩ: less than the contacts that the description allows itself."""
    sound, most = limit(one_wire(34.0))
    assert most == pytest.approx(1.25 * sound + 0.010)
    # With contacts of 1 mΩ and joints of 0.5 mΩ stated, sound is 5.97 mΩ, and 50 mΩ more are far beyond.
    assert limit(one_wire(34.0, settings=GOOD))[1] == pytest.approx(1.25 * 0.00597 + 0.010)


def test_earth_wires_at_one_ring_divide_the_load() -> None:
    """Three earths of the demo's computer carry 12 A: 4 A each, 0.1 V are 25 mΩ."""
    loom = load(DEMO).loom
    assert {load_of_wires(loom)[name] for name in ("W37", "W38", "W39")} == {4.0}
    assert "W37" not in share_ohms(loom), "below 5 A the margin decides"
    assert share_ohms(loom)["W1"] == pytest.approx(0.2 / 34.0)


def test_fifty_milliohms_in_the_feed_are_beyond_the_demo_s_limit() -> None:
    """34 A through 50 mΩ are 1.7 V and 58 W in one joint."""
    loom = load(DEMO).loom
    between = expect(loom).between(End("BULK", "1"), End("K-MAIN", "30"))
    assert between.expected_ohm + 0.050 > between.limit_ohm > between.sound_ohm
    assert between.load_ohm == pytest.approx(0.2 / 34.0)


def test_limits_and_what_a_reading_shows_go_together() -> None:
    """Of two parallel wires under load a broken one shows: 2 × sound copper is beyond the smaller limit."""
    pair = one_wire(20.0, 1.5, 3.0, replace(GOOD, wire_drop_v=0.3))
    twin = replace(pair.wires[0], name="W2")
    loom = replace(pair, wires=(*pair.wires, twin))
    expectation = expect(loom)
    between = expectation.between(End("A", "1"), End("B", "1"))
    assert set(between.wires) == {"W1", "W2"}
    assert not expectation.readings(0).hidden
    idle = replace(loom, circuits=(Circuit("c", "", "30"),))
    assert expect(idle).readings(0).hidden, "without a load the margin hides it"


def test_sound_contacts_count_where_copper_alone_is_enough() -> None:
    """3 m of 2.5 mm² (7.98 mΩ/m) at 8 A lose 0.19 V; half of 2 joints of 0.5 and 2 contacts of 2 mΩ is
    2.5 mΩ, 0.02 V: 0.21 V, above the 0.2 V of one wire."""
    told = too_weak(one_wire(8.0, 2.5, 3.0))["W1"]
    assert "0.19 V at 8 A in copper and 0.02 V in sound joints and contacts" in told
    bolted = Settings(contact_ohm=0.0001, crimp_ohm=0.0001)
    assert not too_weak(one_wire(8.0, 2.5, 3.0, bolted)), "stated contacts count for every section"


def test_a_branched_circuit_is_judged_where_what_each_branch_carries_is_known() -> None:
    """Two wires of 5 m of 1 mm² leave one terminal: nobody says how 10 A divide, and 8 A lose 0.78 V."""
    fork = one_wire(10.0, 1.0, 5.0)
    other = Wire("W2", End("A", "1"), End("B", "2"), "RD", 1.0, 5.0, "c")
    plug = Connector("B", ConnectorKind.PLUG, (("1", "2"),))
    fork = replace(fork, connectors=(fork.connectors[0], plug), wires=(*fork.wires, other))
    assert not too_weak(fork)
    told = too_weak(fork, {"W1": 8.0, "W2": 1.0})
    assert set(told) == {"W1"}
    assert "0.78 V at 8 A in copper alone" in told["W1"]


def test_copper_too_thin_for_its_load_is_the_description_s_fault() -> None:
    """5 m of 1 mm² (19.5 mΩ/m) at 10 A lose 0.98 V; 0.9 m of 6 mm² at 34 A 0.10 V."""
    assert "0.98 V" in too_weak(one_wire(10.0, 1.0, 5.0))["W1"]
    assert not too_weak(one_wire(34.0))
    assert not too_weak(load(DEMO).loom)
