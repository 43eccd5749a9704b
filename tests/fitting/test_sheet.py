"""The fitting sheet: every end on exactly one list, live ends warned of, no ready unproved."""

from __future__ import annotations

import csv
import io
import random
from pathlib import Path

import networkx as nx
import pytest

from loomproof.fitting.sheet import fitting_sheet
from loomproof.fitting.tracing import when_live
from loomproof.loom.choices import answers_of
from loomproof.loom.model import Circuit, ConnectorKind, End, Loom, Need, Wire
from loomproof.loom.reading import load
from loomproof.reports.fitting_sheet import sheet_csv, sheet_pdf, views
from loomproof.results.document import Coverage, Verdict
from loomproof.results.fitting import Action, Job, Level, Sheet
from tests.fitting.looms import demo, document, random_fitting_loom

ANSWERS = (
    (),
    ("fan=switch", "purge=yes", "gearbox=yes", "revs=no"),
    ("fan=switch", "purge=no", "gearbox=no", "revs=yes"),
)
SHARED = (ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE)


def lists(sheet: Sheet) -> list[str]:
    safe = [row.facts.end for row in (*sheet.safe, *sheet.places)]
    return [row.facts.end for row in sheet.connect] + safe


def assert_partition(loom: Loom, sheet: Sheet) -> None:
    found = lists(sheet)
    assert sorted(found) == sorted(str(end) for end in loom.cavities)
    free = {str(end) for end in loom.cavities if loom.by_name[end.connector].kind not in SHARED}
    assert {row.facts.end for row in sheet.connect} | {row.facts.end for row in sheet.safe} == free


@pytest.mark.parametrize("said", ANSWERS)
def test_every_end_of_the_demo_loom_is_on_exactly_one_list(said: tuple[str, ...]) -> None:
    loom = demo()
    sheet = fitting_sheet(loom, answers_of(loom, said))
    assert_partition(loom, sheet)
    rows = list(csv.DictReader(io.StringIO(sheet_csv(sheet))))
    told = [f"{row['connector']}:{row['cavity']}" for row in rows if row["cavity"]]
    assert sorted(told) == sorted(str(end) for end in loom.cavities)


@pytest.mark.parametrize("seed", range(30))
def test_every_end_of_any_loom_is_on_exactly_one_list(seed: int) -> None:
    loom = random_fitting_loom(random.Random(seed))
    assert_partition(loom, fitting_sheet(loom))


def test_answers_move_ends_between_the_lists() -> None:
    loom = demo()
    sheet = fitting_sheet(loom, answers_of(loom, ANSWERS[1]))
    connected = {row.facts.end for row in sheet.connect}
    assert {"PURGE:1", "PURGE:2", "GBX:1", "GBX:2"} <= connected
    safe = {row.facts.end: row for row in sheet.safe}
    assert safe["BULK:5"].action is Action.REMOVE_FUSE
    assert safe["BULK:6"].optional
    places = {row.facts.end: row.action for row in sheet.places}
    assert places["FUSES:4A"] is places["K-FAN:86"] is Action.LEAVE_OUT
    assert places["FUSES:1A"] is Action.FIT


def test_jobs_and_order_of_the_demo_loom() -> None:
    rows = {row.facts.end: row for row in fitting_sheet(demo()).connect}
    assert rows["E-ENG:1"].job is Job.EARTH
    assert rows["BULK:1"].job is Job.PERMANENT
    assert rows["BULK:2"].job is Job.IGNITION
    assert rows["BULK:4"].job is Job.PUMP
    assert rows["COIL1:2"].job is Job.COIL
    assert rows["MAP:3"].job is Job.SENSOR
    assert rows["ECU-B:13"].job is Job.COMPUTER
    assert rows["E-ENG:1"].order < rows["BULK:2"].order < rows["BULK:1"].order == len(rows)


