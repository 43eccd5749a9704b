"""A sample of the campaign over the real link, and of what would make it fail."""

from __future__ import annotations

from dataclasses import replace

from tests.campaign.diagnosis_link import Result, Tally, case_of, good_enough, run, table
from tests.campaign.link_looms import words

SEED, LOOMS, CAVITIES = 7, 24, 70


def test_faults_in_random_looms_are_told_over_the_link() -> None:
    tally = run(LOOMS, SEED, CAVITIES)
    lines = "\n".join(table(tally, SEED, LOOMS))
    assert len(tally.results) == LOOMS
    # Of so few looms one that is missed is more than the share of the whole campaign allows.
    assert good_enough(tally, slack=1), lines
    assert tally.told(1, 2, 3, 4, 5)[1] > LOOMS // 2
    assert sum(r.oracle == "invisible" for r in tally.results) > 2
    assert sum(r.unexplained_equals for r in tally.results) == 0, lines


def test_a_loom_is_drawn_from_its_number_alone() -> None:
    assert case_of(SEED, 3) == case_of(SEED, 3)
    assert case_of(SEED, 3) != case_of(SEED, 4)


def test_the_simulator_has_words_for_every_kind() -> None:
    kinds = {fault.kind: words(fault) for number in range(250) for fault in case_of(SEED, number, 60).faults}
    assert set(kinds) == {
        *("open", "contact", "short", "added", "swap", "move", "exchange", "mirror", "rotate", "shift"),
        *("splice", "fuse", "high", "high contact", "high splice", "slight", "leak", "part", "diode"),
        *("missing", "value", "reversed", "loose"),
    }


def test_wrong_verdicts_and_untold_faults_fail_the_campaign() -> None:
    told = Result(0, "open W1", "must fail", "fail", 1, (("open", True),), 0, 0)
    good = [replace(told, number=number) for number in range(300)]
    assert good_enough(Tally(good))
    missed = replace(told, asked=(("open", False),))
    assert good_enough(Tally([*good, missed]))
    assert not good_enough(Tally([*good, missed, missed]))
    several = [replace(one, count=3) for one in good]
    assert good_enough(Tally([*several, *[replace(missed, count=3)] * 9]))
    assert not good_enough(Tally([*several, *[replace(missed, count=3)] * 10]))
    for oracle, verdict in (("must fail", "undecided"), ("invisible", "undecided"), ("invisible", "fail")):
        assert not good_enough(Tally([*good, replace(told, oracle=oracle, verdict=verdict)]))
    for verdict in ("pass", "undecided", "fail"):
        assert good_enough(Tally([*good, replace(told, oracle="may be undecided", verdict=verdict)]))
    assert not good_enough(Tally([*good, replace(told, oracle="may be undecided", verdict="no verdict")]))
