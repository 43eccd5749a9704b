"""How long joints last: as published, as other ways of working it out, with intervals from whole looms."""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import pytest
from scipy import optimize, stats

from loomproof.fleet.shares import Z_95
from loomproof.fleet.survival import DRAWS, FEWEST_LOOMS, Kept, Life, Survival, surviving

COSMESIS = """45+ 25-37 37+ 6-10 46+ 0-5 0-7 26-40 18+ 46+ 46+ 24+ 46+ 27-34 36+ 7-16 36-44 5-11 17+ 46+ 19-35
7-14 36-48 17-25 37-44 37+ 24+ 0-8 40+ 32+ 4-11 17-25 33+ 15+ 46+ 19-26 11-15 11-18 37+ 22+ 38+ 34+
46+ 5-12 36+ 46+"""
"""Months until a breast's look became worse after radiotherapy alone, each between two visits (D. M.
Finkelstein and R. A. Wolfe, A semiparametric model for regression analysis of interval-censored failure time
data, Biometrics 41 (1985) 933; data in most textbooks).
"""

PUBLISHED = [
    *((4, 5, 0.0463), (6, 7, 0.0334), (7, 8, 0.0887), (11, 12, 0.0708)),
    *((24, 25, 0.0926), (33, 34, 0.0818), (38, 40, 0.1209), (46, 48, 0.4656)),
]
"""The estimate in M. P. Fay and P. A. Shaw, Exact and asymptotic weighted logrank tests for interval-
censored data, J. Stat. Softw. 36 (2010) no. 2; from memory. lifelines 0.30.3
(``fit_interval_censoring``, intervals open at their beginning) gave the same to all four digits when
this was written."""

AIDS_GOOD = "0 15 12 17 13 0 6 0 14 12 13 12 12 0 0 0 0 3 4 1 13 0 0 6 0 2 1 0 0 2 0"
AIDS_LOST = "16 0 0 0 0 24 0 15 0 0 0 0 0 18 14 17 15 0 0 11 19 6 11 0 6 12 17 14 25 11 14"
"""J. C. Lindsey and L. M. Ryan, Methods for interval-censored data, Stat. Med. 17 (1998) 219; 0: not yet."""


def alone(lives: list[tuple[int, int | None]]) -> Survival:
    return surviving([[(good, lost, 1)] for good, lost in lives])


def masses(told: Survival) -> list[tuple[int, int, float]]:
    shares = [1.0, *(step.share for step in told.steps)]
    return [(s.after_days, s.days, a - b) for s, a, b in zip(told.steps, shares, shares[1:], strict=False)]


def test_the_estimate_is_the_published_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loomproof.fleet.survival.DRAWS", 0)
    lives: list[tuple[int, int | None]] = []
    for word in COSMESIS.split():
        good, _, lost = word.rstrip("+").partition("-")
        lives.append((int(good), int(lost) if lost else None))
    told = masses(alone(lives))
    assert [each[:2] for each in told] == [each[:2] for each in PUBLISHED]
    assert [each[2] for each in told] == pytest.approx([each[2] for each in PUBLISHED], abs=6e-5)
    # Lindsey and Ryan name five intervals, of which that from 14 to 15 has no mass.
    lindsey = masses(
        alone(
            [
                (int(good), int(lost) or None)
                for good, lost in zip(AIDS_GOOD.split(), AIDS_LOST.split(), strict=True)
            ]
        )
    )
    assert [each[:2] for each in lindsey] == [(4, 6), (13, 14), (15, 16), (17, 18)]


def test_where_losses_are_seen_on_their_day_it_is_kaplan_and_meiers() -> None:
    """Weeks of remission under 6-mercaptopurine (Freireich et al. 1963; in textbooks); curve by scipy."""
    lost = [6, 6, 6, 7, 10, 13, 16, 22, 23]
    left = [6, 9, 10, 11, 17, 19, 20, 25, 32, 32, 34, 35]
    lives: list[Life] = [*((day, day, 1) for day in lost), *((day, None, 1) for day in left)]
    told = surviving([lives])
    assert [(step.days, step.at_risk, step.lost) for step in told.steps] == [
        *((6, 21, 3), (7, 17, 1), (10, 15, 1), (13, 12, 1), (16, 11, 1), (22, 7, 1), (23, 6, 1))
    ]
    curve: Any = stats.ecdf(stats.CensoredData(lost, right=left)).sf
    for step in told.steps:
        assert step.after_days == step.days
        assert step.share == pytest.approx(float(curve.evaluate(step.days)), abs=1e-4)
    assert told.kept(5) is None
    assert [told.watched_for(weeks) for weeks in (0, 6, 7, 24, 35, 36)] == [21, 21, 17, 5, 1, 0]
    assert pytest.approx(stats.norm.ppf(0.975)) == Z_95


