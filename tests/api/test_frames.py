"""Frames: units in the names of columns, identifiers as text, the figures of the sealed documents."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pandas as pd
import pytest

import loomproof as lp
from loomproof.loom.model import Connector, Loom, Wire

pytestmark = pytest.mark.usefixtures("simulated_within")

SEALED = Path(__file__).parents[1] / "records" / "with_grades"
UNITS = ("_ohm", "_v", "_c", "_s")
PLAIN_NUMBERS = {"hook_up", "number", "margin", "meter_wires", "faults", "notes"}
"""Counts and shares, which have no unit."""


def numbered(lamp: Loom) -> Loom:
    """The same loom with connectors, cavities and wires that look like numbers, with zeros in front."""
    names = {each.name: f"00{n}" for n, each in enumerate(lamp.connectors)}

    def end(old: lp.End) -> lp.End:
        return lp.End(names[old.connector], f"0{old.cavity}")

    def plug(old: Connector) -> Connector:
        rows = tuple(tuple(name and f"0{name}" for name in row) for row in old.rows)
        return replace(old, name=names[old.name], rows=rows)

    wires: tuple[Wire, ...] = tuple(
        replace(wire, name=f"0{n}", a=end(wire.a), b=end(wire.b)) for n, wire in enumerate(lamp.wires)
    )
    facts = tuple(replace(each, end=end(each.end)) for each in lamp.cavity_facts)
    return replace(
        lamp, serial="0042", connectors=tuple(map(plug, lamp.connectors)), wires=wires, cavity_facts=facts
    )


def tables(proof: lp.Proof, store: lp.Store, loom: Loom) -> dict[str, pd.DataFrame]:
    return {
        "readings": lp.frames.readings(proof),
        "claims": lp.frames.claims(proof),
        "findings": lp.frames.findings(proof),
        "wires": lp.frames.wires(proof),
        "history": lp.frames.history(store, loom),
        "runs": lp.frames.runs(store, loom),
    }


def test_identifiers_are_text_and_figures_are_numbers_with_units(fixtures: Path) -> None:
    loom = numbered(lp.load(fixtures / "tail_lamp"))
    with lp.simulate(loom, "open 01") as bench:
        proof = lp.Job(loom, bench).prove().run()
    store = lp.Store()
    store.seal(proof)
    made = tables(proof, store, loom)
    for name, table in made.items():
        assert len(table), name
        for column in table.columns:
            if pd.api.types.is_bool_dtype(table[column]):
                continue
            if pd.api.types.is_numeric_dtype(table[column]):
                assert column.endswith(UNITS) or column in PLAIN_NUMBERS, f"{name}: {column}"
            else:
                assert all(isinstance(value, str) for value in table[column].dropna()), f"{name}: {column}"
    assert made["findings"].wires.tolist() == ["01"]
    assert made["wires"].wire.tolist()[:2] == ["00", "01"]
    assert made["runs"].serial.tolist() == ["0042"]
    assert "000:01" in set(made["readings"].a)


@pytest.mark.parametrize("run", ["pass", "fail", "hook"])
def test_claims_and_findings_are_those_of_the_record(run: str) -> None:
    plain = json.loads((SEALED / f"{run}.record.json").read_text(encoding="utf-8"))["body"]["document"]
    document = lp.verify(SEALED / f"{run}.record.json").document()
    claims = lp.frames.claims(document)
    assert claims.subject.tolist() == [claim["subject"] for claim in plain["claims"]]
    for column in ("measured_ohm", "limit_ohm", "uncertainty_ohm"):
        there = [claim[column] for claim in plain["claims"]]
        opened = [claim["open"] and column == "measured_ohm" for claim in plain["claims"]]
        for told, value, is_open in zip(claims[column], there, opened, strict=True):
            if is_open:
                assert math.isinf(told)
            elif value is None:
                assert math.isnan(told)
            else:
                assert told == value
    assert lp.frames.findings(document).title.tolist() == [found["title"] for found in plain["findings"]]
    assert lp.frames.wires(document).wire.tolist() == [wire["name"] for wire in plain["wires"]]


@pytest.mark.parametrize(("run", "hook_ups"), [("pass", [pd.NA]), ("hook", [1, 2, 3, 4])])
def test_readings_are_the_journal_line_by_line(run: str, hook_ups: list[object]) -> None:
    journal = (SEALED / f"{run}.journal.jsonl").read_bytes()
    asked = [line for line in map(json.loads, journal.splitlines()) if "ask" in line]
    table = lp.frames.readings(journal)
    rows = sum(len(line["ask"][1]) if line["ask"][0] == "sense" else 1 for line in asked)
    assert len(table) == rows
    assert str(table.hook_up.drop_duplicates().tolist()) == str(hook_ups)
    read = table[table.kind == "resistance"]
    there = [line for line in asked if line["ask"][0] == "resistance"]
    values = [math.inf if line["answer"] == "open" else line["answer"] for line in there]
    assert read.resistance_ohm.tolist() == values
    assert read.voltage_v.isna().all()


def test_a_joint_that_moved_is_marked_over_its_runs(fixtures: Path) -> None:
    loom, store = lp.load(fixtures / "tail_lamp"), lp.Store()
    for faults in ([], ["high 4.7 W3"]):
        with lp.simulate(loom, *faults, seed=2) as bench:
            store.seal(lp.Job(loom, bench).prove().run())
    table = lp.frames.history(store, loom)
    assert set(table[table.moved].subject) == {"BODY:3 to LAMP:3"}
    assert len(table[table.moved]) == 2
