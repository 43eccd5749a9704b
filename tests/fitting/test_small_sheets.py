"""Sheets of one small loom with one thing changed: each row and warning typed by hand."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.fitting.feeds import perhaps_of
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
)
from loomproof.results.document import ClaimEntry, Document, Verdict
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.fitting import Action, Fault, Sheet
from loomproof.results.measured import Decision
from tests.fitting.looms import document
from tests.fitting.test_small_looms import ALL, chain, check_of


def with_wires(
    loom: Loom, *wires: Wire, without: tuple[str, ...] = (), splices: tuple[str, ...] = ()
) -> Loom:
    kept = tuple(wire for wire in loom.wires if wire.name not in without)
    made = tuple(Connector(name, ConnectorKind.SPLICE) for name in splices)
    return replace(loom, wires=(*kept, *wires), connectors=(*loom.connectors, *made))


def needing(loom: Loom, **needs: Need) -> Loom:
    circuits = tuple(replace(one, need=needs.get(one.name, one.need)) for one in loom.circuits)
    return replace(loom, circuits=circuits)


def told(sheet: Sheet, words: str) -> list[str]:
    return [warn.text for warn in sheet.warnings if words in warn.text]


def test_what_a_designation_says_is_not_doubted() -> None:
    """30, 58 and 31 are known (DIN 72552), whatever load they state; 31b hangs on what it is plugged to."""
    circuits = (
        Circuit("feed", "", "30", 9.0, "30 A"),
        Circuit("load", "", "58", 5.0),
        Circuit("earth", "", "31", 9.0),
        Circuit("signal", "", "31b", 0.01),
    )
    assert {one.circuit for one in perhaps_of(chain(circuits=circuits), ALL, ())} == {"signal"}


def test_an_end_goes_to_the_thing_that_its_connector_belongs_to() -> None:
    rows = {str(row.facts.end): row.goes_to for row in fitting_sheet(chain()).connect}
    assert rows["P:1"] == "tail lamp (left side)"
    assert rows["B:1"] == "engine computer"
    assert rows["E:1"] == "what E belongs to"
    assert rows["CAR:1"] == "what CAR belongs to, for permanent feed"


def test_a_place_takes_its_fuse_where_something_needs_it() -> None:
    for need, action in ((Need.NEEDED, Action.FIT), (Need.UNUSED, Action.LEAVE_OUT)):
        sheet = fitting_sheet(needing(chain(), load=need))
        rows = {str(row.facts.end): row for row in sheet.places}
        assert {rows[end].action for end in ("H:1", "H:2")} == {action}
        assert rows["H:1"].why.startswith("fuse F1 10 A")
    loom = chain()
    holder = replace(loom.by_name["H"], rows=(("1", "2", "3", "4"),))
    connectors = tuple(holder if one.name == "H" else one for one in loom.connectors)
    stray = Wire("W9", End("H", "4"), End("CAR", "2"), "VT", 0.5, 1.0, "signal")
    places = {
        str(row.facts.end): row
        for row in fitting_sheet(replace(with_wires(loom, stray), connectors=connectors)).places
    }
    assert (places["H:3"].action, places["H:3"].why) == (Action.LEAVE, "an empty place")
    assert (places["H:4"].action, places["H:4"].why) == (
        Action.CAP,
        "a wire ends here, and no part of the description sits here",
    )


def test_only_fuses_and_relays_of_the_probed_holder_come_out() -> None:
    """Probed in holder H: its fuse is pulled; a fuse in another holder and a resistor in H stay."""
    loom = chain()
    other = Connector("H2", ConnectorKind.FUSE_HOLDER, (("1", "2"),))
    parts = (
        Component("F2", ComponentKind.FUSE, (("1", End("H2", "1")), ("2", End("H2", "2"))), rating_a=5.0),
        Component("R9", ComponentKind.RESISTOR, (("1", End("H", "1")), ("2", End("CAR", "2"))), 1e5),
    )
    loom = replace(loom, connectors=(*loom.connectors, other), components=(*loom.components, *parts))
    found = check_of(loom, "P:1", Fault.NOT_JOINED)
    assert found.out == ("F1",)
    assert "F1 out" in found.text


@pytest.mark.parametrize(
    ("wires", "splices", "opened"),
    [
        ((), (), []),
        ((Wire("W4", End("B", "1"), End("S1"), "GN", 0.5, 1.0, "signal"),), ("S1",), ["B:1 (signal)"]),
        (
            (
                Wire("W4", End("B", "1"), End("S1"), "GN", 0.5, 1.0, "signal"),
                Wire("W5", End("S1"), End("CAR", "2"), "GN", 0.5, 1.0, "signal"),
            ),
            ("S1",),
            [],
        ),
    ],
)
def test_an_input_of_the_computer_that_meets_nothing_is_told(
    wires: tuple[Wire, ...], splices: tuple[str, ...], opened: list[str]
) -> None:
    loom = with_wires(chain(), *wires, without=("W4",) if wires else (), splices=splices)
    texts = told(fitting_sheet(loom), "left open at the computer")
    assert [text.partition(": ")[2].partition(". ")[0] for text in texts] == opened


def test_a_twisted_pair_is_told_once_at_each_plug() -> None:
    loom = chain()
    one, two = (
        Wire(
            f"W{k}", End("P", str(k)), End("CAR", str(k)), "WH", 0.5, 1.0, "signal", twisted_with=f"W{3 - k}"
        )
        for k in (1, 2)
    )
    sheet = fitting_sheet(replace(loom, wires=(one, two, *loom.wires[2:])))
    assert len([text for text in told(sheet, "twisted pair") if text.startswith("polarity: P:")]) == 1
    assert len([text for text in told(sheet, "twisted pair") if text.startswith("polarity: CAR:")]) == 1


def relay_loom(*, weak: bool) -> Loom:
    """Relay K: its coil from CAR:1 (30), by way of a resistor where ``weak``, to the computer's B:1."""
    pins = tuple((pin, End("K", pin)) for pin in ("85", "86", "30", "87"))
    parts: tuple[Component, ...] = (Component("K1", ComponentKind.RELAY, pins, 85.0),)
    wires = [
        Wire("W1", End("CAR", "1"), End("S1"), "RD", 1.0, 1.0, "feed"),
        Wire("W2", End("K", "85"), End("B", "1"), "GN", 0.5, 1.0, "signal"),
        Wire("W3", End("K", "87"), End("P", "1"), "RD", 1.0, 1.0, "load"),
    ]
    if weak:
        ends = (("1", End("S1")), ("2", End("S2")))
        parts = (*parts, Component("R1", ComponentKind.RESISTOR, ends, 1000.0))
    wires.append(Wire("W4", End("S2" if weak else "S1"), End("K", "86"), "RD", 1.0, 1.0, "coil"))
    return Loom(
        "relay",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            Connector("K", ConnectorKind.RELAY_BASE, (("30", "85", "86", "87"),)),
            Connector("P", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("B", ConnectorKind.PLUG, (("1",),), "engine computer"),
            Connector("S1", ConnectorKind.SPLICE),
            Connector("S2", ConnectorKind.SPLICE),
        ),
        wires=tuple(wires),
        components=parts,
        circuits=(
            Circuit("feed", "permanent feed", "30", 1.0, "5 A"),
            Circuit("coil", "", "", 0.05),
            Circuit("signal", "", "", 0.05),
            Circuit("load", "", "", 5.0),
        ),
    )


