"""Running a plan: a sound loom passes, and every fault shows in what is measured, on every kind of bench."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities, WatchEvent
from loomproof.electrics.expectation import expect
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Loom, Wire, end_of
from loomproof.measuring.events import finish
from loomproof.measuring.run import run_plan
from loomproof.planning.meter import Meter
from loomproof.planning.plan import plan_proof
from loomproof.results.measured import Decision, Measured
from tests.cleared import cleared
from tests.measuring.network_bench import FULL, MOST_OHM, Network, NetworkBench, without_ohms

Change = Callable[[Network], None]


def e(text: str) -> End:
    return end_of(text)


def the_loom() -> Loom:
    """Two plugs and a ring: plain wires, a splice of four, two resistors side by side, a diode, spares."""

    def wire(name: str, a: str, b: str) -> Wire:
        return Wire(name, e(a), e(b), csa_mm2=0.5, length_m=1.0)

    def part(name: str, kind: ComponentKind, a: str, b: str, ohm: float | None = None) -> Component:
        names = ("A", "K") if kind is ComponentKind.DIODE else ("1", "2")
        ends = ((names[0], e(a)), (names[1], e(b)))
        forward_v = 0.6 if kind is ComponentKind.DIODE else None
        return Component(
            name, kind, ends, resistance_ohm=ohm, tolerance_pct=5 if ohm else None, forward_v=forward_v
        )

    return Loom(
        "bench",
        connectors=(
            Connector("C1", ConnectorKind.PLUG, (("1", "2", "3", "4"), ("5", "6", "7", "8"))),
            Connector("C2", ConnectorKind.PLUG, (("1", "2", "3", "4"), ("5", "6", "7", "8"))),
            Connector("E", ConnectorKind.RING, (("1",),)),
            Connector("S", ConnectorKind.SPLICE),
        ),
        wires=(
            wire("W1", "C1:1", "C2:1"),
            wire("W2", "C1:2", "C2:2"),
            wire("W3", "C1:3", "S"),
            wire("W4", "S", "C2:3"),
            wire("W5", "S", "C2:4"),
            wire("W6", "S", "E:1"),
            wire("W7", "C1:5", "C2:5"),
            wire("W8", "C1:6", "C2:6"),
            wire("W9", "C1:7", "C2:7"),
        ),
        components=(
            part("R1", ComponentKind.RESISTOR, "C1:1", "C1:2", 220.0),
            part("R2", ComponentKind.RESISTOR, "C2:1", "C2:2", 330.0),
            part("D1", ComponentKind.DIODE, "C1:5", "C1:6"),
        ),
    )


def the_network(loom: Loom) -> Network:
    return Network(
        {
            **{wire.name: (wire.a, wire.b, 0.05) for wire in loom.wires},
            **{p.name: (p.ends[0], p.ends[1], p.resistance_ohm) for p in loom.components if p.resistance_ohm},
        },
        {p.name: (p.ends[0], p.ends[1]) for p in loom.components if p.kind is ComponentKind.DIODE},
    )


def measured(
    change: Change | None = None,
    *,
    able: Capabilities = FULL,
    repeats: int = 1,
    lead_ohm: float = 0.0,
    watch_s: float = 0.0,
    events: tuple[WatchEvent, ...] = (),
    kind: type[NetworkBench] = NetworkBench,
) -> tuple[Measured, NetworkBench]:
    loom = the_loom()
    network = the_network(loom)
    if change is not None:
        change(network)
    point_of = dict(in_order(loom.cavities).point_of)
    bench = kind(network, point_of, able, lead_ohm, events)
    expectation = expect(loom)
    meter = None
    if able.ohms is not None and able.accuracy is not None:
        leads = dict.fromkeys(point_of.values(), lead_ohm)
        meter = Meter(able.accuracy, able.four_wire_accuracy, able.ohms, leads, 0.001, repeats=repeats)
    plan = plan_proof(expectation, point_of, able, meter, isolation_ohm=1e6)
    return finish(run_plan(plan, expectation, bench, cleared(loom, bench), watch_s=watch_s)), bench


def shows(found: Measured) -> bool:
    """Whether a reader of these values must see that something is wrong."""
    bad = any(reading.decision is not Decision.PASS for reading in found.judged)
    return bad or any(d.decision is not Decision.PASS for d in found.diodes) or not found.sound


def drop(name: str) -> Change:
    def change(network: Network) -> None:
        del network.ohms[name]

    return change


def join(a: str, b: str, ohm: float) -> Change:
    return lambda network: network.ohms.update({"fault": (e(a), e(b), ohm)})


def value(name: str, ohm: float) -> Change:
    def change(network: Network) -> None:
        a, b, _ = network.ohms[name]
        network.ohms[name] = (a, b, ohm)

    return change


def swap(a: str, b: str) -> Change:
    def change(network: Network) -> None:
        turned = {e(a): e(b), e(b): e(a)}
        for name in ("W1", "W2", "W3", "W4", "W5", "W6", "W7", "W8", "W9"):
            x, y, ohm = network.ohms[name]
            network.ohms[name] = (turned.get(x, x), turned.get(y, y), ohm)

    return change


def turn_diode(network: Network) -> None:
    a, k = network.diodes["D1"]
    network.diodes["D1"] = (k, a)


def lose_diode(network: Network) -> None:
    network.diodes.clear()


def add_diode(a: str, k: str) -> Change:
    return lambda network: network.diodes.update({"fault": (e(a), e(k))})


FAULTS: dict[str, Change] = {
    "open of a plain wire": drop("W9"),
    "open at a splice": drop("W4"),
    "open of the ring": drop("W6"),
    "open beside a diode": drop("W7"),
    "open bypassed by components": drop("W1"),
    "short of two nets": join("C1:7", "C1:3", 0.02),
    "short to a spare cavity": join("C1:8", "C1:7", 0.02),
    "short across a resistor": join("C1:1", "C1:2", 0.02),
    "short across the diode": join("C1:5", "C1:6", 0.02),
    "swap of two cavities": swap("C2:7", "C2:3"),
    "swap beside the resistors": swap("C1:1", "C1:2"),
    "swap with a spare": swap("C2:7", "C2:8"),
    "joint of 4.7 ohm": value("W9", 4.7),
    "joint of 4.7 ohm at a splice": value("W5", 4.7),
    "joint of 3 kilohm before the ring": value("W6", 3e3),
    "joint of 40 kilohm": value("W9", 40e3),
    "leak of 22 kilohm": join("C1:7", "C2:3", 22e3),
    "leak of 220 kilohm": join("C1:7", "C1:8", 220e3),
    "unexpected resistor of 330 ohm": join("C1:7", "C1:3", 330.0),
    "unexpected diode": add_diode("C1:7", "C1:3"),
    "resistor missing": drop("R1"),
    "resistor of the wrong value": value("R2", 1000.0),
    "diode missing": lose_diode,
    "diode turned": turn_diode,
}


def test_a_sound_loom_passes() -> None:
    found, _ = measured()
    assert not shows(found)
    assert found.complete
    assert found.untested == ()
    assert {reading.component for reading in found.judged if reading.component} == {"R1", "R2"}
    assert [diode.component for diode in found.diodes] == ["D1"]
    assert found.isolation_ohm is not None


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_shows(name: str) -> None:
    found, _ = measured(FAULTS[name])
    assert shows(found), name


@pytest.mark.parametrize("repeats", [1, 3])
def test_a_fault_free_net_is_not_blamed(repeats: int) -> None:
    found, _ = measured(FAULTS["open at a splice"], repeats=repeats)
    wrong = set(found.groups) ^ set(found.expected)
    assert {str(end) for group in wrong for end in group} == {"C1:3", "C2:3", "C2:4", "E:1"}
    assert all(r.decision is Decision.PASS for r in found.judged if "C2:3" not in (str(r.a), str(r.b)))


@pytest.mark.parametrize(
    ("name", "groups"),
    [
        ("open of a plain wire", [{"C1:7"}, {"C2:7"}]),
        ("open bypassed by components", [{"C1:1"}, {"C2:1"}]),
        ("short of two nets", [{"C1:7", "C2:7", "C1:3", "C2:3", "C2:4", "E:1"}]),
        ("swap with a spare", [{"C1:7", "C2:8"}, {"C2:7"}]),
        ("joint of 40 kilohm", [{"C1:7", "C2:7"}]),
        ("joint of 3 kilohm before the ring", [{"C1:3", "C2:3", "C2:4", "E:1"}]),
    ],
)
def test_the_nets_as_found_are_the_nets_there(name: str, groups: list[set[str]]) -> None:
    found, _ = measured(FAULTS[name])
    as_text = [{str(end) for end in group} for group in found.groups]
    for group in groups:
        assert group in as_text


def test_paths_are_measured_with_their_ohms() -> None:
    for name, ohm in (("leak of 22 kilohm", 22e3), ("leak of 220 kilohm", 220e3)):
        found, _ = measured(FAULTS[name])
        assert [path.ohm for path in found.leaks] == pytest.approx([ohm], rel=0.01)
    found, _ = measured(FAULTS["unexpected resistor of 330 ohm"])
    assert [path.ohm for path in found.leaks] == pytest.approx([330.0], rel=0.01)
    found, _ = measured(FAULTS["unexpected diode"])
    assert [(str(path.source), str(path.sink)) for path in found.one_way] == [("C1:7", "C1:3")]
    assert not found.leaks


def test_a_turned_diode_is_told_as_turned() -> None:
    found, _ = measured(turn_diode)
    assert [diode.reversed for diode in found.diodes] == [True]


NOT_BY_SENSE = {
    "open bypassed by components",
    "short across a resistor",
    "short across the diode",
    "swap beside the resistors",
    "joint of 4.7 ohm",
    "joint of 4.7 ohm at a splice",
    "joint of 3 kilohm before the ring",
    "leak of 22 kilohm",  # between nets of two and four: seen under SENSE/2 = 12.5 kΩ
    "leak of 220 kilohm",
    "resistor missing",
    "resistor of the wrong value",
    "diode missing",
    "diode turned",
}
"""What a bench without ohms can't see: a threshold is no measurement. It claims nothing of it."""


