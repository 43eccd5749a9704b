"""What a scanner says of itself, read key by key, and what it gives for a reading."""

from __future__ import annotations

import math
from collections.abc import Callable

import pytest

from loomproof.bench.capability_report import read_capabilities, read_identity
from loomproof.bench.seam import Accuracy
from loomproof.errors import LinkError, UnfitError
from tests.bench.test_scanner import Rig

pytestmark = pytest.mark.usefixtures("all_closed")


def test_capabilities_and_what_is_missing() -> None:
    able, line = read_capabilities("LINK=1,POINTS=512,LINE=304,ACC=0.1:0.01,OHMS=0.1:1E6,COLOUR=GN")
    assert (able.points, line, able.sense_ohm, able.clear_ohm) == (512, 304, 25_000, 250_000)
    assert able.accuracy == Accuracy(0.1, 0.01)
    assert able.ohms == (0.1, 1e6)
    assert (able.four_wire, able.volt_max, able.watch_us, able.insulation_v) == (False, None, None, 0.0)
    assert able.other == (("COLOUR", "GN"),)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("LINK=1,LINE=304", "POINTS"),
        ("POINTS=512", "LINE"),
        ("POINTS=512,LINE=303", "below 304"),
        ("LINK=2,POINTS=16,LINE=80", "version 2"),
        ("POINTS=16,LINE=80,POINTS=8", "POINTS=8"),
        ("POINTS=16,LINE=80,FOUR=yes", "FOUR=yes"),
        ("POINTS=16,LINE=80,OHMS=5", "OHMS=5"),
        ("POINTS=16,LINE=80,OHMS=9:1", "OHMS=9:1"),
        ("POINTS=1.5,LINE=80", "POINTS=1.5"),
        ("POINTS=16,LINE=80,SENSE=9,CLEAR=8", "SENSE"),
        ("POINTS=16,LINE=80,", "cannot be read"),
        ("POINTS=4097,LINE=9999", "POINTS=4097"),
        ("POINTS=16,LINE=1" + 5000 * "0", "LINE=1"),
        ("POINTS=16,LINE=80,SETTLE=" + 10 * "9", "SETTLE"),
        ("POINTS=16,LINE=80,OHMS=0:9.9E37", "OHMS"),
        ("POINTS=16,LINE=80,OHMS=0:1E30", "OHMS"),
        ("POINTS=16,LINE=80,ACC=9.9E37:0", "ACC"),
        ("POINTS=16,LINE=80,ACC=1:1E30", "ACC"),
        ("POINTS=16,LINE=80,FACC=1E30:0", "FACC"),
        ("POINTS=16,LINE=80,VOLT=1E30", "VOLT"),
        ("POINTS=16,LINE=80,SENSE=1,CLEAR=9.9E37", "CLEAR"),
        ("POINTS=16,LINE=80,CLEAR=1E30", "CLEAR"),
        ("POINTS=16,LINE=80,INS=9.9E37", "INS"),
        ("POINTS=16,LINE=80,TESTV=-9.9E37", "TESTV"),
        ("POINTS=16,LINE=80,TESTI=1E30", "TESTI"),
        ("POINTS=16,LINE=80,MSTIME=60001", "MSTIME"),
        ("POINTS=16,LINE=80,MSTIME=1E30", "MSTIME"),
    ],
)
def test_capabilities_that_cannot_be(text: str, says: str) -> None:
    with pytest.raises(UnfitError, match=says) as caught:
        read_capabilities(text)
    assert caught.value.cure


@pytest.mark.parametrize("told", ["-9.9E37", "-1E999", "1E999", "9.91E37", "1E38", "OVLD"])
def test_what_stands_for_no_reading_is_an_error_and_never_an_open(
    told: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig = Rig()
    monkeypatch.setattr(rig.scanner, "measure", lambda *_: told)
    rig.bench.arm(50.0)
    asked: list[Callable[[], float]] = [
        lambda: rig.bench.resistance(1, 8),
        lambda: rig.bench.diode(1, 8),
        lambda: rig.bench.insulation(1, 8, 50.0, 100),
    ]
    for ask in asked:
        with pytest.raises(LinkError, match="without a reading") as caught:
            ask()
        assert caught.value.cure
    if told != "-9.9E37":
        with pytest.raises(LinkError, match="without a reading"):
            rig.bench.voltage(1, 8)
    else:  # over range either way, and no voltage is taken for none
        assert rig.bench.voltage(1, 8) == math.inf


@pytest.mark.parametrize("body", [",,,", "a,b,,1", "a,b, ,1", "a,b,c", "a,b,c,d,e"])
def test_a_bench_without_a_serial_is_none_that_a_run_can_be_bound_to(body: str) -> None:
    with pytest.raises(UnfitError, match="serial and firmware were expected"):
        read_identity(body)
    assert read_identity("a,b,0,").serial == "0", "IEEE 488.2, 10.14: 0 where there is none"
