"""Nets that no hook-up had on the bench together are named, and no run passes with them."""

from __future__ import annotations

from pathlib import Path

from loomproof.electrics.expectation import expect
from loomproof.judgement.verdict import verdict_of
from loomproof.loom.reading import load
from loomproof.measuring.merge_hookups import merged_measured
from loomproof.results.document import Verdict
from loomproof.results.measured import Measured


def test_every_pair_of_nets_must_have_met(fixtures: Path) -> None:
    loom = load(fixtures / "tail_lamp").loom
    expectation = expect(loom)
    nets = [frozenset(net.cavities) for net in expectation.nets]

    def part(*numbers: int) -> Measured:
        groups = tuple(nets[k] for k in numbers)
        return Measured(groups, groups, complete=True)

    everything = range(len(nets))
    met = merged_measured(expectation, [part(*everything), part(0)])
    assert met.unmet == ()
    assert verdict_of(loom, met, (), ())[0] is Verdict.PASS
    # All but the first, then all but the last: these two never met.
    apart = merged_measured(expectation, [part(*everything[1:]), part(*everything[:-1])])
    assert {frozenset(pair) for pair in apart.unmet} == {frozenset({min(nets[0]), min(nets[-1])})}
    verdict, (reason,) = verdict_of(loom, apart, (), ())
    assert verdict is Verdict.INCOMPLETE
    assert str(min(nets[0])) in reason
