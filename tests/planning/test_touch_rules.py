"""What is asked next of a person with a meter, rule by rule, on pictures drawn by hand."""

from __future__ import annotations

from collections.abc import Mapping

from loomproof.planning.touches import (
    Effort,
    Picture,
    Step,
    effort_of,
    next_step,
    picture_of,
    settle,
    steps_if_sound,
    wholes,
)
from tests.planning.test_touches import scope_with


def pieces(count: int, bundles: Mapping[int, int] | None = None) -> Picture:
    """So many pieces of one point each, nobody knows which touch; ``bundles`` are what parts couple."""
    numbers = range(count)
    made = Picture({n: 1 << n for n in numbers}, {n: 1 << n for n in numbers}, dict.fromkeys(numbers, -1))
    made.bundle.update(bundles or {})
    made.net_of = {n: n for n in numbers}
    return made


def pairs(*texts: str) -> set[frozenset[int]]:
    """``01`` is the pair of 0 and 1."""
    return {frozenset(map(int, text)) for text in texts}


def test_two_probes_begin_at_the_first_of_those_with_most_to_ask() -> None:
    picture = pieces(4)
    assert next_step(picture, 0) == Step(0b1, (0b10, 0b100, 0b1000))
    picture.apart = pairs("01")
    picture.clipped = ()
    assert next_step(picture, 0) == Step(0b100, (0b1, 0b10, 0b1000))


def test_the_black_lead_stays_while_its_cavity_has_something_to_ask() -> None:
    picture = pieces(4)
    picture.clipped = (3,)
    assert next_step(picture, 0) == Step(0b1000, (0b1, 0b10, 0b100))
    picture.apart = pairs("03", "13", "23")
    assert next_step(picture, 0) == Step(0b1, (0b10, 0b100))


def test_nothing_is_asked_once_every_pair_is_known() -> None:
    picture = pieces(3)
    picture.apart = pairs("01", "02")
    picture.left_out = pairs("12")
    for clips in (0, 5):
        assert next_step(picture, clips) is None
    assert next_step(pieces(2, {0: 7, 1: 7}), 0) is None


def test_a_chain_is_as_long_as_there_are_clips_and_is_asked_as_one_then() -> None:
    picture = pieces(6)
    step = next_step(picture, 3)
    assert step == Step(0b1, (0b10, 0b100), chained=True)
    settle(picture, step, 0)
    assert picture.clipped == (0, 1, 2)
    assert picture.apart == pairs("01", "02", "12")
    then = next_step(picture, 3)
    assert then == Step(0b111, (0b1000, 0b10000, 0b100000))
    settle(picture, then, 0)
    assert picture.clipped == (0, 1, 2), "over a bunch nothing is clipped to it"
    assert picture.apart == pairs("01", "02", "12", *(f"{a}{b}" for a in "012" for b in "345"))
    assert next_step(picture, 3) == Step(0b1000, (0b10000, 0b100000), chained=True)


def test_what_beeps_is_taken_for_apart_from_nothing_and_joins_no_bunch() -> None:
    picture = pieces(4)
    step = next_step(picture, 4)
    assert step == Step(0b1, (0b10, 0b100, 0b1000), chained=True)
    settle(picture, step, 0b100)
    assert picture.clipped == (0, 1, 3)
    assert picture.apart == pairs("01", "03", "13")


def test_one_probe_on_one_cavity_settles_pairs_with_that_cavity_alone() -> None:
    picture = pieces(3)
    settle(picture, Step(0b1, (0b10, 0b100)), 0)
    assert picture.apart == pairs("01", "02")


def test_over_a_bunch_goes_what_saves_a_touch_and_only_that() -> None:
    """Against two of the bunch at least; nothing that a part joins to it, nor what the person left out."""
    picture = pieces(6, {0: 1, 4: 1})
    picture.clipped = (0, 1)
    picture.apart = pairs("01", "03")
    picture.left_out = pairs("15")
    assert next_step(picture, 3) == Step(0b11, (0b100,))


