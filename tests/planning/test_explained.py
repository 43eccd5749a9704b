"""What a person is told before a proof is what its claims say after it: random looms on four kinds of bench.

Looms, networks and benches are those of the test of claims, physics of the tests' own.
"""

from __future__ import annotations

import json
import random
from pathlib import Path

import pytest

from loomproof.cli.main import run
from loomproof.electrics.expectation import expect
from loomproof.loom.ends import End
from loomproof.planning.explain_pair import Reads, explain
from loomproof.results.document import Document
from tests.judgement.test_claims import BENCHES, proved
from tests.judgement.test_wires import sound


@pytest.mark.parametrize("seed", range(30))
@pytest.mark.parametrize("kind", BENCHES)
def test_a_pair_is_told_what_the_proof_then_claims(kind: str, seed: int) -> None:
    made, able = sound(seed), BENCHES[kind]
    plan, _, claims = proved(made, able)
    expectation = expect(made.loom)
    by_sense: dict[tuple[str, End], float | None] = {
        (claim.kind, end): claim.threshold_ohm
        for claim in claims
        for end in claim.cavities
        if claim.kind in ("continuity", "isolation") and claim.measured_ohm is None and not claim.open
    }
    by_ohms = {c.cavities: c for c in claims if c.kind == "resistance"}
    everywhere = next((c.threshold_ohm for c in claims if c.subject == "all conductors"), None)
    rng = random.Random(seed)
    pairs = [tuple(rng.sample(made.loom.cavities, 2)) for _ in range(12)]
    for a, b in [*pairs, *by_ohms]:
        told = explain(expectation, a, b, plan.scope, able, plan.meter)
        if told.same_net:
            assert told.sense_ohm == by_sense.get(("continuity", a))
        elif told.coupled:
            assert (told.sense_ohm, told.isolation_ohm) == (None, None)
        else:
            of_either = [by_sense[key] or 0.0 for end in (a, b) if (key := ("isolation", end)) in by_sense]
            assert told.sense_ohm == max(of_either, default=None)
            assert told.isolation_ohm == everywhere
        if (a, b) in by_ohms:
            claim = by_ohms[a, b]
            assert told.reading is not None
            assert (told.reading.limit_ohm, told.reading.wires) == (claim.limit_ohm, claim.meter_wires)
            assert told.between.expected_ohm == claim.expected_ohm
            assert claim.bound_ohm is not None
            assert claim.bound_ohm <= told.reading.shown_ohm + 1e-9
        demanded = [v for v in plan.vectors if v.drive == plan.scope.bit(a)]
        for vector in demanded:
            low, high = vector.must_low & plan.scope.bit(b), vector.must_high & plan.scope.bit(b)
            assert told.reads is (Reads.LOW if low else Reads.HIGH if high else Reads.EITHER)


def test_the_plan_takes_the_meter_that_the_proof_takes(fixtures: Path, tmp_path: Path) -> None:
    """With leads zeroed by this meter its fixed offset is gone, before the proof as in it."""
    lamp, table = str(fixtures / "tail_lamp"), tmp_path / "leads.csv"
    assert run(["adapter", "new", lamp, "--to", str(table)]) == 0
    assert run(["bench", "zero", "--bench", "sim:", "--adapter", str(table)]) == 0
    saved = tmp_path / "plan.json"
    words = [lamp, "--bench", "sim:", "--adapter", str(table)]
    assert run(["plan", *words, "--json", str(saved)]) == 0
    run(["prove", *words, "--out", str(tmp_path / "out")])
    (results,) = (tmp_path / "out").glob("*.results.json")
    made = Document.model_validate(json.loads(results.read_text(encoding="utf-8")))
    plan = json.loads(saved.read_text(encoding="utf-8"))["plan"]
    claims = {tuple(map(str, c.cavities)): c for c in made.claims if c.kind == "resistance"}
    assert len(plan["conductors"]) == len(claims) > 0
    for reading in plan["conductors"]:
        claim = claims[reading["a"], reading["b"]]
        assert reading["limit_ohm"] == claim.limit_ohm
        assert reading["expected_ohm"] == claim.expected_ohm
        assert claim.uncertainty_ohm is not None
        room_ohm = (reading["shown_ohm"] - reading["sound_ohm"]) / 2
        assert room_ohm == pytest.approx(claim.uncertainty_ohm, rel=0.05)
        assert claim.decision.value == "pass" or not reading["decided"]
