"""A bench of which nothing is said has what the table of the link's contract states for what is missing."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from loomproof.bench.batching import SENSE, Batches
from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.frames import FRAME_BYTES, write_set
from loomproof.bench.seam import Capabilities, point_set, points_of, singles

PAGE = (Path(__file__).parents[2] / "firmware_notes" / "scanner_link.md").read_text(encoding="utf-8")

MISSING = {
    "SENSE": "sense_ohm",
    "CLEAR": "clear_ohm",
    "SETTLE": "settle_min_us",
    "DRIVR": "driver_ohm",
    "MSTIME": "reading_ms",
    "TESTI": "test_current_a",
    "TESTV": "test_voltage_v",
    "INS": "insulation_v",
    "BAUD": "baud_max",
}


def stated() -> dict[str, float]:
    """The figures of the last column, by key."""
    rows = re.findall(r"^\| (`[A-Z]+`(?:, `[A-Z]+`)*) \|[^|]*\|([^|]*)\|$", PAGE, re.MULTILINE)
    found = {}
    for keys, figures in rows:
        for key, figure in zip(re.findall("[A-Z]+", keys), re.findall(r"[0-9.]+", figures), strict=False):
            found[key] = float(figure)
    return found


def test_what_a_device_does_not_say_is_as_the_contract_states_it() -> None:
    plain, told = Capabilities(16), read_capabilities("POINTS=16,LINE=80").capabilities
    assert {key: getattr(plain, name) for key, name in MISSING.items()} == {
        key: stated()[key] for key in MISSING
    }
    assert told == plain
    assert plain.surely_low_ohm(1) == stated()["SENSE"]


def test_what_is_of_a_person_with_a_meter_is_of_no_scanner() -> None:
    """No beep, no clips; where ohms are read, those of wires are."""
    plain = Capabilities(16)
    assert (plain.beep_ohm, plain.clips, plain.wires_in_ohms) == (None, 0, True)
    assert plain.surely_low_ohm(2) == plain.surely_low_ohm(1) / 2, "two points share the path"
    others = {field.name for field in fields(plain)} - {"points", *MISSING.values()}
    assert {name for name in others if getattr(plain, name)} == {"wires_in_ohms"}


@given(st.sets(st.integers(1, 4096), max_size=64))
def test_a_set_gives_the_points_that_it_was_made_of(points: set[int]) -> None:
    made = point_set(points)
    assert points_of(made) == tuple(sorted(points))
    assert list(singles(made)) == [1 << (point - 1) for point in sorted(points)]


@given(st.lists(st.sets(st.integers(1, 300), max_size=9).map(point_set), min_size=1, max_size=40))
def test_a_batch_is_as_long_as_the_line_and_no_longer(drives: list[int]) -> None:
    """An answer is never the longer one here; what is sent is counted from what stands on the line."""
    line = 120
    batch = Batches(line, 1).after(drives, 0)
    only = len(SENSE) - 1 + FRAME_BYTES + 1 + len(write_set(drives[0]))
    whole = len(SENSE) - 1 + FRAME_BYTES + sum(1 + len(write_set(one)) for one in batch)
    longer = whole + (1 + len(write_set(drives[len(batch)])) if len(batch) < len(drives) else line)
    told = FRAME_BYTES + (len(batch) + 1) * 4
    assert whole <= max(line, only)
    assert longer > line or told > line
