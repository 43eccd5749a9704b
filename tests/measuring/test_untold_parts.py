"""Parts that no reading tells: what a sound one can't look like is found, the rest stands by name."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.bench.seam import Capabilities
from loomproof.results.document import Verdict
from loomproof.results.measured import Decision
from tests.measuring.meter_bench import METER_ONLY
from tests.measuring.scanner_bench import OHMS, loom_of, outcome_of, proved

SHORT_RANGE = replace(OHMS, ohms=(0.0, 50_000.0))
METER = replace(OHMS, sense_ohm=None, clear_ohm=None, diode=False)
NO_DIODE_TEST = replace(OHMS, diode=False)
BENCHES = {"scanner": OHMS, "short range": SHORT_RANGE, "meter alone": METER, "no diode test": NO_DIODE_TEST}

CAPACITOR = "C1,capacitor,1=A:1 2=A:2,,,\n"
COIL = "L1,coil,1=A:1 2=A:2,,,\n"
RESISTOR = "R1,resistor,1=A:1 2=A:2,,,\n"
RELAY = "K1,relay,85=A:1 86=A:2 30=A:3 87=A:4,,,\n"
BIG = "R1,resistor,1=A:1 2=A:2,100000,5,\n"
BIGGER = "R1,resistor,1=A:1 2=A:2,470000,5,\n"

DIODE = "D1,diode,A=A:1 K=A:2,,,0.65\n"
BACK_TO_BACK = DIODE + "D2,diode,A=A:2 K=A:1,,,0.65\n"
BESIDE = {ohm: f"{DIODE}R1,resistor,1=A:1 2=A:2,{ohm},5,\n" for ohm in (100, 3300, 20_000)}
ROUND_ABOUT = f"{DIODE}R1,resistor,1=A:2 2=A:3,1500,5,\nR2,resistor,1=A:3 2=A:1,2200,5,\n"
FREEWHEEL = DIODE + COIL


@pytest.mark.parametrize("able", BENCHES.values(), ids=BENCHES)
@pytest.mark.parametrize("part", [CAPACITOR, COIL, RESISTOR, RELAY, BIG, BIGGER])
def test_a_short_across_a_part_that_is_not_measured_is_found(part: str, able: Capabilities) -> None:
    loom = loom_of("1 2 3 4", part)
    name = part.split(",")[0]
    sound = outcome_of(loom, able=able)
    assert sound.document.verdict is not Verdict.FAIL
    assert sound.findings == ()
    bad = outcome_of(loom, "short A:1 A:2", able=able)
    assert bad.document.verdict is Verdict.FAIL
    (finding,) = bad.findings
    assert finding.components == (name,)


@pytest.mark.parametrize("part", [CAPACITOR, COIL, RESISTOR, RELAY])
def test_what_no_reading_can_say_of_a_part_stands_by_its_name(part: str) -> None:
    measured, findings = proved(loom_of("1 2 3 4", part))
    assert findings == ()
    assert measured.untold_parts == (part.split(",")[0],)


def test_a_part_above_the_range_is_told_by_a_meter_that_reaches_it() -> None:
    loom = loom_of("1 2", BIG)
    assert proved(loom, able=SHORT_RANGE, isolation_ohm=None)[0].untold_parts == ("R1",)
    assert proved(loom)[0].untold_parts == ()


def test_a_short_between_nets_that_two_capacitors_lead_between_is_found() -> None:
    loom = loom_of("1 2 3", CAPACITOR + "C2,capacitor,1=A:2 2=A:3,,,\n")
    assert proved(loom)[1] == ()
    assert proved(loom, "short A:1 A:3")[1]


def test_a_short_behind_two_coils_without_ohms_is_found() -> None:
    loom = loom_of("1 2 3", COIL + "L2,coil,1=A:2 2=A:3,,,\n")
    assert proved(loom)[1] == ()
    assert proved(loom, "short B:1 B:3")[1]


@pytest.mark.parametrize("able", BENCHES.values(), ids=BENCHES)
@pytest.mark.parametrize("parts", [BACK_TO_BACK, *BESIDE.values(), ROUND_ABOUT, FREEWHEEL])
def test_a_diode_with_another_way_back_passes_and_a_short_does_not(parts: str, able: Capabilities) -> None:
    for volts in (1.5, 5.0, 12.0):
        bench = replace(able, test_voltage_v=volts)
        loom = loom_of("1 2 3", parts)
        assert proved(loom, able=bench)[1] == (), volts
        (finding,) = proved(loom, "short A:1 A:2", able=bench)[1]
        assert finding.cause in ("shorted_part", "touching")


@pytest.mark.parametrize("able", BENCHES.values(), ids=BENCHES)
@pytest.mark.parametrize("parts", [BESIDE[3300], BESIDE[20_000], ROUND_ABOUT])
def test_a_diode_the_wrong_way_round_is_told_beside_a_resistor(parts: str, able: Capabilities) -> None:
    (finding,) = proved(loom_of("1 2 3", parts), "reversed D1", able=able)[1]
    assert (finding.cause, finding.components[0]) == ("reversed_diode", "D1")


def test_a_missing_diode_beside_a_resistor_is_told_by_volts_and_else_stands_by_name() -> None:
    loom = loom_of("1 2", BESIDE[3300])
    assert [finding.cause for finding in proved(loom, "missing D1")[1]] == ["missing_part"]
    measured, findings = proved(loom, "missing D1", able=NO_DIODE_TEST)
    assert (findings, measured.untold_parts) == ((), ("D1",))


def test_a_missing_diode_of_two_back_to_back_is_told() -> None:
    loom = loom_of("1 2", BACK_TO_BACK)
    for able in (OHMS, NO_DIODE_TEST, METER):
        (finding,) = proved(loom, "missing D2", able=able)[1]
        assert (finding.cause, finding.components) == ("missing_part", ("D2",))


def test_a_meter_below_a_diodes_drop_says_nothing_of_it() -> None:
    weak = replace(NO_DIODE_TEST, test_voltage_v=0.2, ohms=(0.0, 1000.0))
    measured, findings = proved(loom_of("1 2", DIODE), able=weak, isolation_ohm=None)
    assert (findings, measured.untold_parts) == ((), ("D1",))


def test_a_short_across_a_part_above_the_upper_threshold_is_sensed() -> None:
    sense_only = replace(OHMS, ohms=None, accuracy=None, diode=False)
    loom = loom_of("1 2 3", BIGGER)
    measured, findings = proved(loom, able=sense_only)
    assert (findings, measured.untold_parts) == ((), ("R1",))
    (finding,) = proved(loom, "short A:1 A:2", able=sense_only)[1]
    assert finding.cause == "touching"


SENSE_ONLY = replace(OHMS, ohms=None, accuracy=None, diode=False)


@pytest.mark.parametrize("able", [*BENCHES.values(), SENSE_ONLY], ids=[*BENCHES, "sense only"])
@pytest.mark.parametrize(
    "part",
    ["R1,resistor,1=A:1 2=B:1,100,5,\n", "D1,diode,A=A:1 K=B:1,,,0.65\n", "L1,coil,1=A:1 2=B:1,85,5,\n"],
)
def test_a_part_that_copper_bridges_stands_by_its_name(part: str, able: Capabilities) -> None:
    outcome = outcome_of(loom_of("1 2", part), able=able)
    assert outcome.findings == ()
    assert part.split(",")[0] in outcome.document.grade_text
    assert outcome.document.grade == "connections"


def test_a_shunt_is_no_part_that_copper_bridges() -> None:
    document = outcome_of(loom_of("1 2", "R1,resistor,1=A:1 2=A:2,0.1,5,\n")).document
    assert "nobody could tell" not in document.grade_text


def test_what_lies_across_a_part_is_claimed_to_the_end_of_the_range_at_most() -> None:
    document = outcome_of(loom_of("1 2", BIG), "value 50010 R1", able=SHORT_RANGE).document
    across = [claim for claim in document.claims if claim.subject == "across R1"]
    assert across
    for claim in across:
        assert claim.open
        # The end of the range less the stated accuracy there: 50 kΩ - (0.1 Ω + 1 %).
        assert claim.threshold_ohm == pytest.approx(49_500, rel=0.01)


def test_a_part_above_the_range_that_reads_within_it_is_found() -> None:
    (finding,) = proved(loom_of("1 2", BIG), "value 45000 R1", able=SHORT_RANGE)[1]
    assert finding.components == ("R1",)


def test_the_figure_of_two_coils_beside_each_other_is_neithers_own() -> None:
    loom = loom_of("1 2", COIL + COIL.replace("L1", "L2"))
    claims = {claim.subject: claim for claim in outcome_of(loom).document.claims}
    assert {"across L1", "across L2"} <= set(claims)
    assert not {"L1", "L2"} & set(claims)


def test_the_figure_of_a_coil_is_read_at_the_cavities_that_it_names() -> None:
    # A bad contact at A:1 is not in a reading of the whole net, and is in one from A:1 (Ohm's law).
    document = outcome_of(loom_of("1 2", COIL), "high 7 A:1").document
    (claim,) = [claim for claim in document.claims if claim.subject == "L1"]
    other = outcome_of(loom_of("1 2", COIL)).document
    (sound,) = [claim for claim in other.claims if claim.subject == "L1"]
    assert str(claim.cavities[0]) == "A:1"
    assert claim.measured_ohm is not None
    assert sound.measured_ohm is not None
    assert claim.measured_ohm - sound.measured_ohm == pytest.approx(7, abs=0.6)


def test_a_bench_without_ohms_tells_no_shunt() -> None:
    loom = loom_of("1 2 3", "R1,resistor,1=A:1 2=A:2,0.01,5,\n")
    measured, _ = proved(loom, able=SENSE_ONLY)
    assert measured.untold_parts == ("R1",)


@pytest.mark.parametrize("part", [COIL, RESISTOR])
def test_a_shorted_part_without_ohms_is_told_by_four_wires_where_two_are_too_coarse(part: str) -> None:
    # 0.2 Ω of two wires leave open whether 0.15 Ω are less than the 0.3 Ω of the least such part.
    loom = loom_of("1 2 3 4", part)
    fine = replace(METER_ONLY, points=512)
    assert fine.accuracy is not None
    assert fine.accuracy.ohm == 0.2
    measured, (finding,) = proved(loom, "part 0.15 A:1 A:2", able=fine)
    assert finding.components == (part.split(",")[0],)
    (told,) = [judged for judged in measured.judged if judged.component]
    assert told.decision is Decision.FAIL
    assert proved(loom, able=fine)[1] == ()


COILS_BETWEEN_DIODES = (
    "L1,coil,1=A:1 2=A:2,85,10,\nL2,coil,1=A:1 2=A:2,85,10,\n"
    "D1,diode,A=A:1 K=A:2,,,0.65\nD2,diode,A=A:2 K=A:1,,,0.65\n"
)


def test_one_of_two_coils_beside_each_other_that_is_out_is_told_once() -> None:
    loom = loom_of("1 2 3", "".join(COILS_BETWEEN_DIODES.splitlines(keepends=True)[:2]))
    (finding,) = proved(loom, "missing L2")[1]
    assert finding.cause == "missing_part"
    assert set(finding.components) == {"L1", "L2"}
    assert len(proved(loom, "missing L1", "missing L2")[1]) == 2


@pytest.mark.parametrize("able", [NO_DIODE_TEST, METER, OHMS], ids=["scanner", "meter alone", "diode test"])
def test_more_than_all_parts_together_have_is_a_part_amiss_though_none_is_told(able: Capabilities) -> None:
    """85 Ω beside 85 Ω is 43 Ω, and diodes make less of it, never more: 65 Ω is one coil out."""
    loom = loom_of("1 2 3", COILS_BETWEEN_DIODES)
    measured, findings = proved(loom, able=able)
    assert findings == ()
    assert {"L1", "L2"} <= set(measured.untold_parts)
    (finding,) = proved(loom, "missing L2", able=able)[1]
    assert set(finding.components) & {"L1", "L2"}


def test_a_part_beside_a_coil_without_ohms_behind_a_short_is_not_wrong_besides() -> None:
    """The short puts the coil across the resistor: what is read there is the coil's."""
    loom = loom_of("1 2 3 4", "R1,resistor,1=A:1 2=A:2,47000,5,\nL1,coil,1=A:1 2=A:3,,,\n")
    for able in (OHMS, METER):
        (finding,) = proved(loom, "short A:2 A:3", able=able)[1]
        assert finding.cause == "touching"
        assert set(finding.components) <= {"R1"}


