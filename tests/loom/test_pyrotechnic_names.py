"""Names that suggest an airbag are told, and nothing is driven before somebody has said what is there."""

from __future__ import annotations

import pytest

from loomproof.errors import SafetyError
from loomproof.loom.model import Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.loom.pyrotechnic_names import suggests_pyrotechnics
from loomproof.loom.suspicions import warnings
from loomproof.measuring.safety import refuse_hazards

KNOWN = "AIRBAG|X12 air-bag driver|SRS-ECU|srs_7|driver squib|belt pretensioner|GURTSTRAFFER li|Pyro 2"
OTHERS = "BAG|ALT belt|tensioner pulley|SRSX|BODY|Air temperature|papyrology"


@pytest.mark.parametrize("text", KNOWN.split("|"))
def test_words_of_the_trade_are_known(text: str) -> None:
    assert suggests_pyrotechnics("nothing", text)


@pytest.mark.parametrize("text", ["", *OTHERS.split("|")])
def test_other_words_are_left_alone(text: str) -> None:
    assert not suggests_pyrotechnics(text)


def plug(name: str, hazard: Hazard = Hazard.UNKNOWN, description: str = "") -> Connector:
    return Connector(name, ConnectorKind.PLUG, (("1",),), description=description, hazard=hazard)


@pytest.mark.parametrize("simulated", [True, False])
def test_nobody_has_said_what_is_at_it(simulated: bool) -> None:
    for one in (plug("AIRBAG"), plug("X1", description="driver's squib")):
        with pytest.raises(SafetyError, match=f"may be at {one.name}"):
            refuse_hazards([one], simulated=simulated)
        refuse_hazards([one], simulated=simulated, answers={one.name: Hazard.NONE})
    refuse_hazards([plug("AIRBAG", Hazard.NONE)], simulated=simulated)


def test_a_wire_says_it_of_both_its_ends() -> None:
    wire = Wire("W1", End("X1", "1"), End("X2", "1"), note="driver airbag squib")
    loom = Loom("a", connectors=(plug("X1"), plug("X2")), wires=(wire,))
    told = [each.message for each in warnings(loom)]
    assert sum("suggests an airbag" in message for message in told) == 2