def by_chance(seed: int, count: int) -> list[tuple[int, int | None]]:
    rng = random.Random(seed)
    lives: list[tuple[int, int | None]] = []
    for _ in range(count):
        looks = sorted({0, *(rng.randrange(1, 30) for _ in range(rng.randrange(1, 6)))})
        life = rng.expovariate(1 / 15)
        gone = [day for day in looks if day >= life]
        lives.append((max(day for day in looks if day < life), gone[0] if gone else None))
    return lives


@pytest.mark.parametrize("seed", range(4))
def test_nothing_else_makes_what_was_seen_likelier(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """The likelihood over days, each a mass of its own, raised as far as scipy's optimiser gets."""
    monkeypatch.setattr("loomproof.fleet.survival.DRAWS", 0)
    lives = by_chance(seed, 60)
    holds = np.array(
        [[good < day <= (lost or 99) for day in range(1, 31)] for good, lost in lives], dtype=float
    )

    def unlikely(x: Any) -> float:
        mass = np.exp(x - x.max())
        return -float(np.log(holds @ (mass / mass.sum())).sum())

    best = optimize.minimize(unlikely, np.zeros(30), method="L-BFGS-B", options={"maxfun": 100_000}).fun
    told = np.zeros(30)
    shares = masses(alone(lives))
    for _, day, mass in shares:
        told[day - 1] += mass
    told[29] += 1 - told.sum()  # lasting longer than all was seen
    assert -float(np.log(holds @ told).sum()) == pytest.approx(best, abs=5e-3)


def test_a_day_within_a_gap_has_both_ends() -> None:
    looms: list[list[Life]] = [[(100, 200, 1), (400, None, 3)] for _ in range(FEWEST_LOOMS)]
    told = surviving(looms)
    (step,) = told.steps
    assert (step.after_days, step.days, step.share) == (100, 200, 0.75)
    assert (step.low, step.high, step.error) == (0.75, 0.75, 0.0), "all looms are alike"
    assert told.kept(100) is None
    assert told.kept(150) == Kept(0.75, 1.0, 0.75, 1.0)
    assert told.kept(200) == told.kept(399) == Kept(0.75, 0.75, 0.75, 0.75)


def test_joints_of_one_loom_are_drawn_together() -> None:
    """Of 40 looms with 25 joints, losses in whole looms stray as those of 40 things, not of 1000."""
    together: list[list[Life]] = [[(10, 20, 25)] if n % 4 == 0 else [(90, None, 25)] for n in range(40)]
    apart: list[list[Life]] = [[(10, 20, 1)] if n % 4 == 0 else [(90, None, 1)] for n in range(1000)]
    (whole,), (single,) = surviving(together).steps, surviving(apart).steps
    assert whole.share == single.share == pytest.approx(0.75)
    assert whole.error == pytest.approx((0.75 * 0.25 / 40) ** 0.5, rel=0.1)
    assert single.error == pytest.approx((0.75 * 0.25 / 1000) ** 0.5, rel=0.1)
    low, high = (float(stats.binom.ppf(p, 40, 0.75)) / 40 for p in (0.025, 0.975))
    assert (whole.low, whole.high) == pytest.approx((low, high), abs=0.026)
    assert DRAWS >= 200


def test_whatever_order_looms_come_in_the_answer_is_the_same_to_the_digit(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("loomproof.fleet.survival.DRAWS", 20)
    looms: list[list[Life]] = [[(*life, 1) for life in by_chance(n, 4)] for n in range(15)]
    turned = [list(reversed(loom)) for loom in reversed(looms)]
    assert surviving(looms) == surviving(turned)


def test_of_few_looms_no_interval_is_told() -> None:
    (step,) = surviving([[(10, 20, 5), (40, None, 5)]] * (FEWEST_LOOMS - 1)).steps
    assert (step.low, step.high, step.error) == (0.0, 1.0, 0.5)
    assert surviving([]) == Survival(0, 0, 0, 0, 0, (), ())
    assert surviving([[(10, None, 5)]]).steps == ()
