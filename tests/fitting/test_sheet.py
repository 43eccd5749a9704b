"""The fitting sheet: every end on exactly one list, live ends warned of, no ready unproved."""

from __future__ import annotations

import csv
import io
import random
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest
from pydantic import ValidationError

from loomproof.fitting.feeds import when_live
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import answers_of
from loomproof.loom.designations import is_earth
from loomproof.loom.ends import end_of
from loomproof.loom.model import Circuit, Connector, ConnectorKind, End, Loom, Need, Wire
from loomproof.loom.reading import load
from loomproof.reports.fitting_sheet import drop_words, sheet_csv, sheet_pdf, views
from loomproof.results.document import ClaimEntry, Coverage, Document, Verdict
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.fitting import Action, Job, Level, SafeRow, Sheet, Warn
from loomproof.results.measured import Decision
from tests.fitting.looms import demo, document, random_fitting_loom

ANSWERS = (
    (),
    ("fan=switch", "purge=yes", "gearbox=yes", "revs=no"),
    ("fan=switch", "purge=no", "gearbox=no", "revs=yes"),
)
SHARED = (ConnectorKind.FUSE_HOLDER, ConnectorKind.RELAY_BASE)


def lists(sheet: Sheet) -> list[str]:
    safe = [str(row.facts.end) for row in (*sheet.safe, *sheet.places)]
    return [str(row.facts.end) for row in sheet.connect] + safe


def assert_partition(loom: Loom, sheet: Sheet) -> None:
    found = lists(sheet)
    assert sorted(found) == sorted(str(end) for end in loom.cavities)
    free = {str(end) for end in loom.cavities if loom.by_name[end.connector].kind not in SHARED}
    assert {str(row.facts.end) for row in sheet.connect} | {str(row.facts.end) for row in sheet.safe} == free


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
    connected = {str(row.facts.end) for row in sheet.connect}
    assert {"PURGE:1", "PURGE:2", "GBX:1", "GBX:2"} <= connected
    safe = {str(row.facts.end): row for row in sheet.safe}
    assert safe["BULK:5"].action is Action.REMOVE_FUSE
    assert safe["BULK:6"].optional
    places = {str(row.facts.end): row.action for row in sheet.places}
    assert places["FUSES:4A"] is places["K-FAN:86"] is Action.LEAVE_OUT
    assert places["FUSES:1A"] is Action.FIT


def test_an_optional_end_of_a_plug_that_goes_on_is_neither_called_unused_nor_capped() -> None:
    """Nobody can cap one cavity of a mated plug: its contact comes out, or meets an empty cavity."""
    sheet = fitting_sheet(load(Path(__file__).parents[2] / "fixtures" / "tail_lamp").loom)
    row = next(row for row in sheet.safe if str(row.facts.end) == "BODY:4")
    (warn,) = [warn for warn in sheet.warnings if end_of("BODY:4") in warn.ends]
    assert row.optional
    assert row.action is Action.TAKE_OUT
    assert warn.text.startswith("BODY:4 (GY/WH) is optional, not yet decided, and can be live: ")
    assert ". Connect it, or take its contact out and insulate the wire, or leave it in where " in warn.text
    purge = {str(row.facts.end): row.action for row in fitting_sheet(demo()).safe}["PURGE:1"]
    assert purge is Action.CAP, "the plug of the purge valve hangs free as a whole"


def test_jobs_and_order_of_the_demo_loom() -> None:
    rows = {str(row.facts.end): row for row in fitting_sheet(demo()).connect}
    assert rows["E-ENG:1"].job is Job.EARTH
    assert rows["BULK:1"].job is Job.PERMANENT
    assert rows["BULK:2"].job is Job.IGNITION
    assert rows["BULK:4"].job is Job.PUMP
    assert rows["COIL1:2"].job is Job.COIL
    assert rows["MAP:3"].job is Job.SENSOR
    assert rows["ECU-B:13"].job is Job.COMPUTER
    feeds = rows["BULK:2"].order, rows["BULK:1"].order
    assert rows["E-ENG:1"].order < feeds[0] < feeds[1]
    computer = [row.order for row in rows.values() if row.job is Job.COMPUTER]
    assert min(computer) > feeds[1], "nothing is plugged into the computer before its feeds were seen"
    assert max(computer) == len(rows)


def test_lamps_are_lamps() -> None:
    loom = load(Path(__file__).parents[2] / "fixtures" / "tail_lamp").loom
    rows = {str(row.facts.end): row for row in fitting_sheet(loom).connect}
    assert {rows[f"LAMP:{k}"].job for k in (1, 2, 3, 5)} == {Job.LAMP}
    assert rows["EARTH:1"].job is Job.EARTH


