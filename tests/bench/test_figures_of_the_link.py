"""Batches, point sets, capabilities and journalled answers: every boundary, against plain counting.

The figures are those of the link's contract, ``firmware_notes/scanner_link.md``.
"""

from __future__ import annotations

import itertools
import math
import random
import re
from collections.abc import Sequence

import pytest

from loomproof.bench import questions as q
from loomproof.bench.batching import Batches
from loomproof.bench.frames import Splitter, read_number, read_set, write_set
from loomproof.bench.seam import (
    Capabilities,
    Statistics,
    WatchEvent,
    WatchSummary,
    check_pair,
    point_set,
    points_of,
    singles,
    total_of,
)

FRAME = len(":00*01234567\n")


def command_of(drives: Sequence[int]) -> str:
    return "SENS:DRIV? " + ",".join(f"#H{drive:X}" for drive in drives)


def longest_reply(count: int, points: int) -> int:
    """Each set in full, with a comma after each, the last one's too, as the contract counts."""
    return FRAME + count * (len("#H") + math.ceil(points / 4) + 1)


@pytest.mark.parametrize("seed", range(60))
def test_a_batch_holds_as_many_sets_as_command_and_reply_have_room_for(seed: int) -> None:
    rng = random.Random(seed)
    points = rng.choice([1, 4, 5, 8, 64, 65])
    line = rng.randint(30, 160)
    drives = [rng.randrange(1 << points) for _ in range(20)]
    batches = Batches(line, points)
    for start in range(len(drives)):
        batch = batches.after(drives, start)
        assert list(batch) == drives[start : start + len(batch)]
        assert batch
        room = [
            count
            for count in range(1, len(drives) - start + 1)
            if max(FRAME + len(command_of(drives[start : start + count])), longest_reply(count, points))
            <= line
        ]
        assert len(batch) == max(room, default=1)
        assert batches.reply_bytes(len(batch)) == longest_reply(len(batch), points) - FRAME
    assert list(batches.after(drives, len(drives))) == []


def test_what_was_refused_is_never_sent_so_large_again() -> None:
    """Three quarters of it, and one at least."""
    drives = [1] * 40
    for refused, most in ((1, 1), (2, 1), (4, 3), (8, 6), (20, 15)):
        batches = Batches(100_000, 4)
        batches.refused(refused)
        assert len(batches.after(drives, 0)) == most
        assert len(batches.after(drives, 38)) == min(most, 2)


