"""The notes beside the program: drawn from their description, and true to its constants."""

from __future__ import annotations

import importlib.util
import math
import re
import tomllib
import xml.etree.ElementTree as ET
from types import ModuleType

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


def test_the_circuit_is_drawn_from_its_description() -> None:
    described = tomllib.loads((FIRMWARE / "circuit.toml").read_text(encoding="utf-8"))
    drawn = drawing().draw(described)
    assert (FIRMWARE / "circuit.svg").read_text(encoding="utf-8") == drawn
    words = [each.text for each in ET.fromstring(drawn).iter("{http://www.w3.org/2000/svg}text")]
    assert {"1 kΩ ± 5 %, ¼ W", "20 to 50 kΩ", "point 1 … 64"} <= set(words)


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
