"""The campaign's own physics against closed forms, its oracle, and what would make it fail."""

from __future__ import annotations

import itertools
import math
import random
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Wire,
)
from loomproof.results.document import Verdict
from tests.campaign.grade_oracle import Oracle
from tests.campaign.lies import EXCHANGED, LIES, LyingScanner
from tests.campaign.lying_benches import ANOTHER, BENCH, TWO
from tests.campaign.lying_benches import result_of as lied_to
from tests.campaign.true_benches import Make, Meter, TrueScanner
from tests.campaign.truth import PULL_UP_OHM, Circuitry, Junction, Truth
from tests.campaign.verdict_looms import faults_of, loom_of
from tests.campaign.verdicts import USUAL, Case, Tally, case_of, good_enough, result_of, table
from tests.diagnosis.injector import Injected, place

ENDS = tuple(End("A", str(i)) for i in range(8))
P = tuple(place(end) for end in ENDS)


def truth(*edges: tuple[int, int, float], diodes: tuple[tuple[int, int, float], ...] = ()) -> Truth:
    return Truth(
        Circuitry(
            tuple((P[a], P[b], ohm) for a, b, ohm in edges),
            tuple(Junction(P[a], P[b], volts) for a, b, volts in diodes),
            ENDS,
        )
    )


@pytest.mark.parametrize("ohm", [0.001, 1.0, 1e3, 1e6])
def test_a_cube_of_equal_resistors(ohm: float) -> None:
    """7/12, 3/4 and 5/6 of one edge (F. J. van Steenwijk, Am. J. Phys. 66 (1998) 90)."""
    pairs = [(a, b) for a, b in itertools.combinations(range(8), 2) if (a ^ b).bit_count() == 1]
    cube = truth(*((a, b, ohm) for a, b in pairs))
    for a, b in itertools.combinations(range(8), 2):
        expected = {1: 7 / 12, 2: 3 / 4, 3: 5 / 6}[(a ^ b).bit_count()] * ohm
        assert cube.ohm(ENDS[a], ENDS[b]) == pytest.approx(expected, rel=1e-6)


def test_milliohms_beside_megohms_keep_their_digits() -> None:
    mixed = truth((0, 1, 0.02), (1, 2, 1e6), (0, 2, 1e6), (2, 3, 0.02))
    assert mixed.ohm(ENDS[0], ENDS[1]) == pytest.approx(0.02 * 2e6 / (2e6 + 0.02), rel=1e-9)
    assert mixed.ohm(ENDS[0], ENDS[3]) == pytest.approx(5e5, rel=1e-6)


def test_groups_are_read_as_groups() -> None:
    three = truth((0, 1, 100.0), (2, 3, 200.0), (4, 5, 300.0))
    read = three.read([ENDS[i] for i in (0, 2, 4)], [ENDS[i] for i in (1, 3, 5)], 5.0, 500.0)
    assert read == pytest.approx(1 / (1 / 100 + 1 / 200 + 1 / 300))


def test_a_diode_by_hand() -> None:
    """5 V behind 500 Ω through 0.6 V and 2 Ω: (5 - 0.6) / 502 A; V/I is what the meter shows."""
    one = truth(diodes=((0, 1, 0.6),))
    amps = 4.4 / 502
    assert one.read([ENDS[0]], [ENDS[1]], 5.0, 500.0) == pytest.approx((0.6 + 2 * amps) / amps, rel=1e-6)
    assert math.isinf(one.read([ENDS[1]], [ENDS[0]], 5.0, 500.0))
    both = truth(diodes=((0, 1, 0.6), (1, 0, 0.6)))
    assert math.isfinite(both.read([ENDS[1]], [ENDS[0]], 5.0, 500.0))
    against = truth(diodes=((0, 1, 0.6), (2, 1, 0.6)))
    assert not against.conducts(ENDS[0], ENDS[2])
    bridged = truth((0, 1, 1e3), diodes=((0, 1, 0.6),))
    assert bridged.read([ENDS[1]], [ENDS[0]], 5.0, 500.0) == pytest.approx(1e3)


@pytest.mark.parametrize(("ohm", "low"), [(24_000.0, True), (260_000.0, False)])
def test_a_sense_by_hand(ohm: float, low: bool) -> None:
    """Supply × R / (R + pull-up), against the thresholds that SENSE and CLEAR promise."""
    scanner = TrueScanner(truth((0, 1, ohm)), USUAL, "sense")
    volts = USUAL.supply_v * ohm / (ohm + PULL_UP_OHM)
    assert (volts < min(scanner.threshold_v.values())) == low
    assert (scanner.low(1) >> 1 & 1) == low


def test_a_meter_keeps_its_promise() -> None:
    for number in range(20):
        meter = Meter(truth((0, 1, 2.0)), USUAL, f"{number}")
        shown = [meter.ohm([ENDS[0]], [ENDS[1]]) for _ in range(50)]
        assert max(abs(ohm - 2.0) for ohm in shown) <= USUAL.error_ohm(2.0)


def small(length_m: float = 1.0, *parts: Component) -> Loom:
    cavities = tuple(str(i) for i in range(1, 5))
    plugs = tuple(Connector(n, ConnectorKind.PLUG, (cavities,), hazard=Hazard.NONE) for n in "AB")
    wires = tuple(
        Wire(f"W{c}", End("A", c), End("B", c), "BK", 0.5, length_m, circuit="all") for c in cavities[:3]
    )
    return Loom("small", connectors=plugs, wires=wires, components=parts, circuits=(Circuit("all", "all"),))


