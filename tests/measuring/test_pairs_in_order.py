"""The pairs of conductors that are read with nothing driven, against all pairs written out."""

from __future__ import annotations

import itertools

from hypothesis import given
from hypothesis import strategies as st

from loomproof.loom.text import first_of
from loomproof.measuring.undriven import _most_unlike
from loomproof.planning.conductors import Conductors

SOME = st.lists(st.integers(0, 6), max_size=5, unique=True)


@given(st.lists(st.integers(1, 9), min_size=7, max_size=7), SOME, SOME)
def test_every_pair_with_a_suspect_comes_once_those_of_feed_and_earth_first(
    sizes: list[int], earths: list[int], feeds: list[int]
) -> None:
    conductors = Conductors(tuple((1 << size) - 1 for size in sizes), tuple(earths), tuple(feeds))
    suspects = set(earths) | set(feeds) or set(range(7))
    every = [pair for pair in itertools.combinations(range(7), 2) if suspects & set(pair)]
    found = list(conductors.pairs())
    assert sorted(found) == every
    assert conductors.pair_count == len(every)
    supplied = {tuple(sorted(pair)) for pair in itertools.product(earths, feeds) if pair[0] != pair[1]}
    assert set(found[: len(supplied)]) == supplied
    ratios = [max(sizes[a] / sizes[b], sizes[b] / sizes[a]) for a, b in every]
    assert _most_unlike(conductors) == max(ratios, default=1.0)


def test_of_a_known_number_no_more_than_the_first_are_taken() -> None:
    endless = itertools.count(1)
    assert first_of(endless, 3, count=9) == "1, 2, 3 and 6 more"
    assert first_of(range(1, 10), 3) == "1, 2, 3 and 6 more"
    assert first_of([1, 2], count=2) == "1, 2"
