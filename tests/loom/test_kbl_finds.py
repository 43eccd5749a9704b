"""Damaged KBL files: some made anew from a seed, and every one that a fuzz run ever found."""

from __future__ import annotations

import random

import pytest
from lxml import etree

from loomproof.loom import kbl
from loomproof.loom.reading import load
from tests.fuzz.damaged_xml import FINDS, mutated_bytes, mutated_tree
from tests.fuzz.kbl_fuzz import tried
from tests.loom.kbl_files import ROOT


@pytest.fixture(scope="module")
def content() -> bytes:
    return kbl.write(load(ROOT / "fixtures" / "tail_lamp").loom).content


def test_damaged_trees_are_refused_or_read_whole(content: bytes) -> None:
    rng = random.Random(20)
    root = etree.fromstring(content)
    ended = [tried(mutated_tree(root, rng)) for _ in range(120)]
    assert {"refused", "read"} == set(ended)


def test_damaged_bytes_are_refused_or_read_whole(content: bytes) -> None:
    rng = random.Random(21)
    assert "refused" in {tried(mutated_bytes(content, rng)) for _ in range(120)}


def test_what_was_ever_found_stays_mended(content: bytes) -> None:
    assert tried(content) == "read"
    for path in sorted(FINDS.glob("kbl_*.kbl")):
        assert tried(path.read_bytes()) in ("refused", "read"), path.name
