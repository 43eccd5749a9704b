"""The fitting sheet on a page: what is ticked at the bench or by a phone is dated and kept with the loom."""

from __future__ import annotations

import asyncio
import dataclasses
import json
import shutil
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from loomproof.jobs.archive import Archive
from loomproof.jobs.fitting import MOST_LETTERS, kept_beside, worked
from loomproof.reports.fitting_steps import Step
from loomproof.web.answers import House
from loomproof.web.doors import Seat
from tests.web.asking import LOOMS, client, house

AT = datetime(2026, 5, 4, 9, 30, 15, tzinfo=UTC)


@pytest.fixture
def of(tmp_path: Path) -> House:
    shutil.copytree(LOOMS / "tail_lamp", tmp_path / "looms" / "tail_lamp")
    return dataclasses.replace(house(tmp_path, tmp_path / "looms", lan=True), now=lambda: AT)


def asked(
    of: House,
    path: str = "",
    *,
    seat: Seat = Seat.DRIVES,
    json: object = None,
    form: Mapping[str, str] | None = None,
) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(of, seat, phone=seat is Seat.FITS) as asks:
            if json is None and form is None:
                return await asks.get(f"/fit/tail_lamp{path}")
            return await asks.post(f"/fit/tail_lamp{path}", json=json, data=form)

    return asyncio.run(ask())


def loom_path(of: House) -> Path:
    return of.workplace.loom("tail_lamp")


def steps(of: House) -> tuple[Step, ...]:
    return tuple(step for step in worked(loom_path(of), Archive(of.workplace.store)).steps if step.to_do)


def test_the_page_shows_each_step_of_the_sheet_dangers_first(of: House) -> None:
    page = asked(of).text
    places = [page.index(f'data-step="{step.key}"') for step in steps(of)]
    assert places == sorted(places)
    assert "NOT PROVED: do not energise this loom." in page


def test_a_tick_is_dated_kept_with_the_loom_and_found_by_the_next_server(of: House) -> None:
    step = steps(of)[0]
    told = asked(of, "/ticks", json={"step": step.key, "done": "yes", "person": "I. Torvald"}).json()
    assert told["ticked"] == {step.key: "ticked 2026-05-04 09:30 UTC, I. Torvald"}
    kept = [json.loads(line) for line in kept_beside(loom_path(of)).read_text().splitlines()]
    assert kept == [
        {
            "step": step.key,
            "done": True,
            "at": "2026-05-04T09:30:15.000Z",
            "words": step.title,
            "person": "I. Torvald",
            "serial": worked(loom_path(of), Archive(of.workplace.store)).loom.serial,
        }
    ]
    another = house(of.workplace.out, of.workplace.looms)
    assert asked(another, "/ticks").json() == told
    assert "ticked 2026-05-04 09:30 UTC, I. Torvald" in asked(another).text


def test_a_tick_counts_before_power_and_is_taken_back(of: House) -> None:
    step = steps(of)[0]
    open_first = asked(of, "/ticks").json()["open"]
    for done, open_now in (("yes", 1), ("yes", 1), ("no", 0), ("no", 0)):
        told = asked(of, "/ticks", json={"step": step.key, "done": done}).json()
        assert told["open"] == open_first - open_now
    # Pressed twice it is kept once; what was taken back stays readable.
    assert len(kept_beside(loom_path(of)).read_text().splitlines()) == 2


def test_without_a_script_a_form_ticks(of: House) -> None:
    step = steps(of)[0]
    page = asked(of).text
    assert f'<button form="ticks" name="yes" value="{step.key}"' in page
    assert '<form id="ticks" method="post" action="/fit/tail_lamp/ticks"><button disabled hidden>' in page
    found = asked(of, "/ticks", form={"yes": step.key, "person": "I. Torvald"})
    assert (found.status_code, found.headers["location"]) == (303, f"/fit/tail_lamp#{step.key}")
    assert asked(of, "/ticks").json()["ticked"][step.key] == "ticked 2026-05-04 09:30 UTC, I. Torvald"
    assert f'<button form="ticks" name="no" value="{step.key}"' in asked(of).text
    asked(of, "/ticks", form={"no": step.key, "person": "I. Torvald"})
    assert step.key not in asked(of, "/ticks").json()["ticked"]


def test_a_phone_ticks_and_changes_no_answers_and_who_watches_neither(of: House) -> None:
    said = {"step": steps(of)[0].key, "done": "yes"}
    assert asked(of, "/ticks", seat=Seat.FITS, json=said).status_code == 200
    assert asked(of, "/choices", seat=Seat.FITS, form={"x": "y"}).status_code == 403
    assert asked(of, "/ticks", seat=Seat.WATCHES, json=said).status_code == 403
    assert "<button form=" in asked(of, seat=Seat.FITS).text
    assert "<button form=" not in asked(of, seat=Seat.WATCHES).text


