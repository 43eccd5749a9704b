"""A loom of which nobody knows the circuits: nothing on the sheet says that an end is safe."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import CavityFacts
from loomproof.loom.reading import load

TAIL = Path(__file__).parents[2] / "fixtures" / "tail_lamp"


def test_wires_without_circuits_are_told_to_be_treated_as_live() -> None:
    loom = load(TAIL).loom
    assert not any("treat each of their ends as live" in warn.text for warn in fitting_sheet(loom).warnings)
    bare = replace(loom, wires=tuple(replace(wire, circuit="") for wire in loom.wires), circuits=())
    (warn,) = [warn for warn in fitting_sheet(bare).warnings if "treat each" in warn.text]
    assert warn.text.startswith("no wire has a circuit")
    assert warn.parts == tuple(wire.name for wire in loom.wires)
    one = replace(loom, wires=(replace(loom.wires[0], circuit=""), *loom.wires[1:]))
    assert any("1 of the wires have no circuit" in warn.text for warn in fitting_sheet(one).warnings)


def test_what_tracing_could_not_tell_of_a_cavity_is_not_called_empty() -> None:
    loom = load(TAIL).loom
    end = next(
        e
        for e in loom.cavities
        if e not in loom.wires_at and e not in {x for c in loom.components for x in c.ends}
    )
    asked = "nothing found on it: spare, cut wire, or a pulled part?"
    others = tuple(facts for facts in loom.cavity_facts if facts.end != end)
    noted = replace(loom, cavity_facts=(*others, CavityFacts(end, note=asked)))
    (row,) = [row for row in fitting_sheet(noted).safe if row.facts.end == end]
    assert row.why == f"no wire is described; {asked}"
