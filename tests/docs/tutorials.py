"""Reads pages whose shell blocks can be carried out: files that they write down, commands, and what is shown.

A block ``console`` holds commands after ``$ `` and, under each, its standard output; a line ``…`` stands for
any lines. A block with ``title="FILE"`` is that file. ``python -m tests.docs.tutorials PAGE`` carries a page
out and writes what is shown into it anew, but where a ``…`` stands; a person chooses what to leave out.
"""

from __future__ import annotations

import os
import re
import shlex
import sys
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

ROOT = Path(__file__).parents[2]
ANY = "…"


class Command(NamedTuple):
    """A line that a reader types, what it shows by the page, and which lines of the page that is."""

    typed: str
    shown: tuple[str, ...]
    first: int
    last: int


class File(NamedTuple):
    """A file that the page has its reader write."""

    name: str
    text: str


class Ran(NamedTuple):
    """A command with what it showed when it was carried out, and how it ended."""

    command: Command
    shown: tuple[str, ...]
    code: int


Step = Command | File


def steps(page: str) -> Iterator[Step]:
    """Yield what the page has its reader do, in order."""
    lines = page.splitlines()
    at = 0
    while at < len(lines):
        opened = re.match(r"```(\w+)(?: title=\"([^\"]+)\")?$", lines[at])
        if not opened:
            at += 1
            continue
        end = lines.index("```", at + 1)
        if opened[2]:
            yield File(opened[2], "\n".join(lines[at + 1 : end]) + "\n")
        elif opened[1] == "console":
            yield from _commands(lines, at + 1, end)
        at = end + 1


def _commands(lines: list[str], begin: int, end: int) -> Iterator[Command]:
    starts = [n for n in range(begin, end) if lines[n].startswith("$ ")]
    for start, after in zip(starts, [*starts[1:], end], strict=True):
        last, typed = start, lines[start][2:]
        while typed.endswith("\\"):
            last += 1
            typed = typed[:-1] + lines[last].strip()
        yield Command(typed, tuple(lines[last + 1 : after]), last + 1, after)


Run = Callable[[list[str], Path], tuple[int, str]]


def carry_out(page: str, folder: Path, run: Run) -> Iterator[Ran]:
    """Write the page's files into a folder and run its commands there, one after another."""
    (folder / "fixtures").symlink_to(ROOT / "fixtures", target_is_directory=True)
    code, names = 0, dict[str, str]()
    for step in steps(page):
        if isinstance(step, File):
            (folder / step.name).write_text(step.text, encoding="utf-8")
            continue
        words = shlex.split(translated(step.typed, names))
        if words == ["echo", "$?"]:
            out = f"{code}\n"
        else:
            assert words[0] == "loomproof", step.typed
            code, out = run(words[1:], folder)
        shown = tuple(line.rstrip() for line in out.splitlines())
        names |= paired(step.shown, shown)
        yield Ran(step, shown, code)


def translated(text: str, names: dict[str, str]) -> str:
    """Return a text with its runs called by other names."""
    return re.sub(RUN, lambda found: names.get(found[0], found[0]), text)


def paired(lines: tuple[str, ...], others: tuple[str, ...]) -> dict[str, str]:
    """Return the name of each run of some lines in others that show as many, in their order."""
    found, there = (list(dict.fromkeys(re.findall(RUN, "\n".join(each)))) for each in (lines, others))
    return dict(zip(found, there, strict=True)) if len(found) == len(there) else {}


RUN = r"\d{8}-\d{6}-[0-9a-f]{6}"

CHANGING = (
    (RUN, "RUN"),
    (r"\d{4}-\d\d-\d\d \d\d:\d\d(:\d\d)?( UTC)?", "TIME"),
    (r"\d{4}-\d\d-\d\d", "DAY"),
    (r"\b(?:[0-9a-f]{4} ){3,}[0-9a-f]{4}\b", "PRINT"),
    (r"\b[0-9a-f]{8,}\b", "HASH"),
    (r"\d+\.\d+ s\b", "SECONDS"),
)
"""What is another one at each run: its name, moments, keys and hashes."""


def steady(line: str) -> str:
    """Return a line without what changes from run to run."""
    for pattern, word in CHANGING:
        line = re.sub(pattern, word, line)
    return line.rstrip()


def agrees(said: tuple[str, ...], shown: tuple[str, ...]) -> bool:
    """Say whether what was shown is what the page says, its ``…`` standing for any lines.

    Runs of one second stand in the order of the chance ends of their names: then all lines, in any order.
    """
    if ANY not in said and sorted(map(steady, said)) == sorted(map(steady, shown)):
        return True
    wanted = [r"(?:.*\n)*?" if line == ANY else re.escape(steady(line)) + "\n" for line in said]
    return re.fullmatch("".join(wanted), "".join(f"{steady(line)}\n" for line in shown)) is not None


def renewed(page: str, ran: list[Ran]) -> str:
    """Return the page with what was shown, but where it leaves lines out; runs keep their names."""
    names = dict[str, str]()
    for each in ran:
        names |= paired(each.shown, each.command.shown)
    lines = page.splitlines()
    for each in reversed(ran):
        if ANY not in each.command.shown:
            lines[each.command.first : each.command.last] = [translated(line, names) for line in each.shown]
    return "\n".join(lines) + "\n"


def main(names: list[str]) -> None:
    """Renew pages."""
    from tests.cli.running import process

    def run(words: list[str], folder: Path) -> tuple[int, str]:
        done = process(*words, cwd=folder)
        sys.stderr.write(done.stderr if done.returncode in (2, 3) else "")
        return done.returncode, done.stdout

    for name in names:
        page = Path(name).read_text(encoding="utf-8")
        with tempfile.TemporaryDirectory() as folder:
            os.environ |= {"LOOMPROOF_HOME": f"{folder}/home", "NO_COLOR": "1"}
            Path(name).write_text(renewed(page, list(carry_out(page, Path(folder), run))), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
