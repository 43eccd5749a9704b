"""What a proof claims and what it owns not to have tested, of small looms measured in memory."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.judgement.claims import claims_of
from loomproof.judgement.conclude import conclude
from loomproof.judgement.grading import grade_of, risk_of, shown_ohm
from loomproof.judgement.not_tested import not_tested, watched_s
from loomproof.loom.model import Loom, end_of
from loomproof.measuring.events import finish
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.measuring.measure import measure
from loomproof.planning.request import InsulationTest, Request
from loomproof.results.document import ClaimEntry
from loomproof.results.grade import Grade
from loomproof.results.insulation import Insulation
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, OneWay, Path, SensedPart
from tests.cleared import cleared
from tests.proof.scanner_bench import OHMS, loom_of, scanner_bench

R1 = "R1,resistor,1=A:1 2=B:2,100,5,\n"


@cache
def part_of(*faults: str, spare: str = "", parts: str = R1, able: Capabilities = OHMS) -> HookUpResult:
    """A loom of two wires and a resistor between their nets, measured on a simulated scanner."""
    loom = loom_of("1 2", parts, spare)
    bench = scanner_bench(loom, *faults, able=able)
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    return finish(measure(request, bench, cleared(loom, bench, meter_v=0.0)))


def claims(part: HookUpResult, **facts: object) -> tuple[ClaimEntry, ...]:
    measured = replace(part.measured, **facts)  # type: ignore[arg-type]
    return claims_of(part.plan, measured, part.capabilities, part.expectation)


def of_kind(found: tuple[ClaimEntry, ...], kind: str) -> list[ClaimEntry]:
    return [claim for claim in found if claim.kind == kind]


def test_a_sound_loom_claims_its_nets_joints_parts_and_isolation_once_each() -> None:
    """Two nets of two cavities, joined by R1: two continuities, two joints, one part, each net apart."""
    found = claims(part_of())
    assert [str(end) for claim in of_kind(found, "continuity") for end in claim.cavities] == [
        "A:1", "B:1", "A:2", "B:2",
    ]  # fmt: skip
    assert [claim.wires for claim in of_kind(found, "continuity")] == [("W1",), ("W2",)]
    assert [(claim.subject, claim.wires) for claim in of_kind(found, "resistance")] == [
        ("A:1 to B:1", ("W1",)),
        ("A:2 to B:2", ("W2",)),
    ]
    (resistor,) = of_kind(found, "component")
    assert resistor.subject == "R1"
    assert resistor.lower_limit_ohm == pytest.approx(95, abs=1)
    assert resistor.limit_ohm == pytest.approx(105, abs=1)
    assert len(of_kind(found, "stability")) == 1
    assert {claim.decision for claim in found} <= {Decision.PASS, Decision.UNDECIDED}


def test_a_lone_cavity_has_no_continuity_to_claim() -> None:
    found = claims(part_of(spare="5", parts=""))
    assert sorted(len(claim.cavities) for claim in of_kind(found, "continuity")) == [2, 2]
    apart = {claim.subject: claim for claim in of_kind(found, "isolation")}
    assert {"A:1", "A:2", "A:5", "B:5"} <= set(apart)
    assert all("but those that parts join" not in claim.statement for claim in apart.values())


@pytest.mark.parametrize(
    ("facts", "subject"),
    [
        ({"leaks": (Path(end_of("A:1"), end_of("A:5"), 5.0, 0.1),)}, "A:5"),
        ({"leaks": (Path(end_of("A:5"), end_of("B:5"), 5.0, 0.1),)}, "B:5"),
        ({"one_way": (OneWay(end_of("A:2"), end_of("B:5")),)}, "A:2"),
        ({"one_way": (OneWay(end_of("B:5"), end_of("A:2")),)}, "A:2"),
    ],
)
def test_a_path_found_makes_the_isolation_of_both_its_nets_fail(
    facts: dict[str, object], subject: str
) -> None:
    part = part_of(spare="5", parts="")
    sound = {claim.subject: claim.decision for claim in of_kind(claims(part), "isolation")}
    found = {claim.subject: claim for claim in of_kind(claims(part, **facts), "isolation")}
    assert sound[subject] is Decision.PASS
    assert found[subject].decision is Decision.FAIL
    assert found[subject].statement == "a path to another net was found"
    everything = found.get("all conductors")
    if everything is not None:
        assert (everything.decision, everything.statement) == (
            Decision.FAIL,
            "paths between conductors were found",
        )


def test_isolation_as_a_whole_is_claimed_where_it_was_asked_and_read() -> None:
    part = part_of(spare="5", parts="")
    limit, u = part.plan.isolation_ohm, part.plan.isolation_u_ohm
    assert limit is not None
    rows = {
        "not read": None,
        "below": limit * 0.5,
        "within the guard band": limit + 0.5 * u,
        "above": limit + 1.5 * u,
        "over range": math.inf,
    }
    decided = {
        name: [
            claim.decision for claim in claims(part, isolation_ohm=ohm) if claim.subject == "all conductors"
        ]
        for name, ohm in rows.items()
    }
    assert decided == {
        "not read": [],
        "below": [Decision.UNDECIDED],
        "within the guard band": [Decision.UNDECIDED],
        "above": [Decision.PASS],
        "over range": [Decision.PASS],
    }
    unasked = replace(part, plan=replace(part.plan, isolation_ohm=None))
    assert not [c for c in claims(unasked, isolation_ohm=1e9) if c.subject == "all conductors"]


def test_crossed_contacts_join_nothing_and_a_whole_net_beside_another_does() -> None:
    part = part_of(spare="5", parts="")
    whole = {claim.subject: claim for claim in claims(part, isolation_ohm=math.inf)}["all conductors"]
    assert whole.statement.startswith("each above ")
    one, two = (next(net for net in part.measured.expected if end_of(text) in net) for text in ("A:1", "A:2"))
    rest = tuple(net for net in part.measured.expected if net not in (one, two))
    crossed = (frozenset({end_of("A:1"), end_of("B:2")}), frozenset({end_of("A:2"), end_of("B:1")}), *rest)
    found = {c.subject: c for c in claims(part, isolation_ohm=math.inf, groups=crossed)}["all conductors"]
    assert found.decision is Decision.PASS
    assert found.statement.startswith("each conductor as found is above ")
    shorted = {c.subject: c for c in claims(part, isolation_ohm=math.inf, groups=(one | two, *rest))}
    assert shorted["all conductors"].decision is Decision.FAIL


def test_readings_that_changed_are_a_claim_that_fails() -> None:
    (steady,) = of_kind(claims(part_of()), "stability")
    (shaky,) = of_kind(claims(part_of(), unstable=(end_of("A:2"), end_of("A:1"))), "stability")
    assert (steady.decision, steady.cavities) == (Decision.PASS, ())
    assert (shaky.decision, shaky.cavities) == (Decision.FAIL, (end_of("A:1"), end_of("A:2")))


def test_a_diode_and_a_part_that_was_only_sensed_say_what_they_rest_on() -> None:
    ends = end_of("A:1"), end_of("B:2")
    volts = JudgedDiode("R1", *ends, 0.6, math.inf, "V", Decision.PASS, reversed=False)
    for diode, text in (
        (volts, "conducts from A:1 to B:2 only: 0.6 V, back no current"),
        (replace(volts, forward=120.0, unit="ohm"), "conducts from A:1 to B:2 only: 120 Ω, back no current"),
    ):
        found = claims(part_of(), diodes=(diode,), judged=())
        assert of_kind(found, "component")[0].statement == text
    for conducts, decision in ((True, Decision.PASS), (False, Decision.FAIL)):
        sensed = SensedPart("R1", *ends, conducts)
        (claim,) = of_kind(claims(part_of(), sensed_parts=(sensed,), judged=()), "component")
        assert claim.decision is decision
        assert ("nothing conducts" in claim.statement) is not conducts


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


def joint(
    kind: str, decision: Decision, measured: float, u: float, limit: float, lower: float | None = None
) -> ClaimEntry:
    return ClaimEntry(
        kind=kind,  # type: ignore[arg-type]
        subject=f"{kind} {measured:g}",
        statement="",
        decision=decision,
        rule="",
        measured_ohm=measured,
        uncertainty_ohm=u,
        limit_ohm=limit,
        lower_limit_ohm=lower,
        bound_ohm=measured + u,
    )  # fmt: skip


JOINT = joint("resistance", Decision.PASS, 0.05, 0.01, 0.12)
FAR = joint("resistance", Decision.UNDECIDED, 0.06, 0.1, 0.12)
PART = joint("component", Decision.PASS, 100.0, 0.5, 105.0, 95.0)
LOOSE = joint("component", Decision.UNDECIDED, 104.0, 2.0, 105.0, 95.0)


@pytest.mark.parametrize(
    ("entries", "untold", "ohms", "grade", "text"),
    [
        ((), (), True, Grade.WIRE, "nothing here has a resistance to be measured"),
        ((JOINT,), (), True, Grade.WIRE, "1 joint within its own limit"),
        ((JOINT, JOINT), (), True, Grade.WIRE, "2 joints within their own limits"),
        ((JOINT, PART), (), True, Grade.WIRE, "1 joint within its own limit; 1 part within its own limit"),
        ((FAR,), (), True, Grade.BENCH, "joints to 0.160 Ω: 1 of 1 limit lies beyond this bench"),
        ((JOINT, FAR), (), True, Grade.BENCH, "joints to 0.160 Ω: 1 of 2 limits lie beyond this bench"),
        (
            (JOINT, LOOSE, PART), (), True, Grade.BENCH,
            "1 joint within its own limit; limits of component 104 lie beyond this bench",
        ),
        (
            (JOINT,), ("L1", "L2"), True, Grade.CONNECTIONS,
            "nobody could tell L1, L2; 1 joint within its own limit",
        ),
        ((), (), False, Grade.CONNECTIONS, "joined and apart only, no resistance was measured"),
        (
            (JOINT,), ("L1",), False, Grade.CONNECTIONS,
            "joined and apart only, no resistance was measured; nobody could tell L1; "
            "1 joint within its own limit",
        ),
    ],
)  # fmt: skip
def test_a_grade_and_its_words(
    entries: tuple[ClaimEntry, ...], untold: tuple[str, ...], ohms: bool, grade: Grade, text: str
) -> None:
    assert grade_of(entries, untold, measures_ohms=ohms) == (grade, text)


def test_what_joints_are_shown_to_be_below_is_the_greatest_bound_not_decided() -> None:
    further = joint("resistance", Decision.UNDECIDED, 0.10, 0.1, 0.12)
    assert shown_ohm([JOINT, FAR, further]) == pytest.approx(0.20)
    assert shown_ohm([JOINT]) == 0.0


def test_a_part_whose_limits_lie_beyond_the_bench_is_off_as_often_as_two_sigma() -> None:
    """Said of it is y - U to y + U with k = 2: outside of it lie 4.55 % of a normal density (tables)."""
    assert risk_of([LOOSE]) == pytest.approx(0.0455, abs=5e-5)
    assert risk_of([LOOSE, JOINT]) == pytest.approx(0.0455, abs=5e-5)
    assert risk_of([LOOSE] * 30) == 1.0, "a sum of risks is no more than certainty"
    exact = joint("resistance", Decision.PASS, 0.05, 0.0, 0.12)
    assert risk_of([exact]) == 0.0


def test_a_proof_counts_faults_notes_and_what_is_undecided() -> None:
    for faults in ((), ("open W1",)):
        part = part_of(*faults)
        document = conclude(part.request, [part]).document
        grave = [finding for finding in document.findings if finding.severity == "fault"]
        assert document.counts.faults == len(grave)
        assert document.counts.notes == len(document.findings) - len(grave)
        assert bool(grave) is bool(faults)
        undecided = [claim for claim in document.claims if claim.decision is Decision.UNDECIDED]
        assert document.counts.undecided == len(undecided)
        assert (document.counts.connectors, document.counts.wires, document.counts.nets) == (2, 2, 2)


def test_a_document_states_what_the_bench_can_do() -> None:
    """Two-wire 0.1 Ω + 1 %, and four-wire figures only where the bench has four wires and they were asked."""
    plain = conclude(part_of().request, [part_of()]).document.bench
    assert (plain.accuracy_ohm, plain.accuracy_ratio) == (0.1, 0.01)
    assert (plain.four_wire_accuracy_ohm, plain.four_wire_accuracy_ratio) == (None, None)
    fine = replace(OHMS, four_wire=True, four_wire_accuracy=Accuracy(0.002, 0.0005))
    four = conclude(part_of(able=fine).request, [part_of(able=fine)]).document.bench
    assert (four.four_wire, four.four_wire_accuracy_ohm, four.four_wire_accuracy_ratio) == (
        True,
        0.002,
        0.0005,
    )
    bare = replace(OHMS, ohms=None, accuracy=None, diode=False)
    sensing = conclude(part_of(able=bare).request, [part_of(able=bare)]).document.bench
    assert (sensing.accuracy_ohm, sensing.accuracy_ratio, sensing.test_current_a) == (None, None, None)
    assert (plain.test_current_a, plain.test_voltage_v) == (0.01, 5.0)


def test_a_second_hook_up_ends_a_run_when_it_ends_itself() -> None:
    """Begun at 00:00:00 and 00:10:00, for 90 s and 5 s: the run ends at 00:10:05."""
    first = replace(part_of(), elapsed_s=90.0)
    second = replace(first, elapsed_s=5.0, request=replace(first.request, started="2031-05-04T00:10:00Z"))
    assert conclude(first.request, [first]).document.ended == "2031-05-04T00:01:30.000Z"
    assert conclude(first.request, [first, second]).document.ended == "2031-05-04T00:10:05.000Z"


def test_measured_and_sound_are_one_thing() -> None:
    """The base of these tests: nothing is wrong with the loom that they start from."""
    measured: Measured = part_of().measured
    assert measured.sound
    assert OHMS.sense_ohm is not None


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


JUDGED = Judged(end_of("A:1"), end_of("B:1"), 0.05, 0.02, 0.04, 0.12, Decision.PASS, wires=("W1",))
ACROSS = Judged(end_of("A:1"), end_of("B:2"), 100.0, 2.0, 100.0, 105.0, Decision.PASS, 95.0, "R1")


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        (JUDGED, "under its limit 0.120 Ω"),
        (
            replace(JUDGED, measured_ohm=0.11, decision=Decision.UNDECIDED),
            "under 0.130 Ω; its limit 0.120 Ω is beyond this bench",
        ),
        (
            replace(JUDGED, measured_ohm=0.13, decision=Decision.UNDECIDED),
            "reads above its limit 0.120 Ω, by less than the uncertainty",
        ),
        (replace(JUDGED, measured_ohm=0.2, decision=Decision.FAIL), "above its limit 0.120 Ω"),
        (ACROSS, "within its limits, 95.0 Ω to 105 Ω"),
        (
            replace(ACROSS, measured_ohm=104.0, decision=Decision.UNDECIDED),
            "between 102 Ω and 106 Ω; its limits, 95.0 Ω to 105 Ω, are beyond this bench",
        ),
        (
            replace(ACROSS, measured_ohm=106.0, decision=Decision.UNDECIDED),
            "reads outside its limits, 95.0 Ω to 105 Ω, by less than the uncertainty",
        ),
        (replace(ACROSS, measured_ohm=200.0, decision=Decision.FAIL), "outside its limits, 95.0 Ω to 105 Ω"),
        (
            replace(ACROSS, limit_ohm=math.inf, lower_ohm=500.0, measured_ohm=900.0),
            "no path under 500 Ω; whether R1 is there is not told",
        ),
        (
            replace(ACROSS, limit_ohm=math.inf, lower_ohm=500.0, measured_ohm=9.0, decision=Decision.FAIL),
            "a path under 500 Ω, which no sound part is",
        ),
    ],
)
def test_a_reading_says_what_it_decides_and_no_more(reading: Judged, text: str) -> None:
    (claim,) = [one for one in claims(part_of(), judged=(reading,)) if one.measured_ohm is not None]
    assert (claim.statement, claim.decision) == (text, reading.decision)
    assert claim.measured_ohm == reading.measured_ohm
    assert not claim.open
    open_reading = replace(reading, measured_ohm=math.inf, decision=Decision.FAIL)
    (claim,) = [one for one in claims(part_of(), judged=(open_reading,)) if one.open]
    assert (claim.measured_ohm, claim.cavities) == (None, (reading.a, reading.b))
