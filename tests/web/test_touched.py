"""What a touch says of a known loom, against nets found by networkx over its tables."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest

from loomproof.bench.adapter import in_order
from loomproof.jobs.events import Touched
from loomproof.jobs.touched import WHICH, Telling, TouchTold
from loomproof.loom.model import End, Loom, end_of
from loomproof.loom.reading import load
from tests.web.asking import LOOMS

TAIL = load(LOOMS / "tail_lamp").loom
ENGINE = load(LOOMS / "hillclimb_engine").loom


def touched(loom: Loom, *names: str, bare: tuple[int, ...] = ()) -> TouchTold:
    leads = in_order(loom.cavities)
    ends = tuple(map(end_of, names))
    return Telling(loom, leads).touch(Touched((*(leads.point_of[end] for end in ends), *bare), ends))


def islands(folder: Path) -> nx.Graph[tuple[str, ...]]:
    """Wires as edges between places, read from the table and by nothing of ours."""
    graph: nx.Graph[tuple[str, ...]] = nx.Graph()
    with (folder / "wires.csv").open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            a, b = ((row[f"{side}_connector"], row[f"{side}_cavity"]) for side in ("from", "to"))
            graph.add_edge(a, b, wire=row["wire"])
    return graph


def test_each_end_is_told_with_all_wires_of_its_net() -> None:
    graph = islands(LOOMS / "hillclimb_engine")
    telling = Telling(ENGINE, in_order(ENGINE.cavities))
    for end in ENGINE.cavities:
        if tuple(end) not in graph:
            continue
        told = telling.net_of(end)
        part = graph.subgraph(nx.node_connected_component(graph, tuple(end)))
        wires = {str(facts["wire"]) for _, _, facts in part.edges(data=True)}
        names = {wire.name for net in told.nets for wire in net.wires}
        assert wires <= names, end  # a fuse or link that is fitted makes one net of two islands
        assert {End(*place) for place in part if place[1]} <= set(told.ends)
        assert not told.doubts


def test_a_touch_says_wires_colours_where_they_go_and_what_for() -> None:
    told = touched(TAIL, "LAMP:6", "EARTH:1")
    said = list(told.sentences)
    assert said[:2] == ["LAMP:6, EARTH:1.", WHICH]
    assert said[2:] == ["Wire W6, brown: LAMP:6 to EARTH:1.", "For earth: earth of the lamp, terminal 31."]
    (net,) = told.nets
    assert net.wires[0].size == "1.5 mm², 0.3 m"
    assert [each.about for each in net.ends] == [
        "bulb holder, left tail lamp",
        "earth stud M6, stud beside the lamp",
    ]


def test_one_end_alone_is_told_as_that_end() -> None:
    assert WHICH not in list(touched(TAIL, "BODY:6").sentences)


@pytest.mark.parametrize(
    ("loom", "reached", "bare", "said"),
    [
        (TAIL, ("LAMP:2",), (), "BODY:2 is on this net too, and the probe does not reach it"),
        (TAIL, ("BODY:1", "LAMP:1", "BODY:2", "LAMP:2"), (), "no part joins BODY:1 and BODY:2"),
        (
            TAIL,
            ("BODY:1", "LAMP:2"),
            (),
            "and the probe reaches both: are contacts exchanged?",
        ),
        (TAIL, (), (40, 41), "reads at point 40, 41, and no lead of the adapter goes there"),
    ],
)
def test_what_is_not_as_described_is_asked_about(
    loom: Loom, reached: tuple[str, ...], bare: tuple[int, ...], said: str
) -> None:
    assert any(said in doubt for doubt in touched(loom, *reached, bare=bare).doubts)


def test_nets_that_a_part_joins_are_no_fault() -> None:
    part = next(each for each in ENGINE.components if each.kind.value == "resistor")
    telling = Telling(ENGINE, in_order(ENGINE.cavities))
    ends = [end for each in part.ends for end in telling.net_of(each).ends]
    (doubt,) = touched(ENGINE, *map(str, dict.fromkeys(ends))).doubts
    assert f"which parts of the loom join through {part.name}" in doubt
    out = replace(
        ENGINE, components=tuple(replace(each, fitted=False) for each in ENGINE.components if each == part)
    )
    ends = [end for each in part.ends for end in Telling(out, in_order(out.cavities)).net_of(each).ends]
    assert "do they touch?" in touched(out, *map(str, dict.fromkeys(ends))).doubts[0]