def test_a_plug_whose_own_circuits_are_unused_is_made_safe_though_a_shared_feed_runs_into_it() -> None:
    sheet = fitting_sheet(demo())
    row = next(row for row in sheet.safe if str(row.facts.end) == "PURGE:1")
    assert row.action is Action.CAP
    assert "F1" in row.facts.live[0]
    assert any(End("PURGE", "1") in warn.ends and warn.level is Level.WARNING for warn in sheet.warnings)


def test_a_permanently_fed_unused_end_without_a_fuse_is_a_danger_on_top() -> None:
    loom = demo(wires=(Wire("X1", End("S-B+"), End("ECU-A", "3"), "RD", 1.0, 1.0, "gearbox-switch"),))
    sheet = fitting_sheet(unfused(loom))
    assert sheet.warnings[0].level is Level.DANGER
    assert any(End("ECU-A", "3") in warn.ends for warn in sheet.warnings if warn.level is Level.DANGER)


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
    waived = proof.model_copy(update={"coverage": Coverage(waived=(end_of("BULK:4"), end_of("ECU-A:3")))})
    sheet = fitting_sheet(loom, None, waived)
    assert not sheet.ready
    danger = next(warn for warn in sheet.warnings if warn.level is Level.DANGER)
    assert tuple(map(str, danger.ends)) == ("BULK:4",)


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


def test_a_diode_forward_across_a_fed_coil_is_a_danger() -> None:
    """K1's terminal 86 is on the ignition feed: an anode there and the cathode at 85 is a dead short."""
    diode = demo().component_by_name["D1"]
    for anode, cathode, level in (("86", "85", Level.DANGER), ("85", "86", Level.NOTE)):
        turned = replace(diode, terminals=(("A", End("K-MAIN", anode)), ("K", End("K-MAIN", cathode))))
        parts = tuple(turned if part is diode else part for part in demo().components)
        loom = replace(demo(), components=parts)
        told = [warn for warn in fitting_sheet(loom).warnings if "D1" in warn.parts]
        assert [warn.level for warn in told] == [level]
        assert "terminal 86" in told[0].text
        assert fitting_sheet(loom, None, document(loom, Verdict.PASS)).ready is (level is Level.NOTE)


def test_designations_of_feeds_are_those_of_the_published_table() -> None:
    """DIN 72552 as quoted in encyclopaedia and makers' tables: 30 battery direct, 15 ignition, 50 starter, 31
    earth, 31b earth through a switch, 87 relay output, L and R flashers, C flasher tell-tale."""
    assert [when_live(text) for text in ("30", "30a", "30b", "B+", "15", "15a", "15e", "50", "50b")] == [
        *["permanent"] * 4, *["ignition"] * 3, "start", "start",
    ]  # fmt: skip
    assert [when_live(text) for text in ("31", "31a", "31b", "31c", "1", "4", "85", "32", "D-", "B-")] == [
        ""
    ] * 10
    switched = (
        "44 49c 53c 53e 53i 57a 57L 57R 58b 58d 58L 63 71 76 77 81 82a 83b 84 86 86a 86b 87 87a 87b 87c"
    )
    assert {when_live(text) for text in (*switched.split(), "C", "C2", "C3", "L", "R", "D+")} == {"switched"}
    assert [is_earth(text) for text in ("31", "31a", "31c", "D-", "31b", "31d", "32")] == [True] * 4 + [
        False
    ] * 3
    assert when_live("15x") == "ignition", "a variant that the table lacks is never dead"


def car_loom(
    designation: str, *, fuse: str = "", load_a: float | None = None, need: Need = Need.NEEDED
) -> Loom:
    """Return a feed 30 with its lamp, and beside it a circuit from the car with a stub that is not used."""
    plugs = [Connector(name, ConnectorKind.PLUG, (("1",),)) for name in ("LAMPA", "LAMPB", "EXTRA")]
    return Loom(
        "stub",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1", "2"),)),
            *plugs,
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=(
            Wire("W1", End("CAR", "1"), End("S1"), "RD", 1.0, 1.0, "lamp-a"),
            Wire("W2", End("S1"), End("LAMPA", "1"), "RD", 1.0, 1.0, "lamp-a"),
            Wire("W3", End("S1"), End("EXTRA", "1"), "RD/WH", 1.0, 1.0, "extra"),
            Wire("W4", End("CAR", "2"), End("LAMPB", "1"), "RD/BK", 1.0, 1.0, "lamp-b"),
        ),
        circuits=(
            Circuit("lamp-a", "lamp", designation, load_a, fuse, need=need),
            Circuit("lamp-b", "lamp", "30", 2.0, "5 A"),
            Circuit("extra", "stub", "", 0.01, need=Need.UNUSED),
        ),
    )


