"""Which claim covers a wire: what is said of it by name is put to the test by opening that wire.

Looms, networks and benches are those of the test of claims, physics of the tests' own.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from loomproof.results.document import ClaimEntry
from loomproof.results.measured import Decision
from tests.judgement.test_claims import BENCHES, Case, case, proved
from tests.measuring.network_bench import Network


def sound(seed: int) -> Case:
    """The loom of a case without its fault."""
    made = case(seed)
    ohms = {wire.name: (wire.a, wire.b, 0.04) for wire in made.loom.wires}
    parts = [part for part in made.loom.components if len(part.ends) == 2]
    ohms |= {p.name: (p.ends[0], p.ends[1], p.resistance_ohm or 0.01) for p in parts if p.forward_v is None}
    diodes = {p.name: (p.ends[0], p.ends[1]) for p in parts if p.forward_v is not None}
    return Case(made.loom, Network(ohms, diodes))


def whole(claims: tuple[ClaimEntry, ...], wire: str) -> list[ClaimEntry]:
    """The claims that a wire is whole: all that name it but those of isolation."""
    return [claim for claim in claims if wire in claim.wires and claim.kind != "isolation"]


@pytest.mark.parametrize("seed", range(25))
@pytest.mark.parametrize("kind", BENCHES)
def test_no_claim_that_names_a_wire_holds_when_it_is_open(kind: str, seed: int) -> None:
    made = sound(seed)
    plan, _, claims = proved(made, BENCHES[kind])
    wires = [wire.name for wire in made.loom.wires]
    for name in random.Random(seed).sample(wires, min(3, len(wires))):
        named = whole(claims, name)
        if not named:
            assert name in plan.hidden, f"{name} is in no claim, and nobody says that its open would not show"
            continue
        ohms = {part: edge for part, edge in made.network.ohms.items() if part != name}
        _, _, after = proved(replace(made, network=Network(ohms, made.network.diodes)), BENCHES[kind])
        still = {(c.kind, c.subject) for c in after if c.decision is Decision.PASS}
        for claim in named:
            assert (claim.kind, claim.subject) not in still, (
                f"{name} is open, and {claim.subject} still holds"
            )


def test_a_bench_that_only_senses_names_wires_as_well() -> None:
    """The property above says nothing where no claim names a wire."""
    made = sound(3)
    for able in BENCHES.values():
        _, _, claims = proved(made, able)
        assert sum(bool(whole(claims, wire.name)) for wire in made.loom.wires) > len(made.loom.wires) / 2
        assert all(wire.name in {name for c in claims for name in c.wires} for wire in made.loom.wires)
