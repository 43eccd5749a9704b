"""The page of a retest when the server that made it is gone: worked out again from record and readings."""

from __future__ import annotations

import asyncio
import html
import json
import shutil
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from loomproof.jobs.archive import Archive
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.jobs.retest import Retested, replayed, retests_in
from loomproof.loom.reading import load
from loomproof.results.document import Document
from loomproof.web.answers import House
from tests.web.asking import LOOMS, client, house, join

BROKEN, HALF_MENDED = "sim:?fault=open%20W2&fault=open%20W3", "sim:?fault=open%20W3"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("retested")
    (made / "out").mkdir()
    shutil.copytree(LOOMS / "tail_lamp", made / "looms" / "tail_lamp")
    return made


@pytest.fixture(autouse=True)
def home(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("LOOMPROOF_HOME", str(folder / "home"))


def served(folder: Path) -> House:
    """A server that has just been started in this folder."""
    made = house(folder / "out", folder / "looms")
    return replace(made, workplace=replace(made.workplace, benches=(HALF_MENDED,)))


@pytest.fixture(scope="module")
def before(folder: Path) -> Document:
    path = folder / "looms" / "tail_lamp"
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("LOOMPROOF_HOME", str(folder / "home"))
        where = Keeping(folder / "out", str(folder / "out" / "records.db"))
        return Job(load(path).loom, BROKEN, loom_path=path, where=where).prove_and_keep().run().document


def asked(of: House, path: str, **form: str) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(of) as asks:
            return await (asks.post(path, data=form) if form else asks.get(path))

    return asyncio.run(ask())


def test_a_retest_is_shown_by_the_next_server_as_by_the_one_that_made_it(
    folder: Path, before: Document
) -> None:
    first, way = served(folder), f"/runs/{before.run}/retested"
    nothing = asked(first, way)
    assert nothing.status_code == 400
    assert "was not retested" in nothing.text
    asked(first, f"/runs/{before.run}/retest", bench=HALF_MENDED)
    assert join(first.session)["ending"]["page"] == way
    shown, next_one = asked(first, way), served(folder)
    assert way in asked(next_one, f"/runs/{before.run}").text
    again = asked(next_one, way)
    assert (shown.status_code, again.status_code) == (200, 200)
    assert "is gone" in again.text
    assert "is still there" in again.text
    assert again.text == shown.text


def test_where_the_readings_can_not_be_worked_out_it_is_said_where_they_are(
    folder: Path, before: Document
) -> None:
    (journal,) = retests_in(folder / "out", before.run)
    whole = journal.read_bytes()
    head, _, rest = whole.partition(b"\n")
    told = json.loads(head)
    del told["run"]["adapter_table"]
    try:
        for damaged in (
            b"\n".join(whole.split(b"\n")[:-3]) + b"\n",
            json.dumps(told).encode() + b"\n" + rest,
        ):
            journal.write_bytes(damaged)
            refused = asked(served(folder), f"/runs/{before.run}/retested")
            assert refused.status_code == 400
            assert f"Its readings are in {journal}" in html.unescape(refused.text)
    finally:
        journal.write_bytes(whole)
    assert list(retests_in(folder / "out", "another run")) == []


def test_a_retest_is_worked_out_again_to_the_same_from_its_journal(folder: Path, before: Document) -> None:
    path = folder / "looms" / "tail_lamp"
    loom = load(path).loom
    out = folder / "again"
    job = Job(loom, HALF_MENDED, loom_path=path, where=Keeping(out, str(folder / "out" / "records.db")))
    made: Retested = job.retest_after(before, numbers=[1], locate=True).run()
    (journal,) = retests_in(out, before.run)
    assert replayed(journal, loom) == made
    assert Archive(str(folder / "out" / "records.db")).shelf().broken_off == ()
