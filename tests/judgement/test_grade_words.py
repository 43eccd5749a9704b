"""A grade and its words, and how likely it hides a joint beyond what it says."""

from __future__ import annotations

import pytest

from loomproof.judgement.grading import grade_of, risk_of, shown_ohm
from loomproof.results.document import ClaimEntry
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision


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
