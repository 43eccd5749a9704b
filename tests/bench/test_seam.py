"""A bench of which nothing is said has what the table of the link's contract states for what is missing."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.seam import Capabilities

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
