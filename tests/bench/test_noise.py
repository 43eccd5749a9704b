"""Proofs over lines that do harm: a right answer or a link error in time, never a wrong answer.

A sample; ``tests/campaign/line_noise.py`` runs thousands.
"""

from __future__ import annotations

from collections import Counter

import pytest

from loomproof.bench import link as link_module
from loomproof.bench.frames import Frame
from loomproof.virtual.scanner import Make, Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm
from tests.bench.simline import sim_bench
from tests.bench.torture import HARMS, Result, digest_of, loom_of, reference, run, torture

LOOMS = ("tail_lamp", "hillclimb_engine")
SAMPLE = 3


def sample(name: str, harm: Harm, count: int = SAMPLE, line: int = 1024) -> list[Result]:
    results = [torture(name, harm, seed, line=line) for seed in range(count)]
    assert [result for result in results if result.end == "wrong"] == []
    return results


@pytest.mark.parametrize("name", LOOMS)
@pytest.mark.parametrize("rate", [1e-5, 1e-4, 1e-3, 1e-2])
def test_flipped_bits(name: str, rate: float) -> None:
    results = sample(name, Harm(flip=rate))
    ends = Counter(result.end for result in results)
    if rate <= 1e-4:
        assert ends == {"right": len(results)}
    if rate == 1e-3:
        assert ends["right"] > 0
        assert sum(result.abandoned for result in results) > 0
        if name == "hillclimb_engine":  # whose batches fill the line: they shrank, and stayed small
            quiet = torture(name, Harm(), 0).sets_a_batch
            assert all(r.sets_a_batch < 0.5 * quiet for r in results if r.end == "right")
    if rate == 1e-2:
        assert ends == {"error": len(results)}


@pytest.mark.parametrize("name", LOOMS)
@pytest.mark.parametrize("harm", HARMS)
def test_other_harm(name: str, harm: str) -> None:
    results = sample(name, HARMS[harm])
    ends = Counter(result.end for result in results)
    if harm == "dead" and name == "hillclimb_engine":
        assert ends == {"error": len(results)}
        # Found in the time that the contract gives: ten seconds, and the try that began within them.
        assert all(10.0 <= result.waited_s < 12.0 for result in results)
    elif harm in ("lost lines", "doubled lines", "stale replies", "another number", "slow"):
        assert ends == {"right": len(results)}


def test_the_shortest_line_that_the_contract_allows() -> None:
    sample("hillclimb_engine", Harm(flip=3e-4), count=3, line=2 * 32 + 48)


def test_a_device_whose_answers_come_late_is_waited_for() -> None:
    """A busy machine under a simulator: batches come late, and late answers are answers."""
    clock = Clock()
    loom = loom_of("tail_lamp")
    with sim_bench(Scanner(loom, Make(len(loom.cavities))), Harm(slow_s=5.0), clock=clock) as bench:
        drives = [1 << i for i in range(len(loom.cavities))] * 4
        told = bench.sense(drives)
        assert [answer & drive for answer, drive in zip(told, drives, strict=True)] == drives
        assert dict(bench.statistics().extra)["abandoned"] == 0


def test_a_host_that_is_kept_from_asking_goes_on_with_what_was_cleared() -> None:
    """Nine seconds before every question: the link is opened anew, on the same line with the same device."""
    clock = Clock()

    def kept_waiting() -> float:
        clock.now += 9.0
        return clock.now

    loom = loom_of("tail_lamp")
    made = Make(len(loom.cavities), line=1024)
    with sim_bench(Scanner(loom, made), clock=clock) as bench:
        opening = bench.opening
        assert digest_of(run(loom, bench, kept_waiting)) == reference("tail_lamp", (), 1024)
        assert bench.opening is opening
        bench.reconnect()  # the line was given up: what was cleared is cleared no more
        assert bench.opening is not opening


def test_the_time_that_a_reply_lay_on_the_way_counts_as_silence() -> None:
    """The device closes its link 10 s after its answer, not 10 s after that was read."""
    clock = Clock()
    loom = loom_of("tail_lamp")
    with sim_bench(Scanner(loom, Make(len(loom.cavities))), Harm(slow_s=3.0), clock=clock) as bench:
        told = bench.sense([1])
        clock.now += 7.5
        assert bench.sense([1]) == told


def test_the_campaign_can_fail(monkeypatch: pytest.MonkeyPatch) -> None:
    """A driver that believes what it is told, unchecked, is found out by the same campaign."""

    def gullible(line: bytes, nonce: bytes) -> Frame | None:
        try:
            return Frame(int(line[1:3], 16), line[3:].rpartition(b"*")[0].decode("ascii"))
        except ValueError:
            return None

    monkeypatch.setattr(link_module, "unseal", gullible)
    ends = Counter(torture("tail_lamp", Harm(flip=1e-4), seed).end for seed in range(60))
    assert ends["wrong"] > 0
