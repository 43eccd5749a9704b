"""Boards of a scanner dead, turned or exchanged: written out for sixteen to sixty-four points."""

from __future__ import annotations

from collections.abc import Collection

import pytest

from loomproof.diagnosis.boards import MOST_BOARDS, board_slips
from loomproof.diagnosis.causes import Cause
from loomproof.diagnosis.structure import Hypothesis
from loomproof.diagnosis.weights import weights

TABLE = weights()


def slips(
    count: int, amiss: Collection[int] = (), *, first: int = 1, skip: Collection[int] = ()
) -> list[Hypothesis]:
    """Return the slips of leaves 0 … on points ``first`` …, those of ``skip`` left out."""
    points = {leaf: leaf + first for leaf in range(count) if leaf + first not in skip}
    return board_slips(points, amiss, TABLE)


def named(found: list[Hypothesis], cause: Cause) -> dict[str, dict[int, int | None]]:
    return {slip.detail: dict(slip.moves) for slip in found if slip.cause is cause}


def test_boards_of_eight_sixteen_and_thirty_two_can_be_dead() -> None:
    dead = named(slips(40), Cause.ADAPTER_BOARD)
    assert set(dead) == {
        *(f"points {k} to {k + 7}" for k in (1, 9, 17, 25, 33)),
        *(f"points {k} to {k + 15}" for k in (1, 17)),
        "points 1 to 32",
    }
    assert dead["points 9 to 16"] == dict.fromkeys(range(8, 16))
    assert {slip.cost for slip in slips(40)} == {TABLE.lead}
    assert {slip.connectors for slip in slips(40)} == {()}


@pytest.mark.parametrize(("count", "boards"), [(8, 0), (9, 1), (10, 1), (11, 2), (16, 2), (17, 3)])
def test_a_board_is_one_of_two_or_more_and_carries_three_leaves(count: int, boards: int) -> None:
    """With eight points there is one board. Points 9 and 10 alone are no board to speak of."""
    eights = [d for d in named(slips(count), Cause.ADAPTER_BOARD) if d in ("points 1 to 8", "points 9 to 16")]
    sixteen = "points 1 to 16" in named(slips(count), Cause.ADAPTER_BOARD)
    assert len(eights) + sixteen == boards


def test_points_begin_at_one() -> None:
    assert set(named(slips(8, first=5), Cause.ADAPTER_BOARD)) == {"points 1 to 8", "points 9 to 16"}
    assert set(named(slips(8, first=9), Cause.ADAPTER_BOARD)) == set()


def test_a_board_is_turned_where_most_of_it_is_amiss() -> None:
    """Of eight leaves four are not most, five are."""
    for amiss, turned in ((range(8, 12), False), (range(8, 13), True)):
        found = named(slips(16, amiss), Cause.ADAPTER)
        assert ("points 9 to 16 turned end for end" in found) is turned
        assert "points 1 to 8 turned end for end" not in found
        assert set(found) <= {"points 9 to 16 turned end for end"}
    assert found["points 9 to 16 turned end for end"] == {8 + k: 15 - k for k in range(8)}
    (slip,) = [one for one in slips(16, range(8, 16)) if one.cause is Cause.ADAPTER]
    assert slip.cost == TABLE.whole_connector


def test_two_boards_are_exchanged_where_both_are_amiss() -> None:
    found = named(slips(24, range(16)), Cause.ADAPTER)
    there = found["points 1 to 8 and points 9 to 16 exchanged"]
    assert there == {**{k: k + 8 for k in range(8)}, **{k + 8: k for k in range(8)}}
    assert not any("17" in name and "exchanged" in name for name in found)
    whole = slips(24, range(24))
    exchanged = [slip for slip in whole if slip.detail.endswith("exchanged")]
    assert {slip.cost for slip in exchanged} == {TABLE.exchange_alike}
    eights = [slip for slip in exchanged if len(slip.moves) == 16]
    assert len([slip for slip in eights if "to 8" in slip.detail or "to 16" in slip.detail]) == 3


def test_what_has_no_partner_is_found_nowhere() -> None:
    """Point 16 carries nothing: turned, what belongs on point 9 is on it, found nowhere."""
    found = named(slips(15, range(8, 15)), Cause.ADAPTER)
    assert found["points 9 to 16 turned end for end"][8] is None
    both = named(slips(15, range(15)), Cause.ADAPTER)["points 1 to 8 and points 9 to 16 exchanged"]
    assert both[7] is None
    assert both[14] == 6


def test_a_slip_of_two_leaves_is_no_slip_of_a_board() -> None:
    """Boards of which three and more leaves move; two leaves on a board that turn are an exchange."""
    points = {0: 1, 1: 8, 2: 9, 3: 12, 4: 16}
    found = board_slips(points, range(5), TABLE)
    assert "points 1 to 8 turned end for end" not in {slip.detail for slip in found}
    assert "points 9 to 16 turned end for end" in {slip.detail for slip in found}


def test_points_that_carried_several_cavities_count_for_dead_boards_only() -> None:
    points = {**{k: k + 1 for k in range(16)}, 16: 1}
    found = board_slips(points, range(17), TABLE)
    assert set(named(found, Cause.ADAPTER_BOARD)["points 1 to 8"]) == {*range(8), 16}
    turned = named(found, Cause.ADAPTER)["points 1 to 8 turned end for end"]
    assert 0 not in turned
    assert 16 not in turned
    assert turned[7] is None


def test_of_many_boards_amiss_no_two_are_exchanged() -> None:
    for boards, tried in ((MOST_BOARDS, True), (MOST_BOARDS + 1, False)):
        found = slips(8 * boards, range(8 * boards))
        eights = [s for s in found if s.detail == "points 1 to 8 and points 9 to 16 exchanged"]
        assert bool(eights) is tried
        assert "points 1 to 8 turned end for end" in {slip.detail for slip in found}


def test_what_moves_alike_is_told_once() -> None:
    found = slips(40, range(40))
    assert len({slip.moves for slip in found}) == len(found)
    assert slips(64, range(64))[0].moves
    assert "points 1 to 32" in named(slips(64), Cause.ADAPTER_BOARD)
    assert "points 1 to 64" not in named(slips(64), Cause.ADAPTER_BOARD)
    assert "points 1 to 64" in named(slips(70), Cause.ADAPTER_BOARD)
