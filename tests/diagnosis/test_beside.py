"""Parts that conduct too well: the part, a path across it, or one elsewhere; by parallel and series sums.

R1 and R2 of 470 Ω lie from A:2 to A:4 and from A:4 to A:6. A path of 50 Ω from A:2 to A:6 makes 47.5 Ω of the
940 Ω there, and of each part 470 Ω beside 520 Ω: 246.9 Ω.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import pytest

from loomproof.diagnosis import explain
from loomproof.loom.model import Component, ComponentKind, end_of, ends_of
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, JudgedDiode, Measured, Path
from tests.diagnosis.test_wiring_faults import EXPECTED, LOOM


def resistor(name: str, a: str, b: str, ohm: float = 470.0) -> Component:
    return Component(name, ComponentKind.RESISTOR, (("1", end_of(a)), ("2", end_of(b))), ohm, 5.0)


R1, R2 = resistor("R1", "A:2", "A:4"), resistor("R2", "A:4", "A:6")
D1 = Component("D1", ComponentKind.DIODE, (("A", end_of("A:2")), ("K", end_of("A:4"))))


def low(name: str, a: str, b: str, ohm: float) -> Judged:
    return Judged(end_of(a), end_of(b), ohm, 1.0, 470.0, 494.0, Decision.FAIL, 446.0, name)


def both(*readings: str) -> tuple[Path, ...]:
    """Return ``A:2 A:6 47.5`` readings both ways round; one that ends in > is read one way only."""
    paths = []
    for text in readings:
        a, b, ohm, *one = text.split()
        paths.append(Path(end_of(a), end_of(b), float(ohm), 1.0))
        if not one:
            paths.append(Path(end_of(b), end_of(a), float(ohm), 1.0))
    return tuple(paths)


def told(
    *beside: str,
    parts: Sequence[Component] = (R1, R2),
    judged: Sequence[Judged] = (low("R1", "A:2", "A:4", 246.9),),
    diodes: Sequence[JudgedDiode] = (),
) -> tuple[Finding, ...]:
    return explain(
        replace(LOOM, components=tuple(parts)),
        Measured(
            EXPECTED,
            EXPECTED,
            complete=True,
            judged=tuple(judged),
            diodes=tuple(diodes),
            beside=both(*beside),
        ),
    )


WHOLE = ("A:2 A:4 246.9", "A:2 A:6 47.5", "A:4 A:6 246.9")


def test_a_path_elsewhere_is_told_where_most_conductance_is_too_much() -> None:
    (finding,) = told(*WHOLE)
    assert finding.cause == "added_part"
    assert set(finding.cavities) == set(ends_of("A:2 A:6"))
    assert finding.components == ("R1",)
    assert finding.evidence[0].measured_ohm == 47.5
    part = finding.alternatives[-1]
    assert (part.cause, part.components, part.cavities) == ("wrong_value", ("R1",), ends_of("A:2 A:4"))
    assert part.text == "Resistor R1 reads too low: 470 Ω is right, and no path is beside it"
    assert part.tell_apart == "Take R1 out and read again: a path that stays is the other."


def test_what_is_told_beside_a_part_is_no_second_finding_where_it_was_read_as_a_path() -> None:
    across = Path(end_of("A:2"), end_of("A:6"), 48.0, 1.0)
    (finding,) = explain(
        replace(LOOM, components=(R1, R2)),
        Measured(
            EXPECTED,
            EXPECTED,
            complete=True,
            judged=(low("R1", "A:2", "A:4", 246.9),),
            beside=both(*WHOLE),
            leaks=(across,),
        ),
    )
    assert finding.cause == "added_part"


def test_two_parts_that_one_path_explains_are_told_with_it_once() -> None:
    (finding,) = told(*WHOLE, judged=(low("R1", "A:2", "A:4", 246.9), low("R2", "A:4", "A:6", 246.9)))
    assert finding.cause == "added_part"
    assert set(finding.components) == {"R1", "R2"}


@pytest.mark.parametrize(
    "beside",
    [
        (),
        ("A:2 A:4 246.9",),
        ("A:2 A:4 246.9 >", "A:2 A:6 47.5"),
        ("A:2 A:6 47.5", "A:4 A:6 246.9"),
        # The path lies across R1 itself: 470 Ω beside 520 Ω there, and all else reads as it follows.
        ("A:2 A:4 246.9", "A:2 A:6 716.9", "A:4 A:6 470"),
        ("A:2 A:4 1.9", "A:2 A:6 1.0", "A:4 A:6 470"),
        # Only where it is clearly more, 1.3 times, is another place likelier.
        ("A:2 A:4 246.9", "A:2 A:6 303", "A:4 A:6 470"),
    ],
)
def test_without_a_better_place_it_is_the_part(beside: tuple[str, ...]) -> None:
    """Too much at R1: 1/246.9 - 1/446.5 = 1.81 mS; at 303 Ω from A:2 to A:6 1/303 - 1/893 = 2.18 mS."""
    (finding,) = told(*beside)
    assert (finding.cause, finding.components) == ("wrong_value", ("R1",))


def test_a_place_of_clearly_more_is_likelier() -> None:
    """At 270 Ω: 1/270 - 1/893 = 2.58 mS, 1.43 times what is too much at R1."""
    (finding,) = told("A:2 A:4 246.9", "A:2 A:6 270", "A:4 A:6 470")
    assert finding.cause == "added_part"
    assert set(finding.cavities) == set(ends_of("A:2 A:6"))


def test_the_worse_way_round_counts() -> None:
    """A diode across gives the one way what it gives not the other: that is no path."""
    one_way = (*both("A:2 A:4 246.9", "A:4 A:6 470"), *both("A:2 A:6 47.5 >", "A:6 A:2 800 >"))
    (finding,) = explain(
        replace(LOOM, components=(R1, R2)),
        Measured(EXPECTED, EXPECTED, True, judged=(low("R1", "A:2", "A:4", 246.9),), beside=one_way),
    )
    assert finding.cause == "wrong_value"


def test_a_place_that_reads_alike_is_named_as_well() -> None:
    """R3 of 2 Ω joins A:6 to A:3: what lies from A:2 to A:6 reads nearly so from A:2 to A:3."""
    small = resistor("R3", "A:6", "A:3", 2.0)
    (finding,) = told(*WHOLE, "A:2 A:3 49.5", "A:3 A:6 2", "A:3 A:4 247", parts=(R1, R2, small))
    assert finding.cause == "added_part"
    named = [set(other.cavities) for other in finding.alternatives if "behind built-in parts" in other.text]
    assert set(ends_of("A:2 A:3")) in named
    # 1/50.2 - 1/892 is 5.7 % less than 1/47.5 - 1/893: more than two places alike differ by.
    (finding,) = told(*WHOLE, "A:2 A:3 50.2", "A:3 A:6 2", "A:3 A:4 247", parts=(R1, R2, small))
    named = [set(other.cavities) for other in finding.alternatives if "behind built-in parts" in other.text]
    assert set(ends_of("A:2 A:3")) not in named


@pytest.mark.parametrize(("ohm", "cause"), [(100.0, "added_part"), (1.9, "shorted_part")])
def test_a_diode_that_lets_back_what_no_diode_does_has_a_path_beside_it(ohm: float, cause: str) -> None:
    """Below two ohms it is the diode, which went short."""
    read = JudgedDiode("D1", end_of("A:2"), end_of("A:4"), 0.4, ohm, "ohm", Decision.FAIL, reversed=False)
    beside = ("A:2 A:4 30 >", f"A:4 A:2 {ohm} >")
    (finding,) = told(*beside, parts=(D1,), judged=(), diodes=(read,))
    assert finding.cause == cause
    assert finding.components == ("D1",)
    if cause == "added_part":
        assert finding.evidence[0].measured_ohm == ohm


def test_a_part_beside_the_diode_that_reads_wrongly_may_be_wrong_itself() -> None:
    """R9 of 470 Ω across D1 reads 100 Ω as well: of the two the resistor may have gone low."""
    across = resistor("R9", "A:2", "A:4")
    read = JudgedDiode("D1", end_of("A:2"), end_of("A:4"), 0.4, 100.0, "ohm", Decision.FAIL, reversed=False)
    found = told(
        "A:2 A:4 30 >",
        "A:4 A:2 100 >",
        parts=(D1, across),
        judged=(low("R9", "A:4", "A:2", 100.0),),
        diodes=(read,),
    )
    assert "added_part" not in {finding.cause for finding in found}


def test_a_part_that_reads_open_conducts_too_well_nowhere() -> None:
    open_part = replace(low("R1", "A:2", "A:4", math.inf), measured_ohm=math.inf)
    (finding,) = told(*WHOLE, judged=(open_part,))
    assert finding.cause == "missing_part"


def test_what_was_read_between_nets_that_parts_do_not_join_to_the_parts_own_is_no_place_for_its_path() -> (
    None
):
    """R3 of 470 Ω lies apart from R1 and R2; that 1 Ω were read across it says nothing about R1."""
    parts = (R1, R2, resistor("R3", "A:3", "A:5"))
    own = ("A:2 A:4 246.9", "A:4 A:6 470", "A:2 A:6 47.5")
    (alone,) = told(*own, parts=parts)
    (beside,) = told(*own, "A:3 A:5 1", parts=parts)
    assert beside == alone
    assert beside.cavities == ends_of("A:2 A:6")
