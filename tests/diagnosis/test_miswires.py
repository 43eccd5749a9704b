"""Wires in wrong places in words: contacts, plugs, joints on the way, the adapter; by hand on small looms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Circuit, Connector, End, Loom, Wire, end_of, ends_of
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, Injected
from tests.diagnosis.test_recognition import hub
from tests.diagnosis.test_wiring_faults import found, nets, plug


def others(finding: Finding, cause: str) -> list[Alternative]:
    return [other for other in finding.alternatives if other.cause == cause]


def straight(
    rows: Sequence[str] = ("1 2 3 4",),
    *,
    bundles: Sequence[str] = (),
    circuits: Sequence[str] = (),
    points: bool = False,
) -> tuple[Loom, tuple[tuple[End, int], ...]]:
    a = plug("A", *rows)
    names = list(a.cavities)
    wires = tuple(
        Wire(
            f"W{name}",
            End("A", name),
            End(f"P{name}", "1"),
            "RD" if k % 2 else "BU",
            0.5,
            1.0,
            bundle=bundles[k] if bundles else "",
            circuit=circuits[k] if circuits else "",
        )
        for k, name in enumerate(names)
    )
    loom = Loom(
        "straight",
        connectors=(a, *(plug(f"P{name}", "1") for name in names)),
        wires=wires,
        circuits=(Circuit("feed", "", "30"), Circuit("earth", "", "31"), Circuit("signal")),
    )
    return loom, tuple((end, k) for k, end in enumerate(loom.cavities, start=1)) if points else ()


def crossed(loom: Loom, one: str, other: str, points: tuple[tuple[End, int], ...] = ()) -> Finding:
    """Return what is told of two cavities of A found in each other's place."""
    expected = Bench(loom).build()
    groups = Bench(loom).build([Injected("swap", ends_of(f"{one} {other}"))])
    (finding,) = explain(loom, Measured(expected, groups, complete=True, points=points))
    return finding


def test_two_contacts_of_a_plug() -> None:
    finding = crossed(straight()[0], "A:2", "A:3")
    assert finding.title == "W2 (red) and W3 (blue) crossed at A:2 and A:3"
    assert (finding.cause, finding.cost, finding.wires) == ("crossed", 1.6, ("W2", "W3"))
    assert finding.repair[0] == "Compare the colours behind A with the description."
    assert finding.repair[1].endswith("seat each where it belongs: A:2 and A:3.")
    (joint,) = others(finding, "crossed_joint")
    assert (joint.wires, joint.cavities) == (("W2", "W3"), ends_of("A:2 A:3"))
    assert joint.text == "W2 (red) and W3 (blue) were cut and joined again crossed on the way"
    (adapter,) = others(finding, "adapter")
    assert adapter.text == "the adapter's leads for A:2 and A:3 are crossed, not the loom"
    assert not others(finding, "mirrored")


@pytest.mark.parametrize(
    ("rows", "one", "other", "turned"),
    [
        (("1 2",), "A:1", "A:2", True),
        (("1 2 3",), "A:1", "A:3", True),
        (("1 2 3",), "A:1", "A:2", False),
        (("1 2 3 4",), "A:1", "A:4", False),
    ],
)
def test_last_for_first_of_a_small_plug_may_be_its_wrong_face(
    rows: tuple[str, ...], one: str, other: str, turned: bool
) -> None:
    """Counted from the wrong face the first and last of two or three change places, and nothing else does."""
    finding = crossed(straight(rows)[0], one, other)
    assert bool(others(finding, "mirrored")) is turned
    if turned:
        (face,) = others(finding, "mirrored")
        assert face.cavities == ends_of(f"{one} {other}")
        assert face.text.startswith("A was pinned as seen from its wrong face (last for first)")
        assert "not by a drawing of its other face" in face.repair[0]


@pytest.mark.parametrize(
    ("bundles", "where"), [(("x y", "y x"), ", in bundle x y"), (("x", "y"), ""), (("", ""), "")]
)
def test_where_two_wires_were_joined_crossed(bundles: tuple[str, str], where: str) -> None:
    finding = crossed(straight(("1 2",), bundles=bundles)[0], "A:1", "A:2")
    (joint,) = others(finding, "crossed_joint")
    assert joint.text == f"W1 (blue) and W2 (red) were cut and joined again crossed on the way{where}"
    assert joint.repair[0].startswith("Open the wrap where W1 (blue) and W2 (red) were mended")


