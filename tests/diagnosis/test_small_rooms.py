"""Parts behind faults, joints that still conduct, shorter ways, and parts left in: by hand on small looms."""

from __future__ import annotations

import math
from collections.abc import Hashable, Sequence
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.left_in import across, joining, read_back
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
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.measured import (
    Decision,
    Judged,
    JudgedDiode,
    Measured,
    Path,
    ShorterWay,
)
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

R = ComponentKind.RESISTOR


def resistor(name: str, a: str, b: str, ohm: float | None = 470.0, **more: Any) -> Component:
    return Component(name, R, (("1", end_of(a)), ("2", end_of(b))), ohm, 5.0, **more)


def told(
    *parts: Component,
    groups: str = "",
    loom: Loom = LOOM,
    expected: Sequence[frozenset[End]] = EXPECTED,
    **more: Any,
) -> tuple[Finding, ...]:
    named = nets(*groups.split(", ")) if groups else ()
    rest = tuple(net for net in expected if not any(net & group for group in named))
    measured = Measured(tuple(expected), (*named, *rest), complete=True, **more)
    return explain(replace(loom, components=parts), measured)


def fails(a: str, b: str, ohm: float, name: str = "R1") -> Judged:
    return Judged(end_of(a), end_of(b), ohm, 1.0, 470.0, 494.0, Decision.FAIL, 446.0, name)


# -- parts whose readings fail because of the wiring ---------------------------------------------------


def test_a_part_behind_an_open_is_named_with_the_open_and_only_there() -> None:
    """R1 is read from B:2, over W4; R2 from B:3, over W5. W4 is open: R2 is a fault of its own."""
    one, other = resistor("R1", "A:2", "A:4"), resistor("R2", "A:3", "A:6")
    (open_wire,) = told(one, groups="A:2, B:2", judged=(fails("B:2", "A:4", math.inf),))
    assert (open_wire.cause, open_wire.components) == ("broken_wire", ("R1",))
    assert [e.text for e in open_wire.evidence if "stands in between" in e.text] == [
        "R1 does not read as it should from B:2 to A:4: this fault stands in between"
    ]
    both = told(
        one,
        other,
        groups="A:2, B:2",
        judged=(fails("B:2", "A:4", math.inf), fails("B:3", "A:6", 900.0, "R2")),
    )
    assert [(f.cause, f.components) for f in both] == [("broken_wire", ("R1",)), ("wrong_value", ("R2",))]


def test_a_part_read_from_elsewhere_on_the_net_is_named_with_the_open() -> None:
    """R1 hangs on C:1 and is read from B:1: W3, which is open, lies between."""
    (finding,) = told(
        resistor("R1", "C:1", "A:4"), groups="A:1 B:1, C:1", judged=(fails("B:1", "A:4", math.inf),)
    )
    assert (finding.wires, finding.components) == (("W3",), ("R1",))


