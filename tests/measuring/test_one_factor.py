"""One factor or one ceiling in all readings is the meter's; wrong parts are the loom's."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.bench.questions import Answer, Question, Resistance
from loomproof.bench.seam import Accuracy
from loomproof.errors import UnfitError
from loomproof.loom.model import Component, ComponentKind, End, Loom
from loomproof.results.document import Verdict
from tests.bench.torture import loom_of
from tests.measuring.test_benches_fault_first import always
from tests.measuring.test_benches_fault_first import proved as proved_by_sense
from tests.measuring.test_benches_that_lie import TWO_WIRE, lying, one_wire, proved

ENGINE = loom_of("hillclimb_engine")
COARSE = replace(TWO_WIRE, accuracy=Accuracy(0.1, 0.01))


def resistor(name: str, a: str, b: str, ohm: float) -> Component:
    ends = (("1", End(*a.split(":"))), ("2", End(*b.split(":"))))
    return Component(name, ComponentKind.RESISTOR, ends, ohm, 1.0)


PARTS = replace(one_wire("parts"), components=(resistor("R1", "A:1", "A:2", 10.0),))


def with_two_parts() -> Loom:
    """Two wires more, of nets of their own, with another part between them."""
    from loomproof.loom.model import Connector, ConnectorKind, Hazard, Wire

    more = tuple(Connector(p, ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.NONE) for p in "CD")
    wires = tuple(
        Wire(f"W{3 + k}", End("C", str(k + 1)), End("D", str(k + 1)), colour="BK", csa_mm2=0.75, length_m=1.0)
        for k in range(2)
    )
    return replace(
        PARTS,
        connectors=(*PARTS.connectors, *more),
        wires=(*PARTS.wires, *wires),
        components=(*PARTS.components, resistor("R2", "C:1", "C:2", 470.0)),
    )


@pytest.mark.parametrize("factor", [0.0, 1e-3, 0.5, 2.0, 10.0])
def test_all_parts_off_by_one_factor_are_the_meters(factor: float) -> None:
    loom = with_two_parts()
    with pytest.raises(UnfitError, match=r"all 2 parts of known ohms|not one of"):
        proved(lying(lie=lambda ohm, _: ohm * factor if ohm < 1e7 else ohm, able=COARSE, loom=loom), loom)


@pytest.mark.parametrize(
    "faults",
    [("value 20 R1",), ("value 20 R1", "value 100 R2"), ("value 0.01 R1", "value 470 R2"), ("open W1",)],
)
def test_wrong_parts_are_the_looms(faults: tuple[str, ...]) -> None:
    loom = with_two_parts()
    assert proved(lying(*faults, able=COARSE, loom=loom), loom).document.verdict is Verdict.FAIL


def test_a_meter_that_shows_no_more_than_a_value_is_told_by_what_reads_the_same() -> None:
    able = replace(TWO_WIRE, accuracy=Accuracy(0.002, 0.0005))
    ceiling = lying(
        "high 9 W12", lie=lambda ohm, _: min(ohm, 0.06) if ohm < 1e7 else ohm, able=able, loom=ENGINE
    )
    with pytest.raises(UnfitError, match=r"are the very same, 0\.060 Ω|copper alone"):
        proved(ceiling, ENGINE)


def test_a_meter_of_few_digits_is_no_ceiling() -> None:
    able = replace(TWO_WIRE, accuracy=Accuracy(0.1, 0.01))
    coarse = lying(
        "high 9 W12", lie=lambda ohm, _: round(ohm, 1) if ohm < 1e7 else ohm, able=able, loom=ENGINE
    )
    assert proved(coarse, ENGINE).document.verdict is Verdict.FAIL


@pytest.mark.parametrize("figure", [lambda _: 0.05, lambda ohm: min(ohm, 10.0)])
def test_all_nets_joined_by_parts_a_free_point_shows_a_meter_that_never_reads_open(figure: object) -> None:
    from loomproof.virtual.scanner import Make

    with pytest.raises(UnfitError, match="have nothing between them"):
        proved_by_sense(figure=always(figure), loom=PARTS, make=Make(8))  # type: ignore[arg-type]


def test_a_resistor_that_reads_right_one_way_round_is_no_missing_one() -> None:
    """The relay of its first point does not close to the first bus."""
    loom = with_two_parts()
    bench = lying(able=COARSE, loom=loom)
    at = 1 << list(loom.cavities).index(End("A", "1"))

    class OneBus(type(bench)):  # type: ignore[misc]
        def _answer(self, question: Question) -> Answer:
            if isinstance(question, Resistance) and question.a == at:
                return math.inf
            answer: Answer = super()._answer(question)
            return answer

    bench.__class__ = OneBus
    with pytest.raises(UnfitError, match="the other way round, 5 times of 5"):
        proved(bench, loom)