def test_a_plug_whose_own_circuits_are_unused_is_made_safe_though_a_shared_feed_runs_into_it() -> None:
    sheet = fitting_sheet(demo())
    row = next(row for row in sheet.safe if row.facts.end == "PURGE:1")
    assert row.action is Action.CAP
    assert "F1" in row.facts.live[0]
    assert any("PURGE:1" in warn.ends and warn.level is Level.WARNING for warn in sheet.warnings)


def test_a_permanently_fed_unused_end_without_a_fuse_is_a_danger_on_top() -> None:
    loom = demo(wires=(Wire("X1", End("S-B+"), End("ECU-A", "3"), "RD", 1.0, 1.0, "gearbox-switch"),))
    sheet = fitting_sheet(unfused(loom))
    assert sheet.warnings[0].level is Level.DANGER
    assert any("ECU-A:3" in warn.ends for warn in sheet.warnings if warn.level is Level.DANGER)


def unfused(loom: Loom) -> Loom:
    return demo(loom, circuits={"feed": Circuit("feed", "permanent feed", "30", 34.0)})


def test_without_a_passing_proof_there_is_a_banner_and_no_ready() -> None:
    loom = demo()
    proofs = [
        None,
        document(loom, Verdict.FAIL),
        document(loom, Verdict.UNDECIDED),
        document(loom, Verdict.INCOMPLETE),
        document(loom, Verdict.PASS, simulated=True),
        document(demo(circuits={"pump": Circuit("pump", "other", "87")}), Verdict.PASS),
    ]
    for proof in proofs:
        sheet = fitting_sheet(loom, None, proof)
        assert not sheet.ready
        assert "do not energise" in sheet.banner
    good = fitting_sheet(loom, None, document(loom, Verdict.PASS))
    assert good.ready
    assert not good.banner
    bad = unfused(loom)
    assert not fitting_sheet(bad, None, document(bad, Verdict.PASS)).ready


def test_an_end_that_a_passing_proof_waived_is_not_ready() -> None:
    loom = demo()
    proof = document(loom, Verdict.PASS)
    waived = proof.model_copy(update={"coverage": Coverage(waived=("BULK:4", "ECU-A:3"))})
    sheet = fitting_sheet(loom, None, waived)
    assert not sheet.ready
    danger = next(warn for warn in sheet.warnings if warn.level is Level.DANGER)
    assert danger.ends == ("BULK:4",)


def test_relay_contacts_that_the_description_lacks_are_said_not_to_be_traced() -> None:
    bare = demo(without=("K1",))
    warns = fitting_sheet(bare).warnings
    assert any("not traced" in warn.text and "K-MAIN" in warn.text for warn in warns)
    assert not any("not traced" in warn.text for warn in fitting_sheet(demo()).warnings)


def test_what_the_answers_imply() -> None:
    loom = demo(circuits={"sensor-earth": Circuit("sensor-earth", "earth", need=Need.UNUSED)})
    texts = [warn.text for warn in fitting_sheet(loom).warnings]
    assert any(text.startswith("manifold-pressure") and "sensor-earth" in text for text in texts)
    assert any(text.startswith("CLT ") and "no earth" in text for text in texts)
    cut = demo(circuits={"main-control": Circuit("main-control", "coil", "85", need=Need.UNUSED)})
    assert any("coil of relay K1 has no return" in warn.text for warn in fitting_sheet(cut).warnings)
    joined = demo(wires=(Wire("X1", End("S-B+"), End("BULK", "2"), "RD", 1.0, 1.0, "feed"),))
    assert any("two feeds can be joined" in warn.text for warn in fitting_sheet(joined).warnings)
    told = [warn.text for warn in fitting_sheet(demo()).warnings]
    assert any("INJ1, INJ2, INJ3" in text and "INJ2:2 WH/YE" in text for text in told)
    assert any("left open at the computer" in text and "ECU-A:20" in text for text in told)
    assert any("diode D1" in text and "terminal 86" in text for text in told)


