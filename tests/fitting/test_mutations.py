"""A sample of the stray wires in tests/campaign/fitting.py, one answer set each."""

from __future__ import annotations

import random

import pytest

from tests.campaign.fitting import ANSWERS, strays
from tests.fitting.looms import demo, random_fitting_loom


@pytest.mark.parametrize("said", ANSWERS)
def test_an_unused_end_made_live_is_warned_of(said: tuple[str, ...]) -> None:
    tried, told = strays(demo(), said, random.Random(3), 4)
    assert tried == told > 0


def test_random_looms_too() -> None:
    tried, told = strays(random_fitting_loom(random.Random(5)), (), random.Random(5), 4)
    assert tried == told > 0
