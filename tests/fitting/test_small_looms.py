"""Small looms worked out by hand: what is fed, what is idle, what a check and a fuse allow."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import pytest

from loomproof.fitting.checks import way_of
from loomproof.fitting.feeds import feeds_of, perhaps_of, sources_of
from loomproof.fitting.fuse_coordination import Ampacity, fuse_rows, let_through_a2s, opening_s
from loomproof.fitting.load_flow import allowed, closed_ohm, fuse_ohm
from loomproof.fitting.needs import plan_of
from loomproof.fitting.sheet import fitting_sheet
from loomproof.fitting.voltage_drop import earth_current_a, earths_of, left_out
from loomproof.loom.choices import needs_of
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
from loomproof.results.fitting import Fault, MeterCheck
from tests.fitting.looms import demo

ALL = {"feed": Need.NEEDED, "load": Need.NEEDED, "earth": Need.NEEDED}


def chain(
    kind: ComponentKind = ComponentKind.FUSE,
    *,
    ohm: float | None = None,
    size_mm2: float = 1.0,
    long_m: float = 1.0,
    load_a: float | None = 5.0,
    circuits: tuple[Circuit, ...] | None = None,
) -> Loom:
    """CAR:1 to H:1, a part, H:2 to the lamp P:1; P:2 to the ring E:1; the computer's B:1 to CAR:2."""
    return Loom(
        "chain",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            Connector("H", ConnectorKind.FUSE_HOLDER, (("1", "2"),)),
            Connector("P", ConnectorKind.PLUG, (("1", "2"),), "tail lamp", location="left side"),
            Connector("B", ConnectorKind.PLUG, (("1",),), "engine computer"),
            Connector("E", ConnectorKind.RING, (("1",),)),
        ),
        wires=(
            Wire("W1", End("CAR", "1"), End("H", "1"), "RD", 2.5, 0.5, "feed"),
            Wire("W2", End("H", "2"), End("P", "1"), "RD/WH", size_mm2, long_m, "load"),
            Wire("W3", End("P", "2"), End("E", "1"), "BN", size_mm2, long_m, "earth"),
            Wire("W4", End("B", "1"), End("CAR", "2"), "GN", 0.5, 2.0, "signal"),
        ),
        components=(Component("F1", kind, (("1", End("H", "1")), ("2", End("H", "2"))), ohm, rating_a=10.0),),
        circuits=circuits
        or (
            Circuit("feed", "permanent feed", "30", None, "30 A"),
            Circuit("load", "tail lamp", "58", load_a, "F1", needs=("feed", "earth")),
            Circuit("earth", "earth", "31"),
            Circuit("signal", "signal", "", 0.01),
        ),
    )


def check_of(loom: Loom, end: str, finds: Fault) -> MeterCheck:
    row = next(row for row in fitting_sheet(loom).connect if str(row.facts.end) == end)
    return next(one for one in row.checks if one.finds is finds)


def test_where_a_fuse_divides_a_feed_its_source_is_where_a_wire_starts_at_the_car() -> None:
    """Wire W1 of the feed starts at CAR:1; behind the fuse P:1 is fed and feeds nothing. A link divides
    nothing, so both ends may be the car's."""
    wires = chain().wires
    feed = (wires[0], replace(wires[1], circuit="feed"), *wires[2:])
    for kind, entries in ((ComponentKind.FUSE, {"CAR:1"}), (ComponentKind.LINK, {"CAR:1", "P:1"})):
        loom = replace(chain(kind), wires=feed)
        (found,) = [one for one in feeds_of(loom, ALL) if one.circuit == "feed"]
        assert {str(end) for end in found.entries} == entries
        assert (found.when, found.fuse) == ("permanent", "30 A")
        assert sources_of(loom, ALL)[0] == End("CAR", "1")


def test_a_part_of_the_loom_is_no_fuse_of_the_car() -> None:
    """What stands in the loom is followed as a part; only a fuse outside it is a text beside the feed."""
    loom = chain()
    own = replace(loom, circuits=(replace(loom.circuits[0], fuse="F1"), *loom.circuits[1:]))
    assert [one.fuse for one in feeds_of(own, ALL) if one.circuit == "feed"] == [""]