@pytest.mark.parametrize("name", FAULTS)
def test_a_bench_without_ohms_sees_what_a_threshold_can(name: str) -> None:
    found, _ = measured(FAULTS[name], able=without_ohms())
    assert not found.judged
    assert found.isolation_ohm is None
    if name not in NOT_BY_SENSE:
        assert shows(found)


def test_a_bench_without_ohms_passes_a_sound_loom_and_leaves_components_out() -> None:
    found, _ = measured(able=without_ohms())
    assert not shows(found)
    loom = the_loom()
    plan = plan_proof(expect(loom), in_order(loom.cavities).point_of, without_ohms(), None)
    assert set(plan.unmeasured_parts) == {"R1", "R2", "D1"}


@pytest.mark.parametrize("name", FAULTS)
def test_a_bench_that_only_measures_sees_every_fault(name: str) -> None:
    able = replace(FULL, sense_ohm=None, clear_ohm=None)
    found, _ = measured(FAULTS[name], able=able)
    assert found.complete, "readings in ohms prove the nets where isolation is measured"
    assert shows(found)


def test_four_wire_is_taken_where_the_limit_needs_it() -> None:
    able = replace(
        FULL, accuracy=Accuracy(0.1, 0.01), four_wire=True, four_wire_accuracy=Accuracy(0.001, 0.001)
    )
    found, bench = measured(able=able, lead_ohm=0.4)
    assert not shows(found)
    assert 4 in bench.wires_asked
    assert {r.decision for r in found.judged if not r.component} == {Decision.PASS}, (
        "with four wires the wire's own limit can be decided"
    )
    assert {r.meter_wires for r in found.judged if not r.component} == {4}
    worn, _ = measured(value("W9", 0.25), able=able, lead_ohm=0.4)
    assert shows(worn)
    two_wire, _ = measured(value("W9", 0.25), able=replace(able, four_wire=False, four_wire_accuracy=None))
    assert not any(r.decision is Decision.FAIL for r in two_wire.judged if str(r.a) == "C1:7"), (
        "two wires can't decide it and do not claim to"
    )