def test_a_diode_behind_an_open_is_named_with_it_too() -> None:
    diode = Component("D1", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:4"))))
    for decision, parts in ((Decision.FAIL, ("D1",)), (Decision.PASS, ())):
        read = JudgedDiode("D1", end_of("B:2"), end_of("A:4"), math.inf, math.inf, "V", decision, False)
        (finding,) = told(diode, groups="A:2, B:2", diodes=(read,))
        assert (finding.cause, finding.components) == ("broken_wire", parts)


def test_a_part_that_no_fault_touches_is_a_finding_of_its_own() -> None:
    """R1 is read between B:2 and A:4, and the one fault lies elsewhere; its legs are on A:3 and A:6."""
    strange = resistor("R1", "A:3", "A:6")
    found = told(strange, groups="A:5, C:2", judged=(fails("B:2", "A:4", math.inf),))
    (alone,) = [finding for finding in found if finding.cause == "unexplained"]
    assert (alone.components, alone.cavities, alone.cost) == (("R1",), ends_of("B:2 A:4"), 2.0)
    assert alone.title == "Reading of R1 from B:2 to A:4 fails, and nothing known explains it"
    (with_it,) = told(strange, groups="A:2, B:2", judged=(fails("B:2", "A:4", math.inf),))
    assert (with_it.cause, with_it.components) == ("broken_wire", ("R1",))


def test_what_fails_and_nothing_explains_is_never_silent() -> None:
    """A reading inside a net that fails between cavities found apart, with nothing else amiss."""
    odd = Judged(end_of("A:2"), end_of("A:3"), 5.0, 0.1, 0.1, 0.3, Decision.FAIL, wires=("W4",))
    (finding,) = told(judged=(odd,))
    assert (finding.cause, finding.cavities, finding.wires) == ("unexplained", ends_of("A:2 A:3"), ("W4",))
    assert (finding.cost, finding.components) == (2.0, ())
    assert finding.evidence[0].measured_ohm == 5.0
    assert told(judged=(replace(odd, decision=Decision.UNDECIDED),)) == ()


# -- open joints that still conduct --------------------------------------------------------------------

BESIDE = (resistor("R1", "A:1", "A:4", 100.0), resistor("R2", "C:1", "A:4", 100.0))
"""Of the net A:1, B:1, C:1 two legs, both through 100 Ω to A:4: 190 Ω at least, whatever is open."""


@pytest.mark.parametrize(
    ("ohm", "u_ohm", "kind"),
    [
        (150.0, 1.0, Kind.HIGH_RESISTANCE),
        (188.0, 1.0, Kind.HIGH_RESISTANCE),
        (189.5, 1.0, Kind.OPEN),
        (200.0, 1.0, Kind.OPEN),
        (180.0, 15.0, Kind.OPEN),
    ],
)
def test_less_than_parts_can_make_is_a_joint_that_still_conducts(
    ohm: float, u_ohm: float, kind: Kind
) -> None:
    """95 + 95 Ω is the least that the two parts have: less than that flows through W3 itself."""
    high = Judged(end_of("A:1"), end_of("C:1"), ohm, u_ohm, 0.1, 0.3, Decision.FAIL, wires=("W1", "W3"))
    found = told(*BESIDE, groups="A:1 B:1, C:1", judged=(high,))
    assert found[0].kind is kind
    named = {*found[0].wires, *(name for other in found[0].alternatives for name in other.wires)}
    assert "W3" in named
    path = Path(end_of("A:1"), end_of("C:1"), ohm, u_ohm)
    found = told(*BESIDE, groups="A:1 B:1, C:1", paths=(path,))
    assert found[0].kind is kind


def test_a_leak_was_read_both_ways_round_and_a_diode_passes_one() -> None:
    """D1 lies from A:1 to C:1: what flows that way may be it, what flows both ways is the joint.

    Of a leak the better way is told, and the worse is less than so many times that.
    """
    diode = Component("D1", ComponentKind.DIODE, (("A", end_of("A:1")), ("K", end_of("C:1"))))
    a, b = ends_of("A:1 C:1")
    high = Judged(a, b, 150.0, 1.0, 0.1, 0.3, Decision.FAIL, wires=("W1", "W3"))
    path = Path(a, b, 150.0, 1.0)
    for more, kind in (
        ({"judged": (high,)}, Kind.OPEN),
        ({"paths": (path,)}, Kind.OPEN),
        ({"leaks": (path,)}, Kind.HIGH_RESISTANCE),
        ({"leaks": (replace(path, stray=True),)}, Kind.OPEN),
        # So many ohms are an open that leaks, and no joint.
        ({"leaks": (replace(path, ohm=10_000.0),)}, Kind.OPEN),
        ({"leaks": (replace(path, ohm=9_900.0),)}, Kind.HIGH_RESISTANCE),
    ):
        found = told(diode, groups="A:1 B:1, C:1", **more)
        assert (Kind.OPEN in {finding.kind for finding in found}) is (kind is Kind.OPEN), more


@pytest.mark.parametrize(
    "read",
    [
        Path(end_of("A:1"), end_of("C:1"), 250_000.0, 1.0),
        Path(end_of("A:1"), end_of("A:2"), 150.0, 1.0),
        Path(end_of("A:1"), end_of("B:1"), 150.0, 1.0),
        Path(end_of("A:1"), end_of("X:1"), 150.0, 1.0),
    ],
)
def test_what_reads_open_or_lies_elsewhere_says_nothing_of_the_joint(read: Path) -> None:
    found = told(*BESIDE, groups="A:1 B:1, C:1", paths=(read,))
    (open_wire,) = [finding for finding in found if finding.kind is Kind.OPEN]
    assert open_wire.wires == ("W3",)
    assert not [finding for finding in found if finding.kind is Kind.SHORT]


def test_conductors_that_touch_others_are_no_pieces_of_one_net() -> None:
    path = Path(end_of("A:1"), end_of("C:1"), 150.0, 1.0)
    found = told(*BESIDE, groups="A:1 B:1 A:2 B:2, C:1", paths=(path,))
    assert {finding.kind for finding in found} >= {Kind.OPEN, Kind.SHORT}


def test_without_parts_any_ohms_are_the_joint() -> None:
    path = Path(end_of("A:1"), end_of("C:1"), 249_000.0, 500.0)
    (finding,) = told(groups="A:1 B:1, C:1", paths=(path,))
    assert finding.kind is Kind.HIGH_RESISTANCE
    (stray,) = [
        f for f in told(groups="A:1 B:1, C:1", paths=(replace(path, stray=True),)) if f.kind is Kind.OPEN
    ]
    assert stray.wires == ("W3",)


# -- shorter ways --------------------------------------------------------------------------------------


def way(a: str, b: str, ohm: float, copper_ohm: float) -> ShorterWay:
    return ShorterWay(end_of(a), end_of(b), ohm, 0.001, copper_ohm)


FUSED = Loom(
    "fused",
    connectors=(plug("A", "1 2"), plug("F", "1 2"), plug("G", "1 2"), plug("B", "1 2")),
    wires=(
        Wire("W1", end_of("A:1"), end_of("F:1"), "RD", 0.5, 1.0),
        Wire("W2", end_of("F:2"), end_of("B:1"), "RD", 0.5, 1.0),
        Wire("W3", end_of("A:2"), end_of("G:1"), "RD", 0.5, 1.0),
        Wire("W4", end_of("G:2"), end_of("B:2"), "RD", 0.5, 1.0),
    ),
)
FUSES = tuple(
    Component(name, ComponentKind.FUSE, (("1", End(at, "1")), ("2", End(at, "2"))), rating_a=10.0)
    for name, at in (("F1", "F"), ("F2", "G"))
)
WHOLE = nets("A:1 F:1 F:2 B:1", "A:2 G:1 G:2 B:2")


def test_a_shorter_way_is_a_note_with_the_shortest_in_front() -> None:
    """0.01 of 0.02 Ω is half, 0.02 of 0.06 Ω a third: that is the plainest."""
    (note,) = told(shorter=(way("A:1", "B:1", 0.010, 0.020), way("B:1", "C:1", 0.020, 0.060)), loom=LOOM)
    assert (note.severity, note.cause, note.kind) == (Severity.NOTE, "shorter_way", Kind.UNEXPECTED_COMPONENT)
    assert note.title == "B:1 and C:1 are joined by a shorter way than described"
    assert note.cavities == ends_of("B:1 C:1 A:1")
    assert note.wires == ("W1", "W2", "W3")
    assert [one.measured_ohm for one in note.evidence] == [0.010, 0.020]
    assert "has 0.020 Ω at least" in note.evidence[0].text
    assert note.cost == 1.0
    assert not any("Prove the whole loom" in step for step in note.repair)
    assert not any("bridged" in step for step in note.repair)
    assert note.repair[0].startswith("Look in B and C, and along W1")


def test_what_lies_across_a_fuse_of_the_net_takes_its_protection_away() -> None:
    (note,) = told(*FUSES, loom=FUSED, expected=WHOLE, shorter=(way("A:1", "B:1", 0.01, 0.05),))
    (bridged,) = [step for step in note.repair if "bridged" in step]
    assert bridged.startswith("Look whether F1 is bridged")
    two = told(
        *FUSES,
        loom=FUSED,
        expected=WHOLE,
        shorter=(way("A:1", "B:1", 0.01, 0.05), way("A:2", "B:2", 0.01, 0.05)),
    )
    assert [note.wires for note in two] == [("W1", "W2"), ("W3", "W4")]


# -- parts left in -------------------------------------------------------------------------------------

K1 = Component(
    "K1",
    ComponentKind.RELAY,
    tuple((pin, end_of(f"A:{k}")) for k, pin in enumerate(("30", "87a", "85", "86", "87"), start=1)),
    90.0,
    10.0,
    fitted=False,
)


def names_of(ends: str, *parts: Component, coils: bool = False) -> set[str]:
    loom = replace(LOOM, components=parts)
    places = list(ends_of(ends))
    found = joining(loom, lambda end: end if end in places else None, places, coils=coils)
    return {part.name for part in found}


def test_what_parts_that_are_out_would_join() -> None:
    """30 to 87a at rest; the coil between 85 and 86 for a bench that only senses; 87 is open at rest."""
    assert names_of("A:1 A:2", K1) == {"K1"}
    assert names_of("A:1 A:5", K1) == set()
    assert names_of("A:3 A:4", K1) == set()
    assert names_of("A:3 A:4", K1, coils=True) == {"K1"}
    assert names_of("A:1 A:2", replace(K1, fitted=True)) == set()
    assert names_of("A:1 A:2 A:3", K1) == set()
    fuses = [
        Component(
            f"F{k}", ComponentKind.FUSE, (("1", end_of(f"A:{k}")), ("2", end_of(f"A:{k + 1}"))), fitted=False
        )
        for k in (3, 2, 1)
    ]
    assert names_of("A:1 A:2 A:3 A:4", *fuses) == {"F1", "F2", "F3"}
    assert names_of("A:1 A:2 A:3", *fuses) == {"F1", "F2"}
    assert names_of("A:1 A:2 A:3 A:4", *fuses[1:]) == set()
    assert names_of("A:4 A:3 A:2 A:1", *fuses) == {"F1", "F2", "F3"}
    twice = replace(fuses[0], name="F9")
    assert names_of("A:3 A:4", fuses[0], twice) in ({"F3"}, {"F9"})


@pytest.mark.parametrize(
    ("ohm", "u_ohm", "fits"),
    [
        (90.0, 0.0, True),
        (80.0, 0.0, True),
        (79.9, 0.0, False),
        (79.9, 0.2, True),
        (100.0, 0.0, True),
        (100.1, 0.0, False),
        (100.1, 0.2, True),
        (2.0, 0.0, False),
    ],
)
def test_a_coil_reads_within_its_tolerance_and_an_ohm(ohm: float, u_ohm: float, fits: bool) -> None:
    """90 Ω ± 10 % and 1 Ω of wires: 80 to 100 Ω, and the uncertainty."""
    loom = replace(LOOM, components=(K1,))
    pair: set[Hashable] = {*ends_of("A:3 A:4")}
    assert across(loom, lambda end: end, pair, ohm, u_ohm) == (K1, fits)
    assert across(loom, lambda end: end, {*ends_of("A:1 A:2")}, ohm, u_ohm) is None
    fuse = Component("F1", ComponentKind.FUSE, (("1", end_of("A:3")), ("2", end_of("A:4"))), fitted=False)
    assert across(replace(LOOM, components=(fuse,)), lambda end: end, pair, ohm, u_ohm) is None
    assert (
        across(replace(LOOM, components=(replace(K1, fitted=True),)), lambda end: end, pair, ohm, u_ohm)
        is None
    )


def test_of_several_coils_the_one_that_reads_so_is_taken() -> None:
    other = replace(K1, name="K2", resistance_ohm=200.0)
    loom = replace(LOOM, components=(K1, other))
    pair: set[Hashable] = {*ends_of("A:3 A:4")}
    assert across(loom, lambda end: end, pair, 200.0, 1.0) == (other, True)
    assert across(loom, lambda end: end, pair, 90.0, 1.0) == (K1, True)
    assert across(loom, lambda end: end, pair, 9000.0, 1.0) == (K1, False)


@pytest.mark.parametrize(("ohm", "fits"), [(9.9, False), (10.0, True), (1000.0, True), (1001.0, False)])
def test_a_coil_of_unknown_ohms_has_ten_to_a_thousand(ohm: float, fits: bool) -> None:
    unknown = replace(K1, resistance_ohm=None)
    loom = replace(LOOM, components=(unknown,))
    assert across(loom, lambda end: end, {*ends_of("A:3 A:4")}, ohm, 500.0) == (unknown, fits)


def test_what_a_diode_reads_backwards_says_of_a_coil_beside_it() -> None:
    def back(backward: float, unit: str) -> tuple[float, float] | None:
        return read_back(
            JudgedDiode("D", end_of("A:1"), end_of("A:2"), 0.6, backward, unit, Decision.FAIL, False)
        )

    assert back(90.0, "ohm") == pytest.approx((90.0, 9.0))
    assert back(0.02, "V") == (10.0, math.inf)
    assert back(0.8, "V") == (10.0, math.inf)
    assert back(0.019, "V") is None


def test_a_part_left_in_is_told_with_what_else_it_may_be() -> None:
    fuse = Component(
        "F1", ComponentKind.FUSE, (("1", end_of("A:2")), ("2", end_of("A:3"))), rating_a=10.0, fitted=False
    )
    (finding,) = told(fuse, groups="A:2 B:2 A:3 B:3", resistance_readings=4)
    assert finding.title == "Fuse F1 is still in, seen between A:2 and A:3"
    assert (finding.cost, finding.components) == (1.0, ("F1",))
    assert finding.repair[0] == (
        "Pull F1, for the description says that this test is made without, and prove again."
    )
    short = finding.alternatives[0]
    assert (short.cause, short.wires) == ("touching", ("W4", "W5"))
    assert short.text.startswith("short between W4")
    assert short.tell_apart == "Look whether F1 is in. Pulled, prove again: what stays is the other."
    assert not any("Prove the whole loom" in step for step in short.repair)
    assert [one.cause for one in finding.alternatives[4:]] == ["added_wire", "adapter_short"]
    assert len(finding.cautions) == len(set(finding.cautions)) == 1


def test_parts_that_join_three_conductors_are_seen_between_the_first_and_the_last() -> None:
    fuses = [
        Component(name, ComponentKind.FUSE, (("1", end_of(a)), ("2", end_of(b))), fitted=False)
        for name, a, b in (("F1", "A:2", "A:3"), ("F2", "A:3", "A:5"))
    ]
    (finding,) = told(*fuses, groups="A:2 B:2 A:3 B:3 A:5 C:2", resistance_readings=4)
    short = finding.alternatives[0]
    assert len(short.cavities) == 3
    assert finding.title == (
        f"Fuse F1 and fuse F2 are still in, seen between {short.cavities[0]} and {short.cavities[2]}"
    )


def test_a_part_that_does_not_read_so_is_named_behind() -> None:
    relay = replace(K1, terminals=(("85", end_of("A:2")), ("86", end_of("A:3"))))
    (finding,) = told(relay, leaks=(Path(end_of("A:2"), end_of("A:3"), 500.0, 1.0),))
    assert finding.cause == "added_part"
    first = finding.alternatives[0]
    assert (first.cause, first.components) == ("left_in", ("K1",))
    assert first.text.startswith("relay K1 is still in")
    assert not any("Prove the whole loom" in step for step in first.repair)
    assert len(first.repair) == 2


def test_splices_of_a_part_are_no_cavities_to_look_at() -> None:
    loom = replace(LOOM, connectors=(*LOOM.connectors, Connector("S9", ConnectorKind.SPLICE)))
    fuse = Component(
        "F1", ComponentKind.FUSE, (("1", end_of("A:2")), ("2", end_of("A:3")), ("3", End("S9"))), fitted=False
    )
    (finding,) = told(fuse, groups="A:2 B:2 A:3 B:3", loom=loom, resistance_readings=4)
    assert finding.cause == "left_in"
    assert all(end.cavity for end in finding.cavities)
