"""A capacitor on a real meter: what it reads while it is charged is no path, and what it can't tell is said.

A meter on its ohms range drives a constant current, so that across a capacitor C with R beside it a reading
after t seconds shows R·(1 - exp(-t/RC)), which is t/C where nothing leaks (from I = U/R + C·dU/dt). The
simulated scanner gives the settled reading at once.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.seam import Capabilities
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Loom
from loomproof.measuring.events import finish
from loomproof.measuring.trace import Traced, trace
from loomproof.planning.meter import Meter
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from tests.cleared import cleared
from tests.measuring.scanner_bench import OHMS, ScannerBench, loom_of, outcome_of, scanner_bench
from tests.measuring.test_untold_parts import BENCHES

READING_S = 0.1


@dataclass
class ChargingBench(ScannerBench):
    """A bench whose meter charges one capacitor between two conductors, this way round and that."""

    farad: float = math.inf
    sides: tuple[int, int] = (0, 0)
    ohm: float = 0.0

    def _answer(self, question: Question) -> Answer:
        said = super()._answer(question)
        if isinstance(question, Resistance):
            one, other = ([bool(points & side) for side in self.sides] for points in (question.a, question.b))
            across = sorted((one, other)) == [[False, True], [True, False]]
            if across:
                assert isinstance(said, float)
                way = 1.0 if one[0] else -1.0
                top_ohm = self.scanner.make.ohms[1]
                # Towards what a steady current leaves across the leak; its voltage ends with the range.
                settled_ohm = min(said, 1e9)
                keeps = math.exp(-READING_S / (settled_ohm * self.farad))
                self.ohm = self.ohm * keeps + way * settled_ohm * (1.0 - keeps)
                self.ohm = min(max(self.ohm, -top_ohm), top_ohm)
                return way * self.ohm if way * self.ohm < top_ohm else math.inf
        return said


def loom(farad: float, beside: str = "") -> Loom:
    bare = loom_of("1 2 3", f"C1,capacitor,1=A:1 2=A:2,,,\n{beside}")
    first, *others = bare.components
    return replace(bare, components=(replace(first, capacitance_f=farad), *others))


def charging_bench(
    farad: float, *faults: str, beside: str = "", able: Capabilities = OHMS
) -> tuple[Loom, ChargingBench]:
    described = loom(farad, beside)
    point_of = in_order(described.cavities).point_of
    sides = [sum(1 << p - 1 for end, p in point_of.items() if end.cavity == cavity) for cavity in "12"]
    plain = scanner_bench(described, *faults, able=able)
    return described, ChargingBench(plain.scanner, able, farad=farad, sides=(sides[0], sides[1]))


def charging(farad: float, *faults: str, beside: str = "", able: Capabilities = OHMS) -> Outcome:
    described, bench = charging_bench(farad, *faults, beside=beside, able=able)
    request = Request(described, in_order(described.cavities), "parts", "2026-01-01T00:00:00Z")
    return finish(prove(request, bench, cleared(described, bench, meter_v=0.0)))


@pytest.mark.parametrize("able", BENCHES.values(), ids=BENCHES)
@pytest.mark.parametrize("farad", [1e-9, 2.2e-6, 1e-4, 2.2e-2])
def test_a_charging_reading_is_no_fault(farad: float, able: Capabilities) -> None:
    document = charging(farad, able=able).document
    assert document.findings == ()
    assert (document.verdict, document.grade) == (Verdict.UNDECIDED, "connections")
    assert "nobody could tell C1" in document.grade_text
    assert not any("across C1" in reason for reason in document.reasons)


@pytest.mark.parametrize(("farad", "shown_ohm"), [(1e-7, 1e6), (2.2e-6, 1e6), (1e-5, 5e5), (1e-3, 5e3)])
def test_what_still_charges_is_claimed_only_as_far_as_it_shows(farad: float, shown_ohm: float) -> None:
    """51 readings of 0.1 s reach 5.1 s / C; what leaks beside it has more than is read while that rises."""
    claims = [claim for claim in charging(farad).document.claims if claim.subject == "across C1"]
    assert claims
    assert all(claim.decision == "pass" for claim in claims)
    assert all("whether C1 is there is not told" in claim.statement for claim in claims)
    assert max(claim.threshold_ohm or 0.0 for claim in claims) == pytest.approx(shown_ohm, rel=0.03)


@pytest.mark.parametrize(("farad", "leak"), [(1e-6, 30e3), (1e-5, 5e3), (1e-4, 100.0)])
def test_a_leak_beside_it_is_found_once_the_reading_stands(farad: float, leak: float) -> None:
    """After five time constants the reading stands at the leak to less than a hundredth."""
    outcome = charging(farad, f"leak {leak:g} A:1 A:2")
    (finding,) = outcome.findings
    assert finding.components == ("C1",)
    assert finding.evidence[0].measured_ohm == pytest.approx(leak, rel=0.03)


@pytest.mark.parametrize("farad", [1e-7, 1e-3])
def test_a_short_across_it_is_found_all_the_same(farad: float) -> None:
    outcome = charging(farad, "short A:1 A:2")
    (finding,) = outcome.findings
    assert (finding.cause, finding.components) == ("shorted_part", ("C1",))


def test_a_missing_one_reads_as_a_sound_one_and_the_cure_is_a_capacitance_meter() -> None:
    missing, sound = (outcome_of(loom(1e-7), *faults).document for faults in (["missing C1"], []))
    for document in (missing, sound):
        assert document.verdict is Verdict.UNDECIDED
        assert document.grade == "connections"
        reasons = " ".join(document.reasons)
        assert "State the resistance of C1" not in reasons
        assert "capacitance meter" in reasons


def test_a_part_without_ohms_is_still_asked_for_its_resistance() -> None:
    reasons = " ".join(outcome_of(loom_of("1 2", "R1,resistor,1=A:1 2=A:2,,,\n"), able=OHMS).document.reasons)
    assert "State the resistance of R1" in reasons
    assert "capacitance" not in reasons


@pytest.mark.parametrize(("farad", "ohm"), [(1e-7, 85), (1e-6, 47_000), (1e-5, 4700), (1e-4, 470)])
def test_a_part_with_a_capacitor_across_it_is_read_when_it_stands(farad: float, ohm: float) -> None:
    beside = f"R1,resistor,1=A:1 2=A:2,{ohm},5,\n"
    outcome = charging(farad, beside=beside)
    assert outcome.findings == ()
    (claim,) = [claim for claim in outcome.document.claims if claim.subject == "R1"]
    assert claim.measured_ohm == pytest.approx(ohm, rel=0.03)
    (finding,) = charging(farad, f"value {ohm * 0.7:g} R1", beside=beside).findings
    assert (finding.cause, finding.components) == ("wrong_value", ("R1",))


def traced(farad: float, beside: str = "") -> Traced:
    """What is learned of the same loom by somebody who has no description of it."""
    described, bench = charging_bench(farad, beside=beside)
    unknown = replace(described, wires=(), components=())
    able = bench.able
    assert able.ohms is not None
    assert able.accuracy is not None
    meter = Meter(able.accuracy, None, able.ohms, {}, test_current_a=able.test_current_a)
    points = dict(enumerate(described.cavities, start=1))
    return finish(trace(bench, cleared(unknown, bench, meter_v=0.0), points, meter))


@pytest.mark.parametrize("farad", [2.2e-6, 1e-4, 1e-3])
def test_a_capacitor_in_an_unknown_loom_is_asked_about_and_no_part_is_made_of_it(farad: float) -> None:
    found = traced(farad)
    assert len(found.nets) == 3
    assert found.parts == ()
    (question,) = [text for text in found.questions if "capacitor" in text]
    assert "A:1" in question
    assert "A:2" in question


def test_a_coil_with_a_capacitor_across_it_is_traced_as_the_coil() -> None:
    found = traced(1e-4, "L1,coil,1=A:1 2=A:2,850,5,\n")
    (part,) = found.parts
    assert part.ohm == pytest.approx(850, rel=0.03)
    assert any("capacitor" in text for text in found.questions)


@pytest.mark.parametrize("way", [1.0, -1.0])
@pytest.mark.parametrize(("farad", "leak"), [(1e-3, 100e3), (1e-4, 500e3), (1e-2, 20e3)])
def test_what_was_charged_before_hides_no_leak(farad: float, leak: float, way: float) -> None:
    """Left charged the meter's way round, it reads over range at first, whatever leaks beside it."""
    described, bench = charging_bench(farad, f"leak {leak:g} A:1 A:2")
    bench.ohm = way * bench.scanner.make.ohms[1]
    request = Request(described, in_order(described.cavities), "parts", "2026-01-01T00:00:00Z")
    document = finish(prove(request, bench, cleared(described, bench, meter_v=0.0))).document
    claims = [claim for claim in document.claims if claim.subject == "across C1" and claim.decision == "pass"]
    assert all((claim.threshold_ohm or 0.0) <= 1.01 * leak for claim in claims)
    assert document.verdict is not Verdict.PASS
