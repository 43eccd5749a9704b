"""What the sheet says of the model loom, row by row: typed from its tables as an electrician reads them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.fitting import consistency
from loomproof.fitting.checks import is_earth_ring, way_of
from loomproof.fitting.feeds import feeds_of
from loomproof.fitting.firstpower import earths_joined, power_up
from loomproof.fitting.fuse_coordination import reach_ohms
from loomproof.fitting.live_ends import Feed, Live, Tracer
from loomproof.fitting.needs import plan_of
from loomproof.fitting.proof_status import standing_of
from loomproof.fitting.sheet import fitting_sheet
from loomproof.fitting.voltage_drop import drops_of
from loomproof.loom.choices import answers_of, needs_of
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
    end_of,
)
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.fitting import Fault, Level, Warn
from loomproof.results.measured import Decision
from tests.fitting.looms import demo, document

WARNED = (
    (Level.WARNING, ("ECU-A:20",), "may be live, treat as live: purge-valve has a load of 0.4 A"),
    (Level.WARNING, ("PURGE:1",), "permanent feed (feed), through K1, F1; fused by F1"),
    (Level.WARNING, ("PURGE:2",), "may be live, treat as live: purge-valve has a load of 0.4 A"),
    (
        Level.WARNING,
        ("INJ1:1", "INJ1:2", "INJ2:1", "INJ2:2", "INJ3:1", "INJ3:2"),
        "INJ1:2 WH/GN, INJ2:2 WH/YE",
    ),
    (Level.WARNING, ("COIL1:1", "COIL1:2", "COIL2:1", "COIL2:2", "COIL3:1", "COIL3:2"), "COIL3:2 BK/GY"),
    (Level.WARNING, ("CRANK:1", "CRANK:2", "CRANK:3", "CAM:1", "CAM:2", "CAM:3"), "CRANK:1 WH, CAM:1 PK/RD"),
    (Level.WARNING, ("CLT:1", "CLT:2", "CAT:1", "CAT:2"), "CLT:1 YE/BK, CAT:1 YE/WH"),
    (Level.WARNING, ("BOOST:1", "BOOST:2", "PURGE:1", "PURGE:2"), "BOOST:1 VT/RD, PURGE:1 VT/BU"),
    (Level.WARNING, (), "fuse 40 A, wires W2, W3, W1: 34 A is 85 %"),
    (Level.NOTE, ("ECU-A:20", "ECU-B:20"), "left open at the computer"),
    (Level.NOTE, ("K-MAIN:85", "K-MAIN:86"), "terminal 86 must be the positive one"),
    (Level.NOTE, ("THR:5", "THR:6"), "twisted pair"),
    (Level.NOTE, ("CRANK:1", "CRANK:2"), "twisted pair"),
    (Level.NOTE, ("KNOCK:1", "KNOCK:2"), "twisted pair"),
    (Level.NOTE, (), "injector (injection-feed, injector-1, injector-2, injector-3)"),
    (Level.NOTE, (), "coil (coil-1, coil-2, coil-3)"),
    (Level.NOTE, (), "lamp (warning-lamp)"),
    (Level.NOTE, ("ECU-B:15", "CRANK:3"), "to be earthed at one end only"),
)


def test_the_model_loom_is_warned_of_these_and_nothing_else() -> None:
    told = fitting_sheet(demo()).warnings
    assert [(warn.level, tuple(map(str, warn.ends))) for warn in told] == [
        (level, ends) for level, ends, _ in WARNED
    ]
    for warn, (_, _, words) in zip(told, WARNED, strict=True):
        assert words in warn.text


def implied_warnings(loom: Loom) -> list[Warn]:
    needs = needs_of(loom)
    feeds = feeds_of(loom, needs)
    return list(consistency.warnings(loom, plan_of(loom, needs), needs, feeds, Tracer(loom).live(feeds)))


def warned(loom: Loom, words: str, *said: str) -> list[str]:
    return [one.text for one in fitting_sheet(loom, answers_of(loom, said)).warnings if words in one.text]


def test_a_feed_says_its_way_in_whole() -> None:
    """BULK:1 is fed by the car itself, K-MAIN:85 through the relay's coil, PURGE:1 through K1 and F1."""
    sheet = fitting_sheet(demo())
    facts = [row.facts for row in sheet.connect] + [row.facts for row in (*sheet.safe, *sheet.places)]
    live = {str(one.end): one.live for one in facts}
    assert live["BULK:1"] == ("permanent feed (feed); fused by 40 A",)
    assert live["K-MAIN:85"] == ("ignition feed (ignition), through K1; fused by 5 A, little current",)
    assert live["PURGE:1"] == ("permanent feed (feed), through K1, F1; fused by F1",)
    assert live["ECU-B:1"] == ()