def test_a_tick_of_a_step_that_reads_otherwise_now_counts_no_more_and_is_named(of: House) -> None:
    step = next(step for step in steps(of) if step.part.startswith("Connect: "))
    asked(of, "/ticks", json={"step": step.key, "done": "yes"})
    for table in ("wires.csv", "cavities.csv", "connectors.csv"):
        path = loom_path(of) / table
        connector = step.title.partition(":")[0]
        text = path.read_text(encoding="utf-8").replace(connector, f"{connector}9")
        path.write_text(text, encoding="utf-8")
    path = loom_path(of) / "components.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(connector, f"{connector}9"), encoding="utf-8")
    told = asked(of, "/ticks").json()
    assert step.key not in told["steps"]
    assert told["ticked"] == {}
    page = asked(of).text
    assert "Ticks of steps that read otherwise now: 1." in page
    late = asked(of, "/ticks", json={"step": step.key, "done": "yes"})
    assert late.status_code == 409
    assert "no such step any more" in late.json()["message"]


def test_ticks_are_those_of_one_loom_by_its_serial(of: House) -> None:
    step = steps(of)[0]
    asked(of, "/ticks", json={"step": step.key, "done": "yes"})
    path = kept_beside(loom_path(of))
    line = json.loads(path.read_text())
    path.write_text(json.dumps({**line, "serial": "another"}) + "\n")
    assert asked(of, "/ticks").json()["ticked"] == {}


@pytest.mark.parametrize("done", ["", "maybe", None, True])
def test_what_is_no_tick_is_refused(done: object, of: House) -> None:
    assert asked(of, "/ticks", json={"step": steps(of)[0].key, "done": done}).status_code == 409
    assert not kept_beside(loom_path(of)).exists()


def test_a_name_is_kept_as_text_and_has_its_limit(of: House) -> None:
    key = steps(of)[0].key
    asked(of, "/ticks", json={"step": key, "done": "yes", "person": '<b>I\'m "it"</b>\n'})
    assert "&lt;b&gt;I&#39;m &#34;it&#34;&lt;/b&gt;" in asked(of).text
    long = asked(of, "/ticks", json={"step": key, "done": "no", "person": "x" * (MOST_LETTERS + 1)})
    assert long.status_code == 409


def test_a_file_that_holds_no_ticks_is_told_with_its_line(of: House) -> None:
    kept_beside(loom_path(of)).write_text("{}\n")
    found = asked(of)
    assert found.status_code == 400
    assert "line 1 is no tick" in found.text


def test_what_cannot_be_kept_is_not_called_ticked(of: House) -> None:
    key = steps(of)[0].key
    kept_beside(loom_path(of)).symlink_to(of.workplace.out / "no such folder" / "x")
    found = asked(of, "/ticks", json={"step": key, "done": "yes"})
    assert found.status_code == 409
    assert "Make room or rights there" in " ".join(found.json()["lines"])


def test_answers_make_another_sheet_and_are_kept(tmp_path: Path) -> None:
    shutil.copytree(LOOMS / "hillclimb_engine", tmp_path / "looms" / "tail_lamp")
    of = dataclasses.replace(house(tmp_path, tmp_path / "looms"), now=lambda: AT)
    assert asked(of, "/choices", form={"choice purge": "yes", "choice fan": "computer"}).status_code == 303
    kept = [json.loads(line) for line in kept_beside(loom_path(of)).read_text().splitlines()]
    assert [(line["choice"], line["answer"]) for line in kept] == [("purge", "yes")]  # fan was so before
    answers = dict(worked(loom_path(of), Archive(of.workplace.store)).sheet.answers)
    assert (answers["purge"], answers["fan"]) == ("yes", "computer")
    wrong = asked(of, "/choices", form={"choice purge": "perhaps"})
    assert wrong.status_code == 409
    assert "perhaps" in wrong.text


@pytest.mark.parametrize("takes", ["gzip, deflate", "identity"])
def test_a_page_is_packed_for_who_can_unpack_it(takes: str, of: House) -> None:
    async def ask() -> httpx.Response:
        async with client(of) as asks:
            return await asks.get("/fit/tail_lamp", headers={"accept-encoding": takes})

    found = asyncio.run(ask())
    assert found.headers.get("content-encoding", "identity") in takes
    assert int(found.headers["content-length"]) < len(found.content) or takes == "identity"
    assert "Cautions" in found.text


def test_the_sheet_is_printed(of: House) -> None:
    paper = asked(of, "/sheet.pdf")
    assert (paper.headers["content-type"], paper.content[:5]) == ("application/pdf", b"%PDF-")


def test_ticks_of_a_loom_that_is_a_file_stand_beside_it(tmp_path: Path) -> None:
    (tmp_path / "x.xlsx").touch()
    assert kept_beside(tmp_path / "x.xlsx") == tmp_path / "x.xlsx.fitted.jsonl"
    assert kept_beside(tmp_path) == tmp_path / "fitted.jsonl"
