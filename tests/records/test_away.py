"""A shop's server that is away, as the person at the bench meets it: commands, what they say, exit codes."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.records.store import open_store
from tests.cli.running import loomproof
from tests.records import postgres

REPO = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def _simulated_within(simulated_within: None) -> None:
    """What is tried here is the store."""


def test_a_proof_waits_in_the_outbox_and_is_handed_over_by_the_next_command(
    server: postgres.Server, tmp_path: Path
) -> None:
    address, out = server.database(), tmp_path / "out"
    store = ("--store", address)
    words = (
        "prove",
        REPO / "fixtures" / "tail_lamp",
        "--bench",
        "sim:?fault=open%20W2",
        "--out",
        out,
        *store,
    )
    done = loomproof(*words)
    assert done.returncode == 1, done.stderr
    assert "bench's outbox" not in done.stderr + done.stdout, "the server answers, so nothing waits"
    server.kill()
    try:
        done = loomproof(*words)
        assert done.returncode == 1, done.stderr
        assert "does not answer" in done.stderr
        assert "1 proof waits in this bench's outbox" in done.stderr
        assert len(list(out.glob("*.pdf"))) == 2, "its certificate is written all the same"
        done = loomproof("log", *store)
        assert done.returncode == 0, done.stderr
        assert done.stdout.count("FAIL") == 2, "what was proved here is listed from the outbox"
        assert "does not answer" in done.stderr
        assert loomproof("repaired", "last", "new wire", "--person", "Mia", *store).returncode == 0
        done = loomproof("records", "hand-over", *store)
        assert done.returncode == 3
        assert "1 proof, 1 note, 1 certificate" in done.stdout
        done = loomproof("records", "check", *store)
        assert done.returncode == 3
        assert "does not answer" in done.stderr
        done = loomproof("fit", REPO / "fixtures" / "tail_lamp", *store)
        assert "does not answer" in done.stderr, "another bench may have failed the loom since"
    finally:
        server.start()
    done = loomproof("log", *store)
    assert done.returncode == 0, done.stderr
    assert done.stdout.count("FAIL") == 2
    assert "1 proof that waited in this bench's outbox was handed over to" in done.stderr
    done = loomproof("records", "hand-over", *store)
    assert (done.returncode, done.stdout) == (0, "Nothing waits.\n")
    done = loomproof("records", "check", *store)
    assert done.returncode == 0, done.stdout + done.stderr
    with open_store(address) as kept:
        one, two = kept.runs()
        assert (one.sequence, two.sequence, two.previous) == (1, 2, one.hash)
        assert [each.words for each in kept.repairs(two.hash)] == ["new wire"]
        paper = kept.certificate(two.hash)
    assert paper in [path.read_bytes() for path in out.glob("*.pdf")]
    (record,) = [path for path in out.glob("*.record.json") if two.run in path.name]
    assert loomproof("verify", record).returncode == 0


def test_nothing_waits_for_a_file(tmp_path: Path) -> None:
    done = loomproof("records", "hand-over", "--store", tmp_path / "records.db")
    assert (done.returncode, done.stdout) == (0, "Nothing waits.\n")