@pytest.mark.parametrize("designation", ["87", "15e", "49c", "L", "R", "C2", "31b", "86a", "30b", "15z"])
def test_a_stub_on_a_circuit_that_can_be_live_is_capped_and_warned_of(designation: str) -> None:
    row, warned = stub(fitting_sheet(car_loom(designation)))
    assert row.action is Action.CAP
    assert "no feed" not in row.why
    assert warned


@pytest.mark.parametrize(
    ("fuse", "load_a", "told"),
    [("10 A", None, "a fuse"), ("", 2.0, "a load of 2 A"), ("", None, "no designation")],
)
def test_what_nobody_can_rule_out_is_treated_as_live(fuse: str, load_a: float | None, told: str) -> None:
    row, warned = stub(fitting_sheet(car_loom("", fuse=fuse, load_a=load_a)))
    assert row.action is Action.CAP
    assert "may be live, treat as live" in row.why
    assert told in row.why
    assert warned


def test_no_feed_is_said_only_where_every_circuit_is_known() -> None:
    for loom in (car_loom("", load_a=0.01), car_loom("31")):
        row, warned = stub(fitting_sheet(loom))
        assert row.action is Action.SHORTEN
        assert not warned


def test_an_unused_feed_on_a_plug_that_stays_on_is_live() -> None:
    """The car's half of CAR is plugged for lamp-b: what it holds opposite CAR:1 is in contact."""
    loom = car_loom("30", need=Need.UNUSED)
    row, warned = stub(fitting_sheet(loom))
    assert row.action is Action.CAP
    assert "permanent feed (lamp-a)" in row.why
    assert warned
    apart = replace(loom, circuits=tuple(
        replace(one, need=Need.UNUSED) if one.name == "lamp-b" else one for one in loom.circuits
    ))  # fmt: skip
    assert not stub(fitting_sheet(apart))[1], "nothing is plugged in at all"


def stub(sheet: Sheet) -> tuple[SafeRow, list[Warn]]:
    """Return the row of the stub and the warnings that name it."""
    row = next(row for row in sheet.safe if str(row.facts.end) == "EXTRA:1")
    return row, [warn for warn in sheet.warnings if End("EXTRA", "1") in warn.ends]


def test_a_cavity_in_which_the_proof_found_something_is_never_left_alone() -> None:
    loom = demo()
    spare = next(row for row in fitting_sheet(loom).safe if str(row.facts.end) == "ECU-A:3")
    assert spare.action is Action.LEAVE
    found = Finding(
        kind=Kind.SHORT, severity=Severity.NOTE, title="A wire sits in ECU-A:3", cavities=(end_of("ECU-A:3"),)
    )
    proof = document(loom, Verdict.PASS).model_copy(update={"findings": (found,)})
    row = next(row for row in fitting_sheet(loom, None, proof).safe if str(row.facts.end) == "ECU-A:3")
    assert row.action is Action.CAP
    assert "A wire sits in ECU-A:3" in row.why


@pytest.mark.parametrize("decision", [Decision.FAIL, Decision.UNDECIDED])
def test_a_pass_with_a_claim_that_does_not_hold_is_not_ready(decision: Decision) -> None:
    loom = demo()
    claim = ClaimEntry(kind="isolation", subject="ECU-A:3 alone", statement="", decision=decision, rule="",
                       cavities=(end_of("ECU-A:3"),))  # fmt: skip
    with pytest.raises(ValidationError, match="a pass with a claim that does not hold: ECU-A:3 alone"):
        document(loom, Verdict.PASS, claims=(claim,))
    before_grades = document(loom, Verdict.PASS).plain() | {"schema": 1, "claims": [claim.model_dump()]}
    sheet = fitting_sheet(loom, None, Document.model_validate(before_grades))
    assert not sheet.ready
    assert "ECU-A:3 alone" in sheet.banner


def test_the_page_sets_and_is_the_same_every_time() -> None:
    sheet = fitting_sheet(demo())
    assert sheet_pdf(sheet)[:5] == b"%PDF-"
    assert sheet_pdf(sheet) == sheet_pdf(sheet)


@pytest.mark.parametrize("seed", range(20))
def test_what_can_be_live_equals_a_graph_search_over_all_relay_states(seed: int) -> None:
    from itertools import product

    from loomproof.fitting.feeds import feeds_of
    from loomproof.fitting.live_ends import Tracer
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
        figure = drop_words(drop.drop_v, drop.uncertainty_v)
        assert any(figure in line for line in lines), "a figure on one line"


def test_an_uncertain_drop_is_never_said_to_be_certain() -> None:
    assert drop_words(0.0071, 0.0004) == "0.007 ± 0.001 V"
    assert drop_words(0.3624, 0.0671) == "0.362 ± 0.068 V"
    assert drop_words(4.7123, 0.186) == "4.71 ± 0.19 V"
    assert drop_words(0.5, 0.05) == "0.500 ± 0.050 V"
