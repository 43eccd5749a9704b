"""Whatever writes a loom says what is typed next, and that can be typed as it stands."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.bench.adapter import in_order, write_adapter
from loomproof.cli.main import COMMANDS
from loomproof.loom.reading import load
from tests.cli.running import loomproof
from tests.simulating import started

LIST = "from,to,colour\nA:1,B:1,BK\nA:2,B:2,RD\n"


@pytest.fixture
def bench(fixtures: Path) -> Iterator[str]:
    """The address of a simulated scanner with the tail lamp's loom on it."""
    simulation = started(fixtures / "tail_lamp")
    yield str(simulation.address)
    simulation.end()


def test_what_wrote_a_loom_says_the_next_command(bench: str, fixtures: Path, tmp_path: Path) -> None:
    """A name with a blank among them: it comes in quotes."""
    tail = fixtures / "tail_lamp"
    (tmp_path / "list.csv").write_text(LIST, encoding="utf-8")
    write_adapter(in_order(load(tail).loom.cavities), tmp_path / "adapter.csv")
    for words in (
        ("new", "my loom"),
        ("import", "list.csv", "--to", "listed", "--yes"),
        ("export", tail, "--folder", "a copy"),
        ("export", tail, "--workbook", "copy.xlsx"),
        ("export", tail, "--kbl", "copy.kbl"),
        ("trace", "--adapter", "adapter.csv", "--bench", bench, "--to", "traced"),
        ("merge", "traced", tail, "--to", "merged"),
        ("learn", "traced", "--to", "learned"),
        ("match", "traced", tail, "--take", "sure", "--to", "matched"),
    ):
        done = loomproof(*words, cwd=tmp_path)
        assert done.returncode == 0, (words, done.stderr)
        last = done.stderr.splitlines()[-1]
        assert last.startswith("Next: loomproof "), (words, done.stderr)
        _, _, *typed = shlex.split(last)
        assert typed[0] in COMMANDS
        assert (tmp_path / typed[1]).exists(), last
        if typed[0] == "check":
            assert loomproof(*typed, cwd=tmp_path).returncode == 0, last
