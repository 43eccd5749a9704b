"""A sample of the campaign of intermittents in looms that are moved; all of it runs in make campaign."""

from __future__ import annotations

from tests.campaign.wiggled import case_of, run


def test_intermittents_of_a_moved_loom_are_all_told_of_the_right_net_and_the_suspect_is_among_two() -> None:
    results = run(6, seed=3)
    assert sum(each.openings for each in results) > 60
    assert [each for each in results if each.missed or each.strays] == []
    assert sum(1 <= each.rank <= 2 for each in results) >= 5


def test_a_case_is_drawn_from_its_number_alone() -> None:
    assert case_of(3, 1) == case_of(3, 1)
    assert case_of(3, 1) != case_of(3, 2)