def test_plugs_alike_are_told_only_where_one_goes_on_and_there_are_two() -> None:
    assert not warned(demo(), "MP3"), "one plug of a kind can't be confused"
    both = {
        name: replace(demo().circuit_by_name[name], need=Need.UNUSED)
        for name in ("crank-sensor", "cam-sensor")
    }
    assert not warned(demo(circuits=both), "CRANK, CAM"), "neither goes on"


def test_a_relay_whose_coil_terminals_nobody_described_is_not_said_to_lack_them() -> None:
    relay = demo().component_by_name["K2"]
    for missing in ("85", "86"):
        bare = replace(relay, terminals=tuple(one for one in relay.terminals if one[0] != missing))
        parts = tuple(bare if part is relay else part for part in demo().components)
        told = implied_warnings(replace(demo(), components=parts))
        assert not any("the coil of relay K2" in one.text for one in told)


def test_a_plug_that_stays_off_leaves_no_input_of_the_computer_open() -> None:
    """With no circuit of ECU-B needed the plug stays off: what is open there, nobody energises."""
    at_b = {wire.circuit for wire in demo().wires for end in wire.ends if end.connector == "ECU-B"}
    idle = {name: replace(demo().circuit_by_name[name], need=Need.UNUSED) for name in at_b}
    opened = [one for one in fitting_sheet(demo(circuits=idle)).warnings if "left open" in one.text]
    assert all(end.connector != "ECU-B" for one in opened for end in one.ends)


def test_relays_to_bridge_are_named_only_where_a_feed_waits_for_one() -> None:
    """ECU-A:1 has 12 V only behind K1, as F1 and F2 have. Without W6 nothing waits for K1."""
    bridge = "leave K1 out and join 30 to 87"
    *_, fuses, step = fitting_sheet(demo()).power_up[:5]
    assert bridge in fuses
    assert "With K1 bridged: 12 V at ECU-A:1" in step
    assert "pull" not in step, "elsewhere to pull a part is to take it out"
    unfed = demo(without=["W6"])
    assert bridge not in fitting_sheet(unfed).power_up[3]


def test_an_earth_joined_by_a_link_is_seen_from_both_sides() -> None:
    link = Component("L1", ComponentKind.LINK, (("1", End("S-EARTH")), ("2", End("E-BODY", "1"))))
    joined = replace(demo(), components=(*demo().components, link))
    assert not any("sensor-earth" in one.text for one in earths_joined(demo()))
    assert any("sensor-earth" in one.text and "E-BODY:1" in one.text for one in earths_joined(joined))


def test_an_end_of_two_circuits_speaks_for_the_needed_one() -> None:
    """BULK:3 carries the start feed twice; a wire of an unused circuit beside it changes nothing."""
    beside = Wire("X1", End("BULK", "3"), End("PURGE", "2"), "YE", 0.5, 1.0, "purge-valve")
    loom = demo(wires=[beside])
    loom = replace(loom, wires=(loom.wires[-1], *loom.wires[:-1]))
    row = next(row for row in fitting_sheet(loom).connect if str(row.facts.end) == "BULK:3")
    assert (row.facts.circuit, row.facts.load_a) == ("start", 9.0)


