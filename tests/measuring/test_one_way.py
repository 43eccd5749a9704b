"""Added paths that conduct one way: a diode, and a light-emitting one, on benches that sense neither."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.measuring.scanner_bench import OHMS, loom_of, proved

SHORT_RANGE = replace(OHMS, ohms=(0.0, 50_000.0))


@pytest.mark.parametrize("kind", ["diode", "led"])
@pytest.mark.parametrize("ends", ["A:1 A:2", "A:2 A:1", "A:1 A:5", "A:5 A:1", "A:5 A:6", "A:6 A:5"])
@pytest.mark.parametrize("able", [OHMS, SHORT_RANGE], ids=["scanner", "short range"])
def test_what_conducts_one_way_is_found_whichever_way(
    kind: str, ends: str, able: object, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Inputs that turn below a silicon diode's drop: the contract promises ohms, not volts.
    monkeypatch.setattr("loomproof.virtual.constants.THRESHOLD_V", (0.35, 0.4))
    assert isinstance(able, type(OHMS))
    loom = loom_of("1 2 3 4", spare="5 6")
    bench = replace(able, sense_ohm=5_000.0)
    assert proved(loom, able=bench)[1] == ()
    _, findings = proved(loom, f"part {kind} {ends}", able=bench)
    assert [finding.cause for finding in findings] == ["one_way_path"]
    source, sink = ends.split()
    assert {source, sink} == {str(end) for end in findings[0].cavities}


@pytest.mark.parametrize("ends", ["A:1 A:2", "A:2 A:1"])
@pytest.mark.parametrize("able", [OHMS, SHORT_RANGE], ids=["scanner", "short range"])
def test_a_diode_beside_a_coil_is_found_whichever_way_it_lies(ends: str, able: object) -> None:
    # Against the way round that the coil is read, only a reading the other way round shows it.
    assert isinstance(able, type(OHMS))
    loom = loom_of("1 2 3", "L1,coil,1=A:1 2=A:2,320,10,\n")
    assert proved(loom, able=able)[1] == ()
    _, findings = proved(loom, f"part diode {ends}", able=able)
    assert len(findings) >= 1
