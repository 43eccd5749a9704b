from __future__ import annotations

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest

from loomproof.records.keys import Signer, new_signer
from loomproof.records.store import Store, open_store
from tests.records import postgres

NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)


@pytest.fixture(scope="session")
def signer() -> Signer:
    return new_signer(NOW, "0badcafe")


@pytest.fixture(scope="session")
def server() -> Iterator[postgres.Server]:
    if postgres.programs() is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    # A crash of the machine is not tested here, so the server need not wait for the disk; but it is killed.
    with postgres.running("-c fsync=off") as running:
        yield running


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """An empty store's address, on either database: every test of the store runs on both."""
    if request.param == "sqlite":
        return str(tmp_path / "records.db")
    running = request.getfixturevalue("server")
    assert isinstance(running, postgres.Server)
    return running.database()


@pytest.fixture
def store(url: str) -> Iterator[Store]:
    with open_store(url) as opened:
        yield opened


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave this folder's campaigns (minutes each) out unless ``-m campaign`` asks for them."""
    if "campaign" in config.option.markexpr:
        return
    here = Path(__file__).parent
    left = [item for item in items if item.get_closest_marker("campaign") and here in item.path.parents]
    if left:
        config.hook.pytest_deselected(items=left)
        items[:] = [item for item in items if item not in left]