def test_the_ohms_of_a_way_begin_with_nothing_and_add_up() -> None:
    """ECU-A:21 to INJ1:2, 1.5 m of 0.75 mm² (58 MS/m, 1.065) and two crimps of 5 mΩ; W3 and W1 in a row."""
    to, ohm, through = way_of(demo(), end_of("ECU-A:21")) or (None, 0.0, ())
    assert (str(to), through) == ("INJ1:2", ())
    assert ohm == pytest.approx(1.5 * 1.065 / 58.0 / 0.75 + 0.010)
    _, far, _ = way_of(demo(), end_of("BULK:1")) or (None, 0.0, ())
    assert far == pytest.approx(1.065 / 58.0 * (0.9 / 10.0 + 0.2 / 4.0) + 0.0006 + 0.001)


def test_a_contact_beside_another_of_its_net_is_not_checked_through_it() -> None:
    """INJ1:1 and INJ1:2 joined: a reading of one goes through the other. In the computer each is measured
    alone: ECU-A:1 and ECU-A:2 are one net."""
    bridge = Wire("X1", End("THR", "5"), End("THR", "6"), "RD", 1.0, 0.1, "throttle-motor")
    kinds = {
        str(row.facts.end): {one.finds for one in row.checks if one.a is not None}
        for row in fitting_sheet(demo(wires=[bridge])).connect
    }
    assert Fault.NOT_JOINED not in kinds["THR:5"]
    assert Fault.NOT_JOINED in kinds["THR:4"]
    assert Fault.WIRE_OPEN in kinds["ECU-A:1"] & kinds["ECU-A:2"]


def test_a_ring_of_unknown_circuit_is_an_earth_for_the_short_check() -> None:
    """A wire of no circuit from a live end to a ring: the meter can't tell a short there."""
    tie = Wire("X1", End("STARTER", "1"), End("E-ENG", "1"), "BN", 2.5, 0.3)
    row = next(row for row in fitting_sheet(demo(wires=[tie])).connect if str(row.facts.end) == "STARTER:1")
    told = [one.text for one in row.checks if one.finds is Fault.SHORTED]
    assert any("can't tell a short of STARTER:1 to earth" in text for text in told)


def test_return_rows_end_where_the_conversion_connects() -> None:
    """A stub at the injector's wire is no return: the row goes to the computer, and to no other cavity."""
    stub = Wire("X1", End("INJ1", "2"), End("PURGE", "2"), "WH", 0.75, 0.1, "purge-valve")
    loom = demo(wires=[stub], without=["W46"])
    loom = replace(loom, wires=(loom.wires[-1], *loom.wires[:-1]))
    rows = drops_of(loom, needs_of(loom), standing_of(loom, None), 80.0)
    assert [row.path for row in rows if (row.circuit, row.side) == ("injector-1", "return")] == [
        "INJ1:2 → ECU-A:21"
    ]


def test_only_several_earth_wires_are_taken_as_one() -> None:
    rows = {row.circuit: row for row in fitting_sheet(demo()).drops if row.side == "return"}
    assert "taken as one" in rows["engine-earth"].remark
    lone = fitting_sheet(demo(without=["W38", "W39"])).drops
    (row,) = [one for one in lone if one.circuit == "engine-earth"]
    assert "taken as one" not in row.remark
    assert row.path == "ECU-A:15 → E-ENG:1"


def test_a_link_of_unknown_ohms_has_none_in_a_short_circuit() -> None:
    """Two ends that a link joins are as near to the source as each other; one of 0.1 Ω adds that."""
    for ohm in (None, 0.1):
        link = Component("L1", ComponentKind.LINK, (("1", End("S-B+")), ("2", End("GBX", "1"))), ohm)
        loom = replace(demo(without=["W74"]), components=(*demo().components, link))
        least, most = reach_ohms(loom, [end_of("BULK:1")])
        assert least[End("GBX", "1")] == pytest.approx(least[End("S-B+")])
        assert most[End("GBX", "1")] == pytest.approx(most[End("S-B+")] + (ohm or 0.0))


