"""A finding of an earlier run is placed by readings taken now; what is gone is told so."""

from __future__ import annotations

from pathlib import Path

from tests.cli.running import loomproof

BENCH = "sim:?cap=1e-11:0.02&four-wire=0.001:0.002"
BROKEN = f"{BENCH}&fault=open%20W2%20at%20BODY:2%200.4%20m"


def test_a_finding_is_placed_after_its_run(fixtures: Path, tmp_path: Path) -> None:
    loom, table = fixtures / "tail_lamp", tmp_path / "adapter.csv"
    assert loomproof("adapter", "new", loom, "--to", table).returncode == 0
    leads = ("--adapter", table, "--out", tmp_path / "out")
    before = loomproof("prove", loom, "--bench", BROKEN, *leads)
    assert before.returncode == 1
    unlearned = loomproof("locate", "last", loom, "--bench", BROKEN, *leads)
    assert "no place can be told: the leads' own capacitance was never learned" in unlearned.stdout
    assert loomproof("bench", "zero", "--adapter", table, "--open", "--bench", BENCH).returncode == 0
    records = sorted((tmp_path / "out").glob("*.results.json"))
    placed = loomproof("locate", "last", loom, "--bench", BROKEN, *leads, "--finding", "1")
    assert placed.returncode == 1, placed.stderr
    said = " ".join(placed.stdout.split())
    assert "finding 1 is still there: W2 (black/red) open between BODY:2 and LAMP:2" in said
    assert "from BODY:2 along W2 (black/red)" in said
    assert "(2 readings)" in said
    assert "no certificate" in said
    assert sorted((tmp_path / "out").glob("*.results.json")) == records, "nothing is sealed"
    gone = loomproof("locate", "last", loom, "--bench", BENCH, *leads)
    assert gone.returncode == 0
    assert "finding 1 is gone" in gone.stdout
    other = f"{BENCH}&fault=short%20LAMP:2%20LAMP:3"
    changed = loomproof("locate", "last", loom, "--bench", other, *leads)
    said = " ".join(changed.stdout.split())
    assert "finding 1 is gone: W2 (black/red) open between BODY:2 and LAMP:2 new: Short between" in said
