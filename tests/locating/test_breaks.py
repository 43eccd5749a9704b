"""Places of breaks against hand calculation and against the relation that cable fitters use."""

from __future__ import annotations

import math

import numpy as np
import pytest

from loomproof.locating.breaks import BreakPlace, Piece, place_break
from loomproof.locating.tree import Run, Tree
from loomproof.locating.wander import PerMetre, Sound, covariance_m2, learned, variance_m2
from loomproof.loom.model import End

A, B, C, S = End("A", "1"), End("B", "1"), End("C", "1"), End("S", "")
EXACT = PerMetre(wander_ratio=1e-4)


def _wire(length_m: float) -> Tree:
    return Tree((Run("W", A, B, length_m),), (A, B))


def _read(tree: Tree, per_metre: PerMetre, u_f: float = 1e-13, **farads: float) -> BreakPlace:
    by_name = {"a": A, "b": B, "c": C}
    pieces = [Piece(frozenset(by_name[k] for k in names), farad, u_f) for names, farad in farads.items()]
    return place_break(tree, pieces, per_metre)


def test_a_break_lies_where_the_shares_of_capacitance_say() -> None:
    """240 and 110 of any unit on a length of 290: 290 · 110 / 350 = 91.14 from B, by hand."""
    place = _read(_wire(2.90), EXACT, a=240e-12, b=110e-12)
    (stretch,) = place.failed[0].stretches
    assert place.told
    assert 2.90 - stretch.middle_m == pytest.approx(0.9114, abs=0.006)
    assert stretch.half_m < 0.02


def test_picofarads_per_metre_cancel() -> None:
    near = [
        _read(_wire(2.0), EXACT, a=0.6 * c, b=1.4 * c).failed[0].stretches[0].middle_m
        for c in (60e-12, 140e-12)
    ]
    assert near == pytest.approx([0.6, 0.6], abs=0.006)


def test_no_wire_on_a_point_means_its_contact() -> None:
    place = _read(_wire(2.0), PerMetre(), u_f=1e-12, a=0.3e-12, b=190e-12)
    assert place.told
    assert place.failed[0].end == A


def test_a_break_close_to_a_contact_is_not_told_from_it() -> None:
    place = _read(_wire(0.5), PerMetre(), u_f=3e-12, a=3e-12, b=47e-12)
    assert not place.told
    assert {failed.end for failed in place.failed} == {A, None}
    wire = next(failed for failed in place.failed if failed.end is None)
    assert max(stretch.high_m for stretch in wire.stretches) < 0.15


def test_one_end_alone_needs_picofarads_per_metre_and_is_less_sure() -> None:
    tree = _wire(2.0)
    assumed = place_break(tree, [Piece(frozenset((A,)), 60e-12, 1e-12)], PerMetre())
    known = learned([Sound(2.0, 200e-12, 1e-12)] * 5)
    sure = place_break(tree, [Piece(frozenset((A,)), 60e-12, 1e-12)], known)
    widths = [max(s.half_m for s in p.failed[0].stretches) for p in (assumed, sure)]
    assert known.learned_from == 5
    assert widths[1] < widths[0] / 2
    assert sure.failed[0].stretches[0].low_m < 0.6 < sure.failed[0].stretches[0].high_m


def test_in_a_net_with_a_splice_the_edge_is_told() -> None:
    tree = Tree((Run("WA", A, S, 1.0), Run("WB", B, S, 2.0), Run("WC", C, S, 0.5)), (A, B, C))
    place = _read(tree, EXACT, b=120e-12, ac=230e-12)
    assert place.told
    (stretch,) = place.failed[0].stretches
    assert stretch.wire == "WB"
    assert stretch.middle_m == pytest.approx(1.2, abs=0.01)


def test_what_no_single_break_explains_is_not_told() -> None:
    tree = Tree((Run("WA", A, S, 1.0), Run("WB", B, S, 2.0), Run("WC", C, S, 0.5)), (A, B, C))
    assert not _read(tree, EXACT, a=50e-12, b=120e-12, c=30e-12).failed
    far = _read(_wire(1.0), EXACT, a=300e-12, b=400e-12)
    assert not far.failed
    assert "as long as" in far.reason


@pytest.mark.parametrize(("length_m", "half_cm"), [(0.5, 4.7), (1.0, 6.1), (2.0, 10.1), (4.0, 15.6)])
def test_the_interval_is_as_wide_as_a_simulation_of_its_own_says(length_m: float, half_cm: float) -> None:
    """95 % of errors, own Monte Carlo of 3 000 breaks: s 15 %, λ 0.25 m, c 90 pF/m, zero 2 pF, meter 1 pF.

    Breaks over the whole length; here the widths at nine places stand for them.
    """
    halves = []
    for share in np.linspace(0.1, 0.9, 9):
        place = _read(
            _wire(length_m),
            PerMetre(90e-12, 0.4),
            u_f=math.hypot(2e-12, 1e-12),
            a=90e-12 * length_m * share,
            b=90e-12 * length_m * (1.0 - share),
        )
        wire = next(failed for failed in place.failed if failed.end is None)
        halves.append(100.0 * max(stretch.half_m for stretch in wire.stretches))
    assert np.sqrt(np.mean(np.square(halves))) == pytest.approx(half_cm, rel=0.2)


@pytest.mark.parametrize("length_m", [1e-5, 0.1, 1.0, 7.0])
def test_the_variance_of_a_piece_is_the_double_integral(length_m: float) -> None:
    """Against the sum over a fine grid of exp(-|u - v| / λ)."""
    u = (np.arange(400) + 0.5) / 400 * length_m
    grid = np.exp(-np.abs(u[:, None] - u[None, :]) / 0.25).mean() * length_m**2
    assert variance_m2(length_m, 0.25) == pytest.approx(grid, rel=1e-3)
    v = length_m + u
    across = np.exp(-np.abs(u[:, None] - v[None, :]) / 0.25).mean() * length_m**2
    assert covariance_m2(length_m, length_m, 0.25) == pytest.approx(across, rel=1e-3)
    whole = variance_m2(2 * length_m, 0.25)
    assert whole == pytest.approx(2 * variance_m2(length_m, 0.25) + 2 * across, rel=1e-3)
