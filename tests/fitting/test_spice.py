"""Voltage drops and sneak paths against ngspice; the whole run is in tests/figures/spice_fitting.py."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.fitting.feeds import feeds_of, sources_of
from loomproof.fitting.live_ends import Tracer
from loomproof.fitting.load_flow import solved
from loomproof.fitting.needs import plan_of
from loomproof.fitting.proof_status import standing_of
from loomproof.fitting.voltage_drop import drops_of
from loomproof.loom.choices import answers_of, needs_of
from loomproof.loom.model import end_of
from tests.fitting import spice
from tests.fitting.looms import demo, random_fitting_loom

pytestmark = pytest.mark.skipif(not spice.FOUND, reason="ngspice is not installed")

RUNNING_C = 80.0
SOURCES = ("BULK:1", "BULK:2", "BULK:3")
LOADS = {
    "pump": ("BULK:4", 6.5), "fan": ("BULK:5", 17.0), "start": ("STARTER:1", 9.0),
    "boost-valve": ("BOOST:1", 0.5),
    "injector-1": ("INJ1:1", 1.1), "injector-2": ("INJ2:1", 1.1), "injector-3": ("INJ3:1", 1.1),
    "coil-1": ("COIL1:1", 3.0), "coil-2": ("COIL2:1", 3.0), "coil-3": ("COIL3:1", 3.0),
}  # fmt: skip
"""Typed from the demo loom's circuits, not taken from the code under test."""


FEEDS = ("feed", "ignition", "main-feed", "computer-feed", "injection-feed")


@pytest.mark.parametrize("fan", ["computer", "switch"])
def test_drops_of_the_demo_loom(fan: str) -> None:
    """Where no feed states its load, every load counts in full: a network that a solver can solve."""
    loom = demo(circuits={name: replace(demo().circuit_by_name[name], load_a=None) for name in FEEDS})
    needs = needs_of(loom, answers_of(loom, [f"fan={fan}"]))
    wanted = {name: load for name, load in LOADS.items() if name != "fan" or fan == "computer"}
    left_out = frozenset() if fan == "computer" else frozenset({"F4", "K3"})
    loads = [(end_of(end), amps) for end, amps in wanted.values()]
    judge = spice.lost_volts(loom, [end_of(end) for end in SOURCES], loads, RUNNING_C, left_out)
    rows = {
        row.circuit: row
        for row in drops_of(loom, needs, standing_of(loom, None), RUNNING_C)
        if row.side == "feed"
    }
    assert set(rows) == set(wanted)
    for name, (end, amps) in wanted.items():
        assert rows[name].current_a == amps
        assert rows[name].drop_v == pytest.approx(judge[end_of(end)], rel=2e-3)


WIRES = {
    ("injector-1", "return"): (("INJ1:2",), "ECU-A:21", 1.1),
    ("injector-2", "return"): (("INJ2:2",), "ECU-A:22", 1.1),
    ("injector-3", "return"): (("INJ3:2",), "ECU-A:23", 1.1),
    ("coil-1", "return"): (("COIL1:2",), "ECU-A:25", 3.0),
    ("coil-2", "return"): (("COIL2:2",), "ECU-A:26", 3.0),
    ("coil-3", "return"): (("COIL3:2",), "ECU-A:27", 3.0),
    ("boost-valve", "return"): (("BOOST:2",), "ECU-A:19", 0.5),
    ("throttle-motor", "wire"): (("THR:5",), "ECU-A:17", 4.0),
    ("warning-lamp", "wire"): (("BULK:7",), "ECU-A:10", 0.1),
    ("engine-earth", "return"): (("ECU-A:15", "ECU-A:16", "ECU-A:31"), "E-ENG:1", 12.31),
    ("body-earth", "return"): (("ECU-A:32", "ECU-B:24"), "E-BODY:1", 1.0),
}
"""Typed from the demo loom's wires and loads: which way each return, wire and earth row takes."""


def test_return_wire_and_earth_rows_of_the_demo_loom() -> None:
    loom = demo()
    rows = {
        (row.circuit, row.side): row
        for row in drops_of(loom, needs_of(loom), standing_of(loom, None), RUNNING_C)
        if row.side != "feed"
    }
    assert set(rows) == set(WIRES)
    for key, (ends, to, amps) in WIRES.items():
        judge = spice.wire_volts(loom, [end_of(end) for end in ends], end_of(to), amps, RUNNING_C)
        assert rows[key].current_a == pytest.approx(amps)
        assert rows[key].drop_v == pytest.approx(judge, rel=2e-3)


def test_drops_and_live_ends_of_random_looms() -> None:
    drops = ends = 0
    for seed in range(8):
        found, wrong, asked, unlike = compared(7000 + seed)
        assert (wrong, unlike) == (0, 0)
        drops, ends = drops + found, ends + asked
    assert drops > 0 < ends, "random looms without a load would compare nothing"


def compared(loom_seed: int) -> tuple[int, int, int, int]:
    """Return how many drops were compared and differ, and how many ends, by feed, were and differ."""
    loom = random_fitting_loom(random.Random(loom_seed))
    needs = needs_of(loom)
    plan = plan_of(loom, needs)
    network, loads = solved(loom, plan, RUNNING_C)
    asked = [(load.at, load.current_a) for load in loads if load.at is not None]
    wrong = 0
    if asked:
        judge = spice.lost_volts(loom, sources_of(loom, needs), asked, RUNNING_C, plan.spare_parts)
        wrong = sum(abs(network.lost_v[end] - judge[end]) > 0.02 * judge[end] + 1e-4 for end, _ in asked)
    feeds = feeds_of(loom, needs)
    told = Tracer(loom).live(feeds)
    unlike = 0
    for feed in feeds:
        mine = {end for end, ways in told.items() if any(way.feed == feed for way in ways)}
        unlike += len(mine ^ spice.live_ends(loom, feed.entries))
    return len(asked), wrong, len(feeds) * len(spice.nodes_of(loom)), unlike


def test_live_ends_of_the_demo_loom_with_every_relay_in_both_positions() -> None:
    loom = demo()
    feeds = feeds_of(loom, needs_of(loom))
    told = Tracer(loom).live(feeds)
    assert {feed.circuit for feed in feeds} == {"feed", "ignition", "start"}
    for feed in feeds:
        mine = {end for end, ways in told.items() if any(way.feed == feed for way in ways)}
        assert mine == spice.live_ends(loom, feed.entries)
