"""Each tutorial is carried out line by line, as its reader would, and shows what it says."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.cli.running import loomproof
from tests.docs.tutorials import ROOT, Command, File, agrees, carry_out, steps
from tests.simulating import started

PAGES = sorted((ROOT / "docs" / "tutorials").glob("*.md"))
HOW_TO = sorted((ROOT / "docs" / "howto").glob("*.md"))
TRIED = [*PAGES, ROOT / "README.md", *(page for page in HOW_TO if "\n$ " in page.read_text(encoding="utf-8"))]


def run(words: list[str], folder: Path) -> tuple[int, str]:
    done = loomproof(*words, cwd=folder)
    assert done.returncode in (0, 1, 4) or "Usage" not in done.stderr, done.stderr
    return done.returncode, done.stdout


@pytest.mark.usefixtures("simulated_within")
@pytest.mark.parametrize("page", TRIED, ids=lambda page: page.stem)
def test_a_page_shows_what_its_commands_show(page: Path, tmp_path: Path) -> None:
    for command, shown, _ in carry_out(page.read_text(encoding="utf-8"), tmp_path, run):
        assert agrees(command.shown, shown), "\n".join([command.typed, *shown])


def test_the_page_of_an_unknown_loom_shows_what_tracing_and_matching_show(tmp_path: Path) -> None:
    """The adapter table is the page's own; no command of a page can keep a simulator running."""
    page = (ROOT / "docs" / "howto" / "unknown_loom.md").read_text(encoding="utf-8")
    (ends,) = (step for step in steps(page) if isinstance(step, File))
    (tmp_path / ends.name).write_text(ends.text, encoding="utf-8")
    traced, matched = re.findall(r"^```text\n(.*?)^```", page, re.MULTILINE | re.DOTALL)
    known = ROOT / "fixtures" / "tail_lamp"
    simulation = started(known)
    try:
        bench = ("--adapter", ends.name, "--bench", str(simulation.address))
        done = loomproof("trace", *bench, "--to", "found", cwd=tmp_path)
    finally:
        simulation.end()
    shown = loomproof("match", "found", known, cwd=tmp_path).stdout
    for said, out in ((traced, done.stdout), (matched, shown)):
        assert agrees(tuple(said.splitlines()), tuple(out.splitlines())), out


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.stem)
def test_a_tutorial_is_about_commands(page: Path) -> None:
    found = list(steps(page.read_text(encoding="utf-8")))
    assert sum(isinstance(step, Command) for step in found) >= 5
    assert len(PAGES) == 3


def test_what_differs_is_seen_and_what_changes_is_not() -> None:
    said = ("run 20261129-083900-019a48", "4 wires", "…", "end")
    assert agrees(said, ("run 20270101-000000-aaaaaa", "4 wires", "one", "two", "end"))
    assert not agrees(said, ("run 20270101-000000-aaaaaa", "5 wires", "end"))
    assert not agrees(said[:2], ("run 20261129-083900-019a48", "4 wires", "more"))
    assert not agrees(("W2 (black/red)",), ("W2 (black red)",))


def test_files_and_long_lines_of_a_page_are_read() -> None:
    page = '# A\n```csv title="a/b.csv"\nx,y\n```\n```console\n'
    page += "$ loomproof a \\\n    --b\nshown\n$ echo $?\n0\n```\n"
    file, first, second = steps(page)
    assert file == File("a/b.csv", "x,y\n")
    assert isinstance(first, Command)
    assert isinstance(second, Command)
    assert (first.typed, first.shown) == ("loomproof a --b", ("shown",))
    assert (second.typed, second.shown) == ("echo $?", ("0",))