def test_wires_of_no_circuit_may_be_a_feed_where_their_plug_goes_on() -> None:
    loom = chain()
    for name, text in (("strange", "circuit strange is not described"), ("", "wires of no circuit")):
        stray = Wire("W9", End("CAR", "2"), End("B", "1"), "VT", 0.5, 1.0, name)
        other = replace(loom, wires=(*loom.wires[:3], stray))
        found = {one.circuit: one for one in perhaps_of(other, ALL, ())}
        assert found[name or "no circuit"].why == text
        assert {str(end) for end in found[name or "no circuit"].entries} == {"CAR:2", "B:1"}
        # What a sure feed reaches already is told there.
        reached = {End("CAR", "2"), End("B", "1")}
        assert name or "no circuit" not in {one.circuit for one in perhaps_of(other, ALL, reached)}


@pytest.mark.parametrize(("load_a", "doubted"), [(None, True), (0.1, False), (0.11, True)])
def test_a_load_above_a_signal_is_not_ruled_out(load_a: float | None, doubted: bool) -> None:
    """A tenth of an ampere is a signal (common practice); what states nothing may be anything."""
    circuits = (*chain().circuits[:3], Circuit("signal", "signal", "", load_a))
    loom = chain(circuits=circuits)
    assert ("signal" in {one.circuit for one in perhaps_of(loom, ALL, ())}) is doubted


def test_a_plug_of_a_part_that_the_car_lacks_stays_off_though_feed_and_earth_run_into_it() -> None:
    loom = chain()
    needs = {**ALL, "load": Need.UNUSED}
    plan = plan_of(loom, needs)
    assert "P" not in plan.plugged
    assert {End("P", "1"), End("P", "2")} <= set(plan.safe)
    assert plan.spare_parts == plan.spare_fuses == {"F1"}
    # With another needed circuit in the plug it goes on.
    other = replace(
        loom, wires=(*loom.wires, Wire("W5", End("P", "2"), End("CAR", "2"), "", 0.5, 1.0, "more"))
    )
    more = replace(other, circuits=(*loom.circuits, Circuit("more", "", "", 1.0)))
    assert "P" in plan_of(more, {**needs, "more": Need.NEEDED}).plugged
    assert plan_of(loom, ALL).spare_parts == frozenset()
    # A circuit that nobody described and that is left unused is no reason to stop.
    assert plan_of(replace(loom, circuits=loom.circuits[:1]), needs).connect


@pytest.mark.parametrize("long_m", [1.0, 60.0, 100.0])
def test_a_check_of_a_path_allows_a_quarter_more_and_half_an_ohm(long_m: float) -> None:
    """1.25 · R + 0.5 Ω rounded up to a tenth, and 1 Ω at least. R: copper (58 MS/m, × 1.065), two crimps."""
    loom = chain(size_mm2=0.5, long_m=long_m)
    found = check_of(loom, "P:2", Fault.NOT_JOINED)
    far = way_of(loom, End("P", "2"))
    assert far is not None
    copper = long_m * 1.065 / 58.0 / 0.5
    assert copper <= far[1] <= copper + 0.011
    expected = max(1.0, math.ceil(10 * (1.25 * far[1] + 0.5)) / 10)
    assert found.most_ohm == pytest.approx(expected)
    assert found.least_ohm is None
    assert f"under {expected:g} Ω" in found.text


def test_a_check_of_a_computer_through_a_part_has_a_least_as_well() -> None:
    """220 Ω between: from half of it to a quarter more and half an ohm; the reading says through what."""
    loom = chain()
    ends = (("1", End("B", "1")), ("2", End("P", "1")))
    part = Component("R7", ComponentKind.RESISTOR, ends, 220.0, circuit="signal")
    other = replace(loom, wires=loom.wires[:3], components=(*loom.components, part))
    found = check_of(other, "B:1", Fault.WIRE_OPEN)
    assert found.least_ohm == pytest.approx(110.0, rel=0.01)
    assert found.most_ohm == pytest.approx(275.5, rel=0.01)
    assert "through R7" in found.text
    unknown = replace(other, components=(*loom.components, replace(part, resistance_ohm=None)))
    row = next(row for row in fitting_sheet(unknown).connect if str(row.facts.end) == "B:1")
    assert row.checks[-1].text.startswith("By eye"), "a part of unknown ohms gives no reading to compare"


