"""What is done about a broken wire follows the place that was read for it."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Literal

import pytest

from loomproof.judgement.place_repair import parted_there
from loomproof.loom.model import End
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.places import Place, WirePlace
from tests.locating.placing_bench import placed
from tests.locating.test_placing import _loom, _one


def test_the_tape_is_cut_where_the_wire_is_broken() -> None:
    finding, place = _one(placed(_loom(), "open W2 at ECU:2 0.6 m")[0].document)
    (stretch,) = place.stretches
    low_m, high_m = stretch.low_m, stretch.high_m
    low, high = math.floor(low_m * 100) / 100, math.ceil(high_m * 100) / 100  # never narrower than it is
    assert finding.cause == "broken_wire"
    assert finding.repair[0] == (
        f"Cut the tape at {(low_m + high_m) / 2:.2f} m from ECU:2 ({low:.2f} to {high:.2f} m) and look there."
    )
    assert not any("to the wire just behind it" in step or "contacts of" in step for step in finding.repair)
    assert finding.repair[1].startswith("Join in a piece of 0.5 mm² blue wire")
    assert not any("contact" in step for step in finding.repair), "a new contact mends no break on the way"
    assert finding.repair[-1].startswith("Prove the whole loom again")


def test_a_contact_is_looked_at_alone_and_is_the_cause() -> None:
    finding, place = _one(placed(_loom(), "open PUMP:2")[0].document)
    assert place.answer in ("contact", "near")
    assert finding.repair[0].startswith("Before you open or cut anything: take ")
    assert finding.repair[1].startswith("Unplug and look at the contacts of PUMP:2: pushed back")
    assert not any("ECU:2" in step or "to the wire just behind it" in step for step in finding.repair[1:])
    if place.answer == "contact":
        assert (finding.cause, finding.cavities) == ("bad_contact", (End("PUMP", "2"),))
    else:
        assert finding.repair[2].startswith("Where that is sound, cut the tape at ")


def test_without_a_length_the_tape_is_cut_at_a_share_of_the_wire() -> None:
    loom = _loom()
    wires = tuple(replace(w, length_m=None) if w.name == "W2" else w for w in loom.wires)
    finding, place = _one(placed(replace(loom, wires=wires), "open W2 at ECU:2 1.0 m")[0].document)
    assert place.stretches[0].as_share
    assert finding.repair[0].startswith("Cut the tape at ")
    assert "% of W2 from " in finding.repair[0]


def test_without_a_place_one_probes_as_before() -> None:
    (finding,) = placed(_loom(), "open W2 at ECU:2 0.6 m", locate=False)[0].document.findings
    assert any(
        "at each end, from the back of the contact to the wire just behind it" in step
        for step in finding.repair
    )


SPOT = WirePlace("W1", End("A", "1"), 0.0, 0.04, 0.1), WirePlace("W2", End("A", "2"), 0.0, 0.05, 0.1)


@pytest.mark.parametrize(
    ("answer", "ends", "stretches", "steps"),
    [
        (
            "either",
            (End("A", "1"), End("A", "2")),
            SPOT,
            (
                "Look between A:1 and A:2 first; that decides.",
                "Where nothing touches there, cut the tape at 0.02 m from A:1 "
                "(0.00 to 0.04 m) and look there.",
            ),
        ),
        ("wire", (), SPOT, ("Cut the tape at 0.02 m from A:1 (0.00 to 0.04 m) and look there.",)),
        ("connector", (End("A", "1"), End("A", "2")), (), ()),
        ("none", (), (), ()),
    ],
)
def test_of_a_touch_the_first_step_is_what_decides(
    answer: Literal["either", "wire", "connector", "none"],
    ends: tuple[End, ...],
    stretches: tuple[WirePlace, ...],
    steps: tuple[str, ...],
) -> None:
    """Between plug and wire a look into the plug decides, which costs no tape (common practice)."""
    finding = Finding(Kind.SHORT, Severity.FAULT, "it", repair=("Prove again.",))
    place = Place(answer, "there", 0.95, ends, stretches)
    assert parted_there(finding, place).repair == (*steps, "Prove again.")


@pytest.mark.parametrize(
    ("fault", "answer", "heading"),
    [
        ("short ECU:1 ECU:2", "connector", ", in ECU"),
        ("short W1 at ECU:1 0.6 m W2 at ECU:2 0.6 m", "wire", ", on their way"),
    ],
)
def test_a_touch_is_headed_by_its_conductors_and_its_measured_place(
    fault: str, answer: str, heading: str
) -> None:
    """The cavities that were likeliest before stand in no heading that a place speaks against."""
    finding, place = _one(placed(_loom(), fault)[0].document)
    assert place.answer == answer
    assert finding.title.startswith("Short between W1 ")
    assert finding.title.endswith(heading)
    assert "ECU:1" not in finding.title
    same = [each for each in finding.alternatives if set(each.cavities) == set(place.ends)]
    assert not any(each.cause == "touching" for each in same), "the place is not told as another explanation"
