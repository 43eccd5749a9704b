"""A results file, read; what else a file is is said."""

from __future__ import annotations

import json
from pathlib import Path

from pydantic import ValidationError

from loomproof.errors import Todo, UsageError
from loomproof.results.codec import fault_of
from loomproof.results.document import Document

NO_RESULTS = (".pdf", ".jsonl", ".csv", ".xlsx", ".toml")
"""Endings of files that are there and are no results; with none of them a name is a run's."""


def results_in(path: Path) -> Document:
    """Return what a results file holds. Raises `UsageError` that says what the file is instead."""
    try:
        read = json.loads(path.read_bytes())
        return Document.model_validate(read)
    except OSError as error:
        why = error.strerror or "it is not there"
    except ValidationError as error:
        sealed = isinstance(read, dict) and {"body", "seal"} <= set(read)
        why = "it is a sealed record" if sealed else fault_of(error)
    except (ValueError, RecursionError):
        why = "it is no JSON"
    raise UsageError(
        f"{path} holds no results: {why}",
        cure="Give the file that ends with .results.json, or the name of a run.",
        do=Todo.RUNS,
    )
