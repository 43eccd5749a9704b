from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.records.keys import Signer, new_signer
from loomproof.records.store import Store, open_store

NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def signer() -> Signer:
    return new_signer(NOW, "0badcafe")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(None, tmp_path) as opened:
        yield opened
