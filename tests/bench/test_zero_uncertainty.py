"""What a lead correction is worth: against GTC's propagation of uncertainty, and readings drawn at random.

The readings' model is the tests' own: a reading between points i and j is R_i + R_j + offset + noise.
"""

from __future__ import annotations

import math
import random
from itertools import combinations

import numpy as np
import pytest
from scipy.stats import t as student

from loomproof.bench.adapter import in_order, parse_adapter, table_of
from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.seam import Accuracy, Capabilities
from loomproof.errors import AdapterError
from loomproof.loom.model import End
from loomproof.measuring.preparing import meter_of
from loomproof.measuring.zero import REPEATS, LeadReading, learn_leads, zeroed
from loomproof.planning.meter import Meter
from tests.cleared import cleared_empty
from tests.memory_bench import MemoryBench

GTC = pytest.importorskip("GTC")

SPREAD_OHM = 0.010
LEADS_OHM = (0.30, 0.32, 0.28, 0.35, 0.31, 0.29)
POINTS = tuple(range(1, len(LEADS_OHM) + 1))


class Plugged(MemoryBench):
    """A bench with a shorting plug on."""

    def __init__(self, seed: int, offset_ohm: float = 0.0) -> None:
        super().__init__(able=Capabilities(8, ohms=(0.0, 1e6), accuracy=Accuracy(0.1, 0.01)))
        self.rng, self.offset_ohm = random.Random(seed), offset_ohm

    def _answer(self, question: Question) -> Answer:
        assert isinstance(question, Resistance)
        return self.read(question.a.bit_length(), question.b.bit_length(), 0.0)

    def read(self, a: int, b: int, between_ohm: float) -> float:
        ohm = LEADS_OHM[a - 1] + LEADS_OHM[b - 1] + between_ohm
        return ohm + self.offset_ohm + self.rng.gauss(0.0, SPREAD_OHM)


def learned_on(plugged: Plugged, repeats: int = REPEATS) -> dict[int, LeadReading]:
    return learn_leads(plugged, cleared_empty(plugged), POINTS, repeats)


def by_gtc(repeats: int) -> dict[tuple[int, int], float]:
    """Return the standard uncertainty of what is taken off for each pair of leads."""
    u = SPREAD_OHM / math.sqrt(repeats)
    a, b, c, *others = POINTS
    pairs = [(a, b), (a, c), (b, c), *((a, point) for point in others)]
    readings = {pair: GTC.ureal(LEADS_OHM[pair[0] - 1] + LEADS_OHM[pair[1] - 1], u) for pair in pairs}
    leads = {a: (readings[a, b] + readings[a, c] - readings[b, c]) / 2.0}
    leads |= {point: readings[a, point] - leads[a] for point in POINTS[1:]}
    return {pair: float(GTC.uncertainty(leads[pair[0]] + leads[pair[1]])) for pair in combinations(POINTS, 2)}


@pytest.mark.parametrize("repeats", [5, 20])
def test_a_lead_is_worth_what_two_of_them_are_together(repeats: int) -> None:
    # Student's factor for what is known of the spread from six pairs, by SciPy.
    factor = float(student.ppf(1.0 - 0.0455 / 2.0, len(POINTS) * (repeats - 1)))
    stated = []
    for seed in range(200):
        leads = learned_on(Plugged(seed), repeats)
        stated.append([leads[point].u_ohm / factor for point in POINTS])
    u = np.sqrt(np.mean(np.square(stated), axis=0))
    exact = by_gtc(repeats)
    for (i, j), ohm in exact.items():
        assert math.hypot(u[i - 1], u[j - 1]) > 0.97 * ohm, (i, j)
    late = [pair for pair in exact if min(pair) > 3]  # two leads learned against the same first
    for i, j in late:
        assert exact[i, j] == pytest.approx(math.sqrt(5.0 / repeats) * SPREAD_OHM)
        assert math.hypot(u[i - 1], u[j - 1]) == pytest.approx(exact[i, j], rel=0.03)


