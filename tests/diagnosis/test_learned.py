"""What confirmed causes teach: against published predictions, and what they may never change."""

from __future__ import annotations

from collections import Counter
from dataclasses import fields, replace
from pathlib import Path

import pytest

from loomproof.diagnosis import explain, learned
from loomproof.diagnosis.candidates import Candidate, candidates
from loomproof.diagnosis.learned import Case, learn, weighed
from loomproof.diagnosis.seen import Thing, What
from loomproof.diagnosis.taught import counted, taught
from loomproof.diagnosis.weights import weight_table, weights
from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.results.findings import Alternative, Finding
from loomproof.results.measured import Measured
from tests.diagnosis.injector import Bench, Injected

SHORT = Injected("short", ends=(End("LAMP", "1"), End("LAMP", "2")))


@pytest.fixture(scope="module")
def lamp(fixtures: Path) -> Loom:
    return load(fixtures / "tail_lamp").loom


def _found(loom: Loom, fault: Injected) -> Finding:
    bench = Bench(loom)
    (finding,) = explain(loom, Measured(bench.build(), bench.build([fault]), complete=True))
    return finding


@pytest.fixture(scope="module")
def broken(lamp: Loom) -> Finding:
    return _found(lamp, Injected("open", wires=("W2",)))


@pytest.mark.parametrize(
    ("found", "predicted"),
    [
        # The rule of succession (Laplace): after y of n with a uniform prior the next is so with
        # (y + 1) / (n + 2). A. Gelman et al., Bayesian Data Analysis, 3rd ed., 2.1 and 2.4.
        ((6, 3), (7 / 11, 4 / 11)),
        # The poll of section 3.4 of the same book: 727, 583 and 137 of 1447 people; with a uniform prior the
        # posterior is Dirichlet(728, 584, 138), whose means predict the next answer.
        ((727, 583, 137), (728 / 1450, 584 / 1450, 138 / 1450)),
    ],
)
def test_where_all_cases_ask_the_same_it_is_the_published_dirichlet_multinomial(
    monkeypatch: pytest.MonkeyPatch, found: tuple[int, ...], predicted: tuple[float, ...]
) -> None:
    table = replace(
        weights(),
        bound_learn_kind=0,  # all alike before
        bound_learn_scale=10**6,  # so that costs in thousandths round nothing that counts
        bound_learn_most=10**9,
        bound_learn_cases_all=len(found),
        bound_learn_least=0,  # the book's rule has no least number of cases
    )
    monkeypatch.setattr(learned, "weights", lambda: table)
    among = tuple(Candidate(f"cause {n}", (Thing(What.WIRE, f"W{n}"),)) for n in range(len(found)))
    cases = [Case("", one, among) for one, count in zip(among, found, strict=True) for _ in range(count)]
    now = [each.now for each in weighed(among, learn(cases), "")]
    assert now == pytest.approx(predicted, rel=2e-3)


def test_nothing_confirmed_changes_nothing(lamp: Loom, broken: Finding) -> None:
    assert learn([]) is None
    assert taught(lamp, [broken], None) == (broken,)
    other = learn([Case("OTHER", Candidate("leak"), (Candidate("leak"), Candidate("added_part")))])
    assert taught(lamp, [broken], other) == (broken,), "what was never in question here has no say"


def test_what_was_confirmed_comes_first_and_nothing_else_changes(lamp: Loom, broken: Finding) -> None:
    among = candidates(broken)
    assert Counter(one.cause for one in among) == {"bad_contact": 2, "broken_wire": 1, "adapter_lead": 2}
    (wire,) = (one for one in among if one.cause == "broken_wire")
    lesson = learn([Case(lamp.part_number or lamp.name, wire, among)] * 6)
    (told,) = taught(lamp, [broken], lesson)
    assert told.places[0].startswith("along W2")
    assert sorted(told.places) == sorted(broken.places)
    assert told.repair[0].startswith(
        f"Look first at W2 (black/red) (broken wire): anywhere on {lamp.part_number or lamp.name} it was "
        "confirmed in 6 of 6 repairs in which it could have been."
    )
    assert told.repair[1:] == broken.repair
    changed = {
        field.name for field in fields(Finding) if getattr(told, field.name) != getattr(broken, field.name)
    }
    assert changed == {"places", "repair"}
    assert told.identity == broken.identity


