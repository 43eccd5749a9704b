"""Taking answers, and what a repair changed."""

from __future__ import annotations

import pytest

from loomproof.diagnosis import Observation, changes, narrow, read_observation, weight_table
from loomproof.diagnosis.causes import CAUSES
from loomproof.errors import UsageError
from loomproof.results.document import Document
from loomproof.results.findings import Kind
from tests.diagnosis.test_wiring_faults import found


def test_looking_into_one_plug_settles_which_end_is_crossed() -> None:
    before = found("A:2 B:3", "A:3 B:2")
    (finding,) = before
    assert {other.cause for other in finding.alternatives} >= {"crossed"}
    (after,) = narrow(before, Observation(finding.cavities[0].connector, sound=True))
    assert {end.connector for end in after.cavities} != {end.connector for end in finding.cavities}
    assert after.kind is Kind.MISWIRE
    assert after.repair
    assert "was seen to be sound" in after.evidence[-1].text


def test_a_bad_thing_clears_the_rest() -> None:
    before = found("A:2 B:3", "A:3 B:2")
    (after,) = narrow(before, Observation("B", sound=False))
    assert {end.connector for end in after.cavities} == {"B"}
    assert not [other for other in after.alternatives if other.cause == "crossed"]


def test_what_contradicts_everything_clears_nothing() -> None:
    before = found("A:1 B:1", "C:1")
    assert narrow(before, Observation("C", sound=True)) == before


def test_a_sound_wire_leaves_the_adapters_lead() -> None:
    (after,) = narrow(found("A:1 B:1", "C:1"), Observation("W3", sound=True))
    assert after.cause == "adapter_lead"


def test_a_thing_that_no_finding_names_is_refused() -> None:
    with pytest.raises(UsageError, match="W99"):
        narrow(found("A:1 B:1", "C:1"), Observation("W99", sound=True))


def test_observations_are_read() -> None:
    assert read_observation("W12 sound") == Observation("W12", sound=True)
    assert read_observation('"rear lamp":1 bad') == Observation('"rear lamp":1', sound=False)
    with pytest.raises(UsageError, match="says nothing"):
        read_observation("W12 perhaps")


def test_every_weight_has_a_reason_and_every_cause_a_kind() -> None:
    assert all(row.reason and row.cost >= 0 for row in weight_table())
    assert {cause.kind for cause in CAUSES.values()} == set(Kind)


def test_a_repair_shows_as_gone_and_as_a_moved_reading() -> None:
    def document(ohm: float, findings: list[dict[str, object]]) -> Document:
        return Document.model_validate(
            {
                "schema": 1,
                "verdict": "fail" if findings else "pass",
                "run": "r",
                "started": "",
                "ended": "",
                "loom": {"name": "x"},
                "bench": {"address": "sim:"},
                "adapter": {"name": "in-order"},
                "coverage": {},
                "counts": {},
                "findings": findings,
                "claims": [
                    {
                        "kind": "resistance",
                        "subject": "A:1 to B:1",
                        "statement": "",
                        "decision": "pass",
                        "rule": "",
                        "measured_ohm": ohm,
                        "uncertainty_ohm": 0.1,
                    }
                ],
            }
        )

    open_wire: dict[str, object] = {"kind": "open", "severity": "fault", "title": "W1 open", "wires": ["W1"]}
    result = changes(document(4.7, [open_wire]), document(0.05, []))
    assert [entry.title for entry in result.gone] == ["W1 open"]
    assert not result.new
    assert not result.standing
    assert [moved.subject for moved in result.moved] == ["A:1 to B:1"]
    assert not changes(document(0.05, []), document(0.1, [])).moved
