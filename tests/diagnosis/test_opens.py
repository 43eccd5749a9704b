"""Opens in words: wires, contacts, fuses, splices, plugs and boards, on small looms by hand."""

from __future__ import annotations

from dataclasses import replace

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
from loomproof.results.findings import Finding
from loomproof.results.measured import Measured
from tests.diagnosis.test_wiring_faults import found, nets, plug

LOOM = Loom(
    "opens",
    connectors=(
        plug("A", "1 2 3 4"),
        plug("B", "1 2 3"),
        plug("F", "1 2"),
        Connector("E", ConnectorKind.RING, (("1",),), location="block"),
        *(Connector(name, ConnectorKind.SPLICE) for name in "ST"),
    ),
    wires=(
        Wire("W1", end_of("A:1"), End("S"), "RD", 0.5, 1.0, bundle="front"),
        Wire("W2", End("S"), End("T"), "RD", 0.5, 1.0),
        Wire("W3", End("S"), end_of("A:2"), "RD", 0.5, 1.0),
        Wire("W4", End("T"), end_of("B:1"), "RD", 0.5, 1.0),
        Wire("W5", End("T"), end_of("B:2"), "RD", 0.5, 1.0),
        Wire("W6", end_of("A:3"), end_of("F:1"), "BU", 0.5, 1.0),
        Wire("W7", end_of("F:2"), end_of("B:3"), "BU", 0.5, 1.0),
        Wire("W8", end_of("A:4"), end_of("E:1"), "BK", 2.5, 1.0),
        Wire("W9", end_of("A:4"), end_of("E:1"), "BK", 2.5, 1.0),
    ),
    components=(
        Component("F1", ComponentKind.FUSE, (("1", end_of("F:1")), ("2", end_of("F:2"))), rating_a=10.0),
    ),
)
WHOLE = nets("A:1 A:2 B:1 B:2", "A:3 F:1 F:2 B:3", "A:4 E:1")


def told(groups: str, loom: Loom = LOOM) -> Finding:
    named = nets(*groups.split(", "))
    rest = tuple(net for net in WHOLE if not any(net & group for group in named))
    (finding,) = explain(loom, Measured(WHOLE, (*named, *rest), complete=True))
    return finding


def leads(finding: Finding) -> list[tuple[End, ...]]:
    return [other.cavities for other in finding.alternatives if other.cause == "adapter_lead"]


def test_a_wire_to_a_splice() -> None:
    finding = told("A:1, A:2 B:1 B:2")
    assert finding.title == "W1 (red) open between A:1 and S"
    assert (finding.cause, finding.cavities, finding.wires, finding.cost) == (
        "broken_wire",
        ends_of("A:1"),
        ("W1",),
        1.0,
    )
    assert finding.places == (
        "A:1, row 1 place 1, seen from the mating face",
        "splice S",
        "along W1 (red) from A:1 to S, in bundle front",
    )
    assert finding.repair[0].startswith("Unplug and look at the contacts of A:1")
    opened = "Open the cover of S, and seal it again after. "
    assert finding.repair[1].startswith(
        f"{opened}Probe W1 (red) at each end, from the back of the contact or joint to"
    )
    assert leads(finding) == [ends_of("A:1")]


def test_a_wire_between_two_splices() -> None:
    finding = told("A:1 A:2, B:1 B:2")
    assert finding.title == "W2 (red) open between S and T"
    assert finding.cavities in (ends_of("A:1 A:2"), ends_of("B:1 B:2"))
    assert finding.places[:2] == ("splice S", "splice T")
    assert finding.repair[0] == "Open the cover of S and T and tug each wire."
    assert leads(finding) == []


def test_a_splice_that_let_go() -> None:
    """T alone: B:1 and B:2 are alone, what hangs on S stays together."""
    finding = told("A:1 A:2, B:1, B:2")
    assert (finding.cause, finding.cost) == ("open_splice", 1.7)
    assert finding.title == "Splice T open between W2 (red), W4 (red) and W5 (red)"
    assert finding.wires == ("W2", "W4", "W5")
    assert set(finding.cavities) == set(ends_of("A:1 A:2 B:1 B:2"))
    assert finding.places == ("splice T",)
    assert finding.repair[0].startswith("Open the cover of splice T")


def test_a_fuse_comes_before_the_wires_beside_it() -> None:
    finding = told("A:3 F:1, F:2 B:3")
    assert (finding.cause, finding.components, finding.cost) == ("blown_fuse", ("F1",), 0.8)
    assert finding.title == "Fuse F1 blown or missing between F:1 and F:2"
    assert finding.cavities == ends_of("F:1 F:2")
    assert finding.repair[0] == "Pull F1 and meter it: where it is bad, fit a 10 A fuse of its type."
    assert finding.repair[1].startswith("A fuse blows for a reason")
    assert finding.repair[2].startswith("Look at its contacts at F:1 and F:2")


