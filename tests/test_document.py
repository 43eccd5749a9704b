"""The results document is held to its published JSON Schema, by an independent validator."""

from __future__ import annotations

import json

import jsonschema
import pytest

from loomproof.results.document import Document
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
