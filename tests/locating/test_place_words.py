"""What is said of places past a fork, of wires without a length, and of pieces that could not be read."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from loomproof.bench.questions import Answer, Capacitance, Question
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.judgement.place_repair import _spot
from loomproof.judgement.place_words import metres, part_words
from loomproof.locating.routes import parts_of
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import End, Loom, Wire
from loomproof.measuring.events import finish
from loomproof.measuring.place_repeats import repeats_for
from loomproof.measuring.placing import NO_FARADS
from loomproof.planning.request import Request
from loomproof.reports.ruler import _in_characters, told
from loomproof.results.document import WireEntry
from loomproof.results.places import BundlePart, WirePlace
from tests.cleared import cleared
from tests.locating.placing_bench import FARADS, FaradBench, farad_bench, placed, zeroed
from tests.locating.test_placing import _loom, _one


def test_a_stretch_that_passes_a_fork_names_both_bundles_with_how_far_into_each() -> None:
    place = _one(placed(_loom(), "open W2 at ECU:2 1.2 m")[0].document)[1]
    (stretch,) = place.stretches
    trunk, branch = stretch.passes
    assert (trunk.bundle, trunk.begin, branch.bundle, branch.begin) == ("trunk", "fork", "branch", "fork")
    # What lies on both sides of the fork together is all of the stretch: nothing is cut off.
    assert trunk.high_m + branch.high_m == pytest.approx(stretch.high_m - stretch.low_m)
    for part in stretch.passes:
        said = re.search(rf"within (\d\.\d\d) m of fork in bundle {part.bundle}", place.text)
        assert said
        assert 0.0 <= float(said[1]) - part.high_m <= 0.01, "rounded up, GUM 7.2.6"


def test_a_touch_that_passes_a_fork_is_one_place() -> None:
    place = _one(placed(_loom(), "leak 0.4 W1 at ECU:1 1.2 m W2 at ECU:2 1.2 m")[0].document)[1]
    assert place.answer == "wire"
    assert [stretch.wire for stretch in place.stretches] == ["W1", "W2"]
    for stretch in place.stretches:
        assert stretch.low_m < 0.8 < stretch.high_m  # counted from PUMP
        assert [part.bundle for part in stretch.passes] == ["trunk", "branch"]


BUNDLES = {
    "one": Bundle("one", 1.0, "A", "f"),
    "two": Bundle("two", 0.2, "g", "f"),
    "three": Bundle("three", 0.5, "g", "B"),
}


@pytest.mark.parametrize(
    ("low_m", "high_m", "parts"),
    [
        (0.3, 0.5, (BundlePart("one", "A", 0.3, 0.5),)),
        (1.05, 1.15, (BundlePart("two", "g", 0.05, 0.15),)),
        (0.9, 1.1, (BundlePart("one", "f", 0.0, 0.1), BundlePart("two", "f", 0.0, 0.1))),
        (
            0.9,
            1.3,
            (
                BundlePart("one", "f", 0.0, 0.1),
                BundlePart("two", "g", 0.0, 0.2, whole=True),
                BundlePart("three", "g", 0.0, 0.1),
            ),
        ),
        (1.6, 1.8, (BundlePart("three", "B", 0.0, 0.1), BundlePart("", "C", 0.2, 0.3))),
    ],
)
def test_parts_of_a_stretch_by_hand(low_m: float, high_m: float, parts: tuple[BundlePart, ...]) -> None:
    """Bundles of 1.0, 0.2 and 0.5 m in a wire of 2.0 m from A: 0.3 m of tail are left at C."""
    wire = Wire("W", End("A", "1"), End("C", "1"), length_m=2.0, bundle="one two three")
    found = parts_of(BUNDLES, wire, low_m, high_m)
    assert [(one.bundle, one.begin, one.whole) for one in found] == [
        (one.bundle, one.begin, one.whole) for one in parts
    ]
    for one, other in zip(found, parts, strict=True):
        assert (one.low_m, one.high_m) == pytest.approx((other.low_m, other.high_m))


def _without_length(name: str) -> Loom:
    loom = _loom()
    return replace(loom, wires=tuple(replace(w, length_m=None) if w.name == name else w for w in loom.wires))


@pytest.mark.parametrize(("at_m", "share"), [(0.6, 0.3), (1.0, 0.5)])
def test_without_a_length_the_place_is_a_share_of_the_wire(at_m: float, share: float) -> None:
    described = _without_length("W2")
    adapter = zeroed(described)
    request = Request(described, adapter, "places", "2026-01-01T00:00:00Z")
    bench = farad_bench(_loom(), f"open W2 at ECU:2 {at_m} m")  # the wire itself has its two metres
    document = finish(prove(request, bench, cleared(described, bench, adapter, meter_v=0.0))).document
    place = _one(document)[1]
    (stretch,) = place.stretches
    assert (place.answer, stretch.as_share, stretch.wire_m, bench.farad_readings) == ("wire", True, 1.0, 2)
    low, high = (stretch.low_m, stretch.high_m)
    if stretch.end != End("ECU", "2"):
        low, high = 1.0 - high, 1.0 - low
    assert low < share < high
    assert high - low < 0.3
    assert "of its length from" in place.text
    assert "no length is given: as a share of the wire" in place.text


def test_in_a_branched_net_without_a_length_no_place_is_told() -> None:
    place = _one(placed(_without_length("F2"), "open F1 at ECU:5 0.3 m")[0].document)[1]
    assert place.answer == "none"
    assert "no length is given for F2" in place.reason


class _Restless(FaradBench):
    """A bench on which some cavities do not settle."""

    restless: frozenset[End] = frozenset()

    def _answer(self, question: Question) -> Answer:
        answer = super()._answer(question)
        if isinstance(question, Capacitance):
            cavities = list(_loom().cavities)
            if any(question.a >> cavities.index(end) & 1 for end in self.restless):
                return None
        return answer


def _restless(*ends: End) -> tuple[Outcome, FaradBench]:
    """Prove the loom with W2 broken 0.6 m from ECU:2, where these ends give no capacitance."""
    loom = _loom()
    bench = _Restless(farad_bench(loom, "open W2 at ECU:2 0.6 m").scanner, FARADS)
    bench.restless = frozenset(ends)
    request = Request(loom, zeroed(loom), "places", "2026-01-01T00:00:00Z")
    return finish(prove(request, bench, cleared(loom, bench, request.adapter, meter_v=0.0))), bench


def test_beside_a_piece_that_gives_nothing_three_sound_wires_are_read() -> None:
    outcome, bench = _restless(End("PUMP", "2"))
    assert bench.farad_readings == 2 + 3
    wires = sorted(min(piece.ends) for piece in outcome.measured.sound_farads)
    assert wires == [End("ECU", "1"), End("ECU", "3"), End("ECU", "4")]
    # By hand: three wires of two metres each say what a metre has.
    f_per_m = sum(piece.farad for piece in outcome.measured.sound_farads) / 6.0
    place = _one(outcome.document)[1]
    assert place.answer == "wire"
    assert (place.readings, f"{f_per_m * 1e12:.0f} pF/m learned from 3 sound wires" in place.basis) == (
        4,
        True,
    )
    (stretch,) = place.stretches
    assert stretch.low_m < 0.6 < stretch.high_m


def test_where_none_of_the_wires_beside_it_can_be_read_its_picofarads_are_assumed() -> None:
    ends = [End("PUMP", "2"), *(End("ECU", cavity) for cavity in "134")]
    outcome, bench = _restless(*ends)
    assert (outcome.measured.sound_farads, bench.farad_readings) == ((), 5)
    place = _one(outcome.document)[1]
    assert "100 pF/m assumed" in place.basis


def test_where_no_piece_can_be_read_the_reason_is_told() -> None:
    outcome, bench = _restless(End("ECU", "2"), End("PUMP", "2"))
    place = _one(outcome.document)[1]
    assert (place.answer, place.reason, bench.farad_readings) == ("none", NO_FARADS, 2)


LENGTHS = st.floats(0.0, 9.0)
WIRE = WireEntry(name="W", ends=(End("A", "x"), End("B", "y")))


def _numbers(text: str) -> list[float]:
    return [float(figure) for figure in re.findall(r"\d+(?:\.\d+)?", text)]


@given(LENGTHS, LENGTHS)
@example(0.31, 0.46)
@example(0.3051, 0.4649)
@example(0.1007, 0.0)
@example(0.284, 0.2)
def test_what_is_printed_of_an_interval_leaves_out_nothing_of_it(one_m: float, other_m: float) -> None:
    """Middle ± half, low to high, within so much: rounded outwards (JCGM 100:2008, 7.2.6) by 2 cm at most."""
    low_m, high_m = sorted((one_m, other_m))
    middle, half = _numbers(metres(low_m, high_m))
    place = WirePlace("W", End("A", "x"), low_m, high_m, 0.95, wire_m=10.0)
    reach = [_numbers(_spot(place))[1:], _numbers(told(place, {"W": WIRE}))]
    for low, high in ((middle - half, middle + half), *reach):
        assert low_m - 0.021 <= low <= low_m + 1e-7
        assert high_m - 1e-7 <= high <= high_m + 0.021
    within = part_words(BundlePart("trunk", "fork", 0.0, high_m))
    assert high_m - 1e-7 <= _numbers(within)[0] <= high_m + 0.011


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
@example(0.285, 0.294)
def test_shares_of_a_wire_are_printed_outwards(one: float, other: float) -> None:
    low, high = sorted((one, other))
    place = WirePlace("W", End("A", "x"), low, high, 0.95, wire_m=1.0, as_share=True)
    for said in (_numbers(_spot(place))[1:], _numbers(told(place, {"W": WIRE}))):
        assert 100 * low - 1.001 <= said[0] <= 100 * low + 1e-5
        assert 100 * high - 1e-5 <= said[1] <= 100 * high + 1.001


@given(st.floats(1e-4, 1.0), st.floats(0.01, 1.0), st.floats(0.01, 0.5))
def test_what_forbids_a_closeness_is_printed_no_smaller_than_it_is(
    fixed_u_ohm: float, ohm_per_m: float, share: float
) -> None:
    least_m = fixed_u_ohm / ohm_per_m
    said = repeats_for(share * least_m, ohm_per_m, 0.001, fixed_u_ohm).said
    assert least_m - 1e-7 <= float(said.split("leave ± ")[1].removesuffix(" m")) <= least_m + 0.011


@given(LENGTHS, LENGTHS)
def test_a_ruler_of_characters_leaves_out_nothing(one_m: float, other_m: float) -> None:
    low_m, high_m = sorted((one_m, other_m))
    place = WirePlace("W", End("A", "x"), low_m, high_m, 0.95, wire_m=9.0)
    bar = _in_characters(place, {"W": WIRE}).split("|")[1]
    assert bar.index("#") / len(bar) * 9.0 <= low_m + 1e-6
    assert (bar.rindex("#") + 1) / len(bar) * 9.0 >= high_m - 1e-6