def test_a_double_crimp_is_not_joined_again_crossed() -> None:
    loom, _ = straight(("1 2 3",))
    loom = replace(
        loom,
        connectors=(*loom.connectors, plug("Q", "1")),
        wires=(*loom.wires, Wire("V", end_of("A:1"), end_of("Q:1"))),
    )
    finding = crossed(loom, "A:1", "A:2")
    assert finding.cause == "crossed"
    assert not others(finding, "crossed_joint")


def test_points_of_the_adapter_are_named_where_all_are_known() -> None:
    loom, points = straight(points=True)
    (adapter,) = others(crossed(loom, "A:2", "A:3", points), "adapter")
    assert "(points 2 and 3)" in adapter.text
    (adapter,) = others(crossed(loom, "A:2", "A:3", points[2:]), "adapter")
    assert "points" not in adapter.text


def test_three_contacts_in_a_ring_have_no_joint_or_lead_to_blame() -> None:
    loom = hub(6)
    expected = Bench(loom).build()
    faults = [Injected("swap", ends_of("P:1 P:2")), Injected("swap", ends_of("P:2 P:4"))]
    (finding,) = explain(loom, Measured(expected, Bench(loom).build(faults), complete=True))
    homes = [finding.cavities[0].connector, finding.alternatives[0].cavities[0].connector]
    among = [f"among {home}:1, {home}:2 and {home}:4" for home in homes]
    assert finding.title == f"P1, P2 and P4 crossed {among[0]}, or {among[1]}", "readings tell neither"
    assert finding.cost == 3.2
    assert not others(finding, "crossed_joint")
    assert not others(finding, "adapter")


def test_of_many_wires_four_are_named() -> None:
    loom = hub(8)
    expected = Bench(loom).build()
    faults = [Injected("swap", ends_of(f"P:{k} P:{k + 1}")) for k in range(1, 5)]
    (finding,) = explain(loom, Measured(expected, Bench(loom).build(faults), complete=True))
    assert finding.title.startswith("P1, P2, P3 and 2 more crossed among") or finding.cause == "rotated"


def test_a_wire_in_a_spare_cavity() -> None:
    (finding,) = found("A:6 B:2", "A:2")
    assert finding.title == "W4 (blue/white) in A:6 instead of A:2"
    assert (finding.wires, finding.cost) == (("W4",), 1.6)
    assert finding.places[0].startswith("A:6, row 2 place 3")
    assert finding.repair[0].startswith("Release the contact from A:6 and seat it in A:2")
    assert others(finding, "adapter")


@pytest.mark.parametrize(
    ("circuits", "warned"),
    [
        (("feed", "earth"), True),
        (("feed", "signal"), True),
        (("earth", "signal"), False),
        (("feed", "feed"), False),
    ],
)
def test_a_feed_in_another_s_place_is_never_connected(circuits: tuple[str, str], warned: bool) -> None:
    finding = crossed(straight(("1 2",), circuits=circuits)[0], "A:1", "A:2")
    assert (
        any("battery voltage would come where it does not belong" in text for text in finding.cautions)
        is warned
    )


def exchanged(one: Connector, other: Connector) -> Finding:
    far = [plug(f"H{end.connector}{end.cavity}", "1") for end in (*one.ends, *other.ends)]
    wires = tuple(
        Wire(f"{end.connector}{end.cavity}", end, far[k].ends[0])
        for k, end in enumerate((*one.ends, *other.ends))
    )
    loom = Loom("exchange", connectors=(one, other, *far), wires=wires)
    expected = Bench(loom).build()
    groups = Bench(loom).build([Injected("exchange", connectors=(one.name, other.name))])
    (finding,) = explain(loom, Measured(expected, groups, complete=True))
    return finding


