"""Limits of conductors under a stated load, by hand: margin or share, and never below sound copper."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.electrics.expectation import expect
from loomproof.electrics.loads import load_of_wires, share_ohms, too_weak
from loomproof.electrics.readings import readings_of
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
    assert not readings_of(expectation, 0).hidden
    idle = replace(loom, circuits=(Circuit("c", "", "30"),))
    assert readings_of(expect(idle), 0).hidden, "without a load the margin hides it"


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


def circuits_of(designation: str, load_a: float | None, *ends: str, rings: str = "") -> Loom:
    """Wires of one circuit from a plug A to these ends; ``rings`` names those that are rings."""
    names = sorted({end.partition(":")[0] for end in ends})
    connectors = tuple(
        Connector(
            name,
            ConnectorKind.RING if name in rings.split() else ConnectorKind.PLUG,
            (tuple(sorted({end.partition(":")[2] for end in ends if end.startswith(f"{name}:")})),),
        )
        for name in names
    )
    cavities = tuple(str(k) for k in range(1, len(ends) + 1))
    wires = tuple(
        Wire(f"W{cavity}", End("A", cavity), End(*end.split(":")), "BK", 2.5, 1.0, "c")
        for cavity, end in zip(cavities, ends, strict=True)
    )
    return Loom(
        "circuits",
        connectors=(Connector("A", ConnectorKind.PLUG, (cavities,)), *connectors),
        wires=wires,
        circuits=(Circuit("c", "", designation, load_a),),
    )


@pytest.mark.parametrize(
    ("designation", "ends", "rings", "loads"),
    [
        ("31", ("E:1", "E:1", "E:1"), "E", [4.0, 4.0, 4.0]),
        ("31", ("E:1", "E:1", "G:1"), "E G", [6.0, 6.0, 12.0]),
        ("31", ("E:1", "P:1"), "E", [12.0, 12.0]),
        ("31", ("P:1", "P:1"), "", [12.0, 12.0]),
        ("30", ("E:1", "E:1"), "E", [12.0, 12.0]),
        ("", ("E:1", "E:1"), "E", [12.0, 12.0]),
    ],
)
def test_only_earths_at_one_ring_divide_their_load(
    designation: str, ends: tuple[str, ...], rings: str, loads: list[float]
) -> None:
    """31 is earth, 30 a feed (DIN 72552)."""
    loom = circuits_of(designation, 12.0, *ends, rings=rings)
    assert list(load_of_wires(loom).values()) == loads
    allowed_v = 0.1 if designation == "31" else 0.2
    shares = share_ohms(loom)
    assert shares == {
        f"W{k}": pytest.approx(allowed_v / load) for k, load in enumerate(loads, start=1) if load >= 5.0
    }


@pytest.mark.parametrize("load_a", [None, 0.0])
def test_without_a_load_nothing_is_asked_of_a_wire(load_a: float | None) -> None:
    loom = circuits_of("30", load_a, "P:1")
    assert load_of_wires(loom) == share_ohms(loom) == {}


@pytest.mark.parametrize(
    ("length_m", "weak"), [(0.4, False), (0.9, False), (1.0, False), (1.7, True), (3.0, True)]
)
def test_a_wire_is_too_weak_where_copper_and_half_its_joints_lose_more_than_its_share(
    length_m: float, weak: bool
) -> None:
    """2.5 mm² (7.98 mΩ/m, IEC 60228) at 12 A: 0.2 V are 16.7 mΩ; half of 2 × 0.5 and 2 × 2 mΩ are 2.5 mΩ.

    That leaves 14.2 mΩ, 1.78 m of copper at the feed and for an earth of 0.1 V (8.33 - 2.5 mΩ) 0.73 m.
    """
    feed = replace(circuits_of("30", 12.0, "P:1").wires[0], length_m=length_m + 0.1)
    loom = replace(circuits_of("30", 12.0, "P:1"), wires=(feed,))
    assert bool(too_weak(loom)) is weak
    earth = replace(circuits_of("31", 12.0, "P:1").wires[0], length_m=length_m + 0.1)
    assert bool(too_weak(replace(circuits_of("31", 12.0, "P:1"), wires=(earth,)))) is (length_m > 0.63)
    unknown = replace(feed, length_m=None)
    assert too_weak(replace(loom, wires=(unknown,))) == {}


@pytest.mark.parametrize(
    ("ends", "splice", "branched"),
    [
        (("P:1", "P:2"), "", False),
        (("P:1", "P:1"), "", True),
        (("S", "P:1"), "", False),
        (("S", "S"), "P:1", True),
        (("S",), "P:1", False),
    ],
)
def test_what_a_branch_carries_must_be_told(ends: tuple[str, ...], splice: str, branched: bool) -> None:
    """Long thin wires of a feed: of two in one terminal, or three at a splice, nobody says how it divides."""
    pairs = [(f"A:{k}", end) for k, end in enumerate(ends, start=1)] + ([("S", splice)] if splice else [])

    def end(text: str) -> End:
        name, _, cavity = text.partition(":")
        return End(name, cavity)

    loom = Loom(
        "branches",
        connectors=(
            Connector("A", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("P", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("S", ConnectorKind.SPLICE),
        ),
        wires=tuple(
            Wire(f"W{k}", end(a), end(b), "RD", 0.5, 20.0, "c") for k, (a, b) in enumerate(pairs, start=1)
        ),
        circuits=(Circuit("c", "", "30", 5.0),),
    )
    told = too_weak(loom)
    assert ("W1" not in told) is branched
    assert "W1" in too_weak(loom, {wire.name: 5.0 for wire in loom.wires})
    assert too_weak(loom, {wire.name: 0.001 for wire in loom.wires if wire.name == "W1"}).keys() == (
        told.keys() - ({"W1"} if branched else set())
    )
    earths = replace(loom, circuits=(Circuit("c", "", "31", 5.0),))
    assert "W1" in too_weak(earths), "the earths of one circuit are one conductor in several strands"
