"""A run that was broken off, on the pages: gone on with to its end, and told why where it can not be."""

from __future__ import annotations

import asyncio
import html
import shutil
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from loomproof.errors import BrokenOffError
from loomproof.jobs.archive import Archive
from loomproof.jobs.job import Job
from loomproof.jobs.keep import Keeping
from loomproof.loom.reading import load
from loomproof.records.unfinished_runs import note_started
from loomproof.web.answers import House
from loomproof.web.doors import Seat
from tests.web.asking import LOOMS, client, house, join

BENCH = "sim:?points=12"


@pytest.fixture
def of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    shutil.copytree(LOOMS / "tail_lamp", tmp_path / "looms" / "tail_lamp")
    made = house(tmp_path / "out", tmp_path / "looms")
    made.workplace.out.mkdir()
    return replace(made, workplace=replace(made.workplace, benches=(BENCH,)))


def asked(
    of: House, path: str, form: Mapping[str, str] | None = None, seat: Seat = Seat.DRIVES
) -> httpx.Response:
    """Ask for a page or send a form, and follow where it leads."""

    async def ask() -> httpx.Response:
        async with client(of, seat) as asks:
            asks.follow_redirects = True
            return await (asks.get(path) if form is None else asks.post(path, data=dict(form)))

    return asyncio.run(ask())


def broken_off(of: House, out: Path) -> str:
    """Break a run off after its first hook-up, as whoever kills it then does, and return its name."""
    path = of.workplace.loom("tail_lamp")
    where = Keeping(out, of.workplace.store)
    job = Job(load(path).loom, BENCH, loom_path=path, where=where, person="I. Torvald")
    with pytest.raises(BrokenOffError) as caught:
        job.hook_ups(stop_after=1).run()
    assert caught.value.do is not None
    return caught.value.do.on


def test_a_broken_off_run_is_gone_on_with_from_the_shelf_to_its_certificate(
    of: House, tmp_path: Path
) -> None:
    run = broken_off(of, of.workplace.out)
    broken_off(of, tmp_path / "elsewhere")  # a later one takes no other's place
    way = f"/runs/{run}/go-on"
    assert f'action="{way}"' in asked(of, "/runs").text
    assert way not in asked(of, "/runs", seat=Seat.WATCHES).text
    page = asked(of, way)
    text = html.unescape(page.text)
    assert page.status_code == 200
    assert f"Go on with {run}" in text
    assert "by I. Torvald: 2 hook-ups on 12 points" in text
    assert 'name="waived"' not in text  # it was asked for already
    form = {"stopped run": run, "bench": BENCH, "meter volts": "much"}
    refused = asked(of, "/looms/tail_lamp/prove", form)
    assert refused.status_code == 409
    assert "no number" in refused.text
    assert "Go on with this run" in refused.text
    begun = asked(of, "/looms/tail_lamp/prove", {**form, "meter volts": ""})
    assert begun.url.path == "/prove"
    told = join(of.session)
    assert told["ending"]["verdict"] == "pass"
    assert any("Hook-up 1 of 2 is finished." in str(each) for each in told["told"])
    sealed = Archive(of.workplace.store).document(run)
    assert (sealed.verdict.value, sealed.person) == ("pass", "I. Torvald")
    assert way not in asked(of, "/runs").text
    assert asked(of, way).status_code == 400


def test_what_can_not_be_gone_on_with_is_said_with_why(of: House, tmp_path: Path) -> None:
    digest = load(of.workplace.loom("tail_lamp")).loom.digest
    whole, moment = "20260105-101500-aa", "2026-01-05T10:15:00Z"
    journal = of.workplace.out / f"{whole}.journal.jsonl"
    note_started(whole, "tail lamp", moment, journal, digest=digest, store=of.workplace.store)
    elsewhere = broken_off(of, tmp_path / "elsewhere")
    page = html.unescape(asked(of, "/runs").text)
    assert "A page goes on with a proof by hook-ups alone" in page
    assert f"It is gone on with where its files are, in {tmp_path / 'elsewhere'}" in page
    for run in (whole, elsewhere, "none"):
        assert f"/runs/{run}/go-on" not in page
        assert asked(of, f"/runs/{run}/go-on").status_code == 400


def test_a_run_whose_description_changed_is_not_gone_on_with(of: House) -> None:
    run = broken_off(of, of.workplace.out)
    wires = of.workplace.loom("tail_lamp") / "wires.csv"
    wires.write_text(wires.read_text(encoding="utf-8").replace("BK/RD", "BK/GN"), encoding="utf-8")
    refused = asked(of, f"/runs/{run}/go-on")
    assert refused.status_code == 400
    assert "or was changed since" in refused.text
    direct = asked(of, f"/looms/tail_lamp?stopped run={run}")
    assert direct.status_code == 409
    assert "the description has changed since" in direct.text
    assert "Go on with this run" not in direct.text
