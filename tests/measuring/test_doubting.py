"""A bench that contradicts itself is the bench's fault; a bad loom on a sound bench is the loom's."""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance, Sense
from loomproof.bench.scanner import ScannerBench
from loomproof.errors import UnfitError
from loomproof.jobs.prove import prove
from loomproof.loom.model import End, Loom
from loomproof.measuring.doubting import refuse_one_cause
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from loomproof.results.measured import Decision, Judged
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.torture import loom_of
from tests.campaign.first_proof import prove_once
from tests.campaign.true_benches import Make as TrueMake
from tests.campaign.true_benches import TrueScanner, scanner_bench
from tests.campaign.true_looms import circuitry_of
from tests.campaign.truth import Truth
from tests.cleared import cleared
from tests.diagnosis.injector import Injected
from tests.measuring.scanner_bench import loom_of as small_loom
from tests.memory_bench import MemoryBench

ENGINE = loom_of("hillclimb_engine")
TAIL = loom_of("tail_lamp")

Ohms = Callable[[float, int, int], float]
Lows = Callable[[int, int], int]


class Lying(MemoryBench):
    """A simulated scanner over its link, with one thing wrong about what it tells."""

    def __init__(self, scanner: Scanner, shown: Ohms, low: Lows) -> None:
        device, clock = Device(scanner), Clock()
        line = SimLine(device, clock, Noise(Harm()))
        self.bench = ScannerBench(lambda: line, "sim:", clock=clock).connect()
        super().__init__(able=self.bench.capabilities(), opened=self.bench.opening)
        self.shown, self.low = shown, low

    def _answer(self, question: Question) -> Answer:
        answer = self.bench.ask(question)
        match question, answer:
            case Resistance(a, b), float():
                return self.shown(answer, a, b)
            case Sense(drives), list():
                return [self.low(low, drive) for low, drive in zip(answer, drives, strict=True)]
        return answer

    def _disconnect(self) -> None:
        self.bench.close()


def proved(
    *faults: str,
    loom: Loom = ENGINE,
    shown: Ohms = lambda ohm, *_: ohm,
    low: Lows = lambda low, _: low,
    make: Make | None = None,
) -> Verdict:
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    with Lying(Scanner(loom, make, faults=faults), shown, low) as bench:
        return finish(prove(request, bench, cleared(loom, bench))).document.verdict


def without_point(point: int, ohm: float, a: int, b: int) -> float:
    """What is read with the relay of one point open."""
    gone = 1 << (point - 1)
    return math.inf if gone in (a, b) else ohm


@pytest.mark.parametrize(
    ("shown", "says"),
    [
        (lambda ohm, *_: ohm + 1.0, "leads of the adapter that were not zeroed"),
        (lambda ohm, *_: ohm + 0.6, "leads of the adapter that were not zeroed"),
        (lambda ohm, *_: ohm * 1e3, "the meter's zero or range"),
        (lambda ohm, *_: max(ohm, 1.0), "not one of"),
        (lambda *_: 1.0, "not one of"),
        (lambda *_: math.inf, "sense finds .* joined, and the meter reads them open"),
        (lambda *_: 0.05, "sense finds .* apart, and the meter reads them joined"),
        (lambda *_: 0.0, "sense finds .* apart, and the meter reads them joined"),
        (
            lambda ohm, a, b: without_point(15, ohm, a, b),
            "sense finds .* joined, and the meter reads them open",
        ),
    ],
)
def test_a_meter_that_can_not_be_right_is_the_benchs_fault(shown: Ohms, says: str) -> None:
    with pytest.raises(UnfitError, match=says):
        proved(shown=shown)


@pytest.mark.parametrize(
    "low",
    [
        lambda _, drive: drive,  # nothing but the driven
        lambda _, drive: (1 << 127) - 1 if drive else 0,  # all of it, once anything is driven
    ],
)
def test_inputs_that_can_not_be_right_are_the_benchs_fault(low: Lows) -> None:
    with pytest.raises(UnfitError, match="the bench contradicts itself"):
        proved(low=low)


def test_a_small_loom_on_leads_that_nobody_zeroed() -> None:
    with pytest.raises(UnfitError, match="leads of the adapter"):
        proved(loom=TAIL, shown=lambda ohm, *_: ohm + 1.0)


