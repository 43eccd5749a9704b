"""The written link and the device do not drift apart."""

from __future__ import annotations

import re
from pathlib import Path

from loomproof.virtual.commands import Commands
from loomproof.virtual.meter import FaradLimits, Limits
from loomproof.virtual.scanner import Make, Scanner
from tests.virtual.looms import small_loom
from tests.virtual.test_link import NONCE, device, line, say

PAGE = (Path(__file__).parents[2] / "firmware_notes" / "scanner_link.md").read_text(encoding="utf-8")


def test_every_command_of_the_device_is_written_down_and_the_other_way_round() -> None:
    table = PAGE.partition("## 6. Commands")[2].partition("## 7.")[0]
    written = {
        text.partition(" ")[0]
        for row in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE)
        for text in re.findall(r"`([^`]+)`", row)
    }
    link = {"SYST:LINK:OPEN", "SYST:LINK:CLOS", "SYST:LINK?", "SYST:BAUD"}
    assert written == set(Commands(Scanner(small_loom()))._table) | link


def test_every_capability_that_the_device_lists_is_written_down() -> None:
    make = Make(
        points=7,
        four_wire=Limits(0.001, 0.001),
        insulation_v=500.0,
        driver_ohm=1000.0,
        pulled_at_once=8,
        capacitance=FaradLimits(3e-12, 0.03, 1e-12),
    )
    from loomproof.virtual.link import Device

    listed = say(Device(Scanner(small_loom(), make)), b"SYST:CAP?\n").decode().strip()
    table = PAGE.partition("## 9. Capabilities")[2].partition("## 10.")[0]
    written = {
        key
        for row in re.findall(r"^\| (`.*?) \|", table, re.MULTILINE)
        for key in re.findall(r"`([A-Z]+)`", row)
    }
    assert {word.partition("=")[0] for word in listed.split(",")} == written


def test_the_worked_lines_are_right() -> None:
    it = device()
    worked = re.findall(r"^    (:\S+(?: \S+)?\*[0-9A-F]{8})", PAGE, re.MULTILINE)
    assert len(worked) == 4
    assert say(it, worked[0].encode() + b"\n") == worked[1].encode() + b"\n"
    assert worked[2].encode() + b"\n" == line(1, "*IDN?", NONCE)
    event = worked[3].partition("*")[0][1:]
    from zlib import crc32

    assert worked[3].endswith(f"*{crc32(NONCE + event.encode()):08X}")
