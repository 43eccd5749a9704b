"""Which leads are named where a shorting plug does not join all of them."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import pytest

from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.seam import Accuracy, Capabilities, points_of
from loomproof.errors import AdapterError, UsageError
from loomproof.measuring.zero import learn_leads
from tests.cleared import cleared_empty
from tests.memory_bench import MemoryBench


class Plug(MemoryBench):
    """Joins these points at 0.1 ohm each, and no others; ``loose`` is a pair that reads open all the same."""

    def __init__(self, joined: set[int], loose: set[int] | None = None) -> None:
        super().__init__(able=Capabilities(8, ohms=(0.0, 1e6), accuracy=Accuracy(0.1, 0.01)))
        self.joined, self.loose = joined, loose or set()

    def _answer(self, question: Question) -> Answer:
        assert isinstance(question, Resistance)
        points = set(points_of(question.a | question.b))
        return 0.2 if points <= self.joined and points != self.loose else math.inf


def learn(plug: Plug, points: Sequence[int], names: Mapping[int, str] | None = None) -> None:
    learn_leads(plug, cleared_empty(plug), points, names=names)


@pytest.mark.parametrize(
    ("plug", "says"),
    [
        (Plug({1, 2, 3, 5}), "open with the shorting plug on: point 4 (LAMP:A)"),
        (Plug({2, 3, 4, 5}), "open with the shorting plug on: point 1"),  # all is read against the first
        (Plug({1, 4, 5}), "open with the shorting plug on: point 2, point 3"),
        (Plug({1, 2, 3, 4, 5}, {2, 3}), "open with the shorting plug on: point 2, point 3"),
        (Plug(set()), "no two of these leads are joined"),
    ],
)
def test_open_leads_are_named(plug: Plug, says: str) -> None:
    with pytest.raises(AdapterError) as caught:
        learn(plug, (1, 2, 3, 4, 5), names={4: "LAMP:A"})
    assert caught.value.message == says
    assert "shorting plug" in caught.value.cure


def test_too_few_leads_are_refused() -> None:
    with pytest.raises(UsageError, match="2 and 5 were asked for"):
        learn(Plug({1, 2}), (1, 2))
