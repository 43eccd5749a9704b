"""What the search behind hook-ups counts as effort, and what it leaves of sets."""

from __future__ import annotations

import itertools
import random
from collections.abc import Sequence
from typing import Any

import pytest

import loomproof.planning.hookup_grow as module
import loomproof.planning.hookup_problem as problem_module
import loomproof.planning.hookup_search as search_module
from loomproof.planning.hookup_cover import Cover, cover
from loomproof.planning.hookup_grow import LEAST_TRIES, WORK, Grower
from loomproof.planning.hookup_problem import Problem, undominated, unmet
from loomproof.planning.hookup_saving import _joined
from tests.planning.test_plugging import small


@pytest.mark.parametrize("rows", [2, 500, 3000])
def test_a_unit_looked_at_costs_one_and_one_more_for_each_thousand_rows(rows: int) -> None:
    """Beside a unit that stays and covers one row, the only other one is looked at once."""
    problem = Problem((1, 1), 2, ((1, 1), *((2, 2),) * (rows - 1)), stay=1)
    grower = Grower(problem, random.Random(0))
    assert grower.grown(grower.every_row) == [3]
    assert grower.spent == pytest.approx(1.0 + rows / 1000)


def every_pair(units: int, capacity: int) -> Problem:
    rows = tuple((1 << a, 1 << b) for a, b in itertools.combinations(range(units), 2))
    return Problem((1,) * units, capacity, rows)


@pytest.mark.parametrize("seed", range(30))
def test_a_set_begins_with_two_units_that_cover_an_open_row(seed: int) -> None:
    rng = random.Random(seed)
    problem = every_pair(6, 3)
    grower = Grower(problem, rng)
    open_rows = rng.randrange(1, grower.every_row + 1)
    pair = grower._pair(open_rows)
    assert pair.bit_count() == 2
    assert grower.covered(pair) & open_rows


def test_only_units_of_open_rows_are_looked_at() -> None:
    grower = Grower(Problem((1,) * 4, 2, ((0b1, 0b10), (0b10, 0b1100))), random.Random(0))
    assert [option[0] for option in grower._touching(0b01)] == [0, 1]
    assert [option[0] for option in grower._touching(0b10)] == [1, 2, 3]
    assert grower._touching(0) == []


class Counting(Grower):
    """Counts how often it grows a cover from nothing, and grows one anew."""

    from_nothing = 0
    anew = 0

    def grown(self, open_rows: int) -> list[int]:
        self.from_nothing += open_rows == self.every_row
        return super().grown(open_rows)

    def _regrown(self, sets: Sequence[int]) -> list[int]:
        self.anew += 1
        return super()._regrown(sets)


def test_some_covers_are_grown_whatever_they_cost_and_none_anew_without_work() -> None:
    grower = Counting(every_pair(8, 3), random.Random(0))
    assert grower.search(60, 1, work=0.0)
    assert (grower.from_nothing, grower.anew) == (LEAST_TRIES, 0)


def test_a_search_ends_after_so_many_rounds_whatever_they_cost(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "MOST_ROUNDS", 7)
    grower = Counting(every_pair(8, 3), random.Random(0))
    grower.search(1, 1, work=1e12)
    assert grower.anew == 7


class Stepwise(Grower):
    """Finds a cover with one set less each time, down to four."""

    def _regrown(self, sets: Sequence[int]) -> list[int]:
        return list(sets)[1:] if len(sets) > 4 else list(sets)


def test_a_search_goes_on_from_the_better_cover_and_keeps_it() -> None:
    grower = Stepwise(every_pair(4, 4), random.Random(0))
    known = [tuple([0b1111] * 40)]
    assert grower.search(0, 1, work=1e9, known=known) == [(0b1111,) * 4]


class Scripted(random.Random):
    """Chance that a test decides: sets in their own order, two taken out, the weakest first or not."""

    def __init__(self, drawn: float) -> None:
        super().__init__(0)
        self.drawn = drawn

    def choice(self, seq: Any) -> Any:
        return seq[0]

    def sample(self, population: Any, k: int, *, counts: Any = None) -> list[Any]:
        return list(population)[:k]

    def random(self) -> float:
        return self.drawn


