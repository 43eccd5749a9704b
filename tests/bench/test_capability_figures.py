"""What a scanner says of itself: every key, default and boundary.

The figures are those of the link's contract, ``firmware_notes/scanner_link.md``.
"""

from __future__ import annotations

import pytest

from loomproof.bench.capability_report import read_capabilities
from loomproof.bench.seam import (
    Accuracy,
    Capabilities,
    CapacitanceAccuracy,
)
from loomproof.errors import UnfitError


def test_capabilities_take_their_defaults_from_the_contract() -> None:
    told = read_capabilities("LINK=1,POINTS=64,LINE=512")
    assert told.line_bytes == 512
    assert told.capabilities == Capabilities(
        points=64,
        sense_ohm=25_000.0,
        clear_ohm=250_000.0,
        settle_min_us=100,
        reading_ms=20.0,
        test_current_a=0.02,
        test_voltage_v=5.0,
        baud_max=115_200,
    )
    assert not told.capabilities.diode
    assert not told.capabilities.four_wire


def test_every_capability_is_read() -> None:
    body = (
        "LINK=1,POINTS=128,LINE=1024,SENSE=10000,CLEAR=10000,SETTLE=50,VOLT=60,OHMS=0.1:1E7,ACC=0.02:0.01,"
        "FOUR=1,FACC=0.001:0.002,DIOD=1,MSTIME=60000,TESTI=0.01,TESTV=4,INS=500,WATCH=250,BAUD=921600,"
        "DRIVR=0,PULLS=8,CAPF=1E-12:1E-6,CACC=1E-12:0.02,CREP=0,HUM=1,ZERO=x"
    )
    assert read_capabilities(body).capabilities == Capabilities(
        128,
        10e3,
        10e3,
        50,
        60.0,
        (0.1, 1e7),
        Accuracy(0.02, 0.01),
        four_wire=True,
        four_wire_accuracy=Accuracy(0.001, 0.002),
        diode=True,
        reading_ms=60_000.0,
        test_current_a=0.01,
        test_voltage_v=4.0,
        insulation_v=500.0,
        watch_us=250,
        baud_max=921_600,
        other=(("HUM", "1"), ("ZERO", "x")),
        driver_ohm=0.0,
        pulled_at_once=8,
        farads=(1e-12, 1e-6),
        farad_accuracy=CapacitanceAccuracy(1e-12, 0.02),
        farad_spread=0.0,
    )


GOOD = [
    *("POINTS=1", "POINTS=4096", "LINE=80", "SETTLE=1", "SETTLE=999999999", "MSTIME=0.1", "MSTIME=60000"),
    *("TESTI=1E15", "INS=0", "INS=1E15", "OHMS=0:1", "OHMS=1:1.001", "FOUR=0", "DIOD=0", "ACC=0:0", "CREP=0"),
    *("SENSE=250000", "CLEAR=25000", "PULLS=1"),
]
BAD = [
    *(
        "POINTS=0",
        "POINTS=4097",
        "POINTS=+1",
        "POINTS=1.0",
        "LINE=79",
        "LINE=0",
        "SETTLE=0",
        "SETTLE=9999999999",
    ),
    *(
        "MSTIME=0",
        "MSTIME=60001",
        "MSTIME=-1",
        "TESTI=0",
        "TESTI=1.1E15",
        "TESTI=9.9E37",
        "INS=-1",
        "INS=1.2E15",
    ),
    *(
        "OHMS=1:1",
        "OHMS=2:1",
        "OHMS=1",
        "OHMS=1:",
        "OHMS=:1",
        "FOUR=2",
        "FOUR=",
        "DIOD=yes",
        "ACC=1",
        "ACC=-1:0",
    ),
    *(
        "ACC=0:-1",
        "SENSE=250001",
        "CLEAR=24999",
        "SENSE=0",
        "PULLS=0",
        "DRIVR=-1",
        "VOLT=0",
        "WATCH=0",
        "BAUD=0",
    ),
    *("CAPF=1:0", "CACC=1", "CREP=-1", "FACC=x", "LINK=2", "=1", "SENSE"),
]


@pytest.mark.parametrize("said", GOOD)
def test_figures_at_the_edge_of_what_can_be_are_taken(said: str) -> None:
    given = {"POINTS": "64", "LINE": "4000"} | dict([said.split("=")])
    assert read_capabilities(",".join(f"{key}={value}" for key, value in given.items()))


@pytest.mark.parametrize("said", BAD)
def test_figures_that_cannot_be_are_refused(said: str) -> None:
    key, equals, value = said.partition("=")
    given = {"POINTS": "64", "LINE": "512"}
    pieces = [f"{k}={v}" for k, v in given.items() if k != key]
    with pytest.raises(UnfitError):
        read_capabilities(",".join([*pieces, said]))
    assert equals or not value


def test_the_least_line_holds_a_set_and_what_stands_around_it() -> None:
    """LINE is at least 2 ⌈points / 4⌉ + 48 (the contract)."""
    for points, least in ((1, 50), (4, 50), (5, 52), (64, 80), (4096, 2096)):
        assert read_capabilities(f"POINTS={points},LINE={least}").line_bytes == least
        with pytest.raises(UnfitError, match=f"below {least}"):
            read_capabilities(f"POINTS={points},LINE={least - 1}")


@pytest.mark.parametrize("missing", ["POINTS", "LINE"])
def test_what_is_required_or_doubled_is_named(missing: str) -> None:
    given = {"POINTS": "64", "LINE": "512"}
    one = next(key for key in given if key != missing)
    with pytest.raises(UnfitError, match=f"lack {missing}, which is required"):
        read_capabilities(f"{one}={given[one]}")
    with pytest.raises(UnfitError, match="cannot be read"):
        read_capabilities(f"POINTS=64,LINE=512,{one}={given[one]}")


def test_more_points_than_the_link_has_are_said_to_be_that_and_no_fault_of_the_firmware() -> None:
    with pytest.raises(UnfitError, match=r"has 5400 points .*the scanner link goes up to 4096") as refused:
        read_capabilities("POINTS=5400,LINE=9000")
    assert "plug by plug" in refused.value.cure
    assert "firmware" not in str(refused.value)
