"""Whatever a description holds, the sheet is made and partitions its ends."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom import checking
from loomproof.loom.model import Loom
from loomproof.reports.fitting_sheet import sheet_csv
from tests.fitting.test_sheet import assert_partition
from tests.loom.strategies import looms


@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(looms())
def test_any_description_gives_a_sheet(loom: Loom) -> None:
    if checking.errors(loom):
        return
    sheet = fitting_sheet(loom)
    assert_partition(loom, sheet)
    assert not sheet.ready
    assert sheet_csv(sheet)
