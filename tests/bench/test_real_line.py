"""Proofs through a proxy that does harm between real sockets and real terminals.

A sample, whose simulators are threads; ``tests/campaign/line_noise.py`` runs many, with processes. What
the noise does is seeded; when bytes arrive is the machine's affair, so only what must hold at any timing
is asserted.
"""

from __future__ import annotations

import os

import pytest

from tests.bench.noise import Harm
from tests.bench.proxy import Kind
from tests.bench.real_line import KINDS, REAL_HARMS, prove_all
from tests.simulating import started

PATIENCE_S = 4.0
LINES = 20
FLIPS = {f"bits flipped {rate:g}": Harm(flip=rate) for rate in (0.0, 1e-5, 1e-4, 1e-3, 1e-2)}
SHRINKING = "bits flipped 0.001"
SHRINKING_SEEDS = (1, 4)
SLOWEST = "too slow"

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")


@pytest.mark.parametrize("kind", KINDS)
def test_every_kind_of_harm(kind: Kind) -> None:
    jobs = {(label, 0): harm for label, harm in (FLIPS | REAL_HARMS).items() if label != SLOWEST}
    jobs |= {(SHRINKING, seed): FLIPS[SHRINKING] for seed in SHRINKING_SEEDS}
    results = prove_all(kind, "tail_lamp", jobs, lines=LINES, patience_s=PATIENCE_S, start=started)
    assert {key: result for key, result in results.items() if result.end == "wrong"} == {}

    ends = {label: result.end for (label, seed), result in results.items() if seed == 0}
    for label in ("bits flipped 0", "bits flipped 1e-05", "doubled lines", "slow"):
        assert ends[label] == "right", label
    for label in ("bits flipped 0.01", "dead"):
        assert ends[label] == "error", label
    noisy = [result for (label, _), result in results.items() if label == SHRINKING]
    assert sum(result.abandoned for result in noisy) > 0  # batches shrank