def test_a_line_that_fails_carries_half_and_after_sixteen_clean_ones_twice_as_much() -> None:
    drives = [1] * 400
    whole = 800

    def size(budget: int) -> int:
        return (budget - FRAME - len("SENS:DRIV?")) // 4  # each set with its comma: #H1,

    batches = Batches(whole, 1)
    assert len(batches.after(drives, 0)) == size(whole)
    for _ in range(40):
        batches.passed()
    assert len(batches.after(drives, 0)) == size(whole), "no more than the line holds"
    batches.failed()
    batches.failed()
    assert len(batches.after(drives, 0)) == size(whole // 4)
    for _ in range(15):
        batches.passed()
    assert len(batches.after(drives, 0)) == size(whole // 4)
    batches.failed()
    for _ in range(15):
        batches.passed()
    assert len(batches.after(drives, 0)) == size(whole // 8), "one that failed begins the count anew"
    batches.passed()
    assert len(batches.after(drives, 0)) == size(whole // 4)
    for _ in range(15):
        batches.passed()
    assert len(batches.after(drives, 0)) == size(whole // 4)
    for _ in range(17):
        batches.passed()
    assert len(batches.after(drives, 0)) == size(whole)
    odd = Batches(801, 1)
    odd.failed()
    for _ in range(32):
        odd.passed()
    assert len(odd.after(drives, 0)) == size(801), "the whole line again, though halves were rounded down"


@pytest.mark.parametrize("seed", range(20))
def test_point_sets(seed: int) -> None:
    rng = random.Random(seed)
    points = {rng.randint(1, 70) for _ in range(5)}
    mask = point_set(points)
    assert mask == sum(2 ** (point - 1) for point in points)
    assert points_of(mask) == tuple(sorted(points))
    assert list(singles(mask)) == [2 ** (point - 1) for point in sorted(points)]
    assert read_set(write_set(mask), 70) == mask
    assert write_set(mask) == f"#H{mask:X}"
    most = max(points)
    with pytest.raises(ValueError, match=f"names point {most}"):
        read_set(write_set(mask), most - 1)
    assert read_set(write_set(mask), most) == mask


def test_pairs_and_points_that_are_none() -> None:
    for a, b in ((0, 1), (1, 0), (1, 3), (0, 0), (2, 2)):
        with pytest.raises(ValueError, match="two sets with points"):
            check_pair(a, b)
    check_pair(1, 2)
    for point in (0, -1):
        with pytest.raises(ValueError, match="numbered from 1"):
            point_set([point])
    assert list(singles(0)) == []


def test_counts_of_several_lines_add_up() -> None:
    one = Statistics(1, 2, 3, 4, 5, (("resent", 6), ("late", 1)))
    other = Statistics(10, 20, 30, 40, 50, (("late", 7),))
    assert total_of([one, other]) == Statistics(11, 22, 33, 44, 55, (("resent", 6), ("late", 8)))
    assert total_of([]) == Statistics()


@pytest.mark.parametrize("behind", [1, 2, 8])
@pytest.mark.parametrize("at_once", [None, 1, 4])
def test_what_surely_reads_low(behind: int, at_once: int | None) -> None:
    able = Capabilities(64, sense_ohm=25e3, driver_ohm=100.0, pulled_at_once=at_once)
    sharing = min(behind, at_once or behind)
    assert able.surely_low_ohm(behind) == pytest.approx(25e3 / sharing - 100.0)
    assert Capabilities(64, sense_ohm=None).surely_low_ohm(behind) == 0.0
    assert Capabilities(64, sense_ohm=100.0, driver_ohm=60.0).surely_low_ohm(2) == 0.0


def found_by_nodes(near: int, far: int, sense: float, driver: float) -> float:
    """The greatest path at which the far net is still low, by halving; pull-ups are SENSE each, 1 to 0.5.

    A point behind SENSE of a held line is at half of the supply: that is the threshold. The near net hangs
    on the driver, its pull-ups lift it; both lines are solved as a divider.
    """
    pull = sense
    low, high = 0.0, 10 * sense
    for _ in range(80):
        path = (low + high) / 2
        # g_d v1 + near/p (v1 - 1) + (v1 - v2)/path = 0 ; far/p (v2 - 1) + (v2 - v1)/path = 0
        a11, a12, b1 = 1 / driver + near / pull + 1 / path, -1 / path, near / pull
        a21, a22, b2 = -1 / path, far / pull + 1 / path, far / pull
        v2 = (a11 * b2 - a21 * b1) / (a11 * a22 - a12 * a21)
        low, high = (path, high) if v2 < 0.5 else (low, path)
    return low


@pytest.mark.parametrize(("near", "far"), [(1, 1), (1, 3), (4, 1), (3, 3)])
def test_what_a_sense_both_ways_surely_joins(near: int, far: int) -> None:
    """Against a nodal solve; of a bench that pulls up a few at once the worst mixture."""
    able = Capabilities(64, sense_ohm=25e3, driver_ohm=500.0)
    ways = [found_by_nodes(near, far, 25e3, 500.0), found_by_nodes(far, near, 25e3, 500.0)]
    assert able.surely_apart_ohm(near, far) == pytest.approx(max(ways), rel=1e-6)
    few = Capabilities(64, sense_ohm=25e3, driver_ohm=500.0, pulled_at_once=2)

    def worst(n: int, f: int) -> float:
        mixed = [(x, y) for x in range(n + 1) for y in range(1, f + 1) if x + y <= 2]
        return min(found_by_nodes(x, y, 25e3, 500.0) for x, y in mixed)

    if near + far > 2:
        assert few.surely_apart_ohm(near, far) == pytest.approx(
            max(worst(near, far), worst(far, near)), rel=1e-6
        )
    assert Capabilities(64, sense_ohm=1e3, driver_ohm=600.0).surely_apart_ohm(1, 1) == 0.0


SENSE = q.Sense((1, 2))
A, B = 1, 2
READ: list[tuple[q.Question, object, object]] = [
    (SENSE, ["#H1", "#HF"], [1, 15]),
    (q.Resistance(A, B, 2), "open", math.inf),
    (q.Resistance(A, B, 2), 1.5, 1.5),
    (q.Resistance(A, B, 2), -3, -3.0),
    (q.Voltage(A, B), 0, 0.0),
    (q.Temperature(), None, None),
    (q.Temperature(), 21.5, 21.5),
    (q.NextEvent(2), None, None),
    (q.NextEvent(2), [0, 5, 1, "#H4"], WatchEvent(0, 5, 1, 4)),
    (q.Watched(), None, None),
    (q.Watched(), [0, 1, 2], WatchSummary(0, 1, 2)),
    (q.Release(), None, None),
]


@pytest.mark.parametrize(("question", "said", "answer"), READ)
def test_an_answer_is_read_as_it_was_written(question: q.Question, said: object, answer: object) -> None:
    assert q.read_answer(question, said, 4) == answer
    assert q.read_answer(question, q.plain_answer(q.read_answer(question, said, 4)), 4) == answer


NO_OHMS: tuple[object, ...] = (None, "1", True, [1], 9.9e37, -9.9e37, math.nan, math.inf)
NO_DEGREES: tuple[object, ...] = ("open", True, [])
NO_SUMMARY: tuple[object, ...] = ([1, 2], [1, 2, -1], [1, 2, True], [1, 2, 1.0], 3)
NO_RELEASE: tuple[object, ...] = (0, False, "")

WRONG: list[tuple[q.Question, object]] = [
    (SENSE, None),
    (SENSE, "#H1"),
    (SENSE, ["#H1"]),
    (SENSE, ["#H1"] * 3),
    (SENSE, ["#H1", 1]),
    (SENSE, ["#H1", "#H10"]),
    (SENSE, {"a": 1}),
    *((q.Resistance(A, B, 2), said) for said in NO_OHMS),
    *((q.Temperature(), said) for said in NO_DEGREES),
    (q.NextEvent(2), [0, 1, 2, "#H1"]),
    (q.NextEvent(2), [0, 1, 1]),
    (q.NextEvent(2), [-1, 1, 1, "#H1"]),
    (q.NextEvent(2), [0, 1, 1, 1]),
    (q.NextEvent(2), "x"),
    (q.NextEvent(2), 0),
    *((q.Watched(), said) for said in NO_SUMMARY),
    *((q.Release(), said) for said in NO_RELEASE),
    (q.Carried(), None),
    (q.Carried(), {}),
    (q.Carried(), []),
    (q.Carried(), {"round_trips": 1}),
]


@pytest.mark.parametrize(("question", "said"), WRONG)
def test_an_answer_that_is_none_is_refused(question: q.Question, said: object) -> None:
    with pytest.raises(ValueError, match=r"\w"):
        q.read_answer(question, said, 4)


def test_figures_just_under_over_range_are_read() -> None:
    """SCPI-99 volume 1, 7.2.1.4 and 7.2.1.5: 9.9E37 is infinity, 9.91E37 no number."""
    assert q.read_answer(q.Resistance(A, B, 2), 9.8e37, 4) == 9.8e37
    assert read_number("9.8E37") == 9.8e37
    assert read_number("9.9E37") == math.inf
    assert read_number("-9.9e37") == -math.inf
    for text in ("9.91E37", "-9.91E37", "9.90001E37", "1E38", "-1E38", "", "x", "1,", "1E", "inf", "0x1"):
        with pytest.raises(ValueError, match=re.escape(repr(text))):
            read_number(text)


@pytest.mark.parametrize("seed", range(40))
def test_a_stream_is_cut_into_its_lines_however_it_comes(seed: int) -> None:
    rng = random.Random(seed)
    longest = 8
    lines = [bytes(rng.choice(b"ab:!") for _ in range(rng.choice([0, 1, 6, 7, 8, 9, 20]))) for _ in range(12)]
    stream = b"".join(line + rng.choice([b"\n", b"\r\n"]) for line in lines)
    whole = [line for line in stream.split(b"\n")[:-1] if line.removesuffix(b"\r") and len(line) < longest]
    cuts = sorted(rng.sample(range(len(stream) + 1), 6))
    splitter = Splitter(longest)
    found = []
    for start, stop in itertools.pairwise([0, *cuts, len(stream)]):
        found += splitter.feed(stream[start:stop])
    assert found == [line.removesuffix(b"\r") for line in whole]


def test_an_unfinished_reply_is_forgotten_and_an_unfinished_event_is_not() -> None:
    splitter = Splitter(100)
    assert splitter.feed(b":01abc") == []
    splitter.forget()
    assert splitter.feed(b"def\n") == [b"def"]
    assert splitter.feed(b":!!0,1") == []
    splitter.forget()
    assert splitter.feed(b",2\n") == [b":!!0,1,2"]
    assert splitter.feed(b"x" * 100) == []
    splitter.forget()
    assert splitter.feed(b"y\n") == [b"y"]