def test_plugs_in_each_others_place() -> None:
    alike = exchanged(plug("P", "1 2 3", housing="h"), plug("Q", "1 2 3", housing="h"))
    assert (alike.title, alike.cause, alike.cost) == ("P and Q exchanged", "exchanged", 1.6)
    assert alike.repair[0].startswith("If P and Q were taken for each other, exchange them on the bench")
    assert set(alike.cavities) == set(ends_of("P:1 P:2 P:3 Q:1 Q:2 Q:3"))
    (adapter,) = others(alike, "adapter")
    assert adapter.text == "the adapter's leads for P and Q are exchanged, not the loom"
    one_by_one = others(alike, "crossed")[-1]
    assert one_by_one.text == "the contacts of P and Q are crossed one by one in the housing"
    assert len(one_by_one.wires) == 6
    assert not others(alike, "crossed_joint")
    unlike = exchanged(plug("P", "1 2 3", housing="h"), plug("Q", "1 2 3", housing="g"))
    assert unlike.cost == 2.2
    assert unlike.repair[0].startswith("The housings of P and Q are not described alike")


def test_two_wires_of_exchanged_plugs_may_be_joined_crossed() -> None:
    """Of plugs of three with one wire each amiss, the two wires can have been mended crossed as well."""
    (finding,) = found("A:1 B:1 C:1", "A:2 C:2", "A:3 C:3", "A:5 B:2", "B:3")
    assert finding.cause == "exchanged"
    assert not others(finding, "crossed_joint"), "three wires are amiss"


def test_a_board_of_the_adapter_on_the_wrong_points() -> None:
    loom = hub(8)
    points = tuple((end, k) for k, end in enumerate(loom.cavities, start=1))
    leaf = {k: end for end, k in points}
    expected = Bench(loom).build()

    def at(end: End) -> End:
        k = dict(points)[end]
        return leaf[9 - k] if k <= 8 else end

    groups = tuple(frozenset(at(end) for end in net) for net in expected)
    (finding,) = explain(loom, Measured(expected, groups, complete=True, points=points))
    assert finding.cost == 1.6
    every = {finding.cause, *(other.cause for other in finding.alternatives)}
    assert "adapter" in every
    assert nets("P:1")[0] <= set(finding.cavities)


@pytest.mark.parametrize("colours", [("BU", "RD"), ("BU", "BU")])
def test_what_tells_equal_explanations_apart_comes_before_any_repair(colours: tuple[str, str]) -> None:
    """Two contacts crossed at the unit read as its two look-alike plugs exchanged: each must be looked at."""
    ends = [("E:1", "P:1"), ("E:2", "Q:1"), ("E:3", "P:2"), ("E:4", "Q:2")]
    loom = Loom(
        "alike",
        connectors=(
            plug("E", "1 2 3 4"),
            *(plug(name, "1 2", housing="two") for name in "PQ"),
            plug("G", "1"),
        ),
        wires=(
            *(
                Wire(f"W{k}", end_of(a), end_of(b), colour=colour, csa_mm2=0.5)
                for k, ((a, b), colour) in enumerate(zip(ends[:2], colours, strict=True), 1)
            ),
            Wire("W3", end_of("G:1"), end_of("P:2"), colour="BN", csa_mm2=0.5),
            Wire("W4", end_of("G:1"), end_of("Q:2"), colour="BN", csa_mm2=0.5),
        ),
    )
    rest = ("G:1 P:2 Q:2", "E:3", "E:4")
    should, are = nets("E:1 P:1", "E:2 Q:1", *rest), nets("E:1 Q:1", "E:2 P:1", *rest)
    (finding,) = explain(loom, Measured(should, are, complete=True))
    causes = {finding.cause, *(other.cause for other in finding.alternatives)}
    assert {"exchanged", "crossed"} <= causes
    first = finding.repair[0]
    assert first.startswith("Before anything is moved, tell which it is. ")
    assert ("of one colour, so looking does not tell" in first) == (colours[0] == colours[1])
    assert all(
        any(place.startswith(f"{end},") for place in finding.places) for end in ("P:1", "Q:1", "E:1", "E:2")
    )
    said = " ".join(finding.repair[1:])
    assert "marks, branch and length" in said
    assert "crossed at E:1 and E:2: release the contacts" in said