def test_a_link_is_no_fuse() -> None:
    link = replace(LOOM.components[0], kind=ComponentKind.LINK, name="L1", rating_a=None)
    finding = told("A:3 F:1, F:2 B:3", replace(LOOM, components=(link,)))
    assert (finding.cause, finding.cost) == ("open_part", 0.9)
    assert finding.title == "Link L1 open or missing between F:1 and F:2"
    assert not any("blows for a reason" in step for step in finding.repair)


def test_a_contact_of_its_own_and_a_ring() -> None:
    """F:1 holds W6 and the fuse: alone it is its contact. A:4 and E:1 hold two wires between the same two."""
    contact = told("F:1, A:3 F:2 B:3")
    assert (contact.cause, contact.cavities, contact.wires) == ("bad_contact", ends_of("F:1"), ("W6",))
    assert contact.title == "Contact of F:1 open; its wires W6 (blue) hang together behind it"
    assert leads(contact) == [ends_of("F:1")]
    both = told("A:4, E:1")
    assert both.title == "Parallel wires W8 (black) and W9 (black) all open between A:4 and E:1"
    assert (both.wires, both.cost) == (("W8", "W9"), 2.0)
    ring = replace(
        LOOM,
        connectors=(*LOOM.connectors, plug("G", "1")),
        wires=(*LOOM.wires[:-1], replace(LOOM.wires[-1], a=end_of("G:1"))),
    )
    whole = (*WHOLE[:2], *nets("A:4 E:1 G:1"))
    (finding,) = explain(ring, Measured(whole, (*WHOLE[:2], *nets("A:4 G:1", "E:1")), complete=True))
    assert finding.title == "Ring E:1 open; its wires W8 (black) and W9 (black) hang together behind it"
    assert "paint or rust under the lug" in finding.repair[0]
    assert finding.places == ("E:1 (ring), block",)


def test_the_lead_of_the_adapter_is_named_for_ends_found_alone() -> None:
    loom = Loom(
        "pair", connectors=(plug("P", "1"), plug("Q", "1")), wires=(Wire("W", end_of("P:1"), end_of("Q:1")),)
    )
    (expected,) = nets("P:1 Q:1")
    more = replace(loom, connectors=(*loom.connectors, plug("M", "1 2")))
    more = replace(more, wires=(*more.wires, Wire("V", end_of("M:1"), end_of("M:2"))))
    (finding,) = explain(
        more, Measured((expected, *nets("M:1 M:2")), nets("P:1", "Q:1", "M:1 M:2"), complete=True)
    )
    assert leads(finding) == [ends_of("P:1 Q:1")]
    (lead,) = finding.alternatives
    assert lead.text == "the adapter's lead or pin for P:1 or Q:1 is open, not the loom"
    assert lead.repair == ("Mend the adapter's lead for P:1 or Q:1.",)
    assert lead.tell_apart.startswith("Take P and Q off the adapter")


def test_a_plug_that_is_not_home() -> None:
    finding = found("A:1 C:1", "A:2", "A:3", "B:1", "B:2", "B:3")
    (plugged,) = finding
    assert plugged.title == "B reaches nothing: not plugged to the bench, or not home"
    assert plugged.cost == 1.6
    assert plugged.places == ("B:1, row 1 place 1, seen from the mating face",)
    first = plugged.alternatives[0]
    assert (first.cause, first.cavities) == ("broken_wire", ends_of("B:1 B:2 B:3"))
    assert first.wires == ("W2", "W4", "W5")


def test_a_board_that_reaches_nothing() -> None:
    """Sixteen wires from points 1 to 16 to points 17 to 32, of which 1 to 8 are dead."""
    sixteen = " ".join(map(str, range(1, 17)))
    loom = Loom(
        "boards",
        connectors=(plug("A", sixteen), plug("B", sixteen)),
        wires=tuple(Wire(f"W{k}", End("A", str(k)), End("B", str(5 * k % 17))) for k in range(1, 17)),
    )
    points = tuple((end, number) for number, end in enumerate(loom.cavities, start=1))
    lost = {end for end, number in points if number <= 8}
    expected = tuple(frozenset(wire.ends) for wire in loom.wires)
    groups = (*(net - lost for net in expected), *(frozenset({end}) for end in lost))
    (finding,) = explain(loom, Measured(expected, groups, complete=True, points=points))
    assert finding.title == "Points 1 to 8 of the scanner reach nothing: the board or its lead, not the loom"
    assert (finding.cause, finding.cost, set(finding.cavities)) == ("adapter_board", 0.9, lost)
    first = finding.alternatives[0]
    assert (first.cause, len(first.wires)) == ("broken_wire", 8)
    assert finding.places == ("the scanner's board and the adapter's plug with points 1 to 8",)
