"""What a proof claims, of small looms measured in memory."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.bench.seam import Accuracy
from loomproof.electrics.couplings import DIODE_SPREAD_V
from loomproof.judgement.claims import claims_of
from loomproof.judgement.conclude import conclude
from loomproof.judgement.entries import connector_entries
from loomproof.loom.model import Connector, ConnectorKind, end_of
from loomproof.measuring.hookup_result import HookUpResult
from loomproof.results.document import ClaimEntry
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, OneWay, Path, SensedPart
from tests.judgement.small import D1, part_of
from tests.measuring.scanner_bench import OHMS


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
        "at the end of the guard band": limit + u,
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
        "at the end of the guard band": [Decision.UNDECIDED],
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


def test_a_diode_says_what_it_was_held_to_and_not_that_it_conducts_where_it_does_not() -> None:
    """Its bounds are those that the plan judged it by; runs of earlier versions say what they said."""
    part = part_of(parts=D1)
    bounds = next(each.part.forward_v for each in part.plan.parts)
    assert bounds is not None
    assert bounds == pytest.approx((0.7 - DIODE_SPREAD_V, 0.7 + DIODE_SPREAD_V))
    (sound,) = of_kind(claims(part), "component")
    assert f"drops {bounds[0]:.3g} V to {bounds[1]:.3g} V forward" in sound.rule
    assert sound.decision is Decision.PASS
    (read,) = part.measured.diodes
    turned = replace(read, forward=math.inf, backward=0.65, decision=Decision.FAIL, reversed=True)
    (claim,) = of_kind(claims(part, diodes=(turned,)), "component")
    assert claim.statement == "no current from A:1 to A:2, 0.65 V back: not as a sound one"
    (claim,) = of_kind(claims(part, diodes=(replace(read, forward=120.0, unit="ohm"),)), "component")
    assert "its voltage is not read" in claim.rule
    before = replace(part.request, with_bounds=False)
    (claim,) = of_kind(conclude(before, [part]).document.claims, "component")
    assert claim.rule.startswith("forward reading within its bounds, none backward")


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
    (claim,) = [
        one for one in claims(part_of(), judged=(open_reading,)) if one.open and len(one.cavities) == 2
    ]
    assert (claim.measured_ohm, claim.cavities) == (None, (reading.a, reading.b))


def test_what_parts_join_to_a_net_leads_on_to_whatever_that_is_joined_to() -> None:
    """R1 joins the nets of A:1 and A:2: a leak from A:1 to A:5 leads from A:2 to A:5 as well."""
    leak = Path(end_of("A:1"), end_of("A:5"), 5.0, 0.1)
    inside = Path(end_of("A:1"), end_of("A:2"), 5.0, 0.1)
    decided = {
        name: {
            claim.subject: claim.decision
            for claim in of_kind(claims(part_of(spare="5"), leaks=paths), "isolation")
            if claim.subject in ("A:1", "A:2", "A:5", "B:5")
        }
        for name, paths in {"none": (), "out": (leak,), "inside": (inside,)}.items()
    }
    good, bad = Decision.PASS, Decision.FAIL
    assert set(decided["none"].values()) == {good}
    assert {decided["out"][name] for name in ("A:2", "A:5")} == {bad}
    assert decided["out"]["B:5"] is good
    assert {decided["inside"][name] for name in ("A:5", "B:5")} == {good}


def test_splices_are_drawn_in_no_face() -> None:
    loom = part_of().request.loom
    splice = Connector("S1", ConnectorKind.SPLICE)
    entries = list(connector_entries(replace(loom, connectors=(splice, *loom.connectors))))
    assert [entry.name for entry in entries] == ["A", "B"]
    assert entries[0].colours == {"1": "BK", "2": "BK"}
