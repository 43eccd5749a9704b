"""The small print: a real loom that nobody looked over says so."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.seam import Opening
from loomproof.jobs.prove import prove
from loomproof.judgement.inspection import ANSWERED
from loomproof.loom.model import Connector, ConnectorKind, End
from loomproof.loom.reading import load
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from tests.cleared import cleared
from tests.measuring.meter_bench import meter_bench
from tests.measuring.scanner_bench import loom_of, outcome_of


@pytest.mark.parametrize(
    ("simulated", "inspection", "told"),
    [
        (False, (), True),
        (False, (ANSWERED + "LAMP=none",), True),
        (False, ("chafing: in order",), False),
        (False, ("", "   "), True),
        (True, (), False),
    ],
)
def test_a_loom_that_nobody_looked_over_says_so(
    fixtures: Path, simulated: bool, inspection: tuple[str, ...], told: bool
) -> None:
    loom = load(fixtures / "tail_lamp").loom
    request = Request(
        loom,
        in_order(loom.cavities),
        "run",
        "2031-05-04T00:00:00Z",
        inspection=inspection,
    )
    bench = replace(meter_bench(loom), opened=Opening(simulated=simulated))
    document = finish(prove(request, bench, cleared(loom, bench, meter_v=0.0))).document
    assert any("nobody looked the loom over" in text for text in document.not_tested) is told
    assert any("no self-test of it is kept" in text for text in document.not_tested) is not simulated


def test_spare_cavities_whose_leads_nobody_saw_whole_are_named() -> None:
    loom = loom_of("1 2", spare="5")
    bench = meter_bench(loom)
    adapter = in_order(loom.cavities)
    unseen = Request(loom, adapter, "run", "2031-05-04T00:00:00Z")
    leads = tuple(replace(lead, zeroed="2031-05-03") for lead in adapter.entries)
    zeroed = replace(unseen, adapter=replace(adapter, entries=leads))
    told = []
    for request in (unseen, zeroed):
        clearance = cleared(loom, bench, adapter=request.adapter, meter_v=0.0)
        document = finish(prove(request, bench, clearance)).document
        told.append(document.not_tested)
        unseen_ends = {End("A", "5"), End("B", "5")} if request is unseen else set()
        assert set(loom.cavities) - set(document.coverage.tested) == unseen_ends
        assert document.coverage.untested == ()  # a pass is not kept from a loom for want of a plug
    assert any("hold nothing: A:5, B:5. An open lead reads as an empty cavity" in text for text in told[0])
    assert any("A:5, B:5: their leads were last seen whole when zeroed on 2031-05-03" in t for t in told[1])
    assert not any("An open lead" in text for text in told[1])


def small_print(request: Request, bench: object) -> tuple[str, ...]:
    clearance = cleared(request.loom, bench, adapter=request.adapter, meter_v=0.0)  # type: ignore[arg-type]
    return finish(prove(request, bench, clearance)).document.not_tested  # type: ignore[arg-type]


BODY = "The way from earth rings through body or engine block to the battery."


def test_a_loom_with_an_earth_ring_says_that_the_body_was_not_tested(fixtures: Path) -> None:
    """The return path belongs to the car: common practice is to measure it in the car, at load."""
    for loom, told in ((load(fixtures / "tail_lamp").loom, None), (loom_of("1 2"), False)):
        has_ring = any(connector.kind is ConnectorKind.RING for connector in loom.connectors)
        expected = has_ring if told is None else told
        request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
        assert (BODY in small_print(request, meter_bench(loom))) is expected
    ring = Connector("E", ConnectorKind.RING, (("1",),))
    plain = loom_of("1 2")
    earthed = replace(plain, connectors=(*plain.connectors, ring))
    request = Request(earthed, in_order(earthed.cavities), "run", "2031-05-04T00:00:00Z")
    assert BODY in small_print(request, meter_bench(earthed))


FUSED = "F1,fuse,1=A:1 2=A:2,,,\nK1,relay,85=A:3 86=A:4 30=A:5 87=A:6 87a=A:7,85,10,\n"


@pytest.mark.parametrize(
    ("parts", "named"),
    [
        (FUSED, "F1, K1"),
        ("K1,relay,85=A:3 86=A:4 30=A:5 87=A:6,85,10,\n", ""),
        ("R1,resistor,1=A:1 2=A:2,100,5,\n", ""),
        ("L1,link,1=A:1 2=A:2,,,\n", "L1"),
    ],
)
def test_what_may_lie_across_a_closed_contact_is_named(parts: str, named: str) -> None:
    """A short across a fuse or a resting contact leaves every reading as it was: nothing can see it."""
    loom = loom_of("1 2 3 4 5 6 7", parts)
    texts = outcome_of(loom).document.not_tested
    told = [text for text in texts if text.startswith("What lies across")]
    assert [text.split(":")[0] for text in told] == ([f"What lies across {named}"] if named else [])


def test_a_bridged_fuse_passes_as_the_small_print_says() -> None:
    document = outcome_of(loom_of("1 2 3", "F1,fuse,1=A:1 2=A:2,,,\n"), "short A:1 A:2").document
    assert document.verdict is not Verdict.FAIL
    assert any("bridged fuse" in text for text in document.not_tested)