@pytest.mark.parametrize("weak", [False, True])
def test_a_coil_behind_a_resistor_has_no_feed(weak: bool) -> None:
    """1 kΩ before a coil of 85 Ω leaves it 0.9 V of 12 V: it never pulls in."""
    texts = told(fitting_sheet(relay_loom(weak=weak)), "the coil of relay K1")
    assert [text.partition(" in this conversion")[0] for text in texts] == (
        ["the coil of relay K1 has no feed (86)"] if weak else []
    )


def test_a_coil_whose_return_nobody_connects_is_told() -> None:
    loom = relay_loom(weak=False)
    cut = replace(loom, wires=tuple(wire for wire in loom.wires if wire.name != "W2"))
    (text,) = told(fitting_sheet(cut), "the coil of relay K1")
    assert text.startswith("the coil of relay K1 has no return (85) in this conversion")


def test_plugs_of_one_housing_are_told_where_one_of_two_goes_on() -> None:
    loom = chain()
    twin = Connector("P2", ConnectorKind.PLUG, (("1", "2"),), housing="two")
    connectors = tuple(replace(one, housing="two") if one.name == "P" else one for one in loom.connectors)
    one = replace(loom, connectors=connectors)
    assert not told(fitting_sheet(one), "have the same housing")
    two = replace(loom, connectors=(*connectors, twin))
    (text,) = told(fitting_sheet(two), "have the same housing")
    assert text.startswith("P, P2 have the same housing (two)")
    assert "Colours do not tell them apart" in text
    idle = needing(two, load=Need.UNUSED, earth=Need.UNUSED)
    assert not told(fitting_sheet(idle), "have the same housing")
    wired = with_wires(two, Wire("W9", End("P2", "1"), End("CAR", "2"), "VT", 0.5, 1.0, "signal"))
    (text,) = told(fitting_sheet(wired), "have the same housing")
    assert "Tell them by colour: P:1 RD/WH, P2:1 VT." in text


