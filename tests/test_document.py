"""The results document is held to its published JSON Schema, by an independent validator."""

from __future__ import annotations

import json

import jsonschema
import pytest

from loomproof.jobs.files import json_of
from loomproof.loom.model import End
from loomproof.results.document import ClaimEntry, Document
from loomproof.results.measured import Decision, Judged
from loomproof.results.schema import SCHEMA_FILE, schema_text
from tests.reports.sample import document


def test_the_published_schema_is_that_of_the_models() -> None:
    told = "run: python -m loomproof.results.schema, and raise SCHEMA_NUMBER if a reader could trip over it"
    assert SCHEMA_FILE.read_text(encoding="utf-8") == schema_text(), told


def test_documents_hold_to_the_schema() -> None:
    schema = json.loads(SCHEMA_FILE.read_text(encoding="utf-8"))
    plain = document().plain()
    jsonschema.Draft202012Validator(schema).validate(plain)
    for flaw in ({"verdict": "good"}, {"extra": 1}, {"findings": [{"kind": "bad"}]}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema).validate({**plain, **flaw})


def test_documents_read_back() -> None:
    first = document()
    assert Document.model_validate(json.loads(json.dumps(first.plain()))) == first


def test_the_results_file_is_written_as_the_standard_writer_would() -> None:
    """By Python's own json: the same text, in the same order, indented by two."""
    first = document(person='Zoë "Z" \\ Ørsted\t\x01')
    assert json_of(first) == (json.dumps(first.plain(), indent=2, ensure_ascii=False) + "\n").encode()


@pytest.mark.parametrize(
    ("measured_ohm", "beyond"),
    [(0.05, False), (0.11, True), (-0.009, False), (-0.1, False), (-0.13, True)],
)
def test_a_reading_under_nothing_by_less_than_its_uncertainty_is_within_its_limits(
    measured_ohm: float, beyond: bool
) -> None:
    """A meter of ±0.12 Ω may read a sound joint of 10 mΩ as -9 mΩ; only beyond U it contradicts itself."""
    claim = ClaimEntry(
        kind="resistance",
        subject="A:1 to B:1",
        statement="",
        decision=Decision.UNDECIDED,
        rule="",
        measured_ohm=measured_ohm,
        uncertainty_ohm=0.12,
        limit_ohm=0.1,
        lower_limit_ohm=0.0,
    )
    judged = Judged(End("A", "1"), End("B", "1"), measured_ohm, 0.12, 0.01, 0.1, Decision.UNDECIDED)
    assert (claim.beyond, judged.beyond) == (beyond, beyond)
