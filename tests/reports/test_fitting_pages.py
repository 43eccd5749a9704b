"""The fitting sheet's pages with names of any length, read back by pdftotext: nothing lies on anything."""

from __future__ import annotations

import re
import shutil
import subprocess
import xml.etree.ElementTree as ElementTree
from pathlib import Path
from typing import NamedTuple

import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.model import Loom
from loomproof.reports.fitting_sheet import sheet_pdf
from tests.fitting.looms import demo
from tests.long_names import long_names

pytestmark = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")

MM = 72 / 25.4
A4_WIDTH = 210 * MM
"""PDF units (1/72 inch) in a millimetre, and the width of A4 (ISO 216) in them."""


class Word(NamedTuple):
    """A word on a page and the box around it."""

    text: str
    left: float
    top: float
    right: float
    bottom: float


def pages(loom: Loom, folder: Path) -> list[list[Word]]:
    (folder / "s.pdf").write_bytes(sheet_pdf(fitting_sheet(loom)))
    done = subprocess.run(
        ["pdftotext", "-bbox", "s.pdf", "-"], cwd=folder, capture_output=True, text=True, check=True
    )
    namespace = "{http://www.w3.org/1999/xhtml}"
    return [
        [
            Word(word.text or "", *(float(word.attrib[side]) for side in ("xMin", "yMin", "xMax", "yMax")))
            for word in page.iter(f"{namespace}word")
        ]
        for page in ElementTree.fromstring(done.stdout).iter(f"{namespace}page")
    ]


def on_each_other(a: Word, b: Word) -> bool:
    """Whether two words of a line share more than a hair's breadth."""
    upright = min(a.bottom, b.bottom) - max(a.top, b.top)
    level = min(a.right, b.right) - max(a.left, b.left)
    return upright > 2.0 and level > 0.5


def on_others(words: list[Word]) -> list[tuple[Word, Word]]:
    """The pairs of words that lie on each other; only those are asked that begin above another's foot."""
    ordered = sorted(words, key=lambda word: word.top)
    found = []
    for at, word in enumerate(ordered, start=1):
        for other in ordered[at:]:
            if other.top >= word.bottom:
                break
            if on_each_other(word, other):
                found.append((word, other))
    return found


@pytest.mark.parametrize("names", ["short", "long"])
def test_no_word_lies_on_another_or_leaves_the_page(names: str, tmp_path: Path) -> None:
    found = pages(demo() if names == "short" else long_names(demo()), tmp_path)
    assert len(found) > 5
    for words in found:
        assert all(word.left > 13 * MM and word.right < A4_WIDTH - 13 * MM for word in words)
        assert on_others(words) == []
        assert on_others([*words, words[0]._replace(text="again")]) != []


def test_every_end_stands_whole_on_the_sheet(tmp_path: Path) -> None:
    loom = long_names(demo())
    (tmp_path / "s.pdf").write_bytes(sheet_pdf(fitting_sheet(loom)))
    raw = subprocess.run(["pdftotext", "-raw", "s.pdf", "-"], cwd=tmp_path, capture_output=True, check=True)
    # Names are broken over lines, and a cell's lines follow one another.
    told = re.sub(r"\s", "", raw.stdout.decode())
    # Cavities of one connector that hold nothing stand in one row: its name once, and theirs.
    spare = re.findall(r"([^\s:,]+):((?:\w+,)+\w+?)leavealone", told)
    listed = [(name, row.split(",")) for name, row in spare]
    missing = [end for end in loom.cavities if str(end) not in told]
    assert missing
    assert [
        end
        for end in missing
        if not any(name.endswith(end.connector) and end.cavity in row for name, row in listed)
    ] == []
    fused = {row.wire for row in fitting_sheet(loom).fuses}
    assert fused
    assert [wire for wire in fused if wire not in told] == []
    assert "\u200b" not in told, "a name copied from the sheet is the name"
