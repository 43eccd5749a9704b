"""Three descriptions of one public loom by three exporters: they join the same cavities.

Data: `../shared/open_data/lists` and `kbl/robot_challenge_kbl25.kbl` (MIT; counts in the README there).
Plugs are named differently in each; the mapping below is by label, from the files themselves.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from loomproof.loom import kbl
from tests.loom.list_truth import loom_of, nets, nets_of, read

PLACE = os.environ.get("LOOMPROOF_OPEN_DATA")
LISTS = (Path(PLACE).parent if PLACE else Path(__file__).parents[3] / "shared" / "open_data") / "lists"
CSV, BOOK = LISTS / "robot_challenge_wires.csv", LISTS / "robot_challenge_wires.xlsx"
KBL = LISTS.parent / "kbl" / "robot_challenge_kbl25.kbl"

pytestmark = pytest.mark.skipif(
    not all(path.is_file() for path in (CSV, BOOK, KBL)),
    reason="open data not found: set LOOMPROOF_OPEN_DATA to the folder with the KBL samples, lists beside it",
)

TRUTH = nets("M1:17 S10:3", "M2:2 S2:1", "M2:1 S2:2", "M1:8 S10:4", "M1:9 S10:2", "M3:3 S1:1")
"""Who joins whom, counted by hand (README of the data); the coax screen has cavities in one file only."""

IN_CSV = {
    "ID_CON1": "M1",
    "ID_CON2": "M2",
    "ID_CON3": "M3",
    "ID_CON12": "S10",
    "ID_CON9": "S2",
    "ID_CON8": "S1",
}
IN_BOOK = {"STM1": "M1", "STM2": "M2", "STM3": "M3", "ST2": "S10", "ST1": "S2", "ST3": "S1"}


def renamed(found: set[frozenset[tuple[str, str]]], names: dict[str, str]) -> set[frozenset[tuple[str, str]]]:
    return {frozenset((names[connector], cavity) for connector, cavity in net) for net in found}


def test_both_lists_and_the_kbl_file_join_the_same() -> None:
    in_csv = loom_of(read(CSV.read_bytes(), CSV.name))
    in_book = loom_of(read(BOOK.read_bytes(), BOOK.name))
    assert len(in_csv.wires) == len(in_book.wires) == 7
    assert len(in_csv.connectors) == len(in_book.connectors) == 6
    assert renamed(nets_of(in_csv), IN_CSV) == TRUTH | nets("M3:3S S1:1S")
    assert renamed(nets_of(in_book), IN_BOOK) == TRUTH | nets("M3:screen S1:screen")
    in_kbl = kbl.read(KBL).loom
    # The KBL file names plugs as the workbook does; its screen may have cavities or not.
    joined = renamed(nets_of(in_kbl), IN_BOOK)
    assert joined >= TRUTH
    assert all({connector for connector, _ in net} == {"M3", "S1"} for net in joined - TRUTH)


def test_colours_are_those_that_each_file_writes() -> None:
    in_csv = loom_of(read(CSV.read_bytes(), CSV.name))
    assert [wire.colour for wire in in_csv.wires] == ["GN/BN", "WH/BN", "WH", "WH", "WH", "BK", "bare"]
    in_book = loom_of(read(BOOK.read_bytes(), BOOK.name))
    assert [wire.colour for wire in in_book.wires] == ["RD", "WH", "BU", "GN/BN", "WH/BN", "BK", ""]
