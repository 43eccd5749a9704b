"""Known resistances on the bench: when the meter is refused by one, and what one vouches for."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from loomproof.bench.references import Reference
from loomproof.measuring.reference_check import (
    checked_by_reference,
    refuse_noisy_references,
    refuse_wrong_references,
)
from loomproof.planning.plan import Plan
from loomproof.planning.test_vectors import Vector
from loomproof.results.measured import Decision
from tests.measuring.scripted import (
    Scripted,
    between,
    meter,
    ohmmeter_of,
    one_after_the_other,
    refused,
    wire,
)
from tests.planning.test_meter_and_reach import fixed, scope_of_sizes

FAIL, PASS = Decision.FAIL, Decision.PASS
SCOPE = scope_of_sizes([2] * 8)
PLAN = Plan(SCOPE, (Vector(0, 0, 0),))


REFERENCE = Reference(3, 4, 100.0, 0.2)


@pytest.mark.parametrize(
    ("values", "off"),
    [
        # ±0.1 Ω of the meter and ±0.2 Ω of the resistor: 0.3 Ω off the mean of the readings at most.
        ([100.0], False),
        ([100.29], False),
        ([100.31], True),
        ([99.71], False),
        ([99.69], True),
        ([math.inf], True),
    ],
)
def test_a_reference_that_is_read_otherwise_than_it_is(values: list[float], off: bool) -> None:
    asker = Scripted(one_after_the_other(values))
    assert bool(refused(refuse_wrong_references, ohmmeter_of(asker), [REFERENCE])) is off
    assert set(asker.asked) == {(4, 8, 2)}


def test_a_reference_is_read_with_four_wires_too_and_not_beyond_the_meter() -> None:
    four = Scripted(one_after_the_other([100.0]))
    assert not refused(
        refuse_wrong_references, ohmmeter_of(four, made=meter(four_wire=fixed(0.1))), [REFERENCE]
    )
    assert {pair[2] for pair in four.asked} == {2, 4}
    far = Scripted(one_after_the_other([100.0]))
    beyond = replace(REFERENCE, ohm=1e6)
    assert not refused(refuse_wrong_references, ohmmeter_of(far), [beyond])
    assert not refused(refuse_noisy_references, ohmmeter_of(far), [beyond])
    assert far.asked == []


def test_a_reference_that_does_not_read_the_same_again() -> None:
    """Six standard uncertainties, three expanded ones: 0.3 Ω between the least and the most."""
    for low, high, off in ((99.86, 100.14, False), (99.84, 100.16, True)):
        asker = Scripted(one_after_the_other([low, high, low, high, low, high, low, high, low, high] * 4))
        said = refused(refuse_wrong_references, ohmmeter_of(asker), [REFERENCE])
        assert bool(said) is off
        if off:
            assert "the mean of readings between 99.8" in said


def test_a_reference_is_read_thirty_times_where_the_loom_would_be_blamed() -> None:
    calm = Scripted(one_after_the_other([100.0]))
    assert not refused(refuse_noisy_references, ohmmeter_of(calm), [REFERENCE, replace(REFERENCE, a=5, b=6)])
    assert len(calm.asked) == 30
    assert {pair[:2] for pair in calm.asked} == {(4, 8), (16, 32)}
    for last, off in ((100.89, False), (100.91, True), (99.11, False), (99.09, True)):
        asker = Scripted(one_after_the_other([100.0] * 29 + [last]))
        assert bool(refused(refuse_noisy_references, ohmmeter_of(asker), [REFERENCE])) is off
    assert not refused(refuse_noisy_references, ohmmeter_of(calm), [])


def test_a_reference_vouches_where_it_is_known_more_closely_than_limits_are() -> None:
    """±0.2 Ω of its own and ±0.1 Ω of the meter with two wires, ±0.01 Ω with four."""
    made = ohmmeter_of(Scripted(between({})))
    finer = ohmmeter_of(Scripted(between({})), made=meter(four_wire=fixed(0.01)))
    for limit, two, four in ((0.31, True, True), (0.29, False, True), (0.2, False, False)):
        read = [wire(0, 0.1, limit=limit), replace(wire(1, 0.1, limit=0.01), component="R")]
        assert bool(checked_by_reference(made, [REFERENCE], read)) is two
        assert bool(checked_by_reference(finer, [REFERENCE], read)) is four
    assert checked_by_reference(made, [], [wire(0, 0.1)]) == ""
    assert checked_by_reference(made, [replace(REFERENCE, ohm=1e6)], [wire(0, 0.1)]) == ""
