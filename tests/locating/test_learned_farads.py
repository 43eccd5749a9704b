"""What a sound loom's wires have, kept in its record, and what next year's places make of it."""

from __future__ import annotations

import datetime
import json
import math
import random
from dataclasses import replace
from typing import Any

import pytest

from loomproof.bench.adapter import in_order
from loomproof.errors import AdapterError, UnfitError
from loomproof.jobs.journal_header import request_from, run_header
from loomproof.jobs.known_farads import with_known_farads
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.locating.wander import WANDER_RATIO, Sound, of_loom
from loomproof.loom.model import End, Loom
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.records.data_folder import home
from loomproof.records.keys import KeyFolder
from loomproof.records.store import open_store
from loomproof.reports.words import capacitance
from loomproof.results.document import Document, Verdict
from loomproof.results.places import KnownFarads
from tests.cleared import cleared
from tests.locating.placing_bench import FARADS, FaradBench, farad_bench, zeroed
from tests.locating.test_place_words import _Restless
from tests.locating.test_placing import _loom


def _proved(bench: FaradBench, loom: Loom, **asked: Any) -> Outcome:
    request = replace(
        Request(loom, zeroed(loom), "learned", "2026-01-01T00:00:00Z", learn_capacitance=True), **asked
    )
    return finish(prove(request, bench, cleared(loom, bench, request.adapter, meter_v=0.0)))


@pytest.fixture(scope="module")
def sound() -> Document:
    return _proved(farad_bench(_loom()), _loom()).document


def _known(sound: Document) -> KnownFarads:
    return KnownFarads(sound.run, sound.ended, sound.capacitance)


def test_a_loom_that_passes_keeps_what_each_net_has_for_one_reading_of_each(sound: Document) -> None:
    """By hand: the simulated wires have 100 pF/m, and 15 % of it wander over a quarter of a metre."""
    bench = farad_bench(_loom())
    again = _proved(bench, _loom()).document
    asked = _proved(farad_bench(_loom()), _loom(), learn_capacitance=False).document
    assert sound.verdict is Verdict.PASS
    assert bench.farad_readings == len(again.capacitance)
    assert {wire for net in sound.capacitance for wire in net.wires} == {wire.name for wire in _loom().wires}
    assert all(80e-12 < net.f_per_m < 120e-12 for net in sound.capacitance)
    assert again.counts.resistance_readings - asked.counts.resistance_readings == len(again.capacitance)
    assert not asked.capacitance
    assert "capacitance" not in asked.plain()
    assert Document.model_validate(json.loads(json.dumps(sound.plain()))).capacitance == sound.capacitance
    assert f"by {len(again.capacitance)} readings" in capacitance(sound)
    assert capacitance(asked) == ""


def test_of_a_loom_that_fails_nothing_is_learned() -> None:
    document = _proved(farad_bench(_loom(), "open W2 at ECU:2 0.6 m"), _loom()).document
    assert document.verdict is Verdict.FAIL
    assert not document.capacitance


def test_where_it_cannot_be_learned_nothing_is_asked() -> None:
    for able, adapter, error in (
        (replace(FARADS, farads=None), zeroed(_loom()), UnfitError),
        (FARADS, in_order(_loom().cavities), AdapterError),
    ):
        bench = farad_bench(_loom())
        bench.able = able
        with pytest.raises(error, match="capacitance"):
            _proved(bench, _loom(), adapter=adapter)
        assert bench.farad_readings == 0


def test_next_year_a_piece_that_gives_nothing_is_what_its_wire_had(sound: Document) -> None:
    """No wire beside it is read, and the break, 0.6 m from ECU:2, is placed closer than by those."""
    halves = []
    for known in (None, _known(sound)):
        bench = _Restless(farad_bench(_loom(), "open W2 at ECU:2 0.6 m").scanner, FARADS)
        bench.restless = frozenset({End("PUMP", "2")})
        document = _proved(bench, _loom(), learn_capacitance=False, known_farads=known).document
        (finding,) = document.findings
        assert finding.place is not None
        (stretch,) = finding.place.stretches
        assert stretch.low_m < 0.6 < stretch.high_m
        assert bench.farad_readings == (5 if known is None else 2)
        assert finding.place.readings == (4 if known is None else 1)
        assert ("of this loom when it passed on 2026-01-01 (run learned)" in finding.place.basis) is bool(
            known
        )
        halves.append(stretch.high_m - stretch.low_m)
    assert halves[1] < halves[0]


def test_of_wires_that_are_as_long_no_more_nothing_is_taken_over(sound: Document) -> None:
    longer = replace(_loom(), wires=tuple(replace(wire, length_m=3.0) for wire in _loom().wires))
    bench = farad_bench(longer, "open W2 at ECU:2 0.6 m")
    known = _known(sound)
    document = _proved(bench, longer, learn_capacitance=False, known_farads=known).document
    assert document.findings[0].place is not None
    assert "of this loom" not in document.findings[0].place.basis


def _wires(count: int, ratio: float) -> list[Sound]:
    """Wires of two metres whose cells of 1 cm wander by this ratio, correlated over 0.25 m."""
    rng = random.Random(f"wander {ratio}")
    kept = math.exp(-0.01 / 0.25)
    found = []
    for _ in range(count):
        now, farad = rng.gauss(0.0, 1.0), 0.0
        for _ in range(200):
            farad += 1e-12 * (1.0 + ratio * now)
            now = kept * now + math.sqrt(1.0 - kept * kept) * rng.gauss(0.0, 1.0)
        found.append(Sound(2.0, farad, 0.2e-12))
    return found


def test_how_wires_differ_says_how_they_wander_and_few_say_little() -> None:
    for ratio in (0.05, 0.30):
        many, few = (of_loom(_wires(count, ratio), "then").wander_ratio for count in (300, 2))
        assert many == pytest.approx(ratio, rel=0.2)
        assert abs(few - WANDER_RATIO) < abs(many - WANDER_RATIO) or few > WANDER_RATIO > many
    assert of_loom([], "then").wander_ratio == WANDER_RATIO


def test_a_journal_says_what_was_known_and_what_was_asked(sound: Document) -> None:
    request = Request(_loom(), zeroed(_loom()), "again", "2027-01-01T00:00:00Z", known_farads=_known(sound))
    header = json.loads(json.dumps(run_header(replace(request, learn_capacitance=True))))
    made = request_from(header, _loom())
    assert (made.known_farads, made.learn_capacitance) == (_known(sound), True)
    del header["known_farads"], header["learn_capacitance"]
    before = request_from(header, _loom())
    assert (before.known_farads, before.learn_capacitance) == (None, False)


def test_it_is_found_by_the_serial_and_by_no_other() -> None:
    loom = _loom()
    passed = _proved(farad_bench(loom), loom, serial="A7").document
    with open_store() as store:
        store.seal_run(passed, KeyFolder(home()).signer(datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)))
    bench = farad_bench(loom)
    request = Request(loom, zeroed(loom), "later", "2027-01-01T00:00:00Z")
    clearance = cleared(loom, bench, request.adapter, meter_v=0.0)
    found = [
        with_known_farads(replace(request, serial=serial, locate=locate), clearance, None).known_farads
        for serial, locate in (("A7", True), ("A8", True), ("", True), ("A7", False))
    ]
    assert found[1:] == [None, None, None]
    assert found[0] == KnownFarads("learned", passed.ended, passed.capacitance)
