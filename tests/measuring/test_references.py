"""Reference resistors beside the loom: a meter that reads them wrongly is refused, a sound one is vouched
for.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable
from dataclasses import replace

import pytest

from loomproof.bench.adapter import in_order, parse_adapter, table_of
from loomproof.bench.adapter_fit import problems_of
from loomproof.bench.references import Reference
from loomproof.bench.seam import Accuracy, Wires
from loomproof.errors import AdapterError, UnfitError
from loomproof.jobs.prove import prove
from loomproof.judgement.conclude import Outcome
from loomproof.measuring.events import finish
from loomproof.planning.request import Request
from loomproof.results.document import Verdict
from loomproof.virtual.build import Hookup
from loomproof.virtual.scanner import Make, Scanner
from tests.cleared import cleared
from tests.measuring.meter_bench import METER_ONLY
from tests.measuring.test_benches_that_lie import TWO_WIRE, Lying, one_wire

LOOM = one_wire()
KNOWN = (Reference(5, 6, 0.47, 0.0005), Reference(7, 8, 47.0, 0.05))
ADAPTER = replace(in_order(LOOM.cavities), references=KNOWN)
COARSE = replace(TWO_WIRE, accuracy=Accuracy(0.1, 0.01))

Lie = Callable[[float, Wires], float]


def proved(*faults: str, lie: Lie = lambda ohm, _: ohm, able: object = METER_ONLY) -> Outcome:
    hookup = Hookup(8, dict(enumerate(LOOM.cavities, start=1)), references={(5, 6): 0.47, (7, 8): 47.0})
    scanner = Scanner(LOOM, Make(8), hookup=hookup, faults=faults)
    bench = Lying(scanner, able, lie=lie)  # type: ignore[arg-type]
    request = Request(LOOM, ADAPTER, "run", "2031-05-04T00:00:00Z")
    outcome = finish(prove(request, bench, cleared(LOOM, bench, ADAPTER, meter_v=0.0)))
    assert isinstance(outcome, Outcome)
    return outcome


def test_a_sound_meter_is_vouched_for_where_the_reference_is_known_closely() -> None:
    document = proved().document
    assert document.verdict is Verdict.PASS
    assert document.meter_check.startswith(
        "the reference of 0.470 Ω ± 0.00050 Ω at points 5 and 6 read right"
    )
    assert "meter not checked" not in document.grade_text
    coarse = proved(able=COARSE).document
    assert coarse.meter_check == "", "this meter may be off by more than a joint's limit there as well"
    assert coarse.grade_text.endswith("meter not checked")
    assert proved("high 9 W1").document.verdict is Verdict.FAIL


def drifting() -> Lie:
    number = itertools.count()
    return lambda ohm, _: ohm + 0.02 * next(number)


def now_and_then() -> Lie:
    number = itertools.count(1)
    return lambda ohm, _: ohm + 2.0 if next(number) % 11 == 0 else ohm


@pytest.mark.parametrize("faults", [(), ("high 9 W1",), ("short A:1 A:2",)])
@pytest.mark.parametrize(
    "lie",
    [
        lambda: lambda ohm, _: ohm * 2,
        lambda: lambda ohm, _: ohm / 2,
        lambda: lambda ohm, _: ohm / 1e3,
        lambda: lambda ohm, _: 0.0 if ohm < 1e8 else ohm,
        lambda: lambda ohm, _: max(0.0, ohm - 0.5),
        lambda: lambda ohm, _: min(ohm, 0.08) if ohm < 1e8 else ohm,
        lambda: lambda ohm, _: float(round(ohm)) if ohm < 1e8 else ohm,
        drifting,
    ],
    ids=["twice", "half", "thousandth", "nought", "offset", "saturates", "steps", "drifts"],
)
def test_a_meter_that_reads_a_reference_wrongly_is_refused(
    faults: tuple[str, ...], lie: Callable[[], Lie]
) -> None:
    """On this loom, of two wires and no part, nothing else would tell most of these."""
    with pytest.raises(UnfitError, match="the reference of"):
        proved(*faults, lie=lie(), able=COARSE)


def test_noise_now_and_then_shows_at_the_references_where_the_loom_would_be_blamed() -> None:
    with pytest.raises(UnfitError, match=r"and read right before|not read the same again"):
        proved("high 9 W1", lie=now_and_then(), able=COARSE)


def test_a_meter_that_spreads_more_than_it_states_is_refused_though_its_mean_is_right() -> None:
    number = itertools.count()

    def to_and_fro(ohm: float, wires: Wires) -> float:
        off_ohm = 0.006 if next(number) % 2 else -0.006
        return ohm + off_ohm if wires == 4 and ohm < 1e7 else ohm

    with pytest.raises(UnfitError, match=r"the mean of readings between 0\.4"):
        proved(lie=to_and_fro)


def test_references_stand_in_the_adapter_table_and_come_back() -> None:
    text = table_of(ADAPTER)
    assert text.splitlines()[0].endswith("reference_to,reference_ohm,reference_u_ohm")
    assert text.splitlines()[-1] == "7,,,,,,8,47,0.05"
    assert parse_adapter(text, name=ADAPTER.name) == ADAPTER
    assert ADAPTER.digest != in_order(LOOM.cavities).digest
    assert [p.message for p in problems_of(ADAPTER, LOOM.cavities, 7)] == [
        "a reference is on point 8, and the bench has 7 points"
    ]


@pytest.mark.parametrize(
    ("row", "message"),
    [
        ("5,,,5,1,0", "a reference lies between two points"),
        ("5,,,x,1,0", "'x' is no point"),
        ("5,,,6,0,0", "'0' is no resistance"),
        ("5,,,6,1,-1", "'-1' is no resistance"),
        ("5,A,2,6,1,0", "a reference goes to no cavity"),
        ("1,,,6,1,0", "point 1 has a reference and something else"),
    ],
)
def test_what_is_wrong_with_a_reference_is_named(row: str, message: str) -> None:
    head = "point,connector,cavity,reference_to,reference_ohm,reference_u_ohm"
    with pytest.raises(AdapterError) as caught:
        parse_adapter(f"{head}\n1,A,1,,,\n{row}\n", name="a")
    assert message in [problem.message for problem in caught.value.problems]
