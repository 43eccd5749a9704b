"""The verdict of what was measured, branch by branch: what fails, what is left open, and in which words."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from loomproof.electrics.expectation import expect
from loomproof.judgement.verdict import NOT_CHECKED, Demand, judgement_of, unexplained, verdict_of
from loomproof.loom.model import End, Loom, end_of
from loomproof.loom.reading import load
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.grade import Grade
from loomproof.results.insulation import Insulation
from loomproof.results.measured import (
    Decision,
    Judged,
    JudgedDiode,
    Measured,
    OneWay,
    SensedPart,
)
from loomproof.results.measured import (
    Path as Way,
)

A, B = end_of("BODY:2"), end_of("BODY:3")


@cache
def lamp() -> Loom:
    return load(Path(__file__).parents[2] / "fixtures" / "tail_lamp").loom


@cache
def sound() -> Measured:
    """Every net of the loom found as described."""
    nets = tuple(frozenset(net.cavities) for net in expect(lamp()).nets)
    return Measured(nets, nets, complete=True)


def said(measured: Measured, *findings: Finding, waived: tuple[End, ...] = ()) -> tuple[Verdict, str]:
    verdict, reasons = verdict_of(lamp(), measured, findings, waived)
    return verdict, "; ".join(reasons)


def finding(severity: Severity = Severity.FAULT, **places: object) -> Finding:
    return replace(Finding(Kind.OPEN, severity, "W1 is open"), **places)  # type: ignore[arg-type]


def test_sound_readings_pass_without_a_reason() -> None:
    assert said(sound()) == (Verdict.PASS, "")


def test_a_fault_fails_and_a_note_does_not() -> None:
    assert said(sound(), finding()) == (Verdict.FAIL, "W1 is open")
    assert said(sound(), finding(Severity.NOTE)) == (Verdict.PASS, "")


def test_a_sum_of_isolation_that_no_pair_explains_is_undecided() -> None:
    """Many high resistances in parallel fall below the limit that each of them is above."""
    limit = lamp().settings.isolation_ohm
    for ohm, verdict in (
        (limit / 2, Verdict.UNDECIDED),
        (limit, Verdict.UNDECIDED),
        (limit * 2, Verdict.PASS),
    ):
        assert said(replace(sound(), isolation_ohm=ohm))[0] is verdict
    measured = replace(sound(), isolation_ohm=limit * 1.1, isolation_pass_ohm=limit * 1.2)
    verdict, reason = said(measured)
    assert verdict is Verdict.UNDECIDED
    assert "isolation reads 1.10 MΩ" in reason
    assert "must read above 1.20 MΩ" in reason
    # A leak that a finding speaks of is the reason itself.
    leaking = replace(measured, leaks=(Way(A, B, limit / 2, 0.0),))
    assert said(leaking, finding(Severity.NOTE, cavities=(A,)))[0] is Verdict.PASS


def test_an_insulation_reading_too_near_its_limit_is_undecided() -> None:
    test = Insulation(500.0, 1000, 1e6, 0.1, 1.05e6, 4, Decision.UNDECIDED)
    verdict, reasons = verdict_of(lamp(), sound(), (), (), test)
    assert verdict is Verdict.UNDECIDED
    assert reasons[0].startswith("at 500 V all conductors in parallel read 1.05 MΩ, too near 1.00 MΩ")
    decided = replace(test, decision=Decision.PASS)
    assert verdict_of(lamp(), sound(), (), (), decided) == (Verdict.PASS, ())


def test_cavities_without_a_point_are_named_unless_waived() -> None:
    ends = lamp().cavities
    measured = replace(sound(), untested=ends[:2])
    assert said(measured) == (
        Verdict.INCOMPLETE,
        f"no point goes to {ends[0]}, {ends[1]}; waive them by name or test them",
    )
    assert said(measured, waived=ends[:1])[1].startswith(f"no point goes to {ends[1]};")
    assert said(measured, waived=ends[:2])[0] is Verdict.PASS
    assert len(ends) > 9
    eight, ten = (said(replace(sound(), untested=ends[:k]))[1] for k in (8, 10))
    assert "more" not in eight
    assert f"{ends[7]} and 2 more; waive" in ten
    assert str(ends[8]) not in ten


def test_nets_that_never_met_are_counted() -> None:
    ends = lamp().cavities
    one = replace(sound(), unmet=((ends[0], ends[1]),))
    assert said(one) == (
        Verdict.INCOMPLETE,
        f"the nets of {ends[0]} and {ends[1]} were never on the bench together: whether they touch is not "
        "known",
    )
    three = replace(sound(), unmet=((ends[0], ends[1]), (ends[0], ends[2]), (ends[1], ends[2])))
    assert "and 2 more pairs, were never" in said(three)[1]


def test_a_bench_that_can_neither_sense_nor_tell_apart_is_incomplete() -> None:
    blind = replace(sound(), complete=False)
    assert said(blind) == (Verdict.INCOMPLETE, "this bench can neither sense nor measure what was asked")
    read = Judged(A, A, 0.01, 0.001, 0.01, 0.1, Decision.PASS)
    verdict, reason = said(replace(blind, judged=(read,)))
    assert verdict is Verdict.INCOMPLETE
    assert "a short would not show" in reason
    lone = replace(blind, judged=(read,), expected=blind.expected[:1])
    assert said(lone)[0] is Verdict.PASS, "one conductor has nothing to be shorted to"


def odd_readings() -> dict[str, Measured]:
    """What no description explains, by what is said of it."""
    base = sound()
    net = next(net for net in base.expected if len(net) > 1)
    parted = tuple(frozenset({end}) for end in net)
    return {
        f"{min(net)}: its net is not as described": replace(
            base, groups=(*(each for each in base.groups if each != net), *parted)
        ),
        "R9: its reading is outside its limits": replace(
            base, judged=(Judged(A, B, 9.0, 0.1, 5.0, 6.0, Decision.FAIL, component="R9"),)
        ),
        f"{A} to {B} reads above its limit": replace(
            base, judged=(Judged(A, B, 9.0, 0.1, 0.1, 0.2, Decision.FAIL),)
        ),
        "D9: its readings are not those of a sound diode": replace(
            base, diodes=(JudgedDiode("D9", A, B, math.inf, 0.6, "V", Decision.FAIL, reversed=True),)
        ),
        "R9: nothing conducts where it belongs": replace(base, sensed_parts=(SensedPart("R9", A, B, False),)),
        f"{A} and {B} are joined by 47.0 Ω": replace(base, leaks=(Way(A, B, 47.0, 0.1),)),
        f"{A} conducts to {B} one way only": replace(base, one_way=(OneWay(A, B),)),
        f"{A}: its reading changed": replace(base, unstable=(A,)),
    }


@pytest.mark.parametrize("text", list(odd_readings()))
def test_a_reading_that_nothing_explains_is_never_part_of_a_pass(text: str) -> None:
    measured = odd_readings()[text]
    assert list(unexplained(lamp(), measured, ())) == [text]
    assert said(measured) == (Verdict.FAIL, f"{text}, and no finding explains it")


@pytest.mark.parametrize("text", list(odd_readings()))
def test_what_a_finding_speaks_of_is_explained(text: str) -> None:
    """Of a cavity itself, of one of its net, of a wire at it, or of the part; a note fails nothing."""
    measured = odd_readings()[text]
    if text[:2] in ("R9", "D9"):
        assert said(measured, finding(Severity.NOTE, components=(text[:2],)))[0] is Verdict.PASS
        assert said(measured, finding(Severity.NOTE, cavities=(A, B)))[0] is Verdict.FAIL
        return
    net = next(net for net in measured.expected if len(net) > 1)
    here = min(net) if "net" in text else A
    beside = next(end for each in measured.expected if here in each for end in each)
    wire = lamp().wires_at[here][0].name
    for places in ({"cavities": (here,)}, {"cavities": (beside,)}, {"wires": (wire,)}):
        assert said(measured, finding(Severity.NOTE, **places))[0] is Verdict.PASS
    elsewhere = next(
        end
        for end in lamp().cavities
        if all(end not in each for each in measured.expected if each & {here, A, B})
    )
    assert (
        said(measured, finding(Severity.NOTE, cavities=(elsewhere,), wires=("no wire",)))[0] is Verdict.FAIL
    )


def test_a_part_that_conducts_and_readings_within_limits_are_no_oddity() -> None:
    fine = replace(
        sound(),
        judged=(Judged(A, B, 5.0, 0.1, 5.0, 6.0, Decision.PASS, component="R9"),),
        diodes=(JudgedDiode("D9", A, B, 0.6, math.inf, "V", Decision.PASS, reversed=False),),
        sensed_parts=(SensedPart("R9", A, B, True),),
    )
    assert said(fine) == (Verdict.PASS, "")


def claim(
    decision: Decision,
    measured_ohm: float | None,
    limit_ohm: float = 0.12,
    lower_ohm: float | None = None,
    kind: str = "resistance",
) -> ClaimEntry:
    return ClaimEntry(
        kind=kind,  # type: ignore[arg-type]
        subject="A:1 to B:1",
        statement="0.1 Ω",
        decision=decision,
        rule="",
        cavities=(A, B),
        measured_ohm=measured_ohm,
        uncertainty_ohm=0.02,
        limit_ohm=limit_ohm,
        lower_limit_ohm=lower_ohm,
        bound_ohm=None if measured_ohm is None else measured_ohm + 0.02,
    )


METER = Demand(measures_ohms=True, meter_check="a resistor of 100 Ω", advice=("take the four-wire meter",))


@pytest.mark.parametrize(
    ("entry", "verdict", "reason"),
    [
        (claim(Decision.PASS, 0.05), Verdict.PASS, ""),
        (claim(Decision.UNDECIDED, 0.11), Verdict.PASS, ""),
        (claim(Decision.FAIL, 0.20), Verdict.FAIL, "A:1 to B:1: 0.1 Ω"),
        (
            claim(Decision.UNDECIDED, 0.13),
            Verdict.UNDECIDED,
            "A:1 to B:1: 0.130 Ω is above its limit 0.120 Ω, by less than the uncertainty 0.020 Ω",
        ),
        (
            claim(Decision.UNDECIDED, 9.99, 11.0, 10.0, "component"),
            Verdict.UNDECIDED,
            "A:1 to B:1: 9.99 Ω is below its limit 10.0 Ω, by less than the uncertainty 0.020 Ω",
        ),
        (claim(Decision.UNDECIDED, 10.01, 11.0, 10.0, "component"), Verdict.PASS, ""),
        (claim(Decision.UNDECIDED, None, kind="isolation"), Verdict.UNDECIDED, "A:1 to B:1: 0.1 Ω"),
    ],
)
def test_one_claim_gives_the_verdict_and_its_reason(entry: ClaimEntry, verdict: Verdict, reason: str) -> None:
    found = judgement_of(lamp(), sound(), (), [entry], METER)
    assert found.verdict is verdict
    assert found.reasons[:1] == ((reason,) if reason else ())
    assert ("take the four-wire meter" in found.reasons) is (verdict is Verdict.UNDECIDED)
    assert (found.grade is None) is (verdict is not Verdict.PASS)
    assert found.claims == (entry,)


def test_a_verdict_of_the_readings_stands_before_that_of_the_claims() -> None:
    found = judgement_of(lamp(), sound(), (finding(),), [claim(Decision.FAIL, 0.2)], METER)
    assert (found.verdict, found.reasons) == (Verdict.FAIL, ("W1 is open",))


@pytest.mark.parametrize(
    ("demand", "verdict", "grade", "demanded"),
    [
        (METER, Verdict.PASS, Grade.BENCH, Grade.BENCH),
        (replace(METER, grade=Grade.WIRE), Verdict.UNDECIDED, Grade.BENCH, Grade.WIRE),
        (replace(METER, measures_ohms=False), Verdict.PASS, Grade.CONNECTIONS, Grade.CONNECTIONS),
        (
            replace(METER, measures_ohms=False, grade=Grade.BENCH),
            Verdict.UNDECIDED,
            Grade.CONNECTIONS,
            Grade.BENCH,
        ),
    ],
)
def test_a_grade_below_what_is_demanded_is_no_pass(
    demand: Demand, verdict: Verdict, grade: Grade, demanded: Grade
) -> None:
    found = judgement_of(lamp(), sound(), (), [claim(Decision.UNDECIDED, 0.11)], demand)
    assert (found.verdict, found.grade, found.demanded) == (verdict, grade, demanded)
    if verdict is Verdict.UNDECIDED:
        assert f"reaches grade {grade}, where {demanded} is demanded" in found.reasons[0]
        assert found.reasons[1:] == METER.advice


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda demand: demand, False),
        (lambda demand: replace(demand, meter_check=""), True),
        (lambda demand: replace(demand, meter_check="", measures_ohms=False), False),
    ],
)
def test_a_meter_that_nothing_checked_is_said_with_the_grade(
    change: Callable[[Demand], Demand], told: bool
) -> None:
    found = judgement_of(lamp(), sound(), (), [claim(Decision.PASS, 0.05)], change(METER))
    assert found.grade_text.endswith(NOT_CHECKED) is told
