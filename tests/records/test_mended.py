"""What a record calls mended: gone, and this proof could have seen it; each fault once, whatever it read."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import pytest
from pydantic import TypeAdapter

from loomproof.loom.ends import End
from loomproof.records.keys import Signer
from loomproof.records.seal import verify
from loomproof.records.store import Store
from loomproof.records.trusted import found_in, trusted_runs
from loomproof.reports import summary_tables
from loomproof.results.document import Coverage, Document, Verdict
from loomproof.results.findings import Finding, Kind, Severity, finding_key
from tests.reports.sample import document


def _fault(title: str, **fields: object) -> Finding:
    shape: dict[str, object] = {
        "kind": Kind.HIGH_RESISTANCE,
        "severity": Severity.FAULT,
        "cavities": ("ECU:1", "INJ1:1"),
        "wires": ("W1",),
    }
    made: Finding = TypeAdapter(Finding).validate_python(shape | fields | {"title": title})
    return made


def _proof(run: str, *faults: Finding, **fields: object) -> Document:
    verdict = Verdict.FAIL if faults else Verdict.PASS
    return document(run=run, verdict=verdict, findings=0).model_copy(update={"findings": faults, **fields})


def _mended(store: Store, signer: Signer, proof: Document) -> list[Mapping[str, object]]:
    told = verify(store.seal_run(proof, signer).record).extras.get("mended", [])
    assert isinstance(told, list)
    return told


def test_a_fault_that_reads_otherwise_the_next_time_still_stands(store: Store, signer: Signer) -> None:
    store.seal_run(_proof("a", _fault("High resistance in W1: 4.70 Ω")), signer)
    assert _mended(store, signer, _proof("b", _fault("High resistance in W1: 4.83 Ω"))) == []
    counted = summary_tables.counts(found_in(trusted_runs(store, {})))
    assert counted["faults by wire"] == [("W1", 1)]
    assert counted["faults by kind"] == [("high resistance", 1)]


def test_a_fault_that_became_worse_or_a_note_is_not_mended(store: Store, signer: Signer) -> None:
    store.seal_run(_proof("a", _fault("High resistance in W1")), signer)
    assert _mended(store, signer, _proof("b", _fault("W1 open", kind=Kind.OPEN))) == []
    note = _fault("High resistance in W1", severity=Severity.NOTE)
    assert _mended(store, signer, _proof("c", note)) == []


def test_a_fault_found_by_several_runs_is_mended_once_with_its_note(store: Store, signer: Signer) -> None:
    store.seal_run(_proof("a", _fault("High resistance in W1: 4.70 Ω")), signer)
    store.seal_run(_proof("b", _fault("High resistance in W1: 4.83 Ω")), signer)
    store.add_repair("b", "B. Mender", "new terminal", "2026-01-06T09:00:00+00:00", finding=1)
    done = {"person": "B. Mender", "done": "2026-01-06T09:00:00+00:00", "words": "new terminal"}
    assert _mended(store, signer, _proof("c")) == [
        {"run": "a", "finding": "High resistance in W1: 4.70 Ω", "repairs": [done]}
    ]


@pytest.mark.parametrize(
    ("fault", "blind"),
    [
        (_fault("W1 open", kind=Kind.OPEN), {"coverage": Coverage(waived=(End("INJ1", "1"),))}),
        (_fault("W1 open", kind=Kind.OPEN), {"coverage": Coverage(untested=(End("INJ1", "1"),))}),
        (_fault("High resistance in W1"), {"bench": {"accuracy_ohm": None}}),
        (_fault("W1 comes and goes", kind=Kind.INTERMITTENT), {"counts": {"watched_s": 0.0}}),
    ],
)
def test_what_a_proof_could_not_see_it_does_not_call_mended(
    fault: Finding, blind: Mapping[str, object], store: Store, signer: Signer
) -> None:
    store.seal_run(_proof("a", fault), signer)
    seeing = _proof("c")
    seeing = seeing.model_copy(update={"counts": seeing.counts.model_copy(update={"watched_s": 60.0})})
    update = {
        name: getattr(seeing, name).model_copy(update=value) if isinstance(value, dict) else value
        for name, value in blind.items()
    }
    assert _mended(store, signer, seeing.model_copy(update={**update, "verdict": Verdict.UNDECIDED})) == []
    assert [entry["run"] for entry in _mended(store, signer, seeing)] == ["a"]


def test_a_note_on_a_whole_run_waits_until_something_of_it_is_mended(store: Store, signer: Signer) -> None:
    store.seal_run(_proof("a", _fault("High resistance in W1")), signer)
    store.add_repair("a", "B. Mender", "plugs cleaned", "2026-01-06T09:00:00+00:00")
    assert _mended(store, signer, _proof("b", _fault("High resistance in W1"))) == []
    told = _mended(store, signer, _proof("c"))
    assert [entry["finding"] for entry in told] == ["High resistance in W1", "the whole run"]


def test_a_document_from_before_there_were_keys_has_the_same_ones() -> None:
    old = _fault("High resistance in W1: 4.70 Ω")
    assert old.key == ""
    assert old.identity == "high_resistance?wire=W1"
    assert old.identity == replace(old, key=old.identity, title="anything").identity


def test_no_two_places_make_one_key() -> None:
    names = ["W1", "W1&wire=W2", "W1 W2", "W1%20W2", "w1", "W1,W2", "ü:1"]
    keys = {finding_key("open", "", [name], [], []) for name in names}
    keys |= {finding_key("open", "", ["W1", "W2"], [], []), finding_key("open", "", [], ["W1"], [])}
    assert len(keys) == len(names) + 2
    assert finding_key("open", "", ["W2", "W1"], [], ["A:1"]) == finding_key("open", "", ["W1", "W2"], [], [])


def test_a_path_that_is_a_leak_today_and_a_part_tomorrow_is_one() -> None:
    leak = finding_key(Kind.LEAKAGE, "leak", [], [], ["A:1", "B:1"])
    part = finding_key(Kind.UNEXPECTED_COMPONENT, "added_part", [], [], ["B:1", "A:1"])
    assert leak == part == "path?cavity=A:1&cavity=B:1"
