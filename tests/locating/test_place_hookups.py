"""Places in a loom that is proved plug by plug: what one hook-up had whole is placed, and nothing else."""

from __future__ import annotations

from dataclasses import replace

from loomproof.judgement.conclude import conclude
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.measuring.measure import measure
from loomproof.planning.request import Request
from loomproof.results.document import Document
from tests.cleared import cleared
from tests.locating.placing_bench import farad_bench, zeroed
from tests.locating.test_placing import _loom


def _plug_by_plug(loom: Loom, fault: str, *hook_ups: set[str]) -> Document:
    """Prove a loom with these connectors on the bench, one set after the other."""
    whole = zeroed(loom)
    request = Request(loom, whole, "plugs", "2026-01-01T00:00:00Z")
    parts = []
    for plugs in hook_ups:
        bench = farad_bench(loom, fault)
        adapter = replace(whole, entries=tuple(e for e in whole.entries if e.end.connector in plugs))
        mine = replace(request, adapter=adapter)
        parts.append(finish(measure(mine, bench, cleared(loom, bench, adapter, meter_v=0.0))))
    return conclude(request, parts).document


def test_a_break_is_placed_where_one_hook_up_had_both_ends() -> None:
    document = _plug_by_plug(
        _loom(), "open W2 at ECU:2 0.6 m", {"ECU", "PUMP"}, {"PUMP", "RAIL"}, {"ECU", "RAIL"}
    )
    (place,) = [finding.place for finding in document.findings if finding.wires == ("W2",)]
    assert place is not None
    (stretch,) = place.stretches
    assert stretch.wire == "W2"
    assert stretch.low_m < 0.6 < stretch.high_m
    assert place.readings == 2


def test_a_net_that_no_hook_up_had_whole_has_no_place() -> None:
    """The feed ends in ECU, PUMP and RAIL: each hook-up saw two of its three ends."""
    document = _plug_by_plug(
        _loom(), "open F1 at ECU:5 0.3 m", {"ECU", "PUMP"}, {"PUMP", "RAIL"}, {"ECU", "RAIL"}
    )
    (finding,) = document.findings
    assert finding.place is None


def test_a_touch_is_placed_where_one_hook_up_had_both_wires() -> None:
    fault = "leak 0.05 W2 at ECU:2 0.6 m W3 at ECU:3 0.6 m"
    document = _plug_by_plug(_loom(), fault, {"ECU", "PUMP"}, {"PUMP", "RAIL"}, {"ECU", "RAIL"})
    places = [finding.place for finding in document.findings if finding.place is not None]
    assert places
    assert {each.wire for place in places for each in place.stretches} == {"W2", "W3"}