@pytest.mark.parametrize(
    ("ratio", "seconds"),
    [
        (1.3, None),
        (1.35, 600),
        (1.59, 600),
        (1.6, 50),
        (1.99, 50),
        (2.0, 5),
        (3.5, 0.5),
        (6.0, 0.15),
        (60, 0.15),
    ],
)
def test_opening_times_change_at_each_gate(ratio: float, seconds: float | None) -> None:
    """Blade fuses, typical data quoted in design documents: at 135, 160, 200, 350, 600 % of the rating."""
    assert opening_s(10.0, 10.0 * ratio) == seconds


@pytest.mark.parametrize("seed", range(20))
def test_what_a_fuse_lets_through_is_the_most_of_all_currents_between(seed: int) -> None:
    """Against 4 000 currents one by one: I²·t at the slowest gate, above six times the rating no more than
    there; only what opens within 5 s."""
    rng = random.Random(seed)
    rating = rng.choice([5.0, 10.0, 30.0, 40.0])
    low, high = sorted(rng.uniform(0.5, 12.0) * rating for _ in range(2))
    gates = ((6.0, 0.15), (3.5, 0.5), (2.0, 5.0))
    most = 0.0
    for k in range(4001):
        amps = low + (high - low) * k / 4000
        for ratio, seconds in gates:
            if amps >= ratio * rating:
                most = max(most, min(amps, 6.0 * rating) ** 2 * seconds)
                break
    found = let_through_a2s(rating, high, low)
    assert (found or 0.0) == pytest.approx(most, rel=4e-3)


@pytest.mark.parametrize(("rating", "cold", "hot"), [(10.0, 0.0077, 0.109), (30.0, 0.00197, 0.084)])
def test_a_fuse_warms_with_the_square_of_its_current(rating: float, cold: float, hot: float) -> None:
    """Cold figure and drop at rated current of one maker's blade fuses; Joule's law between."""
    warm = hot / rating - cold
    for share, part in ((0.0, 0.0), (0.5, 0.25), (1.0, 1.0), (2.0, 1.0)):
        ohm, half = fuse_ohm(rating, share * rating)
        assert ohm == pytest.approx(cold + warm * part)
        assert half == pytest.approx(max(warm, cold / 4))
    assert fuse_ohm(rating * 1.2, 0.0) == fuse_ohm(rating, 0.0), "the next smaller one of the table"
    assert fuse_ohm(rating * 0.9995, 0.0) == fuse_ohm(rating, 0.0), "a rating is rounded when it is named"
    assert fuse_ohm(None, 0.0)[0] == fuse_ohm(0.5, 0.0)[0] == pytest.approx(0.123), "1 A, the smallest"


def test_contacts_of_relays_and_joints_are_half_of_what_they_may_have() -> None:
    """A rectangle from nothing to the figure: mean half, standard uncertainty half over √3 (GUM 4.3.7)."""
    assert [closed_ohm(amps) for amps in (None, 20.0, 29.9, 30.0, 40.0)] == [
        0.010,
        0.010,
        0.010,
        0.005,
        0.005,
    ]
    assert allowed(0.004) == pytest.approx((0.002, 0.002 / math.sqrt(3)))
    assert allowed(0.006, 0.008) == pytest.approx((0.007, 0.005 / math.sqrt(3)))
    assert allowed() == (0.0, 0.0)


