"""References beside an unknown loom: a meter that reads them wrongly learns nothing of it."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.errors import UnfitError
from loomproof.jobs.trace import trace
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from tests.campaign.grade_oracle import Oracle
from tests.campaign.lies import LIES, Lie, LyingScanner
from tests.campaign.lying_benches import TWO, references_of
from tests.campaign.true_benches import scanner_bench
from tests.campaign.verdict_looms import loom_of
from tests.cleared import cleared


def traced(lie: Lie) -> tuple[Loom, LyingScanner]:
    described = loom_of(random.Random("traced"), 30)
    unknown = replace(described, wires=(), components=())
    references = references_of(described)
    adapter = replace(in_order(described.cavities), references=references)
    scanner = LyingScanner(Oracle(described, (), "traced", TWO).now, TWO, "traced", lie, references)
    request = Request(unknown, adapter, "traced", "2026-01-01T00:00:00Z")
    with scanner_bench(scanner) as bench:
        return finish(trace(request, bench, cleared(unknown, bench, adapter, meter_v=0.0)))[0], scanner


def test_references_are_read_beside_an_unknown_loom() -> None:
    (lie,) = [lie for lie in LIES if lie.name == "twice"]
    found, scanner = traced(replace(lie, figure=None))
    assert found.wires
    assert not scanner.lied
    with pytest.raises(UnfitError, match=r"the reference of .* at points"):
        traced(lie)


def test_a_meter_that_goes_wrong_meanwhile_is_seen_at_the_end() -> None:
    (lie,) = [lie for lie in LIES if lie.name == "drifts up"]
    late = replace(lie, figure=lambda ohm, number, chance: ohm if number < 20 else 2 * ohm)
    with pytest.raises(UnfitError, match=r"the reference of .* at points"):
        traced(late)
