"""An unknown loom on the pages: asked for, cleared, traced, stopped and gone on with, merged with a diagram.

The loom is on a simulator at the end of a line, as a stranger's loom is on a scanner.
"""

from __future__ import annotations

import asyncio
import html
import shutil
import threading
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx
import pytest

from loomproof.bench.questions import Question
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import Identity, Opening
from loomproof.bench.simulation import Simulation
from loomproof.web.answers import House
from loomproof.web.doors import Seat
from loomproof.web.session import Session
from tests.simulating import started
from tests.web.asking import LOOMS, client, house, join
from tests.web.tracing import cavities, joined, rows, table

TAIL = LOOMS / "tail_lamp"
LEADS = table(cavities(TAIL))


@pytest.fixture(scope="module")
def simulation() -> Iterator[Simulation]:
    running = started(TAIL, tcp=True)
    yield running
    running.end()


@pytest.fixture(scope="module")
def small() -> Iterator[Simulation]:
    """A scanner with fewer points than its loom has cavities."""
    running = started(TAIL, ["--points", "12"], tcp=True)
    yield running
    running.end()


@pytest.fixture
def of(tmp_path: Path, simulation: Simulation, small: Simulation, monkeypatch: pytest.MonkeyPatch) -> House:
    monkeypatch.setenv("LOOMPROOF_HOME", str(tmp_path / "home"))
    for name in ("looms", "out"):
        (tmp_path / name).mkdir()
    made = house(tmp_path / "out", tmp_path / "looms")
    benches = (str(simulation.address), str(small.address), "sim:")
    return replace(made, workplace=replace(made.workplace, benches=benches))


def asked(
    of: House,
    path: str,
    form: Mapping[str, str] | None = None,
    sent: bytes | None = None,
    seat: Seat = Seat.DRIVES,
) -> httpx.Response:
    """Ask for a page or send a form, with a file where there is one, and follow where it leads."""

    async def ask() -> httpx.Response:
        async with client(of, seat) as asks:
            asks.follow_redirects = True
            if form is None:
                return await asks.get(path)
            files = {"file": ("leads.csv", sent, "text/csv")} if sent is not None else None
            return await asks.post(path, data=dict(form), files=files)

    return asyncio.run(ask())


def question(of: House, after: int = 0) -> dict[str, Any]:
    """Return the page's state once the job asks another question than that number, or has ended."""
    for _ in range(20_000):
        now = of.session.since(0)
        if now["phase"] == "ended" or (now["question"] and now["question"]["number"] > after):
            return now
        threading.Event().wait(0.002)
    raise AssertionError("nothing was asked")


def answer(of: House, said: object) -> dict[str, Any]:
    """Answer what is asked, and return the state once something else is, or the job has ended."""
    number = question(of)["question"]["number"]
    of.session.answer(number, said)
    return question(of, number)


def test_an_unknown_loom_is_traced_as_it_is_on_the_simulator(of: House, simulation: Simulation) -> None:
    page = asked(of, "/trace/leads", {"called": "found loom"}, LEADS)
    assert page.status_code == 200
    assert "found-loom.adapter.csv" in str(page.url)
    text = html.unescape(page.text)
    assert "13 leads to 3 connectors, by found-loom.adapter" in text
    assert 'name="hazard LAMP"' in text
    assert "found by tracing" not in text
    assert "Nothing may be plugged into the loom" in text
    assert '"sim:"' not in text
    form = {"called": "found loom", "adapter": "found-loom.adapter.csv", "bench": str(simulation.address)}
    assert asked(of, "/trace", form).url.path == "/prove"
    told = join(of.session)
    assert told["error"] is None
    assert "Disconnect and remove the battery" in str(told["told"])
    lines = told["ending"]["lines"]
    assert any("BODY:6: nothing found on it" in line for line in lines)
    found = of.workplace.loom("found-loom")
    assert joined(found) == joined(TAIL)
    assert set(cavities(found)) == set(cavities(TAIL))
    (journal,) = found.parent.glob("found-loom.*.journal.jsonl")
    assert journal.stat().st_size
    page = asked(of, told["ending"]["page"])
    assert page.status_code == 200
    assert "BODY" in page.text


