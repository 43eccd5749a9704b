"""Rows from the start where there are more meetings than are listed: what is sure to be among them."""

from __future__ import annotations

from itertools import combinations

from loomproof.planning.hookup_problem import MOST_MEETINGS, rows_of


def far_pairs(first: int, count: int) -> list[int]:
    """Nets on two units each, none of which shares a unit with another."""
    return [0b11 << (first + 2 * k) for k in range(count)]


def test_two_nets_on_one_unit_each_meet_however_many_others_must() -> None:
    """Of 4 950 meetings and more every second one is listed; those of units are rows all the same."""
    many = far_pairs(3, 100)
    assert len(list(combinations(many, 2))) > MOST_MEETINGS
    rows = set(rows_of([0b001, 0b010, 0b100, *many]))
    assert {(0b001, 0b010), (0b001, 0b100), (0b010, 0b100)} <= rows


def test_meetings_that_follow_from_pairs_of_units_do_not_crowd_out_others() -> None:
    """Ninety-nine nets on unit 0 and one more each meet there: of the rest, 300 and 3, each is a row."""
    star = [1 | 2 << k for k in range(99)]
    assert len(list(combinations(star, 2))) > MOST_MEETINGS
    others = far_pairs(100, 3)
    rows = {frozenset(row) for row in rows_of([*star, *others])}
    wanted = {frozenset((a, b)) for a in (*star, *others) for b in others if a != b}
    assert wanted <= rows
