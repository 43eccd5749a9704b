"""The published JSON Schema of the results document, kept beside it as ``document.schema.json``."""

from __future__ import annotations

import json
from pathlib import Path

from loomproof.results.document import SCHEMA_NUMBER, Document

SCHEMA_FILE = Path(__file__).with_name("document.schema.json")


def schema_text() -> str:
    """Return the schema as it stands in the file (JSON Schema 2020-12)."""
    schema = Document.model_json_schema(by_alias=True, mode="serialization")
    head = {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"loomproof results document, schema {SCHEMA_NUMBER}",
    }
    return json.dumps({**schema, **head}, indent=2, sort_keys=True) + "\n"


if __name__ == "__main__":
    SCHEMA_FILE.write_text(schema_text(), encoding="utf-8")
