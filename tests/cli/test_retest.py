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
    kept = ("--out", tmp_path / "retests")
    mended = loomproof("retest", results, loom, "--bench", "sim:?four-wire=0.001:0.002", *kept)
    assert mended.returncode == 0, mended.stderr
    assert "PASS, grade wire: " in mended.stdout
    assert "no certificate" in mended.stdout
    (journal,) = (tmp_path / "retests").iterdir()
    assert journal.read_text(encoding="utf-8").count('"ask":["sense"') > 1, "all that was read is kept"
    assert sorted(set(tmp_path.iterdir()) - {tmp_path / "retests"}) == before
    same = loomproof("retest", "last", loom, "--bench", "sim:?fault=open%20W27", *kept)
    assert same.returncode == 1
    assert "W27" in same.stdout
    slipped = loomproof("retest", "last", loom, "--bench", "sim:?fault=short%20BULK:4%20BULK:3", *kept)
    assert slipped.returncode == 1, "a strand that slipped across to the neighbour is seen"


def test_what_cannot_be_meant_is_refused(fixtures: Path, tmp_path: Path) -> None:
    results = failed_run(fixtures, tmp_path)
    other = loomproof("retest", results, fixtures / "tail_lamp", "--bench", "sim:", "--out", tmp_path)
    assert other.returncode == 2
    assert "another description" in other.stderr
    nowhere = loomproof("retest", tmp_path / "none.json", fixtures / "tail_lamp", "--bench", "sim:")
    assert nowhere.returncode == 2
    assert "holds no results" in nowhere.stderr


def test_a_bench_without_a_recent_self_test_is_refused_by_every_proof(fixtures: Path, tmp_path: Path) -> None:
    loom = fixtures / "tail_lamp"
    bench, age = ("--bench", "sim:?points=12&seed=77", "--out", tmp_path), ("--selftest-max-age", "7")
    hooked = loomproof("prove", loom, *bench, "--hook-ups", "--made-safe", *age)
    assert hooked.returncode == 3
    assert "no self-test" in hooked.stderr
    assert not list(tmp_path.glob("*.results.json"))
    assert loomproof("prove", loom, "--bench", "sim:?fault=open%20W2", "--out", tmp_path).returncode == 1
    (results,) = tmp_path.glob("*.results.json")
    again = loomproof("retest", results, loom, "--bench", "sim:?seed=77", "--out", tmp_path, *age)
    assert again.returncode == 3
    assert "no self-test" in again.stderr


def test_a_retest_that_ends_is_not_listed_as_broken_off_and_one_that_does_not_end_is(
    fixtures: Path, tmp_path: Path
) -> None:
    loom, out = fixtures / "tail_lamp", ("--out", tmp_path)
    assert loomproof("prove", loom, "--bench", "sim:?fault=open%20W2", *out).returncode == 1
    assert loomproof("retest", "last", loom, "--bench", "sim:", *out).returncode == 0
    assert "retest" not in loomproof("log").stdout
    live = loomproof("retest", "last", loom, "--bench", "sim:?fault=voltage%2012%20BODY:1", *out)
    assert live.returncode == 3
    assert "voltage" in live.stderr
    assert ".retest" in "".join(loomproof("log").stdout.split())
