"""Random looms by hand: what is found is what a scanner of no more ability finds, and what the copper is."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from pathlib import Path
from urllib.parse import quote

import pytest

from loomproof.errors import SafetyError
from loomproof.jobs.hand_questions import HandAsked, HandReply
from loomproof.jobs.job import Job, Proof
from loomproof.loom.model import CavityFacts, Hazard, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.results.document import Verdict
from loomproof.virtual.scanner import Make, Scanner
from tests.by_hand import LEAVE_OUT, AtTheLoom
from tests.campaign.link_looms import words
from tests.diagnosis.injector import random_faults, random_loom

pytestmark = pytest.mark.usefixtures("simulated_within")


def case(seed: int) -> tuple[random.Random, Loom, list[str]]:
    rng = random.Random(f"by hand {seed}")
    drawn = random_loom(rng, rng.choice([14, 22, 34]))
    crimped = Counter(end for wire in drawn.wires for end in wire.ends if end.cavity)
    loom = replace(
        drawn,
        connectors=tuple(replace(c, hazard=Hazard.NONE) for c in drawn.connectors),
        cavity_facts=tuple(CavityFacts(end, shared=True) for end, n in crimped.items() if n > 1),
    )
    return rng, loom, [words(fault) for fault in random_faults(rng, loom, seed % 4)]


def islands(loom: Loom, faults: list[str], seed: int) -> set[frozenset[object]]:
    """The conductors that copper and faults make, by the simulator's own count."""
    scanner = Scanner(loom, Make(len(loom.cavities)), faults=faults, seed=seed)
    return {
        frozenset(loom.cavities[each.nodes[p]] for p in each.points)
        for each in scanner.state(0.0).islands
        if each.points
    }


def told(proof: Proof) -> list[tuple[str, frozenset[str]]]:
    """What is said of each finding: its title, and what else it may be, but for the adapter."""
    return [
        (f.title, frozenset(other.text for other in f.alternatives if "adapter" not in other.text))
        for f in proof.findings
    ]


@pytest.mark.parametrize("seed", range(8))
def test_random_looms_and_faults(tmp_path: Path, seed: int) -> None:
    _, drawn, faults = case(seed)
    write_folder(drawn, tmp_path / "loom")
    loom = load(tmp_path / "loom").loom
    person = AtTheLoom(loom, faults, seed=seed)
    by_hand = Job(loom, f"hand:?clips={seed}" if seed else "hand:", operator=person).prove().run()
    assert set(by_hand.outcome.measured.groups) == islands(loom, faults, seed)
    query = "&".join(["no-ohms", f"seed={seed}", *(f"fault={quote(fault)}" for fault in faults)])
    by_scanner = Job(loom, f"sim:?{query}", loom_path=tmp_path / "loom").prove().run()
    assert by_hand.verdict is by_scanner.verdict
    assert told(by_hand) == told(by_scanner)


@pytest.mark.parametrize("seed", range(4))
def test_whatever_is_left_out_it_ends_and_names_the_pairs(seed: int) -> None:
    """Every pair that nobody swept is named, and no other; nothing is claimed of them."""
    rng, loom, _ = case(seed)

    def leave(asked: HandAsked) -> HandReply | None:
        first = not person.left_out
        return LEAVE_OUT if asked.may_leave_out and (first or rng.random() < 0.4) else None

    person = AtTheLoom(loom, before=leave)
    proof = Job(loom, f"hand:?clips={1 + 3 * seed}", operator=person).prove().run()
    assert proof.verdict is Verdict.PASS
    measured = proof.outcome.measured
    home = {end: k for k, group in enumerate(measured.groups) for end in group}
    asked: set[frozenset[int]] = set()
    for each in person.asked:
        if each.red and each not in person.left_out:
            bunch = {home[end] for end in each.black}
            for red in each.red:
                asked |= {frozenset((k, home[red])) for k in bunch}
                if each.kind == "chain":
                    bunch.add(home[red])
    named = {frozenset((home[a], home[b])) for a, b in measured.unswept}
    assert named
    assert named.isdisjoint(asked)
    nets = len(measured.groups)
    assert len({p for p in asked | named if len(p) == 2}) == nets * (nets - 1) // 2


@pytest.mark.parametrize("hazard", [Hazard.PYROTECHNIC, Hazard.ELECTRONICS])
def test_a_hazard_is_refused_before_a_probe_is_laid(hazard: Hazard) -> None:
    """A meter's current fires a squib too."""
    _, loom, _ = case(1)
    marked = replace(loom, connectors=(replace(loom.connectors[0], hazard=hazard), *loom.connectors[1:]))
    person = AtTheLoom(marked)
    with pytest.raises(SafetyError):
        Job(marked, "hand:", operator=person).prove().run()
    assert person.asked == []
