"""A description laid over a traced loom: what conducts is what was traced, and nothing typed gets lost."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest

from loomproof.bench.adapter import in_order, write_adapter
from loomproof.jobs.merging import lay_over, merged
from loomproof.loom.model import (
    CavityFacts,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Wire,
)
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from tests.cli.running import loomproof
from tests.simulating import started


def joined(loom: Loom) -> set[frozenset[str]]:
    """What wires and splices join, by a graph library: the cavities of each conductor."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(loom.cavities)
    graph.add_edges_from(wire.ends for wire in loom.wires)
    parts = nx.connected_components(graph)
    return {frozenset(str(end) for end in part if end.cavity) for part in parts} - {frozenset()}


def plug(name: str, count: int, **more: object) -> Connector:
    row = tuple(str(k + 1) for k in range(count))
    return Connector(name, ConnectorKind.PLUG, (row,), **more)  # type: ignore[arg-type]


def wire(name: str, text: str, colour: str = "") -> Wire:
    a, b = (End(*each.split(":")) if ":" in each else End(each) for each in text.split())
    return Wire(name, a, b, colour=colour)


def looms(*wires: Wire, splices: tuple[str, ...] = (), parts: tuple[Component, ...] = ()) -> Loom:
    return Loom(
        "L",
        connectors=(plug("A", 4), plug("B", 4), *(Connector(name, ConnectorKind.SPLICE) for name in splices)),
        wires=wires,
        components=parts,
    )


def test_names_and_colours_come_from_the_diagram_and_the_rest_from_the_trace() -> None:
    traced = looms(
        wire("W1", "A:1 B:1"),
        wire("W2", "A:2 S1"),
        wire("W3", "B:2 S1"),
        wire("W4", "B:3 S1"),
        splices=("S1",),
    )
    known = looms(
        wire("K1", "A:1 B:1", "RD"), wire("K2", "A:2 SP"), wire("K3", "B:2 SP", "BN"), splices=("SP",)
    )
    laid = lay_over(traced, known)
    assert joined(laid.loom) == joined(traced)
    assert [each.colour for each in laid.loom.wires[:3]] == ["RD", "", "BN"]
    (added,) = laid.loom.wires[3:]
    assert set(added.ends) == {End("B", "3"), End("SP")}, "it goes to the splice that is described"
    assert laid.told == ()


def test_where_they_differ_is_told_and_the_trace_stands() -> None:
    traced = looms(wire("W1", "A:1 B:2"), wire("W2", "A:2 B:1"), wire("W3", "A:3 A:4"))
    known = looms(wire("K1", "A:1 B:1"), wire("K2", "A:2 B:2"), wire("K3", "A:3 B:3"), wire("K4", "A:4 B:4"))
    laid = lay_over(traced, known)
    assert joined(laid.loom) == joined(traced)
    assert sum("Described as joined by K" in text for text in laid.told) == 4
    assert any("A:1 | B:1" in text for text in laid.told)
    bridged = lay_over(looms(wire("W", "A:1 A:2")), looms(wire("K1", "A:1 B:1"), wire("K2", "A:2 B:2")))
    assert any("traced apart" in text for text in bridged.told)
    short = lay_over(
        looms(
            *(wire(f"W{k}", f"{end} S1") for k, end in enumerate(("A:1", "B:1", "A:2", "B:2"))),
            splices=("S1",),
        ),
        looms(wire("K1", "A:1 B:1"), wire("K2", "A:2 B:2")),
    )
    assert frozenset({"A:1", "B:1", "A:2", "B:2"}) in joined(short.loom)
    assert short.told == ("Described as apart, and traced joined: A:1, A:2.",)