@pytest.mark.parametrize(
    ("form", "sent", "said"),
    [
        ({}, LEADS, "has no name to be kept under"),
        ({"called": "found"}, b"point,connector\n1,A\n", "the column cavity is missing"),
        ({"called": "found"}, b"point,connector,cavity\n1,A,1\n1,A,2\n", "point 1"),
        ({"called": "found"}, b"\x00\x01", "leads.csv"),
        ({"called": "found"}, None, "nothing says which connectors and cavities"),
        ({"called": "found", "adapter": "in-order"}, None, "nothing says which connectors and cavities"),
        ({"called": "found", "adapter": "/etc/passwd"}, None, "there is no adapter of that name"),
        ({"called": "found", "adapter": "x.csv"}, LEADS, "a table was picked, and another one sent"),
        ({"called": "found", "hook-ups": "yes"}, None, "Pick the loom in which its plugs are described."),
        ({"called": "found", "described": "nowhere"}, None, "there is no loom of that name"),
        ({"called": "tail"}, LEADS, "there is a loom called tail already"),
        ({"stopped": "found"}, None, "no trace called 'found' waits here"),
    ],
)
def test_what_can_not_be_meant_is_said_and_nothing_is_kept(
    of: House, form: dict[str, str], sent: bytes | None, said: str
) -> None:
    shutil.copytree(TAIL, of.workplace.looms / "tail")
    page = asked(of, "/trace/leads", form, sent)
    assert page.status_code == 409
    assert said in html.unescape(page.text)
    assert 'action="/trace/leads"' in page.text
    assert list(of.workplace.out.glob("*.csv")) == []
    assert not of.session.running


def test_no_simulated_bench_of_the_servers_own_and_no_other_address_is_taken(of: House) -> None:
    asked(of, "/trace/leads", {"called": "found"}, LEADS)
    for bench, said in (("sim:", "has no unknown loom on it"), ("tcp:127.0.0.1:9", "may ask for no bench")):
        page = asked(of, "/trace", {"called": "found", "adapter": "found.adapter.csv", "bench": bench})
        assert page.status_code == 409
        assert said in html.unescape(page.text)
        assert 'value="found.adapter.csv"' in page.text
    watched = asked(of, "/trace?called=found&adapter=found.adapter.csv", seat=Seat.WATCHES)
    assert "Whoever is at the bench begins a trace." in watched.text
    assert "<form method=" not in watched.text.partition("<main")[2]


