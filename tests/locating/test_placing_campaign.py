"""The campaign of placing in small, and the lines of one centimetre behind it against the simulated loom."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.virtual.scanner import Scanner
from tests.campaign import placing, placing_runs
from tests.campaign.placing_looms import broken, touching
from tests.campaign.placing_oracle import lines_of

A, B = (tuple(End(plug, str(k)) for k in (1, 2)) for plug in "AB")
PAIR = Loom(
    "pair",
    connectors=tuple(Connector(plug, ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE) for plug in "AB"),
    wires=(Wire("W1", A[0], B[0], "BU", 0.5, 1.237), Wire("W2", A[1], B[1], "BU", 0.75, 1.118)),
)
POINTS = {end: 1 << k for k, end in enumerate(PAIR.cavities)}


def _scanner(*faults: str) -> Scanner:
    return Scanner(PAIR, placing_runs.make_of(4), seed=5, faults=faults)


def test_the_pieces_of_a_broken_wire_have_the_farads_of_lines_of_one_centimetre() -> None:
    scanner, bare = _scanner("open W1 at A:1 0.4137 m"), _scanner()
    bare.plug(False)
    lines = lines_of(PAIR, 5, broken=("W1", 0.4137))
    for end in (A[0], B[0]):
        others = [each for each in PAIR.cavities if each != end]
        mask = sum(POINTS[each] for each in others)
        read = [each.true_capacitance(POINTS[end], mask, 0.0) for each in (scanner, bare)]
        assert read[0] - read[1] == pytest.approx(lines.farad([end], others), rel=1e-6, abs=0.0)


def test_conductors_that_touch_have_the_ohms_of_lines_of_one_centimetre() -> None:
    scanner = _scanner("leak 0.31 W1 at A:1 0.4137 m W2 at A:2 0.4021 m")
    lines = lines_of(PAIR, 5, touch=((("tap", "W1"), ("tap", "W2")), 0.31), taps={"W1": 0.4137, "W2": 0.4021})
    for a, b in ((A[0], A[1]), (B[0], B[1]), (A[0], B[1]), (A[0], B[0])):
        true = scanner.true_resistance(POINTS[a], POINTS[b], 0.0, four_wire=True)
        assert true == pytest.approx(lines.ohm(a, b), rel=1e-6)


def test_a_sample_of_breaks_and_touches_is_told_as_drawn() -> None:
    """Of ten intervals of 95 % three that miss would be a chance of one in ninety."""
    breaks = placing.rows_of(placing.BATCHES[0], 6, 3)
    shorts = placing.rows_of(placing.BATCHES[2], 6, 3)
    rows = [*breaks, *shorts]
    assert sum(bool(row.told) and not row.right for row in rows) <= 1
    assert sum(row.half_m is not None and not row.held for row in rows) <= 2
    assert {row.farads for row in breaks} == {2}
    assert sum(bool(row.told) for row in rows) >= 8


def test_places_of_the_drawing_are_what_is_judged() -> None:
    """A break judged by a drawing that says another place is no hit: the campaign can fail."""
    case = next(
        case
        for case in (broken(random.Random(f"can fail {k}"), 2.0) for k in range(9))
        if 0.6 < case.truth.places_m[0][1] < 1.4
    )
    ((wire, at_m),) = case.truth.places_m
    row = placing_runs.break_row(0, case, 8)
    assert row.held
    moved = replace(
        case, truth=replace(case.truth, places_m=((wire, at_m + 0.5 if at_m < 1.0 else at_m - 0.5),))
    )
    assert not placing_runs.break_row(0, moved, 8).held


def test_drawn_touches_lie_in_one_place_of_their_bundle() -> None:
    """By hand: with tails left out, both wires have the place as far from the plug that they share."""
    for k in range(20):
        case = touching(random.Random(f"drawn {k}"), 0.5, 2.0)
        places = [at_m for _, at_m in case.truth.places_m]
        assert len(set(places)) <= 1
