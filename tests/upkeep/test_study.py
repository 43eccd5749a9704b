"""The crossed study against a published worked example and against another way to the same sums."""

from __future__ import annotations

import random

import numpy as np
import pytest
from numpy.typing import NDArray

from loomproof.errors import UsageError
from loomproof.upkeep.study import Reading, study_of

WORKED = """
37 38 37  41 41 40  41 42 41
42 41 43  42 42 42  43 42 43
30 31 31  31 31 31  29 30 28
42 43 42  43 43 43  42 42 42
28 30 29  29 30 29  31 29 29
42 42 43  45 45 45  44 46 45
25 26 27  28 28 30  29 27 27
40 40 40  43 42 42  43 43 41
25 25 25  27 29 28  26 26 26
35 34 34  35 35 34  35 34 35
"""
"""Ten parts (rows) read by three inspectors, three times each: D. C. Montgomery, Introduction to Statistical
Quality Control, thermal impedance of a power module; from memory, and the printed sums bear it out."""


def worked() -> list[Reading]:
    rows = [[float(word) for word in line.split()] for line in WORKED.strip().splitlines()]
    return [Reading("ABC"[i // 3], str(part), x) for part, row in enumerate(rows) for i, x in enumerate(row)]


def test_the_worked_example() -> None:
    found = study_of(worked())
    printed = {"parts": 3935.96, "operators": 39.27, "operators by parts": 48.51, "repeats": 30.67}
    assert {each.name: each.squares for each in found.sources} == pytest.approx(printed, abs=0.006)
    assert [each.freedom for each in found.sources] == [9, 2, 18, 60]
    assert [each.mean_square for each in found.sources] == pytest.approx(
        [437.33, 19.63, 2.70, 0.51], abs=0.01
    )
    assert [each.f for each in found.sources[:3]] == pytest.approx([162.27, 7.28, 5.27], abs=0.02)
    squares = [found.repeatability_ohm, found.operator_ohm, found.interaction_ohm, found.part_ohm]
    assert [x**2 for x in squares] == pytest.approx([0.51, 0.56, 0.73, 48.29], abs=0.01)
    assert found.both_ohm**2 == pytest.approx(1.80, abs=0.01)


def test_sums_agree_with_least_squares() -> None:
    """Each sum of squares is what a further factor takes from the residuals of a fit (own draw)."""
    rng = random.Random(2)
    o, p, n = 3, 4, 2
    read = [
        Reading(str(i), str(j), 5.0 + 0.3 * i + j + 0.1 * i * j + rng.gauss(0.0, 0.2))
        for i in range(o) for j in range(p) for _ in range(n)
    ]  # fmt: skip
    y = np.array([each.ohm for each in read])
    one = np.ones((len(read), 1))
    by_o = np.array([[float(each.operator == str(i)) for i in range(o)] for each in read])
    by_p = np.array([[float(each.part == str(j)) for j in range(p)] for each in read])
    mixed = np.array([np.outer(a, b).ravel() for a, b in zip(by_o, by_p, strict=True)])

    def left(*blocks: NDArray[np.float64]) -> float:
        x = np.hstack([one, *blocks])
        return float(np.sum((y - x @ np.linalg.lstsq(x, y, rcond=None)[0]) ** 2))

    sums = [left(by_o) - left(by_o, by_p), left(by_p) - left(by_o, by_p)]
    sums += [left(by_o, by_p) - left(mixed), left(mixed)]
    assert [each.squares for each in study_of(read).sources] == pytest.approx(sums)


def test_components_come_back_on_average() -> None:
    rng = random.Random(5)
    found = []
    for _ in range(150):
        who = [rng.gauss(0.0, 2.0) for _ in range(4)]
        part = [rng.gauss(0.0, 5.0) for _ in range(6)]
        read = [
            Reading(str(i), str(j), who[i] + part[j] + rng.gauss(0.0, 1.0))
            for i in range(4) for j in range(6) for _ in range(2)
        ]  # fmt: skip
        study = study_of(read)
        found.append((study.repeatability_ohm**2, study.operator_ohm**2, study.part_ohm**2))
    assert np.mean(found, axis=0) == pytest.approx([1.0, 4.0, 25.0], rel=0.2)


def test_readings_all_alike_have_no_spread() -> None:
    found = study_of([Reading(who, part, 1.0) for who in "AB" for part in "12" for _ in range(2)])
    assert (found.both_ohm, found.share, found.sources[0].f) == (0.0, 0.0, None)


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        ([], "two operators and two parts"),
        ([Reading("A", "1", 1.0)] * 4, "two operators and two parts"),
        ([Reading(who, part, 1.0) for who in "AB" for part in "12"], "A read 1 1 times where 2"),
        (worked()[1:], "A read 0 2 times where 3"),
        ([*worked()[:-1], Reading("C", "9", float("inf"))], "an open one is none"),
    ],
)
def test_what_is_no_study_is_refused(readings: list[Reading], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        study_of(readings)