def test_leads_are_taken_out_of_two_wire_readings() -> None:
    plain, _ = measured()
    with_leads, _ = measured(lead_ohm=0.7)
    for a, b in zip(plain.judged, with_leads.judged, strict=True):
        assert a.measured_ohm == pytest.approx(b.measured_ohm, abs=1e-6)


def test_repeats_are_fixed_beforehand_and_averaged() -> None:
    once, _ = measured()
    thrice, bench = measured(repeats=3)
    assert len(thrice.judged) == len(once.judged)
    assert bench.wires_asked.count(2) > 2.5 * len(once.judged)


def test_twenty_points_behind_three_kilohms_read_open_though_one_reads_good() -> None:
    """The assumption behind sense is a gap in resistance: m points behind R read low only under CLEAR/m."""
    lines = [f"C:{k}" for k in range(1, 21)]
    for points, reads_low in ((1, True), (5, True), (20, False)):
        network = Network({f"W{k}": (e("S"), e(line), 0.05) for k, line in enumerate(lines[:points])})
        network.ohms["joint"] = (e("E:1"), e("S"), 3000.0)
        point_of = {e("E:1"): 1, **{e(line): k for k, line in enumerate(lines[:points], 2)}}
        [low] = NetworkBench(network, point_of).sense([1])
        assert (low == (1 << (points + 1)) - 1) is reads_low
    # The other way round, the ring alone hangs behind the joint: connection is not even symmetric.
    network = Network({f"W{k}": (e("S"), e(line), 0.05) for k, line in enumerate(lines)})
    network.ohms["joint"] = (e("E:1"), e("S"), 3000.0)
    point_of = {e("E:1"): 1, **{e(line): k for k, line in enumerate(lines, 2)}}
    [low] = NetworkBench(network, point_of).sense([2])
    assert low == (1 << 21) - 1


def test_the_bench_of_these_tests_reads_what_ohms_law_says() -> None:
    network = Network({"a": (e("A:1"), e("B:1"), 100.0), "b": (e("B:1"), e("C:1"), 50.0)})
    bench = NetworkBench(network, {e("A:1"): 1, e("B:1"): 2, e("C:1"): 3, e("D:1"): 4})
    assert bench.resistance(1, 4) == pytest.approx(150.0, rel=1e-6)
    assert bench.resistance(1, 8) == math.inf
    assert bench.resistance(5, 2) == pytest.approx(100 * 50 / 150, rel=1e-4)
    network.ohms["high"] = (e("C:1"), e("D:1"), 1e6)
    assert bench.resistance(4, 8) == pytest.approx(1e6, rel=1e-3)
    network.ohms["high"] = (e("C:1"), e("D:1"), 2 * MOST_OHM)
    assert bench.resistance(4, 8) == math.inf
