"""A retest over the real link: it sees the repair, and it sees a repair that was not done."""

from __future__ import annotations

from pathlib import Path

from tests.cli.running import loomproof


def failed_run(fixtures: Path, tmp_path: Path) -> Path:
    words = ("--bench", "sim:?fault=open%20W27", "--out", tmp_path)
    assert loomproof("prove", fixtures / "hillclimb_engine", *words).returncode == 1
    return next(tmp_path.glob("*.results.json"))


def test_a_repair_is_retested_with_few_questions_and_gives_no_certificate(
    fixtures: Path, tmp_path: Path
) -> None:
    results = failed_run(fixtures, tmp_path)
    before = sorted(tmp_path.iterdir())
    loom = fixtures / "hillclimb_engine"
    mended = loomproof("retest", results, loom, "--bench", "sim:")
    assert mended.returncode == 0, mended.stderr
    assert "PASS: " in mended.stdout
    assert "no certificate" in mended.stdout
    assert sorted(tmp_path.iterdir()) == before
    same = loomproof("retest", "last", loom, "--bench", "sim:?fault=open%20W27")
    assert same.returncode == 1
    assert "W27" in same.stdout
    slipped = loomproof("retest", "last", loom, "--bench", "sim:?fault=short%20BULK:4%20BULK:3")
    assert slipped.returncode == 1, "a strand that slipped across to the neighbour is seen"


def test_what_cannot_be_meant_is_refused(fixtures: Path, tmp_path: Path) -> None:
    results = failed_run(fixtures, tmp_path)
    other = loomproof("retest", results, fixtures / "tail_lamp", "--bench", "sim:")
    assert other.returncode == 2
    assert "another description" in other.stderr
    nowhere = loomproof("retest", tmp_path / "none.json", fixtures / "tail_lamp", "--bench", "sim:")
    assert nowhere.returncode == 2
    assert "holds no results" in nowhere.stderr
