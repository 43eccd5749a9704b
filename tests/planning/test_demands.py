"""What a sense vector demands of a sound loom, against a nodal solve with pull-ups of this file's own."""

from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from numpy.typing import NDArray

from loomproof.bench.adapter import in_order
from loomproof.electrics.couplings import Coupling
from loomproof.electrics.expectation import expect
from loomproof.loom.model import ComponentKind
from loomproof.planning.net_access import scope_of
from loomproof.planning.test_vectors import vector
from tests.electrics.looms import loom_of, part


@pytest.mark.parametrize("seed", range(60))
def test_what_a_vector_demands_holds_in_a_nodal_solve(seed: int) -> None:
    """Random resistor and diode nets; pull-ups of 100 kΩ, and two input thresholds that give SENSE and CLEAR.

    An input below 0.2 of the supply is surely low, one above 0.714 surely high: by the divider these are
    25 kΩ and 250 kΩ. Diodes are solved as switches with a drop of 0 to 0.2 of the supply, all states tried.
    """
    rng = random.Random(seed)
    nets = rng.randrange(2, 6)
    parts = []
    for k in range(rng.randrange(1, 7)):
        a, b = rng.sample(range(nets), 2)
        kind = ComponentKind.RESISTOR if rng.random() < 0.75 else ComponentKind.DIODE
        ohm = round(10 ** rng.uniform(2.5, 6)) if kind is ComponentKind.RESISTOR else None
        parts.append(
            part(kind, f"P{k}", f"N{a}:1", f"N{b}:1", ohm, **({"tolerance_pct": 0.0} if ohm else {}))
        )
    loom = loom_of("", tuple(parts), extra=" ".join(f"N{k}:1" for k in range(nets)))
    expectation = expect(loom)
    scope = scope_of(expectation, in_order(loom.cavities).point_of, 250e3)
    count = [group.size for group in scope.groups]
    driven = rng.sample(range(nets), rng.randrange(1, nets))
    asked = vector(scope.groups, scope.reach, frozenset(driven))
    for drop in (0.0, 0.1, 0.2):
        volts = nodal(expectation.couplings, count, driven, drop)
        for net, group in enumerate(scope.groups):
            if asked.must_low & group.points:
                assert volts[net] < 0.2 + 1e-9
            if asked.must_high & group.points:
                assert volts[net] > 250 / 350 - 1e-9


def nodal(
    couplings: Sequence[Coupling], count: Sequence[int], driven: Sequence[int], drop: float
) -> NDArray[np.float64]:
    """Voltages with pull-ups of 100 kΩ to 1; diode states are tried until one is consistent."""
    diodes = [c for c in couplings if c.one_way]
    n = len(count)
    for states in range(2 ** len(diodes)):
        on = [d for k, d in enumerate(diodes) if states >> k & 1]
        matrix, right = np.zeros((n, n)), np.zeros(n)
        for net in range(n):
            matrix[net, net] += count[net] / 1e5
            right[net] += count[net] / 1e5
        for c in couplings:
            if not c.one_way:
                assert c.nominal_ohm is not None
                g = 1 / c.nominal_ohm
                matrix[[c.net_a, c.net_b], [c.net_a, c.net_b]] += g
                matrix[[c.net_a, c.net_b], [c.net_b, c.net_a]] -= g
        for d in on:
            g = 1e3
            matrix[[d.net_a, d.net_b], [d.net_a, d.net_b]] += g
            matrix[[d.net_a, d.net_b], [d.net_b, d.net_a]] -= g
            right[d.net_a] += g * drop
            right[d.net_b] -= g * drop
        for net in driven:
            matrix[net, :], right[net] = 0.0, 0.0
            matrix[net, net] = 1.0
        volts: NDArray[np.float64] = np.linalg.solve(matrix, right).astype(np.float64)
        ahead = {id(d): volts[d.net_a] - volts[d.net_b] - drop for d in diodes}
        if all((ahead[id(d)] >= -1e-9) if d in on else (ahead[id(d)] <= 1e-9) for d in diodes):
            return volts
    raise AssertionError("no consistent diode state")