def test_an_earth_carries_its_needed_users_or_what_it_states() -> None:
    users = tuple(
        Circuit(f"user {k}", "", "", load, needs=("earth",)) for k, load in enumerate((2.0, 3.0, None))
    )
    needs = {**ALL, "user 0": Need.NEEDED, "user 1": Need.NEEDED, "user 2": Need.NEEDED}
    for stated, expected in ((None, 5.0), (4.0, 5.0), (9.0, 9.0)):
        loom = chain(circuits=(Circuit("earth", "", "31", stated), Circuit("load", "", "58", 1.0), *users))
        assert earth_current_a(loom, "earth", needs) == expected
        (row,) = earths_of(loom, needs)
        assert (row.end, row.current_a) == ("E:1", expected)
        assert row.circuits == ("user 0", "user 1", "user 2")
    idle = {**needs, "user 1": Need.UNUSED}
    assert earth_current_a(chain(circuits=(Circuit("earth", "", "31"), *users)), "earth", idle) == 2.0
    assert earth_current_a(loom, "nowhere", needs) == 0.0
    assert earths_of(loom, {**needs, "earth": Need.UNUSED}) == ()


@pytest.mark.parametrize(("load_a", "named"), [(0.1, False), (0.2, True), (None, False)])
def test_a_needed_load_without_a_row_is_named_with_the_reason(load_a: float | None, named: bool) -> None:
    circuits = (Circuit("load", "", "", load_a), Circuit("feed", "", "30", load_a))
    told = left_out(chain(circuits=circuits), ALL, ())
    assert [text.partition(" ")[0] for text in told] == (["load", "feed"] if named else [])
    if named:
        assert told[0].startswith("load (0.2 A): no feed of this description")
        assert told[1] == "feed (0.2 A): it carries what others draw, and counts in their rows"
        rows = (replace(fitting_sheet(demo()).drops[0], circuit="load"),)
        assert [text.partition(" ")[0] for text in left_out(chain(circuits=circuits), ALL, rows)] == ["feed"]


def continuous(loom: Loom, table: Ampacity | None = None) -> str:
    return next(row for row in fuse_rows(loom, needs_of(loom), table) if row.wire == "W2").continuous


@pytest.mark.parametrize(
    ("load_a", "size_mm2", "table", "said"),
    [
        (8.0, 1.0, None, "not approved: no ampacity table with a source was given."),
        (8.1, 1.0, None, "WARNING: 8.1 A is 81 % of the fuse; common practice is at most 80 %"),
        (10.0, 1.0, None, "WARNING: 10 A is 100 % of the fuse"),
        (10.1, 1.0, None, "WARNING: the load of 10.1 A is above the fuse"),
        (5.0, 1.0, Ampacity({1.0: 10.0}, "a sheet", "40 °C"), "within 10 A by a sheet at 40 °C"),
        (5.0, 0.996, Ampacity({1.0: 10.0}, "a sheet", "40 °C"), "within 10 A by a sheet at 40 °C"),
        (5.0, 1.0, Ampacity({1.0: 9.9}, "a sheet", "40 °C"), "WARNING: the fuse is above 9.9 A by a sheet"),
        (5.0, 1.5, Ampacity({1.0: 9.9, 2.5: 20.0}, "a sheet", "x"), "WARNING: the fuse is above 9.9 A"),
        (
            5.0,
            1.0,
            Ampacity({1.5: 20.0}, "a sheet", "x"),
            "not approved: 1 mm² is below the table of a sheet",
        ),
        (5.0, 1.0, Ampacity({1.0: 10.0}, "  ", "x"), "not approved: no ampacity table with a source"),
    ],
)
def test_what_is_said_of_a_continuous_load(
    load_a: float, size_mm2: float, table: Ampacity | None, said: str
) -> None:
    """A blade fuse carries 80 % of its rating for long; common practice."""
    assert continuous(chain(load_a=load_a, size_mm2=size_mm2), table).startswith(said)


def test_a_wire_in_a_bundle_is_said_to_be_in_one() -> None:
    loom = chain()
    bundled = replace(loom, wires=(loom.wires[0], replace(loom.wires[1], bundle="front"), *loom.wires[2:]))
    assert continuous(loom).endswith("was given.")
    assert continuous(bundled).endswith(" Bundled in front.")
