"""The two looms that demo, documents and tests use."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.loom.model import ComponentKind, ConnectorKind, End, Hazard
from loomproof.loom.reading import load

FIXTURES = Path(__file__).parents[2] / "fixtures"


def test_the_tail_lamp_has_six_wires_and_no_warning() -> None:
    loaded = load(FIXTURES / "tail_lamp")
    assert [wire.name for wire in loaded.loom.wires] == ["W1", "W2", "W3", "W4", "W5", "W6"]
    assert loaded.loom.cavities[:3] == (End("BODY", "1"), End("BODY", "2"), End("BODY", "3"))
    assert loaded.warnings == ()


def test_the_demo_loom_is_a_whole_engine_loom() -> None:
    loaded = load(FIXTURES / "hillclimb_engine")
    loom = loaded.loom
    plugs = [c for c in loom.connectors if c.kind is not ConnectorKind.SPLICE]
    assert len(plugs) >= 16
    assert 110 <= len(loom.cavities) <= 128
    assert [len(loom.by_name[name].cavities) for name in ("ECU-A", "ECU-B", "THR")] == [32, 24, 6]
    assert sum(part.kind is ComponentKind.FUSE for part in loom.components) == 4
    assert all(c.hazard is Hazard.NONE for c in plugs)
    assert all(wire.length_m and wire.csa_mm2 and wire.colour and wire.circuit for wire in loom.wires)
    assert loom.by_name["CRANK"].housing == loom.by_name["CAM"].housing
    assert loom.wire_by_name["W69"].screened_by == "W71"
    assert all("look alike" in warning.message for warning in loaded.warnings)


@pytest.mark.parametrize("ring", ["E-ENG", "E-BODY"])
def test_earth_rings_hold_several_wires(ring: str) -> None:
    loom = load(FIXTURES / "hillclimb_engine").loom
    assert len(loom.wires_at[End(ring, "1")]) >= 3


def test_neighbouring_cavities_of_the_demo_loom_differ() -> None:
    loom = load(FIXTURES / "hillclimb_engine").loom
    assert End("ECU-A", "22") in loom.neighbours(End("ECU-A", "21"))
    assert End("ECU-A", "5") in loom.neighbours(End("ECU-A", "21"))