def test_designations_of_feeds_are_those_of_the_published_table() -> None:
    """DIN 72552 as quoted in an encyclopaedia table: 30 battery direct, 15 ignition, 50 starter, 31 earth."""
    assert [when_live(text) for text in ("30", "30a", "B+", "15", "15a", "50", "50b")] == [
        "permanent", "permanent", "permanent", "ignition", "ignition", "start", "start",
    ]  # fmt: skip
    assert [when_live(text) for text in ("31", "31b", "1", "4", "85", "86", "87", "87a", "32", "D-")] == [
        ""
    ] * 10
    assert when_live("58L") == when_live("71") == "switched"


def test_the_page_sets_and_is_the_same_every_time() -> None:
    sheet = fitting_sheet(demo())
    assert sheet_pdf(sheet)[:5] == b"%PDF-"
    assert sheet_pdf(sheet) == sheet_pdf(sheet)


@pytest.mark.parametrize("seed", range(20))
def test_what_can_be_live_equals_a_graph_search_over_all_relay_states(seed: int) -> None:
    from itertools import product

    from loomproof.fitting.tracing import Tracer, feeds_of
    from loomproof.loom.choices import needs_of
    from loomproof.loom.model import ComponentKind

    loom = random_fitting_loom(random.Random(1000 + seed))
    relays = [part for part in loom.components if part.kind is ComponentKind.RELAY]
    feeds = feeds_of(loom, needs_of(loom))
    live: set[End] = set()
    for pulled in product((False, True), repeat=len(relays)):
        graph: nx.DiGraph[End] = nx.DiGraph()
        for a, b in (wire.ends for wire in loom.wires):
            graph.add_edges_from([(a, b), (b, a)])
        for part in loom.components:
            ends = dict(part.terminals)
            if part.kind is ComponentKind.DIODE:
                graph.add_edge(ends["A"], ends["K"])
            elif part.kind is ComponentKind.RELAY:
                to = ends["87" if pulled[relays.index(part)] else "87a"]
                pairs = [(ends["85"], ends["86"]), (ends["30"], to)]
                graph.add_edges_from([*pairs, *((b, a) for a, b in pairs)])
            else:
                graph.add_edges_from([part.ends[:2], part.ends[1::-1]])  # type: ignore[list-item]
        for feed in feeds:
            for entry in feed.entries:
                live |= {entry} | (nx.descendants(graph, entry) if entry in graph else set())
    assert set(Tracer(loom).live(feeds)) == live


def test_the_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from loomproof.cli.main import run

    here = Path(__file__).parents[2] / "fixtures" / "hillclimb_engine"
    files = ["--csv", str(tmp_path / "s.csv"), "--pdf", str(tmp_path / "s.pdf")]
    store = ["--store", str(tmp_path / "kept.db")]
    assert run(["fit", str(here), "--answer", "fan=switch", *files, *store]) == 0
    said = capsys.readouterr().out
    assert "NOT PROVED" in said
    assert "ready" not in said
    assert (tmp_path / "s.pdf").read_bytes()[:5] == b"%PDF-"
    assert run(["fit", str(here), "--answer", "fan=oddly", *store]) == 2
    assert load(here).loom.name in said.replace("\n", " ")


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_the_sheet_on_a_screen_shows_every_end_and_figure_whole(width: int) -> None:
    from rich.console import Console

    loom = demo()
    sheet = fitting_sheet(loom)
    file = io.StringIO()
    console = Console(file=file, width=width, highlight=False)
    for part in views(sheet):
        console.print(part)
    lines = file.getvalue().splitlines()
    assert all(len(line) <= width for line in lines)
    words = set(file.getvalue().split())
    assert {str(end) for end in loom.cavities} <= words
    assert {row.circuit for row in sheet.drops} <= words
    for drop in sheet.drops:
        figure = f"{drop.drop_v:.2f} ± {drop.uncertainty_v:.2f} V"
        assert any(figure in line for line in lines), "a figure on one line"