def test_a_change_over_relay_has_two_contacts_and_a_plain_one_is_never_off() -> None:
    """30 to 87 closes with the relay pulled: what lies behind a plain relay can always be live."""
    sheet = fitting_sheet(demo())
    live = {str(row.facts.end): row.facts.live for row in sheet.places}
    assert "through K1" in live["K-MAIN:87"][0]
    pins = (("30", End("K-FAN", "30")), ("87", End("K-FAN", "87")), ("87a", End("GBX", "1")))
    relay = replace(demo().component_by_name["K3"], terminals=pins)
    loom = replace(demo(without=["K3", "W74"]), components=(*demo(without=["K3"]).components, relay))
    loom = replace(loom, circuits=(*loom.circuits, Circuit("spare", "", need=Need.UNUSED)))
    found = fitting_sheet(loom)
    facts = [row.facts for row in found.connect] + [row.facts for row in found.safe]
    (gearbox,) = [one for one in facts if str(one.end) == "GBX:1"]
    assert "through F4, K3" in gearbox.live[0]


FEED = Feed("supply", "permanent", (end_of("CAR:1"),), "10 A")


@pytest.mark.parametrize(
    ("live", "text"),
    [
        (Live(FEED, (), (), True, False), "permanent feed (supply); fused by 10 A"),
        (Live(FEED, ("K1", "F1"), ("F1", "F2"), True, False),
         "permanent feed (supply), through K1, F1; fused by F1 or F2"),
        (Live(FEED, ("K1",), (), False, True),
         "permanent feed (supply), through K1; NOT FUSED, little current"),
        (Live(replace(FEED, why="it has a load"), (), (), True, False),
         "may be live, treat as live: it has a load"),
    ],
)  # fmt: skip
def test_a_live_way_in_words(live: Live, text: str) -> None:
    assert live.text == text


def tiny(*wires: Wire, parts: tuple[Component, ...] = (), circuits: tuple[Circuit, ...] = ()) -> Loom:
    """A car's plug, a change-over relay, two loads and a ring."""
    return Loom(
        "tiny",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            Connector("K", ConnectorKind.RELAY_BASE, (("30", "87", "87a"),)),
            Connector("P", ConnectorKind.PLUG, (("1", "2"),)),
            Connector("Q", ConnectorKind.PLUG, (("1",),)),
            Connector("E", ConnectorKind.RING, (("1",),)),
        ),
        wires=wires,
        components=parts,
        circuits=circuits,
    )


def test_a_change_over_contact_is_never_in_both_positions() -> None:
    """Fed at 87, 30 is live with the relay pulled; 87a would need it pulled and at rest at once."""
    pins = tuple((pin, End("K", pin)) for pin in ("30", "87", "87a"))
    loom = tiny(
        Wire("W1", End("CAR", "1"), End("K", "87"), "RD", 1.0, 1.0),
        Wire("W2", End("K", "87a"), End("P", "1"), "RD", 1.0, 1.0),
        parts=(Component("K1", ComponentKind.RELAY, pins),),
    )
    live = Tracer(loom).live([FEED])
    assert live.get(End("K", "30"))
    assert not live.get(End("P", "1"))


@pytest.mark.parametrize(
    ("designation", "earth"), [(None, True), ("31", True), ("", True), ("30", False), ("87", False)]
)
def test_a_ring_is_an_earth_unless_its_circuit_says_otherwise(designation: str | None, earth: bool) -> None:
    name = "" if designation is None else "c"
    loom = tiny(
        Wire("W1", End("P", "1"), End("E", "1"), "BN", 1.0, 1.0, name),
        circuits=(Circuit("c", "", designation or ""),),
    )
    assert is_earth_ring(loom, End("E", "1")) is earth
    assert not is_earth_ring(loom, End("P", "1")), "no ring"
    assert is_earth_ring(tiny(), End("E", "1")), "an empty ring is one"


@pytest.mark.parametrize(("ohm", "added"), [(None, 0.0), (0.2, 0.2)])
def test_a_way_through_a_link_adds_what_it_states(ohm: float | None, added: float) -> None:
    link = Component("L1", ComponentKind.LINK, (("1", End("P", "1")), ("2", End("Q", "1"))), ohm)
    assert way_of(tiny(parts=(link,)), End("P", "1"), parts=True) == (End("Q", "1"), added, ("L1",))


