"""What the search behind hook-ups counts as effort, and what it leaves of sets."""

from __future__ import annotations

import random

import pytest

from loomproof.planning.hookup_grow import Grower
from loomproof.planning.hookup_problem import Problem


@pytest.mark.parametrize("rows", [2, 500, 3000])
def test_a_unit_looked_at_costs_one_and_one_more_for_each_thousand_rows(rows: int) -> None:
    """Beside a unit that stays and covers one row, the only other one is looked at once."""
    problem = Problem((1, 1), 2, ((1, 1), *((2, 2),) * (rows - 1)), stay=1)
    grower = Grower(problem, random.Random(0))
    assert grower.grown(grower.every_row) == [3]
    assert grower.spent == pytest.approx(1.0 + rows / 1000)
