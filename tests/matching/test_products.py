"""What two looms share, counted for all pairs at once, against counting by hand."""

from __future__ import annotations

import numpy as np
import pytest

from loomproof.matching.products import Products


@pytest.mark.parametrize("most", [1, 2, 5])
def test_cavities_that_two_looms_share_are_the_lesser_count_of_each_pair_of_nets(most: int) -> None:
    """By hand: a net that holds 3 cavities of one plug and 2 of the other has 2 that can agree."""
    rng = np.random.default_rng(most)
    mine = rng.integers(0, most + 1, (7, 9)) * rng.integers(0, 2, (7, 9))
    theirs = rng.integers(0, most + 1, (5, 11)) * rng.integers(0, 2, (5, 11))
    mine[0, 0] = theirs[0, 0] = most
    x = rng.uniform(0, 1, (9, 11))
    levels = [((mine >= k).astype(float), (theirs >= k).astype(float)) for k in range(1, most + 1)]
    found = Products(levels, (7, 5)).of(x)
    for row in range(7):
        for column in range(5):
            lesser = np.minimum(mine[row][:, None], theirs[column][None, :])
            assert found[row, column] == pytest.approx(float((lesser * x).sum()))


def test_looms_without_any_net_share_nothing() -> None:
    assert Products([], (3, 2)).of(np.zeros((0, 0))).tolist() == [[0.0, 0.0]] * 3
