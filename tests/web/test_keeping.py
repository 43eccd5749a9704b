"""The shelf without a browser: what is found by how many queries, what is said of a file handed over."""

from __future__ import annotations

import asyncio
import datetime
import html
import io
import json
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from rich.console import Console
from sqlalchemy import Engine, event

from loomproof.jobs import loom_shelf
from loomproof.jobs.archive import Archive
from loomproof.jobs.loom_shelf import LoomShelf
from loomproof.jobs.signing import Station
from loomproof.records import trusted
from loomproof.records.keys import Signer, new_signer
from loomproof.records.schema import RUNS
from loomproof.records.store import open_store
from loomproof.reports.terminal import summary_view
from loomproof.results.document import Verdict
from loomproof.results.grade import Grade
from loomproof.results.measured import Decision
from loomproof.web import keeping
from loomproof.web.answers import Asked, Data, House
from loomproof.web.guard import FILES
from tests.reports.sample import document
from tests.web.asking import client, house

PASS, FAIL = Verdict.PASS, Verdict.FAIL
NOW = datetime.datetime(2026, 1, 5, 10, 15, tzinfo=datetime.UTC)


@pytest.fixture(scope="module")
def signer() -> Signer:
    return new_signer(NOW, "0badcafe")


@pytest.fixture
def of(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    return house(tmp_path)


def seal(
    of: House, signer: Signer, name: str, run: str, verdict: Verdict = Verdict.PASS, day: int = 5
) -> None:
    with open_store(of.workplace.store) as store:
        started = f"2026-01-{day:02d}T10:15:00+00:00"
        made = document(run=run, name=name, serial=f"S-{name}", wires=2, verdict=verdict, person="I. Torvald")
        store.seal_run(made.model_copy(update={"started": started}), signer)


def asked(of: House, path: str, **more: object) -> httpx.Response:
    async def ask() -> httpx.Response:
        async with client(of) as asks:
            if "files" in more:
                return await asks.post(path, files=more["files"])  # type: ignore[arg-type]
            return await asks.get(path, params=more)  # type: ignore[arg-type]

    return asyncio.run(ask())


@pytest.fixture
def queries() -> Iterator[list[str]]:
    said: list[str] = []

    def note(*arguments: object) -> None:
        said.append(str(arguments[2]))

    event.listen(Engine, "before_cursor_execute", note)
    yield said
    event.remove(Engine, "before_cursor_execute", note)


def test_a_search_asks_as_many_queries_of_many_looms_as_of_few(
    of: House, signer: Signer, queries: list[str]
) -> None:
    asked_of = []
    for looms in (2, 12):
        for number in range(looms):
            seal(of, signer, f"loom {number}", f"r{looms}-{number}")
        for words in ("loom", "LOOM"):  # what came to the store is read once
            queries.clear()
            found, total = keeping.found_looms(of, words, check=False)
            assert (len(found), total) == (looms, looms)
            asked_of.append(sum(f"FROM {RUNS.name}" in " ".join(text.split()) for text in queries))
    assert asked_of[:2] == asked_of[2:]
    assert asked_of[1] < asked_of[0] <= 5


def test_a_seal_is_checked_once_and_again_when_something_changed(
    of: House, signer: Signer, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in range(3):
        seal(of, signer, f"loom {number}", f"r{number}")
    checked: list[str] = []
    real = trusted.trusted_run

    def counted(run, record, known):  # type: ignore[no-untyped-def]
        checked.append(run.run)
        return real(run, record, known)

    monkeypatch.setattr(loom_shelf, "trusted_run", counted)
    shelf = LoomShelf(of.workplace.store)
    lines, _ = shelf.found(check=False)
    assert all(line.texts is None for line in lines)
    assert checked == []
    lines, _ = shelf.found(check=True)
    assert [line.texts is not None for line in lines] == [True] * 3
    assert len(checked) == 3
    assert shelf.found(check=False)[0] == lines
    seal(of, signer, "loom 1", "r9", FAIL)
    again, _ = shelf.found(check=True)
    assert checked[3:] == ["r9"]
    assert again[0].name == "loom 1"
    assert again[0].records == 2
    assert again[0].texts is not None
    assert again[0].texts[2].text.startswith("FAIL")


@pytest.mark.parametrize(
    ("words", "names"),
    [
        ("", ["c", "b", "Ärmel"]),
        ("ärm", ["Ärmel"]),
        ("S-b", ["b"]),
        ("fail", ["b"]),
        ("TORVALD 2026-01", ["c", "b", "Ärmel"]),
        ("fail c", []),
    ],
)
def test_words_find_looms(of: House, signer: Signer, words: str, names: list[str]) -> None:
    for day, (name, verdict) in enumerate([("Ärmel", Verdict.PASS), ("b", FAIL), ("c", Verdict.PASS)], 5):
        seal(of, signer, name, f"run-{name}", verdict, day)
    answer = keeping.found(of, Asked(query={"words": words, "check": "yes"}))
    assert isinstance(answer, Data)
    assert isinstance(answer.value, dict)
    assert [row["loom"].partition(",")[0] for row in answer.value["looms"]] == names


def test_what_is_listed_is_what_the_record_says_and_not_the_table(of: House, signer: Signer) -> None:
    seal(of, signer, "lamp", "r1", FAIL)
    with open_store(of.workplace.store) as store, store.writing() as connection:
        connection.exec_driver_sql("DROP TRIGGER IF EXISTS runs_no_update")
        for (name,) in connection.exec_driver_sql(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'runs'"
        ).all():
            connection.exec_driver_sql(f'DROP TRIGGER "{name}"')
        connection.exec_driver_sql("UPDATE runs SET verdict = 'pass'")
    (row,) = keeping.found_looms(of, "lamp", check=True)[0]
    assert row["verdict"] == "CHANGED"
    assert row["style"] == "red"


def test_a_file_that_is_handed_over_is_checked_and_kept_nowhere(of: House, signer: Signer) -> None:
    seal(of, signer, "lamp", "r1", FAIL)
    record = Archive(of.workplace.store).sealed("r1")
    before = sorted(path for path in Path(of.workplace.out).rglob("*"))
    good = asked(of, "/verify", files={"file": ("../../etc/lamp.json", record)})
    assert good.status_code == 200
    assert "lamp.json: intact" in good.text
    assert "etc" not in good.text
    assert "FAIL" in good.text
    bad = asked(of, "/verify", files={"file": ("<b>x.json", record.replace(b"I. Torvald", b"I. Torvalt"))})
    assert "DOES NOT HOLD" in bad.text
    assert "&lt;b&gt;x.json" in bad.text
    assert "<b>x" not in bad.text
    assert sorted(path for path in Path(of.workplace.out).rglob("*")) == before
    assert asked(of, "/verify", files=[]).status_code in (400, 409)


def test_a_clock_that_went_back_is_told_on_the_page_of_the_run(of: House, signer: Signer) -> None:
    seal(of, signer, "lamp", "second", day=5)
    seal(of, signer, "horn", "back", day=4)
    went_back = "The clock went back before this proof: the record before it ended"
    assert went_back in asked(of, "/runs/back").text
    assert went_back not in asked(of, "/runs/second").text


def test_no_more_is_taken_than_a_certificate_can_be(of: House) -> None:
    big = io.BytesIO(b"0" * (FILES["/verify"] + 1))
    assert asked(of, "/verify", files={"file": ("x.pdf", big)}).status_code == 413


def test_a_label_and_a_picture_over_time_are_given(of: House) -> None:
    signer = Station().signer()  # what a stranger sealed counts in no trend
    seal(of, signer, "lamp", "r1", day=5)
    seal(of, signer, "lamp", "r2", day=6)
    label = asked(of, "/runs/r2/label")
    assert (label.headers["content-type"], label.content[:5]) == ("application/pdf", b"%PDF-")
    page = asked(of, "/kept/loom", name="lamp", serial="S-lamp")
    assert page.status_code == 200
    assert "r1" in page.text
    assert "The last two beside each other" in page.text
    picture = asked(of, "/kept/trend", name="lamp", serial="S-lamp")
    assert picture.status_code == 200, picture.text
    assert (picture.headers["content-type"], picture.content[:4]) == ("image/png", b"\x89PNG")
    assert asked(of, "/kept/loom", name="lamp", serial="other").status_code == 400
    assert json.loads(asked(of, "/kept", words="lamp").text)["said"] == "1 loom"


@pytest.mark.parametrize("verdict", [PASS, FAIL])
def test_the_page_of_a_run_says_what_the_terminal_says(of: House, signer: Signer, verdict: Verdict) -> None:
    made = document(run="r1", verdict=verdict, wires=2)
    claims = [
        each.model_copy(update={"decision": Decision.UNDECIDED}) if "W2" in each.wires else each
        for each in made.claims
        if each.kind == "resistance"
    ]
    left_out = ("Crimps: nobody pulled at one.", "It does not show broken strands <of a wire>.")
    made = made.model_copy(
        update={"claims": tuple(claims), "not_tested": left_out, "grade": Grade.BENCH, "risk": 0.004}
    )
    with open_store(of.workplace.store) as store:
        store.seal_run(made, signer)
    page = html.unescape(asked(of, "/runs/r1").text)
    assert all(f"<li>{text}</li>" in page for text in left_out)
    console = Console(width=2000, record=True, file=io.StringIO())
    console.print(summary_view(made))
    (bench,) = (
        line.partition("bench")[2].strip()
        for line in console.export_text().splitlines()
        if line.startswith("bench")
    )
    assert bench in page
    assert ("1 more claim could not be decided by this bench." in page) == (verdict is FAIL)
    assert ("of this loom is beyond what the grade says: at most" in page) == (
        verdict is PASS and made.risk is not None
    )
