"""What findings say to the person at the bench: each sentence true of its own fault, and of no other."""

from __future__ import annotations

import pytest

from tests.diagnosis.test_wiring_faults import found

SHIFTED = "A:3 B:1 C:1, A:4 B:2, A:5 B:3, C:2, A:1, A:2, A:6"
"""Each contact of A two cavities on, W6 out of the housing."""


@pytest.mark.parametrize(
    ("groups", "how", "written"),
    [
        (
            "A:4 B:1 C:1, A:5 B:2, A:6 B:3, A:2 C:2, A:1, A:3",
            "mirrored",
            "was written from the wrong face of A",
        ),
        ("A:6 B:1 C:1, A:5 B:2, A:4 B:3, A:2 C:2, A:1, A:3", "rotated", "was begun at the wrong corner of A"),
        (SHIFTED, "shifted", "is a cavity or more off at A"),
    ],
)
def test_a_slip_of_a_whole_plug_says_how_it_was_written_down_wrong(
    groups: str, how: str, written: str
) -> None:
    """Only who looks at the other face mirrors; a wrong corner turns, and a wrong start shifts."""
    (finding,) = found(*groups.split(", "))
    assert finding.title.startswith(f"A {how} (")
    (step,) = [text for text in finding.repair if "description or the adapter's table" in text]
    assert written in step
    assert any("drawing of its other face" in text for text in finding.repair) == (how == "mirrored")


def test_a_shift_says_by_how_many_cavities() -> None:
    (finding,) = found(*SHIFTED.split(", "))
    assert "A shifted (by 2 cavities on)" in finding.title


def test_two_leads_of_the_adapter_are_touched_one_after_the_other() -> None:
    (finding,) = found("A:2", "B:2")
    (lead,) = [other for other in finding.alternatives if other.cause == "adapter_lead"]
    assert "the adapter's lead for A:2 and then that for B:2 with the probe" in lead.tell_apart
