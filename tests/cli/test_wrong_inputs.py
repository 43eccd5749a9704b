"""What people type and hand over wrongly: each input with its exit code, the place named, and the cure.

The inputs and how they are written down: ``data/wrong_inputs.txt``. Nothing of them ends in a traceback, none
in exit code 1, which says that a loom fails.
"""

from __future__ import annotations

import shlex
import shutil
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tests.cli.running import loomproof

DATA = Path(__file__).parent / "data" / "wrong_inputs.txt"


class Wrong(NamedTuple):
    """A command, what was done to its files before, and what is expected of it."""

    words: str
    done: str
    code: int
    place: str
    cure: str


def wrong_inputs() -> Iterator[Wrong]:
    """Yield what the file says, three lines each."""
    lines = [line for line in DATA.read_text(encoding="utf-8").splitlines() if line and line[0] != "#"]
    for asked, told, cure in zip(lines[::3], lines[1::3], lines[2::3], strict=True):
        words, _, done = asked.partition(" | ")
        code, _, place = told.strip().partition(" ")
        yield Wrong(words, done, int(code), place, cure.strip())


INPUTS = tuple(wrong_inputs())


def spoil(folder: Path, done: str) -> None:
    """Do to the files of a folder what one line of the data says."""
    if not done:
        return

    def at(name: str) -> Path:
        inside = folder / "LOOM" / name
        return inside if inside.exists() else folder / name

    if done.startswith("- "):
        at(done[2:]).unlink()
        return
    for mark in (" += ", " <=", " bytes ", ": "):
        name, found, text = done.partition(mark)
        if found and " " not in name:
            break
    path, plain = at(name), text.strip().replace("\\n", "\n")
    if mark == " += ":
        path.write_text(path.read_text(encoding="utf-8") + plain + "\n", encoding="utf-8")
    elif mark == " <=":
        path.write_text(plain, encoding="utf-8")
    elif mark == " bytes ":
        path.write_bytes(bytes.fromhex(text))
    else:
        old, _, new = text.partition(" =>")
        before = path.read_text(encoding="utf-8")
        assert old in before, done
        path.write_text(before.replace(old, new.removeprefix(" "), 1), encoding="utf-8")


@pytest.mark.parametrize("wrong", INPUTS, ids=[f"{one.words} {one.done}".strip() for one in INPUTS])
def test_it_is_told_with_place_and_cure(wrong: Wrong, fixtures: Path, tmp_path: Path) -> None:
    shutil.copytree(fixtures / "tail_lamp", tmp_path / "LOOM")
    spoil(tmp_path, wrong.done)
    done = loomproof(*shlex.split(wrong.words), cwd=tmp_path)
    said = " ".join(f"{done.stdout} {done.stderr}".split())
    assert done.returncode == wrong.code, said
    assert wrong.place in said
    assert wrong.cure == "-" or wrong.cure in said


def test_the_kinds_of_input_are_all_there() -> None:
    """So that a kind that falls out of the file is missed; 175 is what three people came to by themselves."""
    assert len(INPUTS) == len({(one.words, one.done) for one in INPUTS}) >= 175
    assert {one.code for one in INPUTS} == {2, 3, 5}
    first = Counter(one.words.split()[0] for one in INPUTS)
    kinds = "check adapter prove simulate plan replay findings records verify key fit bench import history"
    assert min(first[kind] for kind in kinds.split()) >= 1
    assert first["check"] > 60
    assert first["prove"] > 50
