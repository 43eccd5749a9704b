"""A journal's header that was changed is refused by name and never taken for a run, nor for a traceback."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.errors import ReplayError
from loomproof.jobs.journal_header import request_from, run_header
from loomproof.loom.model import Loom
from loomproof.loom.reading import load
from loomproof.planning.request import InsulationTest, Request
from tests.cli.running import loomproof
from tests.cli.test_prove import proved


@pytest.fixture
def loom(fixtures: Path) -> Loom:
    return load(fixtures / "tail_lamp").loom


def whole(loom: Loom) -> Request:
    return Request(
        loom,
        in_order(loom.cavities),
        "20310504-080000-abcdef",
        "2031-05-04T08:00:00.000Z",
        waived=(loom.cavities[0],),
        person="Ilse Torvald",
        inspection=("chafing: in order",),
        repeats=100,
        watch_s=30.0,
        insulation=InsulationTest(50.0, 1000),
    )


def test_a_header_gives_its_request_back(loom: Loom) -> None:
    request = whole(loom)
    header = json.loads(json.dumps(run_header(request)))
    assert request_from(header, loom) == request


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("repeats", -1),
        ("repeats", 0),
        ("repeats", 10**400),
        ("repeats", 1.5),
        ("repeats", True),
        ("repeats", "1"),
        ("watch_s", float("nan")),
        ("watch_s", -1.0),
        ("watch_s", 1e308),
        ("meter_v", float("inf")),
        ("meter_v", "none"),
        ("repeatability_ohm", -1.0),
        ("repeatability_ohm", float("nan")),
        ("repeatability_ohm", 1e308),
        ("started", "yesterday"),
        ("started", "2031-05-04T08:00:00"),
        ("started", "9999-12-31T23:59:59Z"),
        ("started", "0001-01-01T00:00:00+14:00"),
        ("last_selftest", "last week"),
        ("simulated", "no"),
        ("person", "\ud800"),
        ("place", 7),
        ("inspection", ["\udcff"]),
        ("answers", {"hand": None}),
        ("waived", "BODY:1"),
        ("waived", [1]),
        ("insulation", [50.0]),
        ("insulation", [float("nan"), 1000]),
        ("insulation", [50.0, -1]),
        ("insulation", [50.0, 1e30]),
        ("adapter_table", None),
    ],
)
def test_a_value_that_cannot_be_is_named(loom: Loom, key: str, value: object) -> None:
    header = {**run_header(whole(loom)), key: value}
    with pytest.raises(ReplayError, match="line 1") as refused:
        request_from(header, loom)
    assert key in refused.value.message
    assert len(refused.value.message) < 300
    refused.value.message.encode()


def test_a_retest_and_a_trace_say_what_they_are(fixtures: Path, tmp_path: Path) -> None:
    loom = fixtures / "tail_lamp"
    assert proved(loom, "sim:?fault=open%20W2", tmp_path / "out").returncode == 1
    (run,) = (tmp_path / "out").glob("*.results.json")
    loomproof("retest", run, loom, "--bench", "sim:", "--out", tmp_path / "again")
    (journal,) = (tmp_path / "again").iterdir()
    done = loomproof("replay", journal, loom)
    assert done.returncode == 2
    assert "of a retest" in done.stderr
    assert "damaged" not in done.stderr
    with pytest.raises(ReplayError, match="of a trace"):
        request_from({"trace": "unknown loom"}, load(loom).loom)
