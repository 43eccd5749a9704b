"""A bench whose readings can't all be true makes no pass: it is refused, or claims no more than it can."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order
from loomproof.bench.questions import Answer, Question, Resistance, Temperature
from loomproof.bench.seam import Accuracy, Capabilities, Opening, Wires
from loomproof.errors import UnfitError
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.measuring.events import finish
from loomproof.measuring.selfcheck import Check
from loomproof.measuring.selftests_kept import RESISTORS, SelfTest, keep
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from loomproof.results.findings import Severity
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.torture import loom_of
from tests.cleared import cleared
from tests.measuring.meter_bench import METER_ONLY, MeterBench

TWO_WIRE = replace(METER_ONLY, four_wire=False, four_wire_accuracy=None)
TAIL = loom_of("tail_lamp")


@dataclass
class Lying(MeterBench):
    """A meter bench with one thing wrong about it."""

    lie: Callable[[float, Wires], float] = lambda ohm, _: ohm
    celsius: float | None = None

    def _answer(self, question: Question) -> Answer:
        match question:
            case Temperature():
                return self.celsius
            case Resistance(wires=wires):
                ohm = super()._answer(question)
                assert isinstance(ohm, float)
                return self.lie(ohm, wires)
        return super()._answer(question)


def proved(bench: MeterBench, loom: Loom = TAIL) -> Outcome:
    request = Request(loom, in_order(loom.cavities), "run", "2031-05-04T00:00:00Z")
    outcome = finish(prove(request, bench, cleared(loom, bench, meter_v=0.0)))
    assert isinstance(outcome, Outcome)
    return outcome


def lying(
    *faults: str,
    lie: Callable[[float, Wires], float] = lambda ohm, _: ohm,
    able: Capabilities = METER_ONLY,
    celsius: float | None = None,
    loom: Loom = TAIL,
) -> Lying:
    scanner = Scanner(loom, Make(len(loom.cavities)), faults=faults)
    return Lying(scanner, able, lie=lie, celsius=celsius)


def test_an_open_sense_lead_hides_no_resistance() -> None:
    """With one open, four wires read nought; two wires see what is there."""

    def open_sense(ohm: float, wires: Wires) -> float:
        return 1e-5 if wires == 4 and ohm < 1e8 else ohm

    assert proved(lying()).document.verdict is Verdict.PASS
    with pytest.raises(UnfitError, match="with four wires"):
        proved(lying("high 50k W2", lie=open_sense))
    with pytest.raises(UnfitError, match="with four wires"):
        proved(lying("high 5 W2", lie=open_sense))


def test_a_contact_that_opens_between_four_wires_and_two_is_open_and_no_trouble_of_the_bench() -> None:
    def opens(ohm: float, wires: Wires) -> float:
        return float("inf") if wires == 2 else ohm

    assert proved(lying(lie=opens)).document.verdict is Verdict.FAIL


def test_below_its_range_a_meter_says_no_more_than_that() -> None:
    able = replace(TWO_WIRE, ohms=(50.0, 1e8), accuracy=Accuracy(0.02, 0.0))
    bench = lying("high 20 W2", lie=lambda ohm, _: 0.0 if ohm < 50 else ohm, able=able)
    outcome = proved(bench)
    bounds = [r.bound_ohm for r in outcome.measured.judged if r.measured_ohm == 0.0]
    assert bounds
    assert all(50.0 <= bound < 53.0 for bound in bounds), (
        "where the range begins, and the meter's error there"
    )
    assert outcome.document.grade is Grade.BENCH
    assert "joints to 52." in outcome.document.grade_text


def test_a_sound_loom_is_decided_by_a_meter_whose_range_begins_above_its_wires() -> None:
    """Four wires, 0.1 Ω to 1 MΩ ± 4 mΩ: what reads below 0.1 Ω is under it, and so under its limit."""
    able = replace(METER_ONLY, ohms=(0.1, 1e6), four_wire_accuracy=Accuracy(0.004, 0.0))
    outcome = proved(lying(able=able))
    below = [r for r in outcome.measured.judged if r.measured_ohm < 0.1 and r.limit_ohm > 0.11]
    assert below
    assert {r.decision for r in below} == {Decision.PASS}
    assert outcome.document.verdict is Verdict.PASS


@pytest.mark.parametrize("most_ohm", [1.0, 10.0, 45.0])
def test_a_meter_that_tells_no_short_from_an_open_makes_no_pass(most_ohm: float) -> None:
    able = replace(TWO_WIRE, ohms=(0.001, most_ohm))
    leaky = lying(
        f"leak {most_ohm / 2:g} BODY:2 BODY:3" if most_ohm > 9 else "short BODY:2 BODY:3", able=able
    )
    assert proved(leaky).document.verdict in (Verdict.INCOMPLETE, Verdict.FAIL)
    document = proved(lying(able=able)).document
    assert document.verdict is Verdict.INCOMPLETE
    assert "a short would not show" in document.reasons[0]


ONE_NET = Loom(
    "one net",
    connectors=tuple(
        Connector(name, ConnectorKind.PLUG, (("1",),), hazard=Hazard.NONE) for name in ("A", "B", "C")
    ),
    wires=(Wire("W1", End("A", "1"), End("B", "1")), Wire("W2", End("B", "1"), End("C", "1"))),
)


def test_a_loom_of_one_net_wants_to_see_an_open_reading() -> None:
    assert proved(lying(loom=ONE_NET), ONE_NET).document.verdict is Verdict.PASS
    assert proved(lying("open W1", loom=ONE_NET), ONE_NET).document.verdict is Verdict.FAIL
    with pytest.raises(UnfitError, match="nothing between them"):
        proved(lying("open W1", loom=ONE_NET, lie=lambda *_: 0.045), ONE_NET)
    with pytest.raises(UnfitError, match="all points are in use"):
        proved(lying(loom=ONE_NET, able=replace(METER_ONLY, points=3)), ONE_NET)


@pytest.mark.parametrize("celsius", [130.0, -40.0, 9.9e37, float("nan")])
def test_a_thermometer_that_tells_what_no_workshop_has_moves_no_limit(celsius: float) -> None:
    assert proved(lying(celsius=35.0)).document.verdict is Verdict.PASS
    with pytest.raises(UnfitError, match="thermometer"):
        proved(lying(celsius=celsius))


def one_wire(name: str = "plain") -> Loom:
    """One metre of 0.75 mm² between two plugs, and another beside it: nothing of known resistance."""
    ends = [End(plug, cavity) for plug in "AB" for cavity in "12"]
    plugs = tuple(Connector(plug, ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE) for plug in "AB")
    wires = tuple(
        Wire(f"W{k + 1}", ends[k], ends[2 + k], colour="BK", csa_mm2=0.75, length_m=1.0) for k in range(2)
    )
    return Loom(name=name, connectors=plugs, wires=wires)


def test_four_wires_that_read_nought_where_copper_has_more_are_refused() -> None:
    """Leads not zeroed, so that two wires contradict nothing: 1 m of 0.75 mm² has 23 mΩ of solid copper."""
    able = replace(METER_ONLY, four_wire=True, four_wire_accuracy=Accuracy(0.005, 0.0))

    def open_sense(ohm: float, wires: Wires) -> float:
        return 0.0 if wires == 4 and ohm < 1e8 else ohm

    with pytest.raises(UnfitError, match=r"copper alone has 0\.018 Ω there at least"):
        proved(lying("high 0.8 W1", loom=one_wire(), lie=open_sense, able=able), one_wire())
    sound = proved(lying(loom=one_wire(), able=able), one_wire()).document
    assert sound.meter_check == "", "joints may have as much as copper: half the gain would read so as well"
    assert sound.grade_text.endswith("meter not checked")


@pytest.mark.parametrize("gain", [0.0, 1e-3])
def test_a_meter_that_reads_nought_and_could_not_be_seen_to_says_that_it_was_not_checked(gain: float) -> None:
    able = replace(TWO_WIRE, accuracy=Accuracy(0.1, 0.01))
    bench = lying(
        "high 20 W1", loom=one_wire(), lie=lambda ohm, _: ohm * gain if ohm < 1e8 else ohm, able=able
    )
    document = proved(bench, one_wire()).document
    assert document.verdict is Verdict.PASS, "copper has less than the uncertainty: nothing shows it"
    assert document.grade_text.endswith("meter not checked")
    assert document.meter_check == ""


@pytest.mark.parametrize(("ohm", "percent", "vouches"), [(0.5, 1.0, True), (15.0, 10.0, False)])
def test_a_part_vouches_for_no_less_than_its_tolerance(ohm: float, percent: float, vouches: bool) -> None:
    """15 Ω ± 10 % may be 1.5 Ω off either way, and so may the meter: joints have a tenth of that."""
    resistor = Component(
        "R1", ComponentKind.RESISTOR, (("1", End("A", "1")), ("2", End("A", "2"))), ohm, percent
    )
    loom = replace(one_wire("beside R1"), components=(resistor,))
    able = replace(TWO_WIRE, accuracy=Accuracy(0.01, 0.0))
    document = proved(lying(loom=loom, able=able), loom).document
    assert document.meter_check.startswith("R1 of the loom read ") == vouches
    assert ("meter not checked" in document.grade_text) != vouches


def wires(count: int, length_m: float = 3.0) -> Loom:
    """So many wires of 0.75 mm² between two plugs, each of 68 mΩ of solid copper (IEC 60228)."""
    names = [str(n + 1) for n in range(count)]
    plugs = tuple(Connector(plug, ConnectorKind.PLUG, (tuple(names),), hazard=Hazard.NONE) for plug in "AB")
    runs = tuple(
        Wire(f"W{n}", End("A", n), End("B", n), colour="BK", csa_mm2=0.75, length_m=length_m) for n in names
    )
    return Loom(name="wires", connectors=plugs, wires=runs)


FINE = replace(METER_ONLY, four_wire=True, four_wire_accuracy=Accuracy(0.002, 0.0))


def test_a_way_added_within_one_net_is_told_of_the_loom_and_not_of_the_meter() -> None:
    outcome = proved(lying("part 0.02 A:2 B:2", loom=wires(3), able=FINE), wires(3))
    assert outcome.document.verdict is Verdict.PASS
    (note,) = outcome.findings
    assert (note.cause, note.severity) == ("shorter_way", Severity.NOTE)
    assert {str(end) for end in note.cavities} == {"A:2", "B:2"}
    assert "shorter way than described" in note.title
    (shown,) = note.evidence
    assert shown.measured_ohm is not None
    assert shown.measured_ohm < 0.068 / 1.25


@pytest.mark.parametrize(
    ("count", "faults", "gain"),
    [
        (2, ("part 0.02 A:2 B:2",), 1.0),  # one other net vouches for too little
        (3, ("part 0.02 A:1 B:1", "part 0.02 A:2 B:2"), 1.0),
        (3, (), 0.3),
    ],
)
def test_a_meter_that_few_nets_vouch_for_is_the_benchs_fault_still(
    count: int, faults: tuple[str, ...], gain: float
) -> None:
    bench = lying(*faults, loom=wires(count), lie=lambda ohm, _: ohm * gain if ohm < 1e6 else ohm, able=FINE)
    with pytest.raises(UnfitError, match="the meter or its leads are wrong"):
        proved(bench, wires(count))


def test_one_net_that_reads_nought_is_an_open_sense_lead() -> None:
    bench = lying("part 0.02 A:2 B:2", loom=wires(4), able=FINE)
    bench.lie = lambda ohm, four: 0.0 if four == 4 and ohm < 0.05 else ohm
    with pytest.raises(UnfitError, match="the meter or its leads are wrong"):
        proved(bench, wires(4))


def test_one_net_that_reads_otherwise_each_time_is_no_shorter_way() -> None:
    shown = iter(range(1000))
    bench = lying("part 0.02 A:2 B:2", loom=wires(4), able=FINE)
    bench.lie = lambda ohm, four: 0.02 + 0.008 * (next(shown) % 3) if four == 4 and ohm < 0.05 else ohm
    with pytest.raises(UnfitError, match="the meter or its leads are wrong"):
        proved(bench, wires(4))


@pytest.mark.parametrize(("known_ohm", "vouches"), [(0.005, True), (1.1, False), (None, False)])
def test_a_selftest_vouches_for_no_less_than_its_resistor_and_meter_are_known(
    tmp_path: Path, known_ohm: float | None, vouches: bool
) -> None:
    """A joint's limit is some 0.05 Ω here: 100 Ω ± 1 % shows nothing of that."""
    bench = replace(lying(loom=one_wire()), opened=Opening())
    who = bench.identify()
    check = Check("reference resistors", True, "read right")
    test = SelfTest(
        who.maker, who.model, who.serial, "2031-05-03T00:00:00Z", RESISTORS, (check,), known_ohm=known_ohm
    )
    keep(test, tmp_path / "selftests.jsonl")
    clearance = cleared(one_wire(), bench, meter_v=0.0, selftests=tmp_path / "selftests.jsonl")
    request = Request(one_wire(), in_order(one_wire().cavities), "run", "2031-05-04T00:00:00Z")
    document = finish(prove(request, bench, clearance)).document
    assert document.meter_check.startswith("self-test of 2031-05-03") == vouches
    assert ("meter not checked" in document.grade_text) != vouches