def test_parts_are_matched_by_where_they_are() -> None:
    resistor = Component("R9", ComponentKind.RESISTOR, (("1", End("A", "1")), ("2", End("B", "2"))), 470.0)
    fuse = Component("F1", ComponentKind.FUSE, (("1", End("A", "3")), ("2", End("A", "4"))), rating_a=10.0)
    found = replace(
        resistor, name="R1", terminals=(("1", End("B", "1")), ("2", End("A", "2"))), resistance_ohm=465.0
    )
    wires = (wire("W1", "A:1 B:1"), wire("W2", "A:2 B:2"))
    traced = looms(*wires, wire("W3", "A:3 A:4"), parts=(found,))
    laid = lay_over(traced, looms(*wires, parts=(resistor, fuse)))
    assert [part.name for part in laid.loom.components] == ["R9", "F1"]
    assert len(laid.loom.wires) == 2, "the fuse is what joins A:3 and A:4, no wire"
    assert laid.told == ()
    pulled = lay_over(looms(*wires, parts=(found,)), looms(*wires, parts=(resistor, fuse)))
    assert pulled.told == ("F1 was traced open: pulled or blown?",)
    other = lay_over(
        looms(*wires, parts=(replace(found, resistance_ohm=1000.0),)), looms(*wires, parts=(resistor,))
    )
    assert "was traced with 1000 ohm" in other.told[0]
    alone = lay_over(looms(*wires, parts=(found,)), looms(*wires))
    assert [part.name for part in alone.loom.components] == ["R1"]
    assert "is not described" in alone.told[0]
    missing = lay_over(looms(*wires), looms(*wires, parts=(resistor,)))
    assert missing.told == ("R9: described, and the trace found no such part.",)


def test_faces_hazards_and_cavities_of_both() -> None:
    traced = Loom(
        "t", connectors=(plug("A", 4, description="found by tracing: kind and rows?"), plug("C", 1))
    )
    known = Loom(
        "k", connectors=(plug("A", 3, location="boot", housing="H3", hazard=Hazard.PYROTECHNIC), plug("D", 2))
    )
    laid = lay_over(traced, known)
    face = laid.loom.by_name["A"]
    assert (face.rows, face.location, face.housing, face.hazard) == (
        (("1", "2", "3"), ("4",)),
        "boot",
        "H3",
        Hazard.PYROTECHNIC,
    )
    assert [c.name for c in laid.loom.connectors] == ["A", "D", "C"]
    assert any("is described without 4" in text for text in laid.told)
    assert any("Not traced, and left as described: D:1, D:2" in text for text in laid.told)


@pytest.mark.parametrize("seed", range(60))
def test_whatever_is_described_what_conducts_is_what_was_traced(seed: int, tmp_path: Path) -> None:
    """Random descriptions, wrong ones among them, over random nets; the result can be written and read."""
    rng = random.Random(seed)
    cavities = [End(name, str(k + 1)) for name in "AB" for k in range(4)]

    def some(count: int, splices: tuple[str, ...], stem: str) -> Loom:
        places = [*cavities, *map(End, splices)]
        pairs = [rng.sample(places, 2) for _ in range(count)]
        made = [Wire(f"{stem}{k}", a, b) for k, (a, b) in enumerate(pairs)]
        used = tuple(name for name in splices if any(name in (w.a.connector, w.b.connector) for w in made))
        return looms(*made, splices=used)

    traced = some(rng.randint(0, 7), ("S1", "S2"), "W")
    known = some(rng.randint(0, 7), ("S1", "SX"), rng.choice("WK"))
    laid = lay_over(traced, known)
    assert joined(laid.loom) == joined(traced)
    names = [each.name for each in laid.loom.wires]
    assert len(set(names)) == len(names)
    again = lay_over(traced, laid.loom)
    assert joined(again.loom) == joined(traced)
    assert not [text for text in again.told if "Described as" in text], "nothing differs any more"
    assert {w.name for w in laid.loom.wires} >= {
        w.name for w in known.wires if any({str(w.a), str(w.b)} <= net for net in joined(traced))
    }, "a wire that the trace bears out is kept"