@pytest.fixture
def driven(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Take the simulator for a real scanner; the list has what it is asked besides who it is."""
    asked_of: list[str] = []
    before = ScannerBench._answer

    def counted(bench: ScannerBench, question: Question) -> Any:
        asked_of.append(type(question).__name__)
        return before(bench, question)

    def real(_: Identity, *, started_here: bool = False) -> Opening:
        return Opening(simulated=False)

    monkeypatch.setattr("loomproof.bench.scanner.opening_of", real)
    monkeypatch.setattr(ScannerBench, "_answer", counted)
    return asked_of


def test_nothing_is_driven_before_hazards_are_said_and_cautions_confirmed(
    of: House, simulation: Simulation, driven: list[str]
) -> None:
    asked(of, "/trace/leads", {"called": "found"}, LEADS)
    form = {"called": "found", "adapter": "found.adapter.csv", "bench": str(simulation.address)}
    asked(of, "/trace", form)
    assert "BODY" in str(join(of.session)["error"])
    safe = {f"hazard {name}": "none" for name in ("BODY", "LAMP", "EARTH")}
    asked(of, "/trace", {**form, **safe, "hazard LAMP": "pyrotechnic"})
    assert "never put on a bench" in str(join(of.session)["error"])
    asked(of, "/trace", {**form, **safe})
    now = question(of)["question"]
    assert now["text"] == "Is all of that done?"
    assert "Unplug every control unit and sensor" in str(now["told"])
    answer(of, False)
    assert "nobody has confirmed the cautions; nothing was driven" in str(join(of.session)["error"])
    assert driven == []
    assert "found" not in of.workplace.found()

    asked(of, "/trace", {**form, **safe, "meter volts": "0"})
    question(of)
    assert driven == []
    answer(of, True)
    assert join(of.session)["error"] is None
    assert driven
    assert joined(of.workplace.loom("found")) == joined(TAIL)


def test_a_trace_plug_by_plug_outlives_its_server_and_comes_to_the_same_loom(
    of: House, small: Simulation
) -> None:
    """The first server ends after a hook-up; what stands in its place goes on with those that are left."""
    shutil.copytree(TAIL, of.workplace.looms / "plugs")
    page = asked(of, "/trace/leads", {"called": "found", "described": "plugs", "hook-ups": "yes"})
    assert "Plug by plug, by the plugs of plugs." in html.unescape(page.text)
    form = {"called": "found", "described": "plugs", "hook-ups": "yes", "bench": str(small.address)}
    assert asked(of, "/trace", form).url.path == "/prove"
    now = plugged(of, small, 1)
    assert now["question"]["text"] == "Is it plugged as hook-up 2 says?"  # the first is read
    of.session.close()

    again = replace(of, session=Session())
    page = asked(again, "/trace")
    assert "Go on with found (1 of" in page.text
    refused = asked(again, "/trace/leads", {"called": "found"}, LEADS)
    assert "a trace of found was stopped and waits" in html.unescape(refused.text)
    assert "the page Trace goes on with it" in asked(again, "/runs").text
    page = asked(again, "/trace?stopped=found")
    assert "Goes on, 1 of" in page.text
    asked(again, "/trace", {"stopped": "found", "bench": str(small.address)})
    told = plugged(again, small, 2)
    if told["phase"] != "ended":  # what was found may make the third needless
        told = plugged(again, small, 3)
    assert (told["phase"], told["error"]) == ("ended", None)
    assert joined(again.workplace.loom("found")) == joined(TAIL)
    assert "Stopped traces" not in asked(again, "/trace").text
    assert "the page Trace goes on with it" not in asked(again, "/runs").text


def test_what_is_described_already_is_kept_and_where_it_differs_is_told(
    of: House, simulation: Simulation
) -> None:
    shutil.copytree(TAIL, of.workplace.looms / "half")
    wires = of.workplace.looms / "half" / "wires.csv"
    crossed = wires.read_text(encoding="utf-8").replace("BODY,2,", "BODY,x,").replace("BODY,3,", "BODY,2,")
    wires.write_text(crossed.replace("BODY,x,", "BODY,3,"), encoding="utf-8")
    page = asked(of, "/trace/leads", {"called": "found", "described": "half", "adapter": "in-order"})
    assert "Point 1 to the first cavity, and so on, by the plugs of half." in html.unescape(page.text)
    assert 'name="hazard LAMP"' not in page.text  # it is described
    form = {"called": "found", "described": "half", "adapter": "in-order"}
    asked(of, "/trace", {**form, "bench": str(simulation.address)})
    told = join(of.session)
    assert told["error"] is None
    assert any("traced apart: BODY:2" in line for line in told["ending"]["lines"])
    found = of.workplace.loom("found")
    assert joined(found) == joined(TAIL)
    assert {row["wire"]: row["colour"] for row in rows(found / "wires.csv")}["W1"] == "GY/BK"


def plugged(of: House, small: Simulation, number: int) -> dict[str, Any]:
    """Plug what the job asks for, by the table that it wrote, and say so; return what is so then."""
    now = question(of)["question"]
    assert now["text"] == f"Is it plugged as hook-up {number} says?"
    (leads,) = of.workplace.looms.glob(f"found.*.hook-up-{number}.adapter.csv")
    assert small.tell(f"adapter {leads}").startswith("ok")
    return answer(of, True)


def test_a_diagram_is_laid_over_a_traced_loom(of: House, simulation: Simulation) -> None:
    shutil.copytree(TAIL, of.workplace.looms / "diagram")
    wires = of.workplace.looms / "diagram" / "wires.csv"
    lines = wires.read_text(encoding="utf-8").splitlines(keepends=True)
    gone = next(line for line in lines if line.startswith("W2,"))
    wires.write_text("".join(line for line in lines if line != gone), encoding="utf-8")
    asked(of, "/trace/leads", {"called": "found"}, LEADS)
    form = {"called": "found", "adapter": "found.adapter.csv", "bench": str(simulation.address)}
    asked(of, "/trace", form)
    join(of.session)
    for wrong, said in (
        ({"traced": "found", "known": "found", "called": "both"}, "two looms are wanted"),
        ({"traced": "found", "known": "diagram", "called": "found"}, "there is a loom called found already"),
        ({"traced": "found", "known": "none", "called": "both"}, "there is no loom of that name"),
        ({"traced": "found", "known": "diagram", "called": " "}, "has no name to be kept under"),
    ):
        page = asked(of, "/merge", wrong)
        assert page.status_code == 409
        assert said in html.unescape(page.text)
    page = asked(of, "/merge", {"traced": "found", "known": "diagram", "called": "both"})
    assert page.status_code == 200
    assert "both: 6 wires" in page.text or "both: 7 wires" in page.text
    both = of.workplace.loom("both")
    assert joined(both) == joined(TAIL)
    colours = {row["wire"]: row["colour"] for row in rows(both / "wires.csv")}
    assert colours["W1"] == "GY/BK"
    assert "W2" not in colours
    assert 'action="/merge"' not in asked(of, "/merge", seat=Seat.WATCHES).text