def test_two_nets_are_not_worth_a_chain() -> None:
    """A clip on a second net takes a touch, and saves one at each net asked against both: none is left."""
    picture = pieces(2)
    assert next_step(picture, 5) == Step(0b1, (0b10,))
    picture = pieces(4)
    picture.apart = pairs("01", "23")
    step = next_step(picture, 5)
    assert step is not None
    assert not step.chained


def test_what_is_joined_is_apart_from_what_either_was() -> None:
    picture = pieces(5)
    picture.apart, picture.left_out = pairs("13", "24"), pairs("12", "03", "34")
    picture.clipped = (1, 3)
    assert picture.number_at(0b1000) == 3
    picture.join(3, 1)
    assert picture.number_at(0b1000) == 1
    assert picture.points == {0: 1, 1: 0b1010, 2: 4, 4: 16}
    assert picture.apart == pairs("24"), "a pair that turned out to be one piece is no pair"
    assert picture.left_out == pairs("12", "01", "14")
    assert list(picture.clipped) == [1]
    picture.join(2, 4)
    assert (picture.apart, picture.left_out) == (set(), pairs("12", "01"))
    picture.apart = pairs("02")
    picture.join(0, 1)
    assert (picture.apart, picture.left_out) == (pairs("02"), set()), (
        "what is known to be apart is not left out"
    )


def test_what_is_joined_hangs_on_the_parts_of_its_first_piece_or_else_of_its_second() -> None:
    for first, second, whole in ((0, 3, 0), (3, 0, 3), (-1, 0, 0), (0, -1, 0), (-1, -1, -1)):
        picture = pieces(2, {0: first, 1: second})
        picture.join(0, 1)
        assert picture.bundle[0] == whole


def test_pieces_of_one_net_are_never_coupled() -> None:
    picture = pieces(3, {0: 1, 1: 1, 2: 1})
    picture.net_of[1] = 0
    assert (picture.coupled(0, 1), picture.coupled(0, 2)) == (False, True)
    assert list(picture.pairs_open()) == [(0, 1)]


def test_each_net_is_asked_for_its_own_wires_or_those_that_are_named() -> None:
    scope = scope_with((2, 1, 3))
    assert wholes(scope) == (Step(1, (2,), whole=True), Step(8, (16, 32), whole=True))
    assert wholes(scope, frozenset({2})) == (Step(8, (16, 32), whole=True),)
    assert wholes(scope, frozenset()) == ()


def test_pairs_of_nets_that_nothing_touched_rest_on_the_proof_before() -> None:
    scope = scope_with((1, 2, 1))
    groups = [group.points for group in scope.groups]
    assert picture_of(scope, groups).apart == set()
    picture = picture_of(scope, groups, frozenset({0, 2}))
    assert picture.apart == pairs("02")
    assert list(picture.pairs_open()) == [(0, 1), (1, 2)]


def test_what_a_sound_loom_takes_is_counted_touch_by_touch() -> None:
    """Four nets of one cavity, three clips: one under black, two touched and clipped, and one over all three.

    Two probes take black on three cavities and red on six. Typed readings take both probes each.
    """
    scope = scope_with((1, 1, 1, 1))
    assert effort_of(scope, 3) == Effort(2, (1 + 2 * 2) + 1, 4, 6)
    assert effort_of(scope, 0) == Effort(3, 3 + 6, 7, 6)
    assert effort_of(scope, 0, 2) == Effort(5, 9 + 2 * 2, 7 + 2, 6)
    # A net of three: black, and two touches of red; black stays there for the other net.
    assert steps_if_sound(scope_with((3, 1)), 0) == (Step(1, (2, 4), whole=True), Step(1, (8,)))
    assert effort_of(scope_with((3, 1)), 0) == Effort(2, 4, 4, 1)
