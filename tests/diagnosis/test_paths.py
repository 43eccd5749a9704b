"""Leaks, added parts and one-way paths on small looms, by hand: which are told, and which parts explain."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    End,
    Loom,
    Wire,
    end_of,
    ends_of,
)
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, JudgedDiode, Measured, OneWay, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

R, D = ComponentKind.RESISTOR, ComponentKind.DIODE


def part(kind: ComponentKind, name: str, a: str, b: str, ohm: float | None = None, **more: Any) -> Component:
    pins = ("A", "K") if kind is D else ("1", "2")
    return Component(name, kind, tuple(zip(pins, (end_of(a), end_of(b)), strict=True)), ohm, **more)


def path(a: str, b: str, ohm: float, u: float = 1.0, **more: Any) -> Path:
    return Path(end_of(a), end_of(b), ohm, u, **more)


def one_way(a: str, b: str, *, stray: bool = False) -> OneWay:
    return OneWay(end_of(a), end_of(b), stray)


def told(
    *parts: Component,
    leaks: Sequence[Path] = (),
    ways: Sequence[OneWay] = (),
    groups: Sequence[str] = (),
    loom: Loom = LOOM,
    **more: Any,
) -> tuple[Finding, ...]:
    named = nets(*groups)
    rest = tuple(net for net in EXPECTED if not any(net & group for group in named))
    return explain(
        replace(loom, components=parts),
        Measured(EXPECTED, (*named, *rest), True, leaks=tuple(leaks), one_way=tuple(ways), **more),
    )


@pytest.mark.parametrize(
    ("ohm", "cause"), [(9999.0, "added_part"), (10_000.0, "leak"), (1e6, "leak"), (5.0, "added_part")]
)
def test_from_ten_kilohms_on_a_path_is_a_leak(ohm: float, cause: str) -> None:
    (finding,) = told(leaks=[path("A:2", "A:3", ohm)])
    assert finding.cause == cause
    assert finding.cost == 1.0
    (other,) = finding.alternatives
    assert other.cause == {"leak": "added_part", "added_part": "leak"}[cause]
    assert set(other.cavities) == set(finding.cavities) == set(ends_of("A:2 A:3"))
    assert finding.evidence[0].measured_ohm == ohm
    assert finding.evidence[0].uncertainty_ohm == 1.0
    assert "where nothing should be" in finding.evidence[0].text
    assert "at" not in finding.evidence[0].text.partition("be")[2]


def test_a_path_that_showed_at_a_test_voltage_says_so() -> None:
    (finding,) = told(leaks=[path("A:2", "A:3", 2e6, volts=500.0)])
    assert finding.evidence[0].text.endswith("where nothing should be, at 500 V")


def test_paths_are_told_once_for_two_conductors_the_lowest_of_them() -> None:
    (finding,) = told(
        leaks=[path("A:2", "A:3", 30_000.0), path("B:2", "B:3", 22_000.0), path("A:3", "A:2", 40_000.0)]
    )
    assert finding.evidence[0].measured_ohm == 22_000.0


def test_what_two_paths_explain_together_is_no_third() -> None:
    """2 kΩ from A:2 to A:3 and 3 kΩ on to A:5 are 5 kΩ across both, and 30 % less than that still is."""
    two = [path("A:2", "A:3", 2000.0), path("A:3", "A:5", 3000.0)]
    for ohm, count in ((5000.0, 2), (3501.0, 2), (3499.0, 3), (2900.0, 3), (1300.0, 2)):
        assert len(told(leaks=[*two, path("A:2", "A:5", ohm)])) == count


R470 = part(R, "R1", "A:2", "A:3", 470.0)


@pytest.mark.parametrize(
    ("ohm", "count"), [(470.0, 0), (330.0, 0), (329.0, 0), (328.9, 1), (300.0, 1), (900.0, 0)]
)
def test_what_reads_as_a_part_does_is_the_part(ohm: float, count: int) -> None:
    """470 Ω less 30 %: from 329 Ω on the built-in part explains it."""
    assert len(told(R470, leaks=[path("A:2", "A:3", ohm)])) == count


def test_a_stray_path_is_no_part_whatever_it_reads() -> None:
    (finding,) = told(R470, leaks=[path("A:2", "A:3", 470.0, stray=True)])
    assert finding.cause == "added_part"


def test_a_stray_path_seen_through_parts_is_the_same_path() -> None:
    """R1 joins A:2 and A:3: a path from A:5 to A:2 is seen from A:3 as well, one to A:4 is another."""
    here = path("A:2", "A:5", 100.0, stray=True)
    assert len(told(R470, leaks=[here, path("A:3", "A:5", 600.0, stray=True)])) == 1
    assert len(told(R470, leaks=[here, path("A:5", "A:3", 600.0, stray=True)])) == 1
    assert len(told(R470, leaks=[here, path("A:2", "A:4", 600.0, stray=True)])) == 2
    assert len(told(R470, leaks=[here, path("A:4", "A:6", 600.0, stray=True)])) == 2


def test_a_path_inside_one_net_is_an_open_that_still_conducts() -> None:
    found = told(leaks=[path("A:1", "C:1", 12_000.0)], groups=("A:1 B:1", "C:1"))
    assert [finding.cause for finding in found] == ["broken_wire"]
    found = told(leaks=[path("A:1", "C:1", 12_000.0, stray=True)], groups=("A:1 B:1", "C:1"))
    assert len(found) == 2
    found = told(leaks=[path("A:1", "A:2", 12_000.0)], groups=("A:1 B:1", "C:1"))
    assert [finding.cause for finding in found] == ["broken_wire", "leak"]


def test_what_an_open_leaks_across_is_no_leak_between_conductors() -> None:
    """300 kΩ is no joint that still conducts, and lies in one net as it should be: W3 is open."""
    found = told(leaks=[path("A:1", "C:1", 300_000.0)], groups=("A:1 B:1", "C:1"))
    assert [finding.cause for finding in found] == ["broken_wire"]
    found = told(leaks=[path("A:1", "C:1", 300_000.0, stray=True)], groups=("A:1 B:1", "C:1"))
    assert [finding.cause for finding in found] == ["broken_wire", "leak"]


def test_a_path_between_cavities_of_one_group_is_none() -> None:
    assert told(leaks=[path("A:2", "B:2", 12_000.0)]) == ()
    assert told(leaks=[path("A:2", "X:1", 12_000.0)]) == ()
    assert told(ways=[one_way("A:2", "B:2")]) == ()
    assert told(ways=[one_way("X:1", "B:2")]) == ()


def test_the_place_is_where_the_two_come_near_each_other() -> None:
    """W4 ends at A:2 beside A:3 and A:1 and above A:5; B:2 lies beside B:3."""
    (finding,) = told(leaks=[path("B:2", "B:3", 22_000.0)])
    assert finding.cavities[:2] == ends_of("A:2 A:3")
    assert set(finding.cavities) == set(ends_of("A:2 A:3 B:2 B:3"))
    assert finding.places[0].startswith("A:2, row 1 place 2")
    (apart,) = told(leaks=[path("A:3", "C:3", 22_000.0)])
    assert apart.cavities == ends_of("A:3 C:3")
    assert apart.places == ()


def test_small_parts_beside_a_path_hide_where_it_is() -> None:
    """R1 has 10 Ω: 1000 Ω (slack 50 Ω) from A:2 or from A:3 read the same; 100 Ω do not."""
    small = part(R, "R1", "A:2", "A:3", 10.0)

    def elsewhere(ohm: float, u: float = 1.0) -> list[tuple[End, ...]]:
        (finding,) = told(small, leaks=[path("A:2", "A:6", ohm, u)])
        return [a.cavities for a in finding.alternatives if "behind built-in parts" in a.text]

    assert elsewhere(1000.0) == [ends_of("A:3 A:6")]
    assert elsewhere(200.0) == [ends_of("A:3 A:6")]
    assert elsewhere(199.0) == []
    assert elsewhere(100.0, 5.0) == [ends_of("A:3 A:6")]
    assert elsewhere(100.0, 4.9) == []
    (leak,) = told(small, leaks=[path("A:2", "A:6", 20_000.0)])
    assert [a.cause for a in leak.alternatives] == ["added_part", "leak"]
    (added,) = told(small, leaks=[path("A:2", "A:6", 2000.0)])
    assert [a.cause for a in added.alternatives] == ["leak", "added_part"]


def test_a_way_that_conducts_one_way_only() -> None:
    (finding,) = told(ways=[one_way("A:2", "A:3"), one_way("B:2", "B:3")])
    assert (finding.cause, finding.cavities, finding.cost) == ("one_way_path", ends_of("A:2 A:3"), 1.0)
    assert "from A:2 to A:3" in finding.title
    assert finding.evidence[0].text == (
        "current flows from A:2 to A:3, and little or none the other way round"
    )
    (sensed,) = told(ways=[one_way("A:2", "A:3")], sense_vectors=4)
    assert sensed.evidence[0].text == "A:2 reads low when A:3 is driven, but not the other way round"
    assert len(told(ways=[one_way("A:2", "A:3"), one_way("A:3", "A:2")])) == 2


def test_a_way_beside_a_part_is_the_part_unless_it_is_stray() -> None:
    assert told(R470, ways=[one_way("A:2", "A:3")]) == ()
    (finding,) = told(R470, ways=[one_way("A:2", "A:3", stray=True)])
    assert finding.cause == "one_way_path"


def test_a_way_seen_through_parts_is_told_once() -> None:
    ways = [one_way("A:2", "A:6"), one_way("A:3", "A:6")]
    assert len(told(R470, ways=ways)) == 1
    assert len(told(ways=ways)) == 2
    assert len(told(R470, ways=[one_way("A:2", "A:6"), one_way("A:6", "A:3")])) == 2
    assert len(told(R470, ways=[one_way("A:2", "A:6"), one_way("A:3", "A:4")])) == 2
    stray = path("A:2", "A:6", 1000.0, stray=True)
    assert len(told(R470, leaks=[stray], ways=[one_way("A:3", "A:6", stray=True)])) == 1
    assert len(told(R470, leaks=[stray], ways=[one_way("A:6", "A:3", stray=True)])) == 1
    assert len(told(R470, leaks=[stray], ways=[one_way("A:4", "A:3", stray=True)])) == 2


@pytest.mark.parametrize(
    ("ways", "cause"), [("A:3 A:2", "reversed_diode"), ("A:2 A:3", None), ("A:3 A:6", "one_way_path")]
)
def test_a_way_against_a_diode_is_the_diode_turned(ways: str, cause: str | None) -> None:
    """D1 conducts from A:2 to A:3. Found from A:3 to A:2 it is in the wrong way round."""
    diode = part(D, "D1", "A:2", "A:3")
    found = told(diode, ways=[one_way(*ways.split())])
    assert [finding.cause for finding in found] == ([cause] if cause else [])
    if cause == "reversed_diode":
        (finding,) = found
        assert (finding.components, finding.cavities) == (("D1",), ends_of("A:2 A:3"))
        assert finding.title == "Diode D1 reversed: it conducts from A:3 to A:2"
        (crossed,) = finding.alternatives
        assert crossed.cause == "crossed"
        # A diode that a reading has judged, or that is out for the test, is not told from what is sensed.
        read = JudgedDiode(
            "D1", end_of("A:2"), end_of("A:3"), 0.6, math.inf, "V", Decision.PASS, reversed=False
        )
        assert told(diode, ways=[one_way("A:3", "A:2")], diodes=(read,)) == ()
        out = replace(diode, fitted=False)
        assert told(out, ways=[one_way("A:3", "A:2")])[0].cause == "one_way_path"
        resistor = part(R, "D1", "A:2", "A:3", 1.0)
        assert told(resistor, ways=[one_way("A:3", "A:2")]) == ()


def test_a_path_to_what_a_feed_and_an_earth_share_warns() -> None:
    """Terminal 30 is permanent battery, 31 earth (DIN 72552)."""
    loom = Loom(
        "supplies",
        connectors=(plug("A", "1 2 3"), plug("B", "1 2 3")),
        wires=tuple(
            Wire(f"W{k}", End("A", str(k)), End("B", str(k)), csa_mm2=1.0, circuit=circuit)
            for k, circuit in enumerate(("feed", "earth", "signal"), start=1)
        ),
        circuits=(Circuit("feed", "", "30"), Circuit("earth", "", "31"), Circuit("signal")),
    )
    whole = tuple(frozenset(wire.ends) for wire in loom.wires)
    for ohm in (100.0, 1e5):
        for ends, warned in (("A:1 A:2", True), ("A:2 A:3", False)):
            a, b = ends_of(ends)
            (finding,) = explain(loom, Measured(whole, whole, True, leaks=(Path(a, b, ohm, 1.0),)))
            assert any("a feed is joined to earth" in text for text in finding.cautions) is warned


def test_a_coil_left_in_is_named_beside_the_path() -> None:
    relay = Component(
        "K1",
        ComponentKind.RELAY,
        (("85", end_of("A:2")), ("86", end_of("A:3"))),
        90.0,
        fitted=False,
    )
    (finding,) = told(relay, leaks=[path("A:2", "A:3", 90.0)])
    assert finding.cause == "left_in"
    assert finding.alternatives[0].cause == "added_part"
    (finding,) = told(relay, leaks=[path("A:2", "A:3", 900.0)])
    assert (finding.cause, finding.alternatives[0].cause) == ("added_part", "left_in")
    assert "K1" in finding.alternatives[0].components
