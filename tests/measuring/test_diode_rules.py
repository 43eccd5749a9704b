"""When a diode is sound, turned or not told: every pair of readings, alone and among others."""

from __future__ import annotations

import math

import pytest

from loomproof.electrics.components import ComponentReading
from loomproof.loom.model import ComponentKind, End
from loomproof.measuring.ohmmeter import (
    judge_diode,
)
from loomproof.planning.plan import PartReading
from loomproof.results.measured import JudgedDiode
from tests.measuring.scripted import Scripted, between, meter, ohmmeter_of

A, B = End("0", "1"), End("0", "2")  # points 1 and 2
OTHER = End("1", "1")  # point 3


def diode(
    *,
    alike: tuple[str, ...] = (),
    against: tuple[str, ...] = (),
    beside: bool = False,
    missing: float = math.inf,
    masked: tuple[str, ...] = (),
    lower: float = 0.0,
    volts: tuple[float, float] | None = (0.3, 0.9),
) -> PartReading:
    part = ComponentReading(
        "D1",
        ComponentKind.DIODE,
        A,
        OTHER,
        None,
        0.0,
        math.inf,
        missing,
        volts,
        masked,
        alike=alike,
        against=against,
        beside=beside,
    )
    return PartReading(part, lower, math.inf)


def told(found: JudgedDiode | None) -> tuple[str, bool, str] | None:
    return None if found is None else (found.decision.value, found.reversed, found.unit)


@pytest.mark.parametrize(
    ("forward", "backward", "said"),
    [
        (0.6, math.inf, ("pass", False, "V")),
        (0.3, math.inf, ("pass", False, "V")),
        (0.9, math.inf, ("pass", False, "V")),
        (0.299, math.inf, ("fail", False, "V")),
        (0.901, math.inf, ("fail", False, "V")),
        (0.6, 0.6, ("fail", False, "V")),
        (math.inf, 0.6, ("fail", True, "V")),
        (math.inf, 0.3, ("fail", True, "V")),
        (math.inf, 0.9, ("fail", True, "V")),
        (math.inf, 0.2, ("fail", False, "V")),
        (math.inf, 1.0, ("fail", False, "V")),
        (math.inf, math.inf, ("fail", False, "V")),
    ],
)
def test_a_diode_alone_with_a_diode_test(
    forward: float, backward: float, said: tuple[str, bool, str]
) -> None:
    asker = Scripted(between({}), volt=lambda a, _b: forward if a == 1 else backward)
    found = judge_diode(ohmmeter_of(asker), diode(), has_diode_test=True)
    assert told(found) == said
    assert found is not None
    assert (found.forward, found.backward, found.anode, found.cathode) == (forward, backward, A, OTHER)


@pytest.mark.parametrize(
    ("forward", "backward", "said"),
    [
        (500.0, math.inf, ("pass", False, "ohm")),
        (500.0, 500.0, ("fail", False, "ohm")),
        (math.inf, 500.0, ("fail", True, "ohm")),
        (math.inf, math.inf, ("fail", False, "ohm")),
    ],
)
def test_a_diode_alone_by_ohms(forward: float, backward: float, said: tuple[str, bool, str]) -> None:
    asker = Scripted(between({(1, 4): forward, (4, 1): backward}))
    found = judge_diode(ohmmeter_of(asker), diode(), has_diode_test=False)
    assert told(found) == said
    assert found is not None
    assert (found.forward, found.backward) == (forward, backward)


@pytest.mark.parametrize("has_test", [True, False])
def test_a_meter_too_weak_to_turn_a_diode_on_says_nothing_of_an_open_one(has_test: bool) -> None:
    for volts, said in ((0.9, None), (0.91, ("fail", False, "V" if has_test else "ohm"))):
        made = ohmmeter_of(Scripted(between({})), made=meter(test_voltage_v=volts))
        assert told(judge_diode(made, diode(), has_diode_test=has_test)) == said


