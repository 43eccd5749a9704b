"""Lists made at random from a known truth: none may come out joined otherwise, or with another colour.

The whole campaign of two thousand is `python -m tests.campaign.lists`; its table is kept in the results.
"""

from __future__ import annotations

from collections import Counter

import pytest

from tests.campaign.lists import outcome_of
from tests.loom.list_maker import make


@pytest.mark.parametrize("first", range(0, 100, 20))
def test_no_list_is_read_wrong(first: int) -> None:
    outcomes = Counter(outcome_of(make(number)) for number in range(first, first + 20))
    assert {what for what, _ in outcomes} <= {"right", "right, after a question"}
    assert sum(colours for _, colours in outcomes) == 0


def test_the_campaign_sees_a_wrong_netlist() -> None:
    made = make(0)
    made.nets = {frozenset({*net, ("NOWHERE", "1")}) for net in made.nets}
    assert outcome_of(made)[0] == "WRONG NETS"
