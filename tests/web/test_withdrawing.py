"""On the page of a run a note that does not hold is withdrawn: both stand there, marked."""

from __future__ import annotations

import asyncio
import datetime
import html
import re
import sqlite3
from pathlib import Path

import pytest

from loomproof.records.data_folder import home
from loomproof.records.keys import new_signer
from loomproof.records.noting import note
from loomproof.records.store import open_store
from loomproof.results.document import Verdict
from tests.reports.sample import document
from tests.web.asking import client, house

NOW = datetime.datetime(2026, 1, 6, 9, 0, tzinfo=datetime.UTC)
WITHDRAW = "Withdraw all that was noted of it"


def test_a_note_is_withdrawn_on_the_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    of = house(tmp_path)
    with open_store(of.workplace.store) as store:
        store.seal_run(document(run="r1", verdict=Verdict.FAIL, findings=1), new_signer(NOW, "0badcafe"))

    unreasoned: list[str] = []

    async def asked() -> list[str]:
        pages = []
        async with client(of) as asks:
            for said in (
                {},
                {"words": "new wire"},
                {"words": "", "withdraw": "yes"},
                {"words": "it was the other loom", "withdraw": "yes"},
            ):
                if said:
                    form = {"finding": "1", "person": "Mia", **said}
                    answer = await asks.post("/runs/r1/mended", data=form)
                    assert answer.status_code in (303, 409)
                    unreasoned.extend(re.findall("who .* is not said", answer.text))
                pages.append(html.unescape((await asks.get("/runs/r1")).text))
        return pages

    bare, noted, refused, withdrawn = asyncio.run(asked())
    assert unreasoned == ["who withdraws it and why it does not hold is not said"]
    assert WITHDRAW not in bare, "there is nothing to withdraw"
    assert "Mended: new wire (Mia, " in noted
    assert WITHDRAW in noted
    assert "Mended: new wire (Mia, " in refused, "without a reason nothing is withdrawn"
    assert "Withdrawn: new wire (Mia, " in withdrawn
    assert '<p class="note">withdrawn, all that was noted of it before: it was the other loom' in withdrawn
    assert WITHDRAW not in withdrawn


def test_a_page_with_a_note_that_came_by_other_means_says_so(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    of = house(tmp_path)
    with open_store(of.workplace.store) as store:
        signer = new_signer(NOW, "0badcafe")
        store.seal_run(document(run="r1", verdict=Verdict.FAIL, findings=1), signer)
        note(home(), signer, store)

    async def page() -> str:
        async with client(of) as asks:
            return html.unescape((await asks.get("/runs/r1")).text)

    assert asyncio.run(page()).count("added by no command") == 0
    with sqlite3.connect(of.workplace.store or "") as by_hand:
        by_hand.execute(
            "INSERT INTO repairs (run_id, finding, person, done, words) "
            "VALUES (1, 1, 'B', '2026-01-06T10:00:00+00:00', 'soldered')"
        )
    shown = asyncio.run(page())
    assert "Mended: soldered (B, " in shown
    assert '<p class="wrong">repairs: added by no command of this account (row 1): by ' in shown