class Filling(Grower):
    """Notes which sets are kept and filled up, and grows nothing."""

    def _filled(self, chosen: int, open_rows: int, touching: Sequence[Any]) -> tuple[int, int]:
        self.kept = [*getattr(self, "kept", []), chosen]
        return chosen, 0

    def grown(self, open_rows: int) -> list[int]:
        return []


@pytest.mark.parametrize(("drawn", "kept"), [(0.9, [2, 3]), (0.1, [1, 3])])
def test_the_set_that_alone_covers_least_is_taken_out_half_of_the_time(drawn: float, kept: list[int]) -> None:
    """Of four sets the first two in order are grown anew, or the weakest and the first."""
    rows = tuple((1 << u, 1 << u) for u in range(9))
    sets = [0b111, 0b111000, 0b1000000, 0b110000000]  # three, three, one and two rows of their own
    grower = Filling(Problem((1,) * 9, 9, rows), Scripted(drawn))
    grower._regrown(sets)
    assert grower.kept == [sets[k] for k in kept]


@pytest.mark.parametrize("seed", range(60))
def test_rows_of_any_width_are_left_out_alike(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whether what is within a row is looked up or gone through, the same rows are kept."""
    rng = random.Random(seed)
    rows = [(rng.randrange(1, 64), rng.randrange(1, 64)) for _ in range(rng.randint(2, 12))]
    looked_up = undominated(rows)
    monkeypatch.setattr(problem_module, "MOST_SUBSETS", 0)
    assert undominated(rows) == looked_up


def test_no_row_is_wanted_for_a_unit_that_is_plugged_anyway() -> None:
    assert undominated([(1, 1), (1, 2)]) == ((1, 2),)
    assert undominated([(0b101, 0b101), (0b100, 0b10)]) == ((2, 4),)
    assert undominated([(1, 1), (2, 2)]) == ((1, 1), (2, 2))


def test_of_nets_that_are_wanted_only_their_own_meetings_count() -> None:
    """Nets on units 0, 1 and 2 that never meet; net 3 is plugged nowhere."""
    nets = (1, 2, 4, 8)
    assert unmet([1, 2, 4], nets) == [(1, 2), (1, 4), (1, 8), (2, 4), (2, 8), (4, 8), (8, 8)]
    assert unmet([1, 2, 4], nets, [4]) == [(1, 4), (2, 4), (4, 8)]
    assert unmet([1, 2, 4], nets, [8, 1]) == [(1, 2), (1, 4), (1, 8), (2, 8), (4, 8), (8, 8)]
    assert unmet([3, 6, 5], nets[:3], [1]) == []


def test_all_covers_that_are_found_are_told_each_once() -> None:
    """Unit 0 has to meet one of two others, and two of three fit: two covers of one set."""
    found = cover(Problem((1,) * 3, 2, ((1, 6),)))
    assert [found.sets, *found.others] == [(3,), (5,)]


def test_the_shorter_gap_is_closed_first() -> None:
    """On three points one of two plugs can stay on in the sixth hook-up: the one that is back in the next."""
    first, second = 0b001, 0b010
    sets = [first, 0, 0, 0, second, 0b1100, first | second]
    grower = Grower(Problem((1,) * 4, 3, ((1, 1),)), random.Random(0))
    assert _joined(grower, sets)
    assert sets == [first, 0, 0, 0, second, 0b1100 | second, first | second]


def test_a_first_look_grows_few_covers_and_the_search_many(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, float]] = []

    def noted(problem: Problem, known: Any = (), **given: Any) -> Cover:
        asked.append((given["tries"], given["work"]))
        return cover(problem, known, **given)

    monkeypatch.setattr(search_module, "cover", noted)
    loom, nets = small([2, 2, 2])
    search_module.plan_hook_ups(loom, nets, 4)
    assert asked[0] == (search_module.QUICK, 0.0)
    assert asked[-1] == (search_module.TRIES, WORK)
