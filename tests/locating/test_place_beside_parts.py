"""A part on a broken net hinders no place where a piece has none: that piece is read, and places alone."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.electrics.expectation import expect
from loomproof.locating.breaks import Piece, place_break
from loomproof.locating.fitness import free_of_parts, tree_or_why
from loomproof.locating.wander import PerMetre
from loomproof.loom.model import Component, ComponentKind, End, Loom
from tests.locating.placing_bench import placed
from tests.locating.test_placing import _loom

ECU, PUMP, RAIL = End("ECU", "5"), End("PUMP", "5"), End("RAIL", "1")


def _with_resistor(at: End) -> Loom:
    part = Component("R1", ComponentKind.RESISTOR, (("1", at), ("2", End("ECU", "4"))), resistance_ohm=1000.0)
    return replace(_loom(), components=(part,))


@pytest.mark.parametrize(("fault", "from_pump_m"), [("open F2 at PUMP:5 1.2 m", 1.2), ("open PUMP:5", 0.0)])
def test_the_piece_without_a_part_places_the_break(fault: str, from_pump_m: float) -> None:
    outcome, bench = placed(_with_resistor(End("S1")), fault)
    place = next(f.place for f in outcome.document.findings if f.place is not None)
    assert place.answer != "none", place.text
    assert "the capacitance of one piece" in place.basis
    assert "learned from 3 sound wires" in place.basis
    assert bench.farad_readings == 4
    if from_pump_m:
        assert any(each.wire == "F2" for each in place.stretches)
        near = [each for each in place.stretches if each.wire == "F2"]
        # The wire's two metres, counted from the end that the place is counted from.
        middle = [2.0 - from_pump_m if each.end != PUMP else from_pump_m for each in near]
        assert any(e.low_m < m < e.high_m for e, m in zip(near, middle, strict=True))
    else:
        assert place.ends == (PUMP,)


def test_where_each_piece_may_have_the_part_none_is_told() -> None:
    outcome, bench = placed(_with_resistor(ECU), "open ECU:5")
    place = next(f.place for f in outcome.document.findings if f.place is not None)
    assert "R1 hangs on these wires" in place.reason
    assert bench.farad_readings == 0


def test_which_pieces_are_free_is_seen_on_the_way_that_parted_them() -> None:
    loom = _with_resistor(End("S1"))
    net = next(net for net in expect(loom).nets if PUMP in net.cavities)
    tree, _ = tree_or_why(loom, net)
    assert tree is not None
    assert free_of_parts(loom, net, tree, frozenset((PUMP,)))
    assert not free_of_parts(loom, net, tree, frozenset((ECU, RAIL)))


def test_a_piece_that_was_not_read_still_says_that_it_hangs_apart() -> None:
    """2 m of F2 at 60 pF/m are 120 pF, as much as 0.5 m of F0 beyond F1 and F2 might have."""
    loom = _loom()
    net = next(net for net in expect(loom).nets if PUMP in net.cavities)
    tree, _ = tree_or_why(loom, net)
    assert tree is not None
    read = [Piece(frozenset((PUMP,)), 3.3 * 60e-12, 1e-12)]
    alone = place_break(tree, read, PerMetre())
    apart = place_break(tree, read, PerMetre(), (frozenset((ECU, RAIL)),))
    assert {failed.run for failed in alone.failed} - {"F2"}
    assert not {failed.run for failed in apart.failed} - {"F2", ""}
    assert all(failed.end in (PUMP, End("S1"), None) for failed in apart.failed)
