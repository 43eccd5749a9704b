"""A retest over the real link: it sees the repair, and it sees a repair that was not done."""

from __future__ import annotations

import shutil
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
    assert (
        "is of Tern three-cylinder engine loom, and this description is that of Left tail lamp"
        in other.stderr
    )
    shutil.copytree(fixtures / "hillclimb_engine", tmp_path / "since")
    described = tmp_path / "since" / "loom.toml"
    text = described.read_text(encoding="utf-8").replace("[defaults]", "[defaults]\nmargin_ohm = 0.06", 1)
    described.write_text(text, encoding="utf-8")
    changed = loomproof("retest", results, tmp_path / "since", "--bench", "sim:", "--out", tmp_path)
    assert changed.returncode == 2
    assert "another description" in changed.stderr
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


def test_a_finding_is_retested_alone_and_over_hook_ups(fixtures: Path, tmp_path: Path) -> None:
    """Two faults; what was mended of one says nothing of the other; the bench is smaller than the loom."""
    loom, small = fixtures / "tail_lamp", "sim:?points=12"
    both = f"{small}&fault=open%20W2&fault=open%20W3"
    failed = loomproof("prove", loom, "--bench", both, "--out", tmp_path, "--hook-ups")
    assert failed.returncode == 1, failed.stderr
    kept = ("--out", tmp_path / "retests")
    without = loomproof("retest", "last", loom, "--bench", small, "--adapter", "in-order", *kept)
    assert without.returncode in (2, 3)
    first = f"{small}&fault=open%20W3"
    alone = loomproof("retest", "last", loom, "--bench", first, "--hook-ups", "--finding", "1", *kept)
    assert alone.returncode in (0, 1), alone.stderr
    whole = loomproof("retest", "last", loom, "--bench", first, "--hook-ups", *kept)
    assert whole.returncode == 1
    assert "W3" in whole.stdout
    done = loomproof("retest", "last", loom, "--bench", small, "--hook-ups", *kept)
    assert done.returncode == 0, done.stdout
    assert "no certificate" in done.stdout
    assert len(list((tmp_path / "retests").glob("*.hook-up-*.journal.jsonl"))) >= 2
    nine = loomproof("retest", "last", loom, "--bench", small, "--hook-ups", "--finding", "9", *kept)
    assert nine.returncode == 2
    assert "there is no finding 9" in nine.stderr
    stray = loomproof("retest", "last", loom, "--bench", small, "--split", "BODY", *kept)
    assert stray.returncode == 2


def test_a_finding_alone_asks_less(fixtures: Path, tmp_path: Path) -> None:
    loom, both = fixtures / "hillclimb_engine", "sim:?fault=open%20W10&fault=open%20W45"
    assert loomproof("prove", loom, "--bench", both, "--out", tmp_path).returncode == 1
    left = ("--bench", "sim:?fault=open%20W45", "--out", tmp_path / "r")
    nets = []
    for words in ((), ("--finding", "1"), ("--finding", "2")):
        done = loomproof("retest", "last", loom, *left, *words)
        assert done.returncode == 1, "W45 is open still, and is seen whatever is asked"
        assert "W45" in done.stdout
        assert "fault: W10" not in done.stdout
        nets.append(int(done.stdout.split(": ")[1].split(" of ")[0]))
    assert max(nets[1:]) < nets[0] <= sum(nets[1:])
    # What was asked for comes first, and in words; verdict and list have lines of their own.
    asked = loomproof("retest", "last", loom, *left, "--finding", "1").stdout.splitlines()
    assert asked[1].startswith("  finding 1 is gone: W10 ")
    assert asked[2].startswith("  finding 2, which was not asked for, is still there: W45 ")
    assert asked[3] == "FAIL"
    assert asked[4].startswith("What was looked at: ECU-A:")
    both_asked = loomproof("retest", "last", loom, *left).stdout
    assert "finding 1 is gone" in both_asked
    assert "finding 2 is still there" in both_asked
    mended = loomproof("retest", "last", loom, "--bench", "sim:", *left[2:], "--finding", "2")
    assert mended.returncode == 0
    assert mended.stdout.splitlines()[1].startswith("  finding 2 is gone: W45 ")
    assert "meter not checked\nWhat was looked at: " in mended.stdout
    assert "ECU-A:5" not in mended.stdout, "nothing is said of what was not asked"


def test_a_retest_says_gone_of_nothing_that_it_could_not_see(fixtures: Path, tmp_path: Path) -> None:
    """A bad joint wants ohms to be seen; a slipped strand is told as it is."""
    loom, kept = fixtures / "tail_lamp", ("--out", tmp_path)
    told = {
        ("high 4.7 W2", "sim:?no-ohms"): "is not seen, and no resistance was read that could show it: High",
        ("high 4.7 W2", "sim:?fault=high%204.7%20W2"): "is still there: High",
        ("open W2", "sim:?fault=short%20LAMP:2%20LAMP:3"): "is not seen as it was: W2",
    }
    for (fault, bench), words in told.items():
        first = f"sim:?fault={fault.replace(' ', '%20')}"
        assert loomproof("prove", loom, "--bench", first, *kept).returncode == 1
        done = loomproof("retest", "last", loom, "--bench", bench, *kept)
        assert f"finding 1 {words}" in done.stdout, done.stdout
        assert "is gone" not in done.stdout
