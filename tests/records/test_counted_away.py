"""What is counted or listed while a store's server is away: what is at hand, or an error with a cure.

Nothing listens on port 1 of this machine, so no server is needed.
"""

from __future__ import annotations

from pathlib import Path

import pytest

import loomproof as lp
from loomproof.cli.main import run
from loomproof.errors import StoreAwayError
from loomproof.fleet.layout import Persons
from loomproof.jobs.fleet import make_dataset, of_the_store
from loomproof.records.keys import Signer
from loomproof.records.outbox import open_outbox, server_of
from tests.reports.sample import document

pytest.importorskip("psycopg")

ADDRESS = "postgresql://nobody@127.0.0.1:1/looms"


def test_what_is_at_hand_is_said_while_the_server_is_away(
    tmp_path: Path, signer: Signer, capsys: pytest.CaptureFixture[str]
) -> None:
    store = lp.Store(ADDRESS)
    with pytest.raises(StoreAwayError, match="does not answer"):
        store.runs()  # and this bench has no outbox for it
    with open_outbox(server_of(ADDRESS)) as own:
        own.seal(document(run="waits"), signer, server=None)
        where = own.store.where
    assert [one.run.run for one in store.runs()] == ["waits"]
    assert "1 proof waits in this bench's outbox" in store.told[0]
    at_hand = "At hand is this bench's outbox.*1 proof of it waits to be handed over"
    with pytest.raises(StoreAwayError, match=at_hand) as caught:
        of_the_store(ADDRESS)
    assert "name the outbox as the store" in caught.value.cure
    with pytest.raises(StoreAwayError, match=at_hand):
        make_dataset(ADDRESS, tmp_path / "set", Persons.LEFT_OUT)
    assert not (tmp_path / "set").exists()
    assert run(["report", "--tables", "--store", ADDRESS]) == 3
    assert "At hand is this bench's outbox" in capsys.readouterr().err
    assert run(["report", "--tables", "--store", where]) == 0, "the cure"
    assert "1 loom, 1 proof" in capsys.readouterr().out