def test_an_end_of_two_circuits_in_a_small_loom() -> None:
    """The wire of the needed circuit says whose end it is, wherever it stands in the table."""
    loom = tiny(
        Wire("W1", End("CAR", "1"), End("P", "1"), "YE", 0.5, 1.0, "idle"),
        Wire("W2", End("CAR", "1"), End("P", "2"), "RD", 1.0, 1.0, "supply"),
        circuits=(Circuit("idle", "", need=Need.UNUSED), Circuit("supply", "", "30", 5.0, "10 A")),
    )
    rows = {str(row.facts.end): row.facts for row in fitting_sheet(loom).connect}
    assert (rows["CAR:1"].circuit, rows["CAR:1"].load_a) == ("supply", 5.0)


def test_an_unused_cavity_of_a_needed_plug_is_told_and_that_of_a_socket_is_not() -> None:
    """P:2 and CAR:2 belong to an unused circuit, beside needed ones in the same housing."""
    loom = tiny(
        Wire("W1", End("CAR", "1"), End("P", "1"), "RD", 1.0, 1.0, "supply"),
        Wire("W2", End("CAR", "2"), End("P", "2"), "YE", 0.5, 1.0, "idle"),
        circuits=(Circuit("idle", "", need=Need.UNUSED), Circuit("supply", "", "30", 5.0, "10 A")),
    )
    assert [one.ends for one in implied_warnings(loom) if "left unused" in one.text] == [(End("P", "2"),)]


def test_housings_alike_are_plugs_or_sockets() -> None:
    """Two plugs of one housing can be confused; a ring, a relay base or a lone plug can't."""
    loom = tiny(Wire("W1", End("P", "1"), End("Q", "1"), "RD", 1.0, 1.0))
    housed = replace(
        loom,
        connectors=tuple(replace(one, housing="H1" if one.name in "PQ" else "H2") for one in loom.connectors),
    )
    alike = [one.text for one in implied_warnings(housed) if "same housing" in one.text]
    assert [text.partition(" have")[0] for text in alike] == ["P, Q"]


def test_the_bridge_over_a_relay_is_told_beside_feeds_that_want_none() -> None:
    loom = demo()
    needs = needs_of(loom)
    feeds = feeds_of(loom, needs)
    steps = power_up(loom, plan_of(loom, needs), feeds, Tracer(loom).live(feeds), {}, [])
    assert "Ignition on: 12 V at ECU-A:4." in steps[4]
    assert "leave K1 out and join 30 to 87" in steps[3]


@pytest.mark.parametrize("pins", [("A", "K"), ("1", "2")])
def test_a_diode_leads_from_its_first_end_where_no_letter_says_which_is_which(pins: tuple[str, str]) -> None:
    ends = (End("CAR", "1"), End("P", "1"))
    for there in (True, False):
        at = ends if there else ends[::-1]
        diode = Component("D1", ComponentKind.DIODE, tuple(zip(pins, at, strict=True)))
        assert bool(Tracer(tiny(parts=(diode,))).live([FEED]).get(End("P", "1"))) is there


@pytest.mark.parametrize(
    ("decision", "says"),
    [
        (Decision.UNDECIDED, "ECU-B:20 to GBX:1 is not decided"),
        (Decision.FAIL, "ECU-B:20 to GBX:1 does not hold"),
    ],
)
def test_what_a_proof_left_undecided_is_not_told_as_failed(decision: Decision, says: str) -> None:
    loom = demo()
    ends = (End("ECU-B", "20"), End("GBX", "1"))
    claim = ClaimEntry(
        kind="resistance",
        subject=f"{ends[0]} to {ends[1]}",
        statement="",
        decision=decision,
        rule="",
        cavities=ends,
    )
    found = standing_of(loom, document(loom, Verdict.FAIL, claims=(claim,))).found
    assert set(found.values()) == {says}


@pytest.mark.parametrize(
    ("verdict", "told"),
    [
        (Verdict.FAIL, "fail; mend it and prove it again."),
        (Verdict.UNDECIDED, "undecided; do what it names to decide it, and prove it again."),
        (Verdict.INCOMPLETE, "incomplete; prove the whole of it."),
    ],
)
def test_the_banner_says_what_each_verdict_wants(verdict: Verdict, told: str) -> None:
    """Of an undecided loom nothing was found to be mended."""
    assert standing_of(demo(), document(demo(), verdict)).banner.endswith(f"Its latest proof says {told}")
