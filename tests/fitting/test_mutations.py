"""A sample of the mutations in tests/campaign/fitting.py, one answer set each."""

from __future__ import annotations

import random

import pytest

from tests.campaign.fitting import ANSWERS, missing_connections, strays
from tests.fitting.looms import demo, random_fitting_loom


@pytest.mark.parametrize("said", ANSWERS)
def test_a_missing_connection_is_named_by_exactly_its_own_check(said: tuple[str, ...]) -> None:
    made, named, by_eye = missing_connections(demo(), said)
    assert made == named > 80
    assert by_eye == 0


@pytest.mark.parametrize("said", ANSWERS)
def test_an_unused_end_made_live_is_warned_of(said: tuple[str, ...]) -> None:
    tried, told = strays(demo(), said, random.Random(3), 4)
    assert tried == told > 0


def test_random_looms_too() -> None:
    loom = random_fitting_loom(random.Random(5))
    made, named, _ = missing_connections(loom, ())
    assert made == named > 0
    tried, told = strays(loom, (), random.Random(5), 4)
    assert tried == told > 0