def test_a_relay_whose_contact_lies_at_a_short_has_not_gone_short() -> None:
    loom = loom_of("1 2 3 4 5", "K1,relay,85=A:1 86=A:2 30=A:3 87=A:4,85,10,\n")
    (finding,) = proved(loom, "short A:2 A:3")[1]
    assert "shorted_part" not in {other.cause for other in finding.alternatives}
    (finding,) = proved(loom, "short A:1 A:2")[1]
    assert "K1" in finding.title


def test_parts_without_ohms_beside_each_other_are_no_short_where_a_wire_is_open() -> None:
    """Two of 0.3 Ω at least have 0.15 Ω: two wires of ±0.2 Ω can't tell that from none, and four can."""
    parts = "L3,coil,1=A:1 2=A:2,,,\nL1,coil,1=A:1 2=A:2,,,\nL2,coil,1=B:2 2=A:1,85,10,\n"
    loom = loom_of("1 2 3 4", parts)
    fine = replace(METER_ONLY, points=512)
    assert proved(loom, able=fine)[1] == ()
    (finding,) = proved(loom, "open W2", able=fine)[1]
    assert (finding.cause, finding.wires) == ("broken_wire", ("W2",))


def test_a_missing_diode_is_told_by_what_stands_across_it_though_another_conducts_as_it_does() -> None:
    """Behind the coil an LED of 1.9 V conducts the same way: 0.65 V are no more there with the diode out."""
    parts = "D1,diode,A=A:1 K=A:2,,,0.65\nL1,coil,1=A:1 2=A:3,,,\nD2,diode,A=A:3 K=A:2,,,1.9\n"
    loom = loom_of("1 2 3 4", parts)
    assert proved(loom)[1] == ()
    (finding,) = proved(loom, "missing D1")[1]
    assert "D1" in finding.components
    assert "D1" in proved(loom, "missing D1", able=NO_DIODE_TEST)[0].untold_parts
