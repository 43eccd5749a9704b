"""One content as VEC and as KBL, each by a small writer of the tests' own: the same loom."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.loom import kbl, vec
from tests.loom.list_truth import nets_of
from tests.loom.vec_and_kbl import both


@pytest.mark.parametrize("seed", range(60))
def test_vec_and_kbl_of_one_content_give_the_same_loom(seed: int, tmp_path: Path) -> None:
    """Wires, splices, twisted pairs and screened cables; only what a note calls the cable may differ."""
    as_vec, as_kbl = both(seed)
    (tmp_path / "a.vec").write_bytes(as_vec)
    (tmp_path / "a.kbl").write_bytes(as_kbl)
    one, other = vec.read(tmp_path / "a.vec").loom, kbl.read(tmp_path / "a.kbl").loom
    found = [
        sorted((replace(wire, note="") for wire in loom.wires), key=lambda wire: wire.name)
        for loom in (one, other)
    ]
    assert found[0] == found[1]
    assert [(c.name, c.kind, c.rows) for c in one.connectors] == [
        (c.name, c.kind, c.rows) for c in other.connectors
    ]
    assert {(c.name, c.designation) for c in one.circuits} == {
        (c.name, c.designation) for c in other.circuits
    }
    assert set(one.cavity_facts) == set(other.cavity_facts)
    assert nets_of(one) == nets_of(other)


def test_the_contents_hold_twisted_pairs_screens_and_splices(tmp_path: Path) -> None:
    seen = {"twisted": 0, "screened": 0, "spliced": 0}
    for seed in range(60):
        (tmp_path / "a.kbl").write_bytes(both(seed)[1])
        loom = kbl.read(tmp_path / "a.kbl").loom
        seen["twisted"] += sum(bool(wire.twisted_with) for wire in loom.wires)
        seen["screened"] += sum(bool(wire.screened_by) for wire in loom.wires)
        seen["spliced"] += sum(not end.cavity for wire in loom.wires for end in wire.ends)
    assert min(seen.values()) > 40, seen
