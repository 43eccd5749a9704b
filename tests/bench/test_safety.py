"""What is never energised, whatever the options."""

from __future__ import annotations

import math
import os
import signal

import pytest

from loomproof.bench.seam import Capabilities
from loomproof.errors import RefusedError, SafetyError, UsageError
from loomproof.judgement.inspection import ITEMS, Inspection
from loomproof.loom.model import Connector, ConnectorKind, Hazard, Settings
from loomproof.measuring.clearance import Clearance
from loomproof.measuring.insulation import measure_insulation
from loomproof.measuring.safety import check_stimulus, refuse_hazards
from loomproof.screens.signals import stopping
from tests.bench.device import Clock, Scanner
from tests.bench.test_scanner import Rig
from tests.cleared import cleared_for_points

pytestmark = pytest.mark.usefixtures("all_closed")


def plug(name: str, hazard: Hazard) -> Connector:
    return Connector(name, ConnectorKind.PLUG, (("1",),), hazard=hazard)


@pytest.mark.parametrize("simulated", [True, False])
@pytest.mark.parametrize("hazard", [Hazard.PYROTECHNIC, Hazard.ELECTRONICS])
def test_marked_connectors_are_refused_always(hazard: Hazard, simulated: bool) -> None:
    connectors = [plug("ECU", Hazard.NONE), plug("SRS", hazard), plug("SRS2", hazard)]
    with pytest.raises(SafetyError, match="SRS, SRS2") as caught:
        refuse_hazards(connectors, simulated=simulated, answers={"SRS": Hazard.NONE, "SRS2": Hazard.NONE})
    assert caught.value.exit_code == 3


def test_unknown_must_be_answered_on_a_real_bench() -> None:
    connectors = [plug("ECU", Hazard.NONE), plug("X1", Hazard.UNKNOWN)]
    refuse_hazards(connectors, simulated=True)
    with pytest.raises(SafetyError, match="X1"):
        refuse_hazards(connectors, simulated=False)
    refuse_hazards(connectors, simulated=False, answers={"X1": Hazard.NONE})
    with pytest.raises(SafetyError, match="pyrotechnic"):
        refuse_hazards(connectors, simulated=False, answers={"X1": Hazard.PYROTECHNIC})
    with pytest.raises(UsageError, match="X9"):
        refuse_hazards(connectors, simulated=False, answers={"X9": Hazard.NONE})


@pytest.mark.parametrize("said", [Hazard.PYROTECHNIC, Hazard.ELECTRONICS])
@pytest.mark.parametrize("stated", list(Hazard))
def test_of_description_and_answer_the_worse_counts(stated: Hazard, said: Hazard) -> None:
    for simulated in (True, False):
        with pytest.raises(SafetyError, match="X1"):
            refuse_hazards([plug("X1", stated)], simulated=simulated, answers={"X1": said})


def test_splices_have_nothing_to_answer() -> None:
    refuse_hazards([Connector("S1", ConnectorKind.SPLICE)], simulated=False)


def test_stimulus_against_the_looms_limits() -> None:
    settings = Settings(test_current_a=0.05, test_voltage_v=12.0)
    check_stimulus(Capabilities(8, test_current_a=0.05, test_voltage_v=12.0), settings)
    with pytest.raises(SafetyError, match=r"0\.1 A"):
        check_stimulus(Capabilities(8, test_current_a=0.1), settings)
    with pytest.raises(SafetyError, match="24 V"):
        check_stimulus(Capabilities(8, test_voltage_v=24.0), settings)


def typed(rig: Rig, volts: float) -> Clearance:
    return cleared_for_points(rig.bench, insulation=(volts, 1000))


def test_insulation_is_armed_measured_and_released() -> None:
    rig = Rig()
    assert measure_insulation(rig.bench, typed(rig, 50.0), 1, 2, 50.0, 1000) == 5e8
    assert [body.split(" ")[0] for body in rig.scanner.executed[-3:]] == [
        "SYST:ARM",
        "MEAS:INS?",
        "ROUT:OPEN:ALL",
    ]


def test_insulation_needs_a_persons_word_for_the_voltage() -> None:
    rig = Rig()
    for clearance in (cleared_for_points(rig.bench), typed(rig, 50.0)):
        with pytest.raises(SafetyError, match="not confirmed"):
            measure_insulation(rig.bench, clearance, 1, 2, 61.0, 1000)
    assert not any(body.startswith("SYST:ARM") for body in rig.scanner.executed)
    assert math.isfinite(measure_insulation(rig.bench, typed(rig, 61.0), 1, 2, 61.0, 1000))
    with pytest.raises(UsageError):
        measure_insulation(rig.bench, typed(rig, 50.0), 1, 2, 50.0, 60_001)


def test_a_refused_insulation_test_releases_too() -> None:
    rig = Rig()
    rig.scanner.refuse["MEAS:INS?"] = 'ERR -330,"at fault"'
    with pytest.raises(RefusedError):
        measure_insulation(rig.bench, typed(rig, 50.0), 1, 2, 50.0, 10)
    assert rig.scanner.executed[-1] == "ROUT:OPEN:ALL"


def test_a_line_lost_under_test_voltage_is_a_danger() -> None:
    rig = Rig(Scanner(Clock(), capabilities="INS=500"))
    plain = rig.line.to
    rig.line.to = lambda data: [] if b"MEAS:INS" in data else plain(data)
    with pytest.raises(SafetyError, match="may still be charged"):
        measure_insulation(rig.bench, typed(rig, 500.0), 1, 2, 500.0, 100)
    assert rig.scanner.executed[-1] == "ROUT:OPEN:ALL"


@pytest.mark.skipif(os.name == "nt", reason="raises a POSIX signal in its own process")
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_an_order_to_stop_releases_the_bench_however_often_it_comes(number: signal.Signals) -> None:
    rig = Rig()
    before = signal.getsignal(number)

    def impatient(reply: bytes) -> list[bytes]:
        os.kill(os.getpid(), number)  # while every reply is awaited, that of the release among them
        return [reply]

    def run() -> None:
        with stopping(), rig.bench:
            rig.bench.sense([1])
            rig.line.fro = impatient
            rig.bench.sense([2])

    with pytest.raises(KeyboardInterrupt, match=number.name):
        run()
    assert rig.scanner.executed[-3:] == ["SENS:DRIV? #H2", "ROUT:OPEN:ALL", "SYST:LINK:CLOS"]
    assert signal.getsignal(number) == before


@pytest.mark.skipif(os.name == "nt", reason="raises a POSIX signal in its own process")
def test_what_is_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        with stopping():
            os.kill(os.getpid(), signal.SIGHUP)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_inspection() -> None:
    nothing = Inspection()
    assert not nothing.done
    assert nothing.lines == ()
    notes = tuple((name, "two chafed" if name == "chafing" else "") for name, _ in ITEMS)
    seen = Inspection(notes, "R. Okafor", "2031-05-04")
    assert seen.done
    assert seen.lines[:2] == ("chafing: two chafed", "corrosion: in order")
