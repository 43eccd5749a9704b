"""The notes beside the program: drawn from their description, and true to its constants."""

from __future__ import annotations

import importlib.util
import math
import re
import tomllib
import xml.etree.ElementTree as ET
from types import ModuleType

import pytest

from tests.firmware.building import FIRMWARE
from tests.firmware.circuit import Pins, cycle_farads
from tests.firmware.test_promises import CLEAR, DRIVR, PULLS, SENSE

NOTES = (FIRMWARE / "README.md").read_text(encoding="utf-8")


def drawing() -> ModuleType:
    spec = importlib.util.spec_from_file_location("circuit_drawing", FIRMWARE / "circuit.py")
    assert spec
    assert spec.loader
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


DRAWN = {
    "circuit": {"1 kΩ ± 5 %, ¼ W", "20 to 50 kΩ", "point 1 … 64"},
    "expanders": {"R1 … R512", "470 Ω ± 1 %, ½ W", "point 1 … 512", "RESET"},
    "ohms": {"R1 … R56, protection", "point 1 … 56", "X", "Y", "Z", "4.7 kΩ"},
}
"""Every drawing, and words that must be in it."""


@pytest.mark.parametrize("name", DRAWN)
def test_the_circuit_is_drawn_from_its_description(name: str) -> None:
    described = tomllib.loads((FIRMWARE / f"{name}.toml").read_text(encoding="utf-8"))
    drawn = drawing().draw(described)
    assert (FIRMWARE / f"{name}.svg").read_text(encoding="utf-8") == drawn
    words = [each.text for each in ET.fromstring(drawn).iter("{http://www.w3.org/2000/svg}text")]
    assert DRAWN[name] <= set(words)


def test_no_drawing_is_left_out() -> None:
    assert {path.stem for path in FIRMWARE.glob("*.toml")} == set(DRAWN)


@pytest.mark.parametrize(("unit", "rows"), [("mΩ", 3), ("%", 4)])
def test_the_tables_of_ohms_add_up(unit: str, rows: int) -> None:
    """JCGM 100:2008, as below."""
    notes = (FIRMWARE / "ohms.md").read_text(encoding="utf-8")
    table = notes[notes.index(f"standard uncertainty, {unit} |") :].split("\n\n")[0]
    found = re.findall(r"\| ± ([0-9.]+) \S+ \| uniform \| ([0-9.]+) \|", table)
    assert len(found) == rows
    for limit, u in found:
        assert abs(float(limit) / math.sqrt(3.0) - float(u)) < 0.006
    noise = sum(float(u) for u in re.findall(r"normal \| ([0-9.]+) \|", table))
    whole = math.hypot(noise, *(float(u) for _, u in found))
    together = re.findall(r"\| ([0-9.]+), expanded \(k = 2\) ([0-9.]+) \|", table)[0]
    assert abs(whole - float(together[0])) < 0.006
    assert abs(2.0 * whole - float(together[1])) < 0.01


def test_the_limits_in_the_table_of_ohms_follow_from_the_circuit() -> None:
    """5 V over two resistors of 1 kΩ and two drivers of some 35 Ω; the resistors differ by up to 2 %."""
    ampere = 5.0 / 2070.0
    moves_v = 5.0 * 0.02 * 1000.0 / 2070.0
    assert 2.0 * ampere == pytest.approx(4.8e-3, rel=0.01)
    assert moves_v == pytest.approx(0.05, rel=0.05)
    assert 400e-6 * 0.05 / 5.0 / (2.0 * ampere) == pytest.approx(0.83e-3, rel=0.01)
    assert 0.05 * 1e-5 / (2.0 * ampere) == pytest.approx(0.10e-3, rel=0.05)
    assert 0.13e-6 * math.sqrt(2.0) / (2.0 * ampere) == pytest.approx(0.04e-3, rel=0.05)
    # At 100 kΩ the leaks of two points lie across it: 400 µV over 2.1 kΩ at 5 V each.
    siemens = 400e-6 / 2100.0 / 5.0
    assert 100e3 * siemens / 2.0 == pytest.approx(0.002, rel=0.06)


def test_the_table_of_uncertainty_adds_up() -> None:
    """JCGM 100:2008, 4.3.7: limits ±a of a uniform distribution are a/√3; 5.1.2: squares add."""
    rows = re.findall(r"\| ± ([0-9.]+) pF \| uniform \| ([0-9.]+) \|", NOTES)
    assert len(rows) == 4
    for limit, u in rows:
        assert abs(float(limit) / math.sqrt(3.0) - float(u)) < 0.006
    noise = float(re.findall(r"normal \| ([0-9.]+) \|", NOTES)[0])
    whole = math.hypot(noise, *(float(u) for _, u in rows))
    together = re.findall(r"\| ([0-9.]+), expanded \(k = 2\) ([0-9.]+) \|", NOTES)[0]
    assert abs(whole - float(together[0])) < 0.01
    assert abs(2.0 * whole - float(together[1])) < 0.05


def test_what_the_notes_say_of_readings_is_what_is_promised() -> None:
    assert f"less than {CLEAR / 1000:.0f} kΩ" in NOTES
    assert f"less than {(SENSE - DRIVR) / 1000:.1f} kΩ" in NOTES
    assert PULLS == 4
    worth = [cycle_farads(Pins.drawn(seed), 16e6) for seed in range(40)]
    assert 1.2e-12 < min(map(min, worth)) < 1.5e-12
    assert 6e-12 < max(map(max, worth)) < 9e-12
    assert "1.4 to 8 pF" in NOTES


@pytest.mark.parametrize("page", ["README.md", "ohms.md", "expanders.md"])
def test_a_first_start_goes_from_the_bare_board_to_the_adapter(page: str) -> None:
    """A program is written with nothing on the points, a self-test wants nothing plugged, a zero a table."""
    notes = (FIRMWARE / page).read_text(encoding="utf-8")
    (steps,) = re.findall(r"^## First start\n\n(.*?)(?=^## )", notes, re.MULTILINE | re.DOTALL)
    order = ["bench flash", "bench selftest", "adapter touch", *(["bench zero"] if page == "ohms.md" else [])]
    assert re.findall(r"loomproof ((?:bench|adapter) \w+)", steps) == order
    assert re.findall(r"^(\d+)\. ", steps, re.MULTILINE)[0] == "1"
    assert steps.index("loomproof bench flash") < steps.index("\n2. ")
    assert all("--adapter" in line for line in re.findall(r"`(loomproof bench zero[^`]*)`", steps))


def test_the_room_of_each_kind_is_that_of_the_build() -> None:
    room = re.findall(r"--flash (\d+) --ram (\d+)", (FIRMWARE / "Makefile").read_text(encoding="utf-8"))
    assert len(room) == 2
    told = " ".join(NOTES[NOTES.index("## Building it") :].split())
    pairs = re.findall(r"(\d+) KiB and (\d+) KiB", told)
    assert pairs == [(str(int(flash) // 1024), str(int(ram) // 1024)) for flash, ram in room]
    assert {f"`make KIND={kind}`" for kind in ("ohms", "expanders")} <= set(re.findall(r"`[^`]+`", told))
