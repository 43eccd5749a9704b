"""What a proof owns not to have tested, sentence by sentence, of small looms measured in memory."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.judgement.not_tested import not_tested, watched_s
from loomproof.loom.model import Loom, end_of
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.planning.request import InsulationTest
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, JudgedDiode
from tests.judgement.small import part_of
from tests.measuring.scanner_bench import OHMS


def told(part: HookUpResult, left_in: tuple[str, ...] = (), **facts: object) -> list[str]:
    measured = replace(part.measured, **facts)  # type: ignore[arg-type]
    return list(not_tested(part.request, part.plan, measured, part, left_in))


def with_loom(part: HookUpResult, loom: Loom) -> HookUpResult:
    return replace(part, request=replace(part.request, loom=loom))


def starts(texts: list[str], words: str) -> list[str]:
    return [text for text in texts if text.startswith(words)]


def test_parts_that_are_out_are_named_unless_they_were_seen_in() -> None:
    part = part_of()
    (resistor,) = part.request.loom.components
    out = with_loom(part, replace(part.request.loom, components=(replace(resistor, fitted=False),)))
    words = "By the description these parts are out for the test"
    assert starts(told(out), words) == [f"{words}, and not tested: R1."]
    assert starts(told(out, ("R1",)), words) == []
    assert starts(told(part), words) == []


def test_an_insulation_test_that_was_left_out_is_told() -> None:
    part = part_of()
    asked = replace(part, request=replace(part.request, insulation=InsulationTest(500.0)))
    made = Insulation(500.0, 1000, 1e6, 0.1, math.inf, 1, Decision.PASS)
    words = "Insulation at 500 V: left out, because the loom does not pass without it."
    assert words in told(asked)
    assert words not in told(replace(asked, insulation=made))
    assert words not in told(part)


@pytest.mark.parametrize(("watch_us", "seconds"), [(None, 0.0), (500, 2.0)])
def test_a_watch_counts_only_on_a_bench_that_can_watch(watch_us: int | None, seconds: float) -> None:
    part = part_of(able=replace(OHMS, watch_us=watch_us))
    part = replace(part, request=replace(part.request, watch_s=2.0))
    assert watched_s(part.request, part.plan, part) == seconds
    words = "Contacts that come and go: nothing was watched"
    assert bool(starts(told(part), words)) is (seconds == 0.0)
    assert watched_s(part.request, replace(part.plan, vectors=()), part) == 0.0


def test_cavities_without_a_point_are_named_and_waived_ones_marked() -> None:
    part = part_of()
    a, b = end_of("A:1"), end_of("B:2")
    part = replace(part, request=replace(part.request, waived=(b,)))
    assert starts(told(part, untested=(a, b)), "Cavity") == [
        "Cavity A:1: no point went to it.",
        "Cavity B:2: no point went to it (waived).",
    ]


def test_steadiness_is_owned_up_to_where_nothing_was_asked_twice() -> None:
    part = part_of()
    words = "Steadiness: no reading was taken twice."
    assert words not in told(part), "sense asks twice"
    blind = replace(part, plan=replace(part.plan, vectors=()))
    assert words in told(blind)
    twice = replace(blind, request=replace(blind.request, repeats=2))
    assert words not in told(twice)


@pytest.mark.parametrize(
    ("share", "texts"),
    [
        (None, ("Isolation above the sense thresholds: not measured against 1.00 MΩ.",)),
        (0.5, ("Isolation between 500 kΩ and 1.00 MΩ: out of this meter's range.",)),
        (1.0, ()),
    ],
)
def test_isolation_says_how_far_it_was_measured(share: float | None, texts: tuple[str, ...]) -> None:
    part = part_of(parts="")
    wanted = part.request.loom.settings.isolation_ohm
    changed = replace(part, plan=replace(part.plan, isolation_ohm=None if share is None else share * wanted))
    assert tuple(starts(told(changed), "Isolation")) == texts
    if share is None:
        bare = replace(changed, plan=replace(changed.plan, vectors=()))
        assert starts(told(bare), "Isolation") == [
            "Isolation: not asked. Shorts between conductors would not show."
        ]


def test_a_bench_that_only_senses_says_what_passes_it() -> None:
    part = part_of()
    words = "Resistance: this bench only senses."
    assert not starts(told(part), words)
    assert starts(told(replace(part, plan=replace(part.plan, meter=None))), words)
    diode = JudgedDiode(
        "D1", end_of("A:1"), end_of("B:2"), 90.0, math.inf, "ohm", Decision.PASS, reversed=False
    )
    words = "Forward voltage of D1: read in ohms both ways round only."
    assert words in told(part, diodes=(diode,))
    assert words not in told(part, diodes=(replace(diode, unit="V"),))


def test_what_needs_a_voltage_of_its_own_is_owned_up_to() -> None:
    part = part_of(parts="")
    above, one_way = "Paths that conduct only above a voltage of their own", "Paths that conduct one way only"
    assert (len(starts(told(part), above)), len(starts(told(part), one_way))) == (1, 0)
    sensed = replace(part, plan=replace(part.plan, isolation_ohm=None))
    assert (len(starts(told(sensed), above)), len(starts(told(sensed), one_way))) == (0, 1)
    neither = replace(sensed, plan=replace(sensed.plan, vectors=()))
    assert (len(starts(told(neither), above)), len(starts(told(neither), one_way))) == (0, 0)


def test_isolation_across_parts_says_how_far_it_goes() -> None:
    words = "Isolation between conductors that parts join (R1): "
    part = part_of()
    assert starts(told(part), words) == [f"{words}only as far as the readings across them show."]
    unread = replace(part, plan=replace(part.plan, parts=(), bounds=()))
    assert starts(told(unread), words) == [f"{words}not asked."]
    assert not starts(told(part_of(parts="")), "Isolation between conductors")


def test_one_length_that_is_not_described_makes_a_limit_a_default() -> None:
    part = part_of()
    words = "Some lengths or sections are not in the description"
    first, *rest = part.plan.conductors
    assert rest
    for defaults, shown in (((False, False), False), ((True, False), True), ((True, True), True)):
        conductors = (
            replace(first, defaults_used=defaults[0]),
            *(replace(one, defaults_used=defaults[1]) for one in rest),
        )
        assert (
            bool(starts(told(replace(part, plan=replace(part.plan, conductors=conductors))), words)) is shown
        )