def test_a_loom_traced_upon_its_description_keeps_what_was_typed(fixtures: Path, tmp_path: Path) -> None:
    whole = load(fixtures / "tail_lamp").loom
    half = replace(whole, wires=whole.wires[:3], circuits=(), choices=())
    half = replace(half, wires=tuple(replace(each, circuit="") for each in half.wires))
    write_folder(half, tmp_path / "half")
    write_adapter(in_order(whole.cavities), tmp_path / "a.csv")
    simulation = started(fixtures / "tail_lamp", [])
    words = ("--adapter", tmp_path / "a.csv", "--bench", str(simulation.address))
    try:
        done = loomproof("trace", tmp_path / "half", *words, "--to", tmp_path / "found")
        bare = loomproof("trace", *words, "--to", tmp_path / "bare", "--hazard", "BODY=none")
    finally:
        simulation.end()
    assert done.returncode == 0, done.stderr
    assert bare.returncode == 0, bare.stderr
    found = load(tmp_path / "found").loom
    assert joined(found) == joined(whole)
    for connector in half.connectors:
        kept = found.by_name[connector.name]
        assert (kept.rows, kept.kind, kept.location, kept.hazard) == (
            connector.rows,
            connector.kind,
            connector.location,
            connector.hazard,
        )
    assert [found.wire_by_name[each.name].colour for each in half.wires] == [
        each.colour for each in half.wires
    ]
    asked = (tmp_path / "found" / "questions.md").read_text(encoding="utf-8")
    assert asked.startswith("# What the owner of Left tail lamp can tell\n\n- [ ] ")
    assert "Which connector is which" not in asked
    assert "Which connector is which" in (tmp_path / "bare" / "questions.md").read_text(encoding="utf-8")
    laid = loomproof("merge", tmp_path / "bare", fixtures / "tail_lamp", "--to", tmp_path / "merged.xlsx")
    assert laid.returncode == 0, laid.stderr
    both = load(tmp_path / "merged.xlsx").loom
    assert joined(both) == joined(whole)
    assert {each.colour for each in both.wires} == {each.colour for each in whole.wires}
    other = loomproof("merge", tmp_path / "bare", fixtures / "hillclimb_engine", "--to", tmp_path / "x")
    assert other.returncode == 2
    assert "no cavity in common" in other.stderr


def test_merging_writes_over_nothing(fixtures: Path, tmp_path: Path) -> None:
    write_folder(load(fixtures / "tail_lamp").loom, tmp_path / "there")
    with pytest.raises(Exception, match="there"):
        merged(fixtures / "tail_lamp", fixtures / "tail_lamp", tmp_path / "there")


def test_a_short_in_the_traced_loom_gives_a_folder_that_can_be_read(tmp_path: Path) -> None:
    known = replace(
        looms(wire("K1", "A:1 B:1"), wire("K2", "A:2 B:2")),
        cavity_facts=(CavityFacts(End("A", "3"), spare=True),),
    )
    traced = looms(
        wire("W1", "A:1 S1"),
        *(wire(f"W{k}", f"{e} S1") for k, e in enumerate(("B:1", "A:2", "B:2", "A:3"), 2)),
        splices=("S1",),
    )
    write_folder(known, tmp_path / "known")
    write_folder(traced, tmp_path / "traced")
    merged(tmp_path / "traced", tmp_path / "known", tmp_path / "both")
    assert joined(load(tmp_path / "both").loom) == joined(traced)


def test_a_part_that_is_out_for_the_test_is_not_missed() -> None:
    part = Component(
        "R1", ComponentKind.RESISTOR, (("1", End("A", "1")), ("2", End("B", "1"))), resistance_ohm=9.0
    )
    assert lay_over(looms(), looms(parts=(part,))).told == (
        "R1: described, and the trace found no such part.",
    )
    assert lay_over(looms(), looms(parts=(replace(part, fitted=False),))).told == ()