@pytest.mark.parametrize("offset_ohm", [0.0, 0.08, -0.5])
def test_a_meters_fixed_offset_drops_out_and_what_is_stated_holds(offset_ohm: float) -> None:
    """Four thousand corrected readings, zeroed and read with one meter: off by more than U in 5 % at most."""
    beyond, errors, count = 0, [], 0
    for seed in range(400):
        bench = Plugged(seed, offset_ohm)
        learned = learned_on(bench)
        adapter = zeroed(in_order([End("A", str(p)) for p in POINTS]), learned, "2031-05-04", "M 1")
        spread = adapter.offset_spread_ohm("M 1", "2031-05-04T12:00:00Z")
        assert spread is not None
        u_lead = max(lead.standard_u_ohm(0.03) for lead in adapter.entries)
        meter = Meter(
            Accuracy(0.1, 0.0),
            None,
            (0.0, 1e6),
            {p: learned[p].ohm for p in POINTS},
            u_lead,
            spread,
            zeroed=True,
        )
        for a, b in ((1, 2), (2, 4), (4, 5), (5, 6), (3, 6)) * 2:
            found = bench.read(a, b, 0.5) - meter.leads_ohm(a, b, 2)
            errors.append(found - 0.5)
            beyond += abs(found - 0.5) > meter.uncertainty_ohm(found, 2)
            count += 1
    assert abs(float(np.mean(errors))) < 0.001
    assert beyond / count < 0.05


def test_an_offset_is_charged_where_it_was_not_learned_with_this_meter_on_the_day() -> None:
    learned = learned_on(Plugged(1))
    adapter = zeroed(in_order([End("A", str(p)) for p in POINTS]), learned, "2031-05-04", "M 1")
    assert adapter.offset_spread_ohm("M 1", "2031-05-05T23:00:00Z")
    assert adapter.offset_spread_ohm("M 2", "2031-05-04T12:00:00Z") is None
    assert adapter.offset_spread_ohm("M 1", "2031-05-06T00:00:00Z") is None
    assert adapter.offset_spread_ohm("M 1", "2031-05-03T00:00:00Z") is None
    part = zeroed(adapter, {1: learned[1]}, "2031-05-04", "M 2")
    assert part.offset_spread_ohm("M 1", "2031-05-04T12:00:00Z") is None


def test_a_meter_that_always_reads_the_same_shows_nothing_of_its_spread() -> None:
    class Coarse(Plugged):
        def _answer(self, question: Question) -> Answer:
            return 0.6

    learned = learned_on(Coarse(1))
    adapter = zeroed(in_order([End("A", str(p)) for p in POINTS]), learned, "2031-05-04", "M 1")
    assert adapter.offset_spread_ohm("M 1", "2031-05-04T12:00:00Z") is None


def test_a_lead_below_zero_comes_back_from_its_table() -> None:
    learned = learned_on(Plugged(1, -0.9))
    assert min(lead.ohm for lead in learned.values()) < 0.0
    adapter = zeroed(in_order([End("A", str(p)) for p in POINTS]), learned, "2031-05-04", "M 1")
    again = parse_adapter(table_of(adapter), name=adapter.name)
    assert table_of(again) == table_of(adapter)
    assert again.offset_spread_ohm("M 1", "2031-05-04T12:00:00Z")
    with pytest.raises(AdapterError):
        parse_adapter("point,connector,cavity,lead_ohm\n1,A,1,-0.2\n", name="by hand")


def test_the_plugs_own_contacts_are_charged() -> None:
    """A lead learned in a plug holds that plug's contact, anything up to what a contact may have."""
    able = Capabilities(8, ohms=(0.0, 1e6), accuracy=Accuracy(0.1, 0.0))
    learned = {p: LeadReading(0.1, 0.004, 0.003) for p in POINTS}
    adapter = zeroed(in_order([End("A", str(p)) for p in POINTS]), learned, "2031-05-04", "M 1")
    meters = [
        meter_of(able, adapter, measured_temperature=True, zero_spread_ohm=spread, plug_contact_ohm=0.01)
        for spread in (0.003, None)
    ]
    same, other = [meter for meter in meters if meter is not None]
    assert same.lead_u_ohm == pytest.approx(math.hypot(0.002, 0.01 / math.sqrt(3.0)))
    assert same.uncertainty_ohm(0.05, 2) < 0.03
    assert other.uncertainty_ohm(0.05, 2) > 2.0 * 0.1 / math.sqrt(3.0)
