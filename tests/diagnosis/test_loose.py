"""Contacts that come and go: the fewest wires that explain what changed together, by hand on small looms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
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
from loomproof.reports.words import cause
from loomproof.results.findings import Finding, Kind
from loomproof.results.measured import Measured
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM, nets, plug

FUSED = Loom(
    "fused",
    connectors=(
        plug("A", "1 2 3"),
        plug("F", "1 2"),
        plug("B", "1 2"),
        Connector("E", ConnectorKind.RING, (("1",),)),
    ),
    wires=(
        Wire("W1", end_of("A:1"), end_of("F:1"), colour="RD", csa_mm2=0.5),
        Wire("W2", end_of("F:2"), end_of("B:1"), colour="RD", csa_mm2=0.5),
        Wire("W3", end_of("A:2"), end_of("E:1"), csa_mm2=0.5),
        Wire("W4", end_of("A:3"), end_of("E:1"), csa_mm2=0.5),
    ),
    components=(
        Component("F1", ComponentKind.FUSE, (("1", end_of("F:1")), ("2", end_of("F:2"))), rating_a=10.0),
    ),
)
WHOLE = nets("A:1 F:1 F:2 B:1", "A:2 A:3 E:1", "B:2")


def told(
    unstable: str,
    *unsteady: str,
    loom: Loom = LOOM,
    expected: Sequence[frozenset[End]] = EXPECTED,
    groups: str = "",
) -> tuple[Finding, ...]:
    named = nets(*groups.split(", ")) if groups else ()
    rest = tuple(net for net in expected if not any(net & group for group in named))
    return explain(
        loom,
        Measured(
            tuple(expected),
            (*named, *rest),
            complete=True,
            unstable=ends_of(unstable),
            unsteady=nets(*unsteady) if unsteady else (),
        ),
    )


@pytest.mark.parametrize(
    ("unstable", "unsteady", "wires"),
    [
        ("C:1", (), ["W3"]),
        ("A:1", (), ["W1"]),
        ("A:1 B:1", (), ["W3"]),
        ("A:1 B:1 C:1", ("A:1", "B:1 C:1"), ["W1"]),
        ("A:1 B:1 C:1", ("A:1", "B:1"), ["W1", "W2"]),
        ("A:1 B:1", ("C:1",), ["W3"]),
        ("A:1 B:1", ("A:1 B:1", "A:1"), ["W1", "W3"]),
    ],
)
def test_the_fewest_wires_that_part_what_changed_together(
    unstable: str, unsteady: tuple[str, ...], wires: list[str]
) -> None:
    """A star of W1, W2, W3 to A:1, B:1, C:1: what changed is one side of a wire that let go.

    Sets of cavities that did not read unsteadily themselves say nothing.
    """
    found = told(unstable, *unsteady)
    assert [finding.wires for finding in found] == [(name,) for name in wires]
    for finding in found:
        assert (finding.kind, finding.cause, finding.cost) == (Kind.INTERMITTENT, "loose_contact", 1.0)
        assert finding.title.endswith(" comes and goes")
        assert finding.alternatives == ()


def test_what_no_wire_parts_is_named_by_its_cavities() -> None:
    """All three cavities changed at once and nothing says which way: no single wire does that."""
    (finding,) = told("A:1 B:1 C:1")
    assert (finding.wires, set(finding.cavities)) == ((), set(ends_of("A:1 B:1 C:1")))
    assert finding.title == "A:1, B:1 and C:1 come and go"
    (alone,) = told("A:4")
    assert alone.title == "A:4 comes and goes"


def test_two_ends_of_one_wire_are_one() -> None:
    (finding,) = told("A:2 B:2", "A:2", "B:2")
    assert finding.wires == ("W4",)
    assert finding.cavities == ends_of("A:2 B:2")
    assert finding.evidence[0].text == "A:2 and B:2 did not read the same each time"
    found = told("A:2 A:3")
    assert [finding.wires for finding in found] == [("W4",), ("W5",)]


def test_a_fuse_a_contact_and_wires_between_are_equals() -> None:
    """A:1 W1 F:1 F1 F:2 W2 B:1: where B:1 alone changed it is W2; where F:2 and B:1 did it is the fuse."""
    (wire,) = told("B:1", loom=FUSED, expected=WHOLE)
    assert wire.wires == ("W2",)
    (fuse,) = told("F:2 B:1", loom=FUSED, expected=WHOLE)
    assert fuse.title == "F1 comes and goes"
    assert fuse.wires == ()
    (contact,) = told("F:1", loom=FUSED, expected=WHOLE)
    assert contact.title == "the contact of F:1 comes and goes"
    assert contact.wires == ("W1",)
    assert contact.cavities == ends_of("F:1")


def test_wires_one_behind_the_other_are_each_others_alternatives() -> None:
    """Through a joint of two wires both part the same cavities."""
    loom = Loom(
        "joint",
        connectors=(plug("A", "1 2"), plug("B", "1"), Connector("S", ConnectorKind.SPLICE)),
        wires=(
            Wire("W1", end_of("A:1"), end_of("S"), colour="RD"),
            Wire("W2", end_of("S"), end_of("B:1"), colour="BU"),
        ),
    )
    (finding,) = told("A:1", loom=loom, expected=nets("A:1 B:1", "A:2"))
    assert finding.wires == ("W1",)
    (other,) = finding.alternatives
    assert (other.cause, other.wires, other.cavities) == ("loose_contact", ("W2",), ends_of("A:1"))
    assert other.text == "W2 (blue) comes and goes"
    assert "move W1 (red) alone" in other.tell_apart


def test_a_wire_between_two_splices_shows_at_what_hangs_behind_it() -> None:
    loom = Loom(
        "two splices",
        connectors=(plug("A", "1 2"), plug("B", "1 2"), *(Connector(s, ConnectorKind.SPLICE) for s in "ST")),
        wires=tuple(
            Wire(f"W{k}", end_of(a), end_of(b))
            for k, (a, b) in enumerate(
                (("A:1", "S"), ("A:2", "S"), ("S", "T"), ("B:1", "T"), ("B:2", "T")), start=1
            )
        ),
    )
    (finding,) = told("A:1 A:2", "A:1 A:2", loom=loom, expected=[frozenset(loom.cavities)])
    assert (finding.wires, finding.cavities) == (("W3",), ends_of("A:1 A:2"))


def test_how_a_loose_contact_is_renewed_depends_on_what_holds_it() -> None:
    def renew(unstable: str) -> str:
        (finding,) = told(unstable, loom=FUSED, expected=WHOLE)
        return finding.repair[1]

    assert renew("E:1") == "Clean lug and seat and tighten the bolt; renew a lug whose crimp moves."
    assert renew("A:1").startswith("Renew the contact: a spread")
    assert renew("A:2 A:3 E:1").startswith("Renew the contact; at a ring, the bolt or the lug: a spread")


def test_an_open_that_comes_and_goes_is_told_once() -> None:
    (finding,) = told("C:1", groups="A:1 B:1, C:1")
    assert finding.kind is Kind.INTERMITTENT
    found = told("A:2", groups="A:1 B:1, C:1")
    assert {(finding.kind, finding.wires) for finding in found} == {
        (Kind.OPEN, ("W3",)),
        (Kind.INTERMITTENT, ("W4",)),
    }
    found = told("A:2", groups="A:2 B:2 A:3 B:3")
    assert {finding.kind for finding in found} == {Kind.SHORT, Kind.INTERMITTENT}


def test_a_wire_inside_a_ring_parts_nothing() -> None:
    loom = replace(LOOM, wires=(*LOOM.wires, Wire("W8", end_of("A:2"), end_of("B:2"), csa_mm2=0.5)))
    (finding,) = told("A:2", loom=loom)
    assert set(finding.wires) == {"W4", "W8"}
    assert told("X:9", loom=loom) == ()


def test_a_wire_that_lets_go_at_neither_end_is_broken_inside() -> None:
    """A new contact mends no break on the way; a fuse or a contact has no way to bend."""
    (wire,) = told("A:2 B:2", "A:2", "B:2")
    (inside,) = (step for step in wire.repair if step.startswith("Where neither end lets go, bend W4"))
    assert inside.endswith("Join in a piece there.")
    assert cause(wire) == "loose contact or wire"
    (fuse,) = told("F:2 B:1", loom=FUSED, expected=WHOLE)
    assert not any("bend" in step for step in fuse.repair)