AMONG = [
    # forward, backward, volts forward, how it stands, what is said
    (400.0, 600.0, 0.6, {"beside": True, "lower": 500.0}, ("pass", False, "ohm")),
    (400.0, 450.0, 0.6, {"beside": True, "lower": 500.0}, ("fail", False, "ohm")),
    (499.95, 499.95, 0.6, {"beside": True, "lower": 500.0}, ("pass", False, "ohm")),
    (600.0, 400.0, 0.6, {"beside": True, "lower": 500.0}, ("fail", True, "ohm")),
    (600.0, 400.0, 0.6, {"beside": True, "alike": ("D2",), "lower": 500.0}, ("fail", False, "ohm")),
    (600.0, 400.0, 0.6, {"beside": True, "lower": 300.0}, ("fail", True, "ohm")),
    (400.15, 400.0, 0.6, {"beside": True, "lower": 300.0, "missing": 500.0}, None),
    (400.25, 400.0, 0.6, {"beside": True, "lower": 300.0, "missing": 500.0}, ("fail", True, "ohm")),
    (400.0, 400.15, 0.6, {"beside": True, "lower": 300.0, "missing": 500.0}, None),
    (400.0, 400.25, 0.6, {"beside": True, "lower": 300.0, "missing": 500.0}, ("pass", False, "ohm")),
    (math.inf, 400.0, 0.6, {"beside": True, "lower": 300.0}, ("fail", True, "ohm")),
    (math.inf, 400.0, 0.6, {"beside": True, "lower": 300.0, "against": ("D2",)}, ("fail", False, "ohm")),
    (400.0, math.inf, 0.6, {"beside": True, "against": ("D2",), "missing": 500.0}, None),
    (400.0, math.inf, 0.6, {"beside": True, "missing": 500.0}, ("pass", False, "ohm")),
    (400.0, math.inf, 0.6, {"beside": True, "against": ("D2",)}, ("pass", False, "ohm")),
    (400.0, 400.0, 0.6, {"beside": True, "masked": ("X",)}, None),
    (400.0, 400.0, 0.91, {"beside": True, "masked": ("X",)}, ("fail", False, "V")),
    (400.0, 400.0, 0.9, {"beside": True, "missing": 500.0}, None),
    (400.0, 400.0, 0.91, {"beside": True, "missing": 500.0}, ("fail", False, "V")),
    (400.0, 400.0, 5.0, {"beside": True, "missing": 500.0, "volts": None}, None),
    (400.0, math.inf, 0.9, {"alike": ("D2",)}, None),
    (400.0, math.inf, 0.91, {"alike": ("D2",)}, ("fail", False, "V")),
    (400.0, math.inf, 5.0, {"alike": ("D2",), "volts": None}, None),
    (math.inf, math.inf, math.inf, {"alike": ("D2",)}, ("fail", False, "V")),
    (math.inf, math.inf, math.inf, {"beside": True}, ("fail", False, "ohm")),
    (math.inf, math.inf, math.inf, {"beside": True, "masked": ("X",), "missing": 5.0}, ("fail", False, "V")),
]


@pytest.mark.parametrize(("forward", "backward", "volts", "stands", "said"), AMONG)
def test_a_diode_among_others(
    forward: float,
    backward: float,
    volts: float,
    stands: dict[str, object],
    said: tuple[str, bool, str] | None,
) -> None:
    """±0.1 Ω. Less against it than the rest can pass is a short or a turned one; more forward passes it."""
    asker = Scripted(
        between({(1, 4): forward, (4, 1): backward}), volt=lambda a, _b: volts if a == 1 else 0.123
    )
    found = judge_diode(ohmmeter_of(asker), diode(**stands), has_diode_test=True)  # type: ignore[arg-type]
    assert told(found) == said
    if found is not None and found.unit == "V":
        assert (found.forward, found.backward) == (volts, 0.123)
    elif found is not None:
        assert (found.forward, found.backward) == (forward, backward)
    by_ohms = judge_diode(ohmmeter_of(asker), diode(**stands), has_diode_test=False)  # type: ignore[arg-type]
    assert told(by_ohms) == (None if said and said[2] == "V" else said)


@pytest.mark.parametrize("stands", [{"beside": True}, {"alike": ("D2",)}])
def test_a_weak_meter_accuses_no_diode_among_others(stands: dict[str, object]) -> None:
    asker = Scripted(between({}), volt=lambda _a, _b: math.inf)
    weak = ohmmeter_of(asker, made=meter(test_voltage_v=0.9))
    assert judge_diode(weak, diode(**stands), has_diode_test=True) is None  # type: ignore[arg-type]
