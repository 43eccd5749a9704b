"""The folder of a loom that is being named: kept after each answer, gone on with, whatever broke it off."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.bench.adapter import Adapter, Lead, read_adapter
from loomproof.errors import AdapterError, DescriptionError, UsageError
from loomproof.jobs.naming_files import ADAPTER, LOG, TRACED, Kept, leads_for, opened, saved, set_aside
from loomproof.loom.model import ConnectorKind, End
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.naming.answers import Answer, Named, answered, begun
from tests.naming.engine import engine, leads, nameless

REAL = engine()
BARE, TRUTH = nameless(REAL)
BACK = {real: end for end, real in TRUTH.items()}
TABLE = leads(REAL, TRUTH)
ANSWERS = (
    Answer(BACK[End("INJ1", "2")], "INJ1", purpose="injector", whence="5 plugs of two share one wire"),
    Answer(BACK[End("ECU", "12")], "ECU", "12", colour="RD/WH", designation="31"),
    Answer(BACK[End("EARTH1", "1")], "rear: 1", kind=ConnectorKind.RING, purpose="earth strap, big"),
)
KEPT = tuple(Kept(answer, f"2031-05-04T00:00:0{k}Z") for k, answer in enumerate(ANSWERS))


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    write_folder(BARE, tmp_path / "found")
    return tmp_path / "found"


def keep(folder: Path, count: int) -> Named:
    named = answered(BARE, ANSWERS[:count])
    saved(folder, named, KEPT[:count], TABLE)
    return named


def test_a_traced_folder_is_begun_and_what_was_kept_is_gone_on_with(folder: Path) -> None:
    assert opened(folder).named.answers == ()
    named = keep(folder, 3)
    again = opened(folder)
    assert again.kept == KEPT
    assert again.named.loom.digest == named.loom.digest == load(folder).loom.digest
    assert load(folder / TRACED).loom.digest == BARE.digest
    assert not again.told


def test_an_answer_taken_back_is_gone_from_tables_and_log(folder: Path) -> None:
    keep(folder, 3)
    named = keep(folder, 1)
    assert load(folder).loom.digest == named.loom.digest
    assert opened(folder).kept == KEPT[:1]


def test_broken_off_while_it_was_written_nothing_is_lost(folder: Path) -> None:
    keep(folder, 2)
    before = {path.name: path.read_bytes() for path in folder.glob("*.csv")}
    whole = keep(folder, 3)
    # The log was written, and of the tables none, or one that does not fit the others.
    for names in (tuple(before), ("wires.csv",), ("connectors.csv",)):
        keep(folder, 3)
        for name in names:
            (folder / name).write_bytes(before[name])
        assert opened(folder).named.loom.digest == whole.loom.digest


def test_tables_changed_by_hand_hold_and_the_log_stays(folder: Path) -> None:
    named = keep(folder, 2)
    mine = replace(named.loom, wires=(replace(named.loom.wires[0], length_m=4.2), *named.loom.wires[1:]))
    write_folder(mine, folder, over=True)
    found = opened(folder)
    assert "changed by hand" in found.told
    assert found.named.loom.digest == mine.digest
    assert found.named.answers == ()
    assert found.names[BACK[End("INJ1", "2")]] == End("INJ1", "2")
    # What is answered now is of the tables as they are now, ends that were named before among it.
    set_aside(folder)
    more = answered(mine, [Answer(End("INJ1", "2"), "VALVE")])
    saved(folder, more, [Kept(more.answers[0], "2031-05-05T00:00:00Z")], None)
    again = opened(folder)
    assert again.named.loom.digest == more.loom.digest
    assert [each.answer for each in again.kept] == list(more.answers)
    assert len((folder / "naming-1.jsonl").read_text(encoding="utf-8").splitlines()) == 2
    assert load(folder / f"{TRACED}-1").loom.digest == BARE.digest


@pytest.mark.parametrize(
    "line", ["{", "[]", '{"end": ["P1"]}', '{"at": "x", "end": ["A", "1"], "kind": "box"}']
)
def test_a_damaged_log_is_told_by_its_line(folder: Path, line: str) -> None:
    keep(folder, 1)
    with (folder / LOG).open("a", encoding="utf-8") as log:
        log.write(f"{line}\n")
    with pytest.raises(DescriptionError, match="line 2 is no answer") as refused:
        opened(folder)
    assert refused.value.cure


def test_a_log_of_another_loom_is_told(folder: Path) -> None:
    keep(folder, 1)
    (folder / LOG).write_text('{"at": "x", "end": ["XX", "1"], "connector": "A"}\n', encoding="utf-8")
    with pytest.raises(DescriptionError, match="does not fit"):
        opened(folder)


def test_what_is_no_folder_of_a_loom_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.xlsx").write_bytes(b"")
    with pytest.raises(UsageError, match="names are kept in a loom's folder"):
        opened(tmp_path / "a.xlsx")
    with pytest.raises(DescriptionError, match="no such loom"):
        opened(tmp_path / "nowhere")


def test_the_table_of_the_trace_and_that_of_today_are_one(folder: Path) -> None:
    named = keep(folder, 3)
    today = read_adapter(folder / ADAPTER)
    assert set(today.point_of) == set(named.loom.cavities)
    assert today.point_of[End("rear: 1", "1")] == TABLE.point_of[BACK[End("EARTH1", "1")]]
    found = opened(folder)
    assert leads_for(found, today).point_of == leads_for(found, TABLE).point_of == TABLE.point_of
    with pytest.raises(AdapterError, match="XX:1, which this loom has not"):
        leads_for(found, Adapter("x", (Lead(1, End("XX", "1")),)))


def test_learned_leads_keep_their_ohms(folder: Path) -> None:
    zeroed = replace(
        TABLE, entries=tuple(replace(lead, lead_ohm=0.12, zeroed="2031-05-04") for lead in TABLE.entries)
    )
    saved(folder, begun(BARE), (), zeroed)
    assert {lead.lead_ohm for lead in read_adapter(folder / ADAPTER).entries} == {0.12}
