"""Which conductor an end with the probe on it belongs to, and when a touch is believed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import pytest

from loomproof.bench.questions import Answer, Question, Sense
from loomproof.bench.seam import Capabilities, Opening
from loomproof.errors import SafetyError
from loomproof.loom.model import End
from loomproof.measuring.probe_ends import ALIKE, TRIES, Touch, _group_of, read_touch
from tests.cleared import cleared_for_points
from tests.memory_bench import MemoryBench, simulated
from tests.planning.test_meter_and_reach import scope_of_sizes


@dataclass
class Held(MemoryBench):
    """Answers one reading after the other, whatever is driven."""

    lows: Iterator[int]
    able: Capabilities = field(default_factory=lambda: Capabilities(8))
    opened: Opening = field(default_factory=simulated)

    def _answer(self, question: Question) -> Answer:
        if isinstance(question, Sense):
            assert list(question.drives) == [0] * ALIKE, "nothing is driven while a hand holds the probe"
            return [next(self.lows) for _ in question.drives]
        return super()._answer(question)


@pytest.mark.parametrize(
    ("lows", "touched"),
    [
        ([1, 1, 1], 1),
        ([0b1001, 0b1001, 0b1001], 0b1),  # a point without a cavity is none of the loom's
        ([0, 0, 0], 0),
        ([1, 0, 1, 0b110, 0b110, 0b110], 0b110),
        ([1, 1, 0] * TRIES, None),
        ([1, 0, 0] * (TRIES - 1) + [0b10] * 3, 0b10),
    ],
)
def test_a_touch_is_believed_once_it_reads_alike(lows: Sequence[int], touched: int | None) -> None:
    bench = Held(iter(lows))
    assert read_touch(bench, cleared_for_points(bench, meter_v=0.0), scope_of_sizes([1, 2])) == touched


def test_no_touch_is_read_without_a_clearance() -> None:
    bench = Held(iter([]))
    with pytest.raises(SafetyError):
        read_touch(bench, None, scope_of_sizes([1]))  # type: ignore[arg-type]  # what must be refused


def ends(*texts: str) -> frozenset[End]:
    return frozenset(End(*text.split(":")) for text in texts)


def test_of_a_broken_net_the_larger_piece_was_touched_whatever_hangs_on_the_other() -> None:
    """The net's three cavities fell apart, and the single one hangs on a net of three."""
    scope = scope_of_sizes([3, 3])
    net = ends("0:1", "0:2", "0:3", "LOOSE:1")
    pieces = [ends("0:3", "1:1", "1:2", "1:3"), ends("0:1", "0:2")]
    everything = Touch(End("LOOSE", "1"), 0b111111)
    assert _group_of(everything, net, pieces, scope) == (1, False)
    assert _group_of(Touch(End("LOOSE", "1"), 0b000011), net, pieces, scope) == (1, True)
    assert _group_of(Touch(End("LOOSE", "1"), 0b111100), net, pieces, scope) == (0, True)
