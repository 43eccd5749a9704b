"""Shorts: which conductors, where they touch, what else it may be, on small looms by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import (
    Circuit,
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
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, Measured, Path
from tests.diagnosis.test_wiring_faults import nets, plug


def loom_of(
    bundles: Sequence[str] = ("", "", "", ""),
    parts: Sequence[Component] = (),
    circuits: Sequence[str] = ("", "", "", ""),
) -> Loom:
    """Plug A of two rows of four; W1 … W4 from A:1 … A:4 to plugs of their own; A:5 … A:8 are spare."""
    return Loom(
        "shorts",
        connectors=(plug("A", "1 2 3 4", "5 6 7 8"), *(plug(f"P{k}", "1") for k in range(1, 5))),
        wires=tuple(
            Wire(
                f"W{k}",
                End("A", str(k)),
                End(f"P{k}", "1"),
                colour="RD",
                csa_mm2=0.5,
                bundle=bundles[k - 1],
                circuit=circuits[k - 1],
            )
            for k in range(1, 5)
        ),
        components=tuple(parts),
        circuits=(Circuit("feed", "", "30"), Circuit("earth", "", "31"), Circuit("signal")),
    )


def shorted(*groups: str, loom: Loom | None = None, **more: Any) -> tuple[Finding, ...]:
    loom = loom or loom_of()
    expected = (
        *(frozenset(wire.ends) for wire in loom.wires),
        *nets("A:5", "A:6", "A:7", "A:8"),
    )
    named = nets(*groups)
    rest = tuple(net for net in expected if not any(net & group for group in named))
    more.setdefault("resistance_readings", 9)
    return explain(loom, Measured(expected, (*named, *rest), complete=True, **more))


TWO, FAR, THREE = "A:1 P1:1 A:2 P2:1", "A:1 P1:1 A:3 P3:1", "A:1 P1:1 A:2 P2:1 A:4 P4:1"


def test_neighbours_are_looked_at_first() -> None:
    (finding,) = shorted(TWO)
    assert finding.title == "Short between A:1 on W1 (red) and A:2 on W2 (red)"
    assert (finding.cause, finding.cavities, finding.wires) == ("touching", ends_of("A:1 A:2"), ("W1", "W2"))
    assert finding.cost == 1.0
    assert finding.repair[0].startswith("Look at A:1 and A:2 first: a bent pin")
    assert [a.cause for a in finding.alternatives] == ["touching", "added_wire", "adapter_short"]
    _, added, leads = finding.alternatives
    assert added.text == "a wire was added between A:1 and A:2"
    assert leads.cavities == ends_of("A:1 A:2")
    assert "Take the whole loom off the adapter" in leads.tell_apart


def test_the_place_is_where_they_touch_and_else_the_first_cavity_of_each() -> None:
    """W1 from A to C and W2 from B to C lie side by side at C; from B to D they come nowhere together."""

    def at(*far: str) -> tuple[End, ...]:
        loom = Loom(
            "far",
            connectors=(plug("A", "1"), plug("B", "1"), plug("C", "1 2"), plug("D", "1")),
            wires=tuple(
                Wire(f"W{k}", End(name, "1"), end_of(end), csa_mm2=0.5)
                for k, (name, end) in enumerate(zip("AB", far, strict=True), start=1)
            ),
        )
        expected = tuple(frozenset(wire.ends) for wire in loom.wires)
        joined = frozenset().union(*expected)
        (finding,) = explain(loom, Measured(expected, (joined,), complete=True))
        return finding.cavities

    assert at("C:1", "C:2") == ends_of("C:1 C:2")
    assert at("C:1", "D:1") == ends_of("A:1 B:1")


def test_three_conductors_cost_two_shorts_and_are_named_by_their_firsts() -> None:
    (finding,) = shorted(THREE)
    assert finding.cost == 2.0
    assert finding.title == "Short between A:1 on W1 (red), A:2 on W2 (red) and A:4 on W4 (red)"
    assert set(finding.cavities) == set(ends_of("A:1 A:2 A:4"))
    assert finding.repair[0].startswith("Look there first: a stray strand")


@pytest.mark.parametrize(
    ("bundles", "first"),
    [
        (("x y", "y", "", "z y"), "in bundle y, where W1 (red), W2 (red) and W4 (red) lie together"),
        (("x", "x", "", ""), None),
        (("y x", "x y", "", "y x"), "in bundle y x, where W1 (red), W2 (red) and W4 (red) lie together"),
    ],
)
def test_what_three_share_is_looked_at_before_any_pair(bundles: tuple[str, ...], first: str | None) -> None:
    (finding,) = shorted(THREE, loom=loom_of(bundles))
    if first is None:
        assert finding.places[0].startswith("A:1, row 1 place 1")
    else:
        assert finding.places[0] == first
        trunk = first.partition(",")[0].removeprefix("in bundle ")
        assert finding.repair[0].startswith(f"Look along bundle {trunk} first")


def test_two_in_one_bundle_are_not_told_twice() -> None:
    (finding,) = shorted(FAR, loom=loom_of(("x", "", "x", "")))
    assert finding.places[0] == "in bundle x, W1 (red) against W3 (red)"
    assert finding.repair[0].startswith("Look along bundle x first")


def test_a_short_to_a_spare_cavity_is_an_added_wire() -> None:
    (finding,) = shorted("A:1 P1:1 A:8")
    assert finding.cause == "added_wire"
    assert finding.title == "Wire added in spare cavity A:8, joined to A:1 on W1 (red)"
    assert finding.cavities[0] == end_of("A:8")
    assert finding.places[0].startswith("A:8, row 2 place 4")
    assert finding.repair[0].startswith("Look into the back of A: does a wire sit in A:8")
    other = finding.alternatives[0]
    assert (other.cause, other.wires) == ("touching", ("W1",))
    assert finding.cost == 1.0


def test_no_more_than_twelve_places_are_told() -> None:
    """Two rows of fourteen, each row one conductor: fourteen pairs of neighbours."""
    top, bottom = " ".join(f"t{k}" for k in range(14)), " ".join(f"b{k}" for k in range(14))
    loom = Loom(
        "rows",
        connectors=(plug("A", top, bottom), *(Connector(s, ConnectorKind.SPLICE) for s in "ST")),
        wires=tuple(
            Wire(f"W{row}{k}", End("A", f"{row}{k}"), End(splice), csa_mm2=0.5)
            for row, splice in (("t", "S"), ("b", "T"))
            for k in range(14)
        ),
    )
    expected = tuple(frozenset(end for end in loom.cavities if end.cavity[0] == row) for row in "tb")
    (finding,) = explain(loom, Measured(expected, (frozenset(loom.cavities),), complete=True))
    assert len(finding.places) == 12


def test_a_cavity_with_a_part_in_it_is_no_spare() -> None:
    part = Component("R1", ComponentKind.RESISTOR, (("1", end_of("A:8")), ("2", end_of("A:4"))), 470.0)
    (finding,) = shorted("A:1 P1:1 A:8", loom=loom_of(parts=(part,)))
    assert finding.cause == "touching"
    assert "A:8 (no wire)" in finding.title


def path(a: str, b: str, ohm: float) -> Path:
    return Path(end_of(a), end_of(b), ohm, 0.01)


def test_the_two_lowest_readings_across_are_shown() -> None:
    paths = (
        path("A:1", "A:2", 0.5),
        path("P1:1", "A:2", 0.2),
        path("A:1", "P2:1", 0.9),
        path("A:1", "A:3", 0.1),
    )
    finding = shorted(TWO, paths=paths)[0]
    across = [e.measured_ohm for e in finding.evidence if e.measured_ohm is not None]
    assert across == [0.2, 0.5]


def fitted(
    kind: ComponentKind = ComponentKind.RESISTOR,
    *,
    a: str = "A:1",
    b: str = "A:2",
    ohm: float = 470.0,
    **more: Any,
) -> Component:
    return Component("R1", kind, (("1", end_of(a)), ("2", end_of(b))), ohm, **more)


def part_reads(ohm: float, lower: float = 446.0, decision: Decision = Decision.FAIL) -> Judged:
    return Judged(end_of("A:1"), end_of("A:2"), ohm, 0.1, 470.0, 494.0, decision, lower, "R1")


def test_a_part_between_them_may_have_gone_short() -> None:
    (finding,) = shorted(TWO, loom=loom_of(parts=(fitted(),)))
    (part,) = [a for a in finding.alternatives if a.cause == "shorted_part"]
    assert part.components == ("R1",)
    assert part.cavities == ends_of("A:1 A:2")
    (finding,) = shorted(FAR, loom=loom_of(parts=(fitted(),)))
    assert not [a for a in finding.alternatives if a.cause == "shorted_part"]
    (finding,) = shorted(TWO, loom=loom_of(parts=(fitted(fitted=False),)))
    assert not [a for a in finding.alternatives if a.cause == "shorted_part"]


@pytest.mark.parametrize(
    ("ohm", "paths", "cause"),
    [
        (2.0, (), "wrong_value"),
        (400.0, (), "wrong_value"),
        (445.9, (), "wrong_value"),
        (446.0, (), "touching"),
        (1.9, (), "touching"),
        (400.0, (path("A:1", "A:2", 1.9),), "touching"),
        (400.0, (path("A:1", "A:2", 2.0),), "wrong_value"),
        (400.0, (path("A:1", "A:3", 1.9),), "wrong_value"),
        (400.0, (path("A:1", "P1:1", 1.9),), "wrong_value"),
    ],
)
def test_what_senses_as_a_short_and_reads_as_a_part_too_low_is_the_part(
    ohm: float, paths: tuple[Path, ...], cause: str
) -> None:
    """Two ohms or more, through the part alone: that is no bent pin."""
    loom = loom_of(parts=(fitted(),))
    found = shorted(TWO, loom=loom, judged=(part_reads(ohm),), paths=paths)
    (finding,) = [one for one in found if one.cause in ("touching", "wrong_value")]
    assert finding.cause == cause
    if cause == "wrong_value":
        assert finding.title == "Resistor R1 reads too low: 470 Ω is right"
        assert finding.components == ("R1",)
        assert finding.cost == 1.0
        (other,) = finding.alternatives
        assert (other.cause, other.cavities) == ("touching", ends_of("A:1 A:2"))


def test_a_part_that_passes_lies_elsewhere_or_among_three_is_not_the_short() -> None:
    loom = loom_of(parts=(fitted(),))
    passing = part_reads(400.0, decision=Decision.PASS)
    assert shorted(TWO, loom=loom, judged=(passing,))[0].cause == "touching"
    assert shorted(THREE, loom=loom, judged=(part_reads(400.0),))[0].cause == "touching"
    beside = loom_of(parts=(fitted(b="A:4"),))
    assert shorted(TWO, loom=beside, judged=(part_reads(400.0),))[0].cause == "touching"


@pytest.mark.parametrize(
    ("circuits", "said"),
    [
        (("feed", "earth"), "a feed is joined to earth"),
        (("feed", "signal"), None),
        (("earth", "signal"), None),
        (("feed", ""), "a feed may be joined here"),
        (("earth", ""), "a feed may be joined here"),
        (("signal", ""), None),
        (("", ""), None),
    ],
)
def test_a_feed_joined_to_earth_is_never_connected(circuits: tuple[str, str], said: str | None) -> None:
    (finding,) = shorted(TWO, loom=loom_of(circuits=(*circuits, "", "")))
    warned = [text for text in finding.cautions if "Do not connect the battery" in text]
    assert bool(warned) is (said is not None)
    if said:
        assert said in warned[0]


@pytest.mark.parametrize(("senses", "readings", "count"), [(5, 0, 1), (5, 3, 0), (0, 0, 0)])
def test_a_bench_that_only_senses_tells_a_path_of_ohms_as_well(
    senses: int, readings: int, count: int
) -> None:
    (finding,) = shorted(TWO, sense_vectors=senses, resistance_readings=readings)
    leaks = [a for a in finding.alternatives if a.cause == "leak"]
    assert len(leaks) == count
    if leaks:
        assert leaks[0].cavities == ends_of("A:1 A:2")
        assert leaks[0].tell_apart.startswith("Read from A:1 to A:2 with an ohmmeter")


def test_a_fuse_left_in_between_two_of_three_is_looked_for_first() -> None:
    fuse = Component(
        "F1", ComponentKind.FUSE, (("1", end_of("A:1")), ("2", end_of("A:4"))), rating_a=10.0, fitted=False
    )
    (finding,) = shorted(THREE, loom=loom_of(parts=(fuse,)))
    assert finding.repair[0].startswith("Look whether F1 is in, and pull it")
    (finding,) = shorted(TWO, loom=loom_of(parts=(fuse,)))
    assert "F1" not in finding.repair[0]
    elsewhere = replace(fuse, terminals=(("1", end_of("A:3")), ("2", end_of("A:4"))))
    (finding,) = shorted(THREE, loom=loom_of(parts=(elsewhere,)))
    assert "F1" not in finding.repair[0]
    whole = replace(fuse, terminals=(("1", end_of("A:1")), ("2", end_of("A:2"))))
    (finding,) = shorted(TWO, loom=loom_of(parts=(whole,)))
    assert (finding.cause, finding.components, finding.cost) == ("left_in", ("F1",), 1.0)
    assert finding.alternatives[0].cause == "touching"


@pytest.mark.parametrize(("broken", "sound"), [(1, 2), (2, 1)])
def test_a_cavity_with_a_wire_by_the_description_is_never_called_spare(broken: int, sound: int) -> None:
    # W1 is broken and its piece at A:1 touches W2; whoever takes a wire out of A:1 cuts one that is needed.
    first, second = shorted(f"A:{broken} A:{sound} P{sound}:1", f"P{broken}:1")
    short = next(each for each in (first, second) if each.kind == "short")
    assert short.title == "Short between A:1 on W1 (red) and A:2 on W2 (red)"
    assert (short.cause, set(short.wires)) == ("touching", {"W1", "W2"})
    said = " ".join([short.title, *short.repair, *(other.text for other in short.alternatives)])
    assert not any(word in said for word in ("spare", "no wire", "plug A:"))