def test_where_two_places_were_alike_what_turned_them_is_said(lamp: Loom, broken: Finding) -> None:
    """Three confirmed repairs turn the order of two contacts: the repair says so, and on what."""
    among = candidates(broken)
    family = lamp.part_number or lamp.name
    (lamps,) = (one for one in among if one.cause == "bad_contact" and one.connector == "LAMP")
    lesson = learn([Case(family, lamps, among)] * 3)
    (told,) = taught(lamp, [broken], lesson)
    assert told.places[0].startswith("LAMP:2")
    assert told.repair[0].startswith(
        f"Look first at LAMP:2 (bad contact): at LAMP of {family} it was confirmed in 3 of 3 repairs in"
    )
    (costs,) = (
        each.costs
        for each in weighed(among, lesson, family)
        if list(map(str, each.candidate.things)) == ["BODY:2"]
    )
    assert "; ".join(map(counted, costs)) == (
        f"on any loom: 3 of 3; anywhere on {family}: 3 of 3; at BODY of {family}: 0 of 3"
    )


def test_one_and_two_odd_cases_turn_nothing_over(lamp: Loom, broken: Finding) -> None:
    family, among = lamp.part_number or lamp.name, candidates(broken)
    short = candidates(_found(lamp, SHORT))
    for odd in among:
        for count in (1, 2):
            lesson = learn([Case(family, odd, among)] * count)
            assert lesson is not None
            assert {cost.change for cost in lesson.costs} == {0.0}
            assert taught(lamp, [broken], lesson) == (broken,)
    # Nor do they where another cause has been confirmed often: of what it was never in question beside.
    (wire,) = (one for one in among if one.cause == "broken_wire")
    often = [Case(family, short[0], short)] * 9
    assert taught(lamp, [broken], learn([*often, *[Case(family, wire, among)] * 2])) == (broken,)
    (told,) = taught(lamp, [broken], learn([*often, *[Case(family, wire, among)] * 3]))
    assert told.repair[0].startswith("Look first at W2"), "the third turns it"
    # Two of one and one of another, all against the first, put nothing before it.
    mixed = [Case(family, wire, among)] * 2 + [Case(family, among[-1], among)]
    assert taught(lamp, [broken], learn(mixed)) == (broken,)


def test_a_connector_teaches_of_itself(lamp: Loom, broken: Finding) -> None:
    among = candidates(broken)
    (lamps,) = (one for one in among if one.cause == "bad_contact" and one.connector == "LAMP")
    lesson = learn([Case(lamp.part_number or lamp.name, lamps, among)] * 4)
    share = {each.candidate: each.now for each in weighed(among, lesson, lamp.part_number or lamp.name)}
    (body,) = (one for one in among if one.cause == "bad_contact" and one.connector == "BODY")
    assert share[lamps] > 1.5 * share[body]
    (told,) = taught(lamp, [broken], lesson)
    assert told.places[0].startswith("LAMP:2")


def test_no_number_of_cases_moves_a_cost_beyond_the_bound(broken: Finding) -> None:
    among = candidates(broken)
    lesson = learn([Case("F", among[-1], among)] * 1000)
    assert lesson is not None
    most = weights().bound_learn_most / 1000
    assert max(abs(cost.change) for cost in lesson.costs) <= most
    now = [each.now for each in weighed(among, lesson, "F")]
    before = [each.before for each in weighed(among, None, "F")]
    assert min(now) > 0.0
    # Two moved against each other stay below what parts explanations with another count of faults.
    costs = {row.name: row.cost for row in weight_table()}
    assert 2 * weights().bound_learn_most < 2 * costs["open_wire"] - costs["open_splice"]
    assert now[0] / now[-1] > before[0] / before[-1] * 2.718 ** (-2 * most / 0.05) * 0.99


def test_places_that_readings_speak_against_stay_behind(lamp: Loom) -> None:
    finding = _found(lamp, SHORT)
    at = next(n for n, one in enumerate(finding.alternatives) if one.wires and not one.cavities)
    against = Alternative("they touch at LAMP", "touching", (End("LAMP", "5"), End("LAMP", "6")))
    told = (*finding.alternatives[: at + 1], against, *finding.alternatives[at + 1 :])
    finding = replace(finding, alternatives=told)
    home = Candidate("touching", tuple(Thing(What.CAVITY, end=end) for end in against.cavities))
    assert home not in candidates(finding)
    among = (*candidates(finding), home)
    (taught_so,) = taught(lamp, [finding], learn([Case(lamp.name, home, among)] * 50))
    assert taught_so.alternatives[-1] == against