@pytest.mark.parametrize(
    "faults",
    [
        tuple(f"open {wire.name}" for wire in ENGINE.wires),
        tuple(f"open {wire.name}" for wire in ENGINE.wires[::2]),
        tuple(f"short {a} {b}" for a, b in zip(ENGINE.cavities[::9], ENGINE.cavities[5::9], strict=False)),
        ("loose W5 4 Hz", "open W7"),
        ("part diode INJ1:2 COIL2:1", "open W7"),
        ("leak 20k INJ1:2 COIL2:1",),
        ("leak 120k INJ1:2 COIL2:1",),
    ],
)
def test_a_bad_loom_is_no_fault_of_the_bench(faults: tuple[str, ...]) -> None:
    if len(faults) == len(ENGINE.wires):  # as if it were not plugged in
        with pytest.raises(UnfitError, match="not plugged in"):
            proved(*faults)
    else:
        assert proved(*faults) is Verdict.FAIL


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("share", [0.3, 0.9])
def test_a_corroded_loom_is_no_fault_of_the_bench(seed: int, share: float) -> None:
    """Nine wires in ten have a bad joint, each its own; the ones that are sound tell the meter's worth."""
    rng = random.Random(seed)
    faults = [f"high {rng.uniform(0.4, 5.0):.2f} {w.name}" for w in ENGINE.wires if rng.random() < share]
    assert proved(*faults) is Verdict.FAIL


def test_every_joint_of_a_small_loom_bad_in_its_own_way_is_the_looms_fault() -> None:
    faults = [f"high {0.5 + n} {wire.name}" for n, wire in enumerate(TAIL.wires)]
    assert proved(*faults, loom=TAIL) is Verdict.FAIL


LIGHT = (
    "R1,resistor,1=A:1 2=A:2,0.1,5,\nD1,diode,A=A:1 K=A:2,,,1.9\nR2,resistor,1=A:1 2=A:2,47000,5,\n"
    "R3,resistor,1=A:5 2=A:6,1000,5,\n"
)


@pytest.mark.parametrize("threshold_v", [0.7, 1.2, 2.3])
def test_a_diode_that_inputs_do_not_see_and_the_meter_reads_is_no_contradiction(
    threshold_v: float, tmp_path: Path
) -> None:
    # The shunt is out: an LED of 1.9 V is what conducts, above or below what an input calls low.
    loom = small_loom("1 2 3 4 5 6", LIGHT)
    loom = replace(loom, wires=tuple(replace(wire, circuit="all") for wire in loom.wires))
    truth = Truth(circuitry_of(loom, (Injected("missing", parts=("R1",)),), "light"))
    scanner = TrueScanner(truth, TrueMake("±0.1 Ω"), "light")
    scanner.threshold_v = dict.fromkeys(loom.cavities, threshold_v)
    with scanner_bench(scanner) as bench:
        outcome = prove_once(loom, bench, tmp_path)
    assert outcome.document.verdict is Verdict.FAIL
    (finding,) = outcome.findings
    assert "R1" in finding.components


def _read(excesses: list[float], u_ohm: float) -> tuple[list[Judged], dict[End, int]]:
    judged = []
    for k, excess in enumerate(excesses):
        ohm, limit = 0.05 + excess, 0.08
        sure = Decision.FAIL if ohm - u_ohm > limit else Decision.UNDECIDED
        judged.append(Judged(End("A", str(k)), End("B", str(k)), ohm, u_ohm, 0.05, limit, sure))
    return judged, {end: k for k, r in enumerate(judged) for end in (r.a, r.b)}


def test_one_bad_joint_among_readings_that_may_be_sound_is_no_cause_of_all() -> None:
    # On +-0.5 ohm every sound wire may read 0.1 ohm too much; 14 ohm in one of them is its own.
    refuse_one_cause(*_read([0.1] * 8 + [14.1], 0.5))
    with pytest.raises(UnfitError, match=r"not one of 9 conductors in 9 nets is within its limit"):
        refuse_one_cause(*_read([1.1] * 8 + [14.1], 0.5))
    with pytest.raises(UnfitError, match=r"not one of 9"):
        refuse_one_cause(*_read([0.5] * 8 + [0.6], 0.5))