def test_a_limit_by_hand() -> None:
    """1.25 (0.0390 Ω/m at 20 °C, warmed 1.5 K, + 2 × 5 mΩ + 2 × 10 mΩ) + 50 mΩ."""
    oracle = Oracle(small(), (), "limit", USUAL)
    by_hand = 1.25 * (0.0390 * (1 + 0.00393 * 1.5) + 2 * 0.005 + 2 * 0.010) + 0.050
    assert oracle.limit_ohm(End("A", "1"), End("B", "1")) == pytest.approx(by_hand)


@pytest.mark.parametrize(
    ("ohm", "make", "kind"),
    [
        (0.0, Make("fine", 0.001, 0.0), "sound"),
        (0.0, Make("poor", 0.5, 0.0), "sound, in doubt"),
        (0.02, Make("fine", 0.001, 0.0), "sound"),
        (0.2, Make("poor", 0.5, 0.0), "may be undecided"),
        (0.2, Make("fine", 0.001, 0.0), "must fail"),
        (5.0, Make("poor", 0.5, 0.0), "must fail"),
        (5.0, Make("none", ohms=None), "sound"),
    ],
)
def test_classes_of_a_high_resistance(ohm: float, make: Make, kind: str) -> None:
    faults = (Injected("high", wires=("W1",), ohm=ohm),) if ohm else ()
    assert Oracle(small(), faults, "high", make).judged().kind == kind


@pytest.mark.parametrize(
    "fault",
    [
        Injected("short", (End("A", "1"), End("A", "2"))),
        Injected("leak", (End("A", "1"), End("A", "2")), ohm=2e5),
        Injected("led", (End("A", "1"), End("A", "4"))),
        Injected("missing", parts=("R1",)),
        Injected("shorted", parts=("R1",)),
        Injected("value", parts=("R1",), ohm=300.0),
        Injected("move", (End("A", "1"), End("A", "4"))),
        Injected("open", wires=("W2",)),
    ],
)
def test_what_must_fail(fault: Injected) -> None:
    resistor = Component(
        "R1", ComponentKind.RESISTOR, (("1", End("A", "2")), ("2", End("A", "3"))), 100.0, 5.0
    )
    assert Oracle(small(1.0, resistor), (), "part", USUAL).judged().kind == "sound, in doubt"
    assert Oracle(small(1.0, resistor), (fault,), "part", USUAL).judged().kind == "must fail"


def test_a_loom_is_drawn_from_its_number_alone() -> None:
    assert list(case_of("benches", 7, 3)) == list(case_of("benches", 7, 3))
    assert list(case_of("mixed", 7, 3)) != list(case_of("mixed", 7, 4))
    assert len({case.make.name for case in case_of("benches", 7, 3)}) == 5


def test_every_kind_of_part_and_fault_comes_up() -> None:
    looms = [loom_of(random.Random(n), 60) for n in range(150)]
    parts = {part.kind for loom in looms for part in loom.components}
    assert parts == set(ComponentKind)
    kinds = {f.kind for n, loom in enumerate(looms) for f in faults_of(random.Random(n), loom, 3)}
    assert kinds >= {"open", "contact", "short", "swap", "move", "rotate", "splice", "fuse", "added", "led"}
    assert kinds >= {"high", "slight", "high contact", "high splice", "leak", "part", "diode"}
    assert kinds >= {"missing", "value", "shorted", "reversed"}


def test_a_plain_open_is_found_over_the_link_and_a_wrong_verdict_fails_the_campaign(tmp_path: Path) -> None:
    good = result_of(Case("open", small(), (Injected("open", wires=("W1",)),), USUAL), tmp_path)
    assert (good.verdict, good.kind, good.wrong, good.first) == (Verdict.FAIL, "must fail", (), True)
    tally = Tally("mixed", 3, [good] * 3)
    assert good_enough(tally)
    assert "100.00%" in "\n".join(table(tally))
    assert not good_enough(replace(tally, results=[good, replace(good, wrong=(("false pass", "why"),))]))
    assert not good_enough(replace(tally, results=[replace(good, first=False)] * 3))


def test_a_bench_that_lies_is_known_to_lie(tmp_path: Path) -> None:
    by_name = {lie.name: lie for lie in LIES}
    assert len(LIES) >= 50
    oracle = Oracle(small(), (), "lies", TWO)
    scanner = LyingScanner(oracle.now, TWO, "lies", by_name["offset + 3 Ω"])
    assert float(scanner.measure("RES", 1, 1 << 4, ())) > 3.0
    assert scanner.lied
    honest = LyingScanner(oracle.now, TWO, "lies", replace(by_name["offset + 3 Ω"], figure=None))
    assert float(honest.measure("RES", 1, 1 << 4, ())) < 0.3
    assert not honest.lied
    assert lied_to(by_name["input stuck low"], 1, 0, tmp_path).end == "the bench's fault"


def test_points_exchanged_in_the_meter_are_the_benchs_or_those_of_another_loom(tmp_path: Path) -> None:
    """Sense finds apart what the meter joins (loom 3); on one net it is another loom's truth (loom 18)."""
    (lie,) = [lie for lie in LIES if lie.name == EXCHANGED]
    ends = [lied_to(lie, 20261202, number, tmp_path, referred=True).end for number in (3, 18)]
    assert ends == [BENCH, ANOTHER]