def with_stub(designation: str, *, far: str = "E", need: Need = Need.UNUSED) -> Loom:
    """The chain, and a tail X:1 of a circuit that is not used, wired to the ring or to the computer."""
    loom = chain()
    stub = Wire("W9", End("X", "1"), End(far, "1"), "VT", 0.5, 1.0, "stub")
    return replace(
        loom,
        connectors=(*loom.connectors, Connector("X", ConnectorKind.TAIL, (("1",),))),
        wires=(*loom.wires, stub),
        circuits=(*loom.circuits, Circuit("stub", "", designation, 0.01, need=need)),
    )


@pytest.mark.parametrize(
    ("designation", "far", "action", "why"),
    [
        ("31", "E", Action.CAP, "it is earthed: a feed that touches it is a short"),
        ("", "E", Action.CAP, "no feed reaches it, but what is plugged in at E:1 may"),
        ("", "B", Action.CAP, "no feed reaches it, but what is plugged in at B:1 may"),
    ],
)
def test_an_unused_end_is_capped_for_what_lies_behind_it(
    designation: str, far: str, action: Action, why: str
) -> None:
    rows = {str(row.facts.end): row for row in fitting_sheet(with_stub(designation, far=far)).safe}
    assert (rows["X:1"].action, rows["X:1"].why) == (action, why)


def test_an_end_without_a_wire_is_left_unless_the_proof_found_something_there() -> None:
    """A claim that does not hold at a cavity is a reason to treat it as live, as a finding is."""
    loom = chain()
    loom = replace(loom, connectors=(*loom.connectors, Connector("X", ConnectorKind.TAIL, (("1",),))))

    def row(proof: Document | None) -> tuple[Action, str]:
        found = {str(one.facts.end): one for one in fitting_sheet(loom, None, proof).safe}["X:1"]
        return found.action, found.why

    assert row(None) == (Action.LEAVE, "no wire; keep its seal or blanking plug in")
    failing = ClaimEntry(
        kind="isolation",
        subject="X:1",
        statement="",
        decision=Decision.FAIL,
        rule="",
        cavities=(End("X", "1"),),
    )
    proof = document(loom, Verdict.FAIL, claims=(failing,))
    assert row(proof) == (Action.CAP, "the proof found here: X:1 does not hold; treat it as live")
    held = failing.model_copy(update={"decision": Decision.PASS})
    assert row(document(loom, Verdict.PASS, claims=(held,)))[0] is Action.LEAVE
    finding = Finding(Kind.SHORT, Severity.FAULT, "Short at X:1.", cavities=(End("X", "1"),))
    told_of = document(loom, Verdict.FAIL).model_copy(update={"findings": (finding,)})
    assert row(told_of) == (Action.CAP, "the proof found here: Short at X:1; treat it as live")


def test_rows_are_numbered_from_one_in_the_order_in_which_they_are_fitted() -> None:
    rows = fitting_sheet(chain()).connect
    assert [row.order for row in rows] == list(range(1, len(rows) + 1))


def test_an_earth_is_measured_at_its_lug_or_behind_the_cavity_that_meets_the_car() -> None:
    ring = check_of(chain(), "E:1", Fault.BAD_EARTH)
    assert "ohms from the lug of E:1 to the negative clamp" in ring.text
    loom = chain()
    earth = Wire("W9", End("P", "2"), End("CAR", "2"), "BN", 1.0, 1.0, "earth")
    socket = with_wires(loom, earth, without=("W3", "W4"))
    found = check_of(socket, "CAR:2", Fault.BAD_EARTH)
    assert "ohms from the car's side of CAR:2, back-probed to the negative clamp" in found.text


@pytest.mark.parametrize(
    ("circuits", "said"),
    [
        ((Circuit("signal", "revs", "", 0.01),), "B:1 (revs)"),
        ((Circuit("signal", "", "", 0.01),), "B:1 (signal)"),
        ((), "B:1 (signal)"),
    ],
)
def test_an_open_input_is_called_by_its_purpose_or_its_circuit(
    circuits: tuple[Circuit, ...], said: str
) -> None:
    loom = chain()
    open_wire = Wire("W4", End("B", "1"), End("S1"), "GN", 0.5, 1.0, "signal")
    loom = with_wires(loom, open_wire, without=("W4",), splices=("S1",))
    (text,) = told(
        fitting_sheet(replace(loom, circuits=(*loom.circuits[:3], *circuits))), "left open at the computer"
    )
    assert text.startswith(f"left open at the computer: {said}. ")
