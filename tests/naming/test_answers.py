"""Answers laid over a traced loom: what ends are called changes, what is joined never."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.errors import InputError
from loomproof.loom.model import ConnectorKind, End, Hazard, Loom
from loomproof.loom.reading import load
from loomproof.loom.writing import write_folder
from loomproof.naming.answers import Answer, Named, after, answered, begun
from tests.naming.engine import engine, nameless

BARE, TRUTH = nameless(engine())
CLIPS, CLIPPED = nameless(engine(), clips=True)
BACK = {real: end for end, real in TRUTH.items()}


def at(text: str) -> End:
    connector, _, cavity = text.partition(":")
    return BACK[End(connector, cavity)]


def joined(loom: Loom) -> set[frozenset[End]]:
    """What wires join, worked out by another library than the code under test."""
    graph: nx.Graph[End] = nx.Graph()
    graph.add_nodes_from(loom.cavities)
    graph.add_edges_from(wire.ends for wire in loom.wires)
    return {frozenset(end for end in part if end.cavity) for part in nx.connected_components(graph)}


def as_begun(named: Named) -> set[frozenset[End]]:
    return {frozenset(named.traced_of[end] for end in net) for net in joined(named.loom)}


def test_a_plug_alone_names_the_whole_plug_and_keeps_its_numbers() -> None:
    named = after(begun(BARE), Answer(at("TPS:2"), "TPS"))
    assert [str(named.names[at(f"TPS:{n}")]) for n in (1, 2, 3)] == ["TPS:1", "TPS:2", "TPS:3"]
    assert len(named.nameless) == 57
    assert at("TPS:1").connector in named.loom.by_name["TPS"].description
    assert at("TPS:1").connector not in named.loom.by_name


def test_clips_become_plugs_end_by_end_and_the_empty_row_is_gone() -> None:
    named = begun(CLIPS)
    for end, real in CLIPPED.items():
        assert end in named.nameless
        named = after(named, Answer(end, real.connector, real.cavity))
    assert not named.nameless
    assert "CLIPS" not in named.loom.by_name
    want = engine()
    assert set(named.loom.cavities) == set(want.cavities)
    assert joined(named.loom) == joined(want)
    # Nobody has seen the rows: they stand in the order of their numbers, 2 before 10.
    assert named.loom.by_name["ECU"].rows == want.by_name["ECU"].rows
    facts = named.loom.facts_by_end[End("ECU", "12")]
    clip = next(end for end, real in CLIPPED.items() if real == End("ECU", "12"))
    assert facts.note == f"traced as {clip}"


def test_a_name_that_is_taken_is_refused_with_who_has_it() -> None:
    named = after(begun(BARE), Answer(at("INJ1:1"), "INJ1"))
    with pytest.raises(
        InputError, match=f"INJ1:1 has its name already: it is what was traced as {at('INJ1:1')}"
    ):
        after(named, Answer(at("INJ2:1"), "INJ1", "1"))
    with pytest.raises(InputError, match="INJ1 is there already") as refused:
        after(named, Answer(at("INJ2:1"), "INJ1"))
    assert "INJ1:NUMBER" in refused.value.cure
    with pytest.raises(InputError, match="splice"):
        after(named, Answer(at("INJ2:1"), "S1"))


def test_a_plug_in_two_halves_is_put_together_and_the_worse_hazard_counts() -> None:
    one, two = at("EARTH1:1"), at("EARTH2:1")
    risky = tuple(
        replace(each, hazard=Hazard.ELECTRONICS) if each.name == two.connector else each
        for each in BARE.connectors
    )
    loom = replace(BARE, connectors=risky)
    named = answered(loom, [Answer(one, "EARTH", "a"), Answer(two, "EARTH", "b")])
    assert named.loom.by_name["EARTH"].cavities == ("a", "b")
    assert named.loom.by_name["EARTH"].hazard is Hazard.ELECTRONICS


def test_a_colour_goes_to_the_wire_and_the_last_word_holds_with_the_first_noted() -> None:
    named = after(begun(BARE), Answer(at("CTS:1"), "CTS", colour="RD/WH"))
    (wire,) = named.loom.wires_at[End("CTS", "1")]
    assert wire.colour == "RD/WH"
    named = after(named, Answer(at("ECU:19"), "ECU", colour="GN"))
    assert named.loom.wire_by_name[wire.name].colour == "GN"
    assert "was red/white before" in named.told
    assert "joint between" in named.told
    assert "red/white" in named.loom.facts_by_end[End("ECU", "19")].note


def test_an_end_without_a_wire_keeps_what_is_said_as_a_note() -> None:
    named = after(begun(BARE), Answer(at("ECU:24"), "ECU", colour="BK", purpose="cut off"))
    assert named.loom.facts_by_end[End("ECU", "24")].note == "wire here is black; cut off"
    assert "stands as a note" in named.told


@pytest.mark.parametrize(
    ("purpose", "designation", "name", "meant", "number"),
    [
        ("power-earth", "", "power-earth", "power earth of the engine computer", "31"),
        ("injectors", "", "injector", "injectors", ""),
        ("horn", "71", "horn", "horn", "71"),
        ("", "50", "terminal 50", "starter control", "50"),
        # Words of a usual circuit: they stay the name, the table tells what it is.
        ("fuel pump", "", "pump", "fuel pump", "87"),
    ],
)
def test_a_purpose_is_a_circuit_of_the_whole_net(
    purpose: str, designation: str, name: str, meant: str, number: str
) -> None:
    named = after(begun(BARE), Answer(at("ECU:1"), purpose=purpose, designation=designation))
    net = named.net_of[named.names[at("EARTH2:1")]]
    assert {named.loom.wire_by_name[wire].circuit for wire in net.wires} == {name}
    circuit = named.loom.circuit_by_name[name]
    assert (circuit.purpose, circuit.designation) == (meant, number)


def test_a_kind_is_that_of_the_connector() -> None:
    named = after(begun(BARE), Answer(at("EARTH1:1"), "EARTH1", kind=ConnectorKind.RING))
    assert named.loom.by_name["EARTH1"].kind is ConnectorKind.RING


NAMES = st.sampled_from(["ECU", "INJ1", "P3", "P6", "EARTH", "rear lamp", "1", "S1", ""])
ANSWERS = st.builds(
    Answer,
    st.sampled_from(BARE.cavities),
    NAMES,
    st.sampled_from(["", "1", "2", "7", "01", "A"]),
    st.sampled_from([None, ConnectorKind.RING, ConnectorKind.TAIL]),
    st.sampled_from(["", "RD/WH", "BK"]),
    st.sampled_from(["", "31", "15"]),
    st.sampled_from(["", "power-earth", "horn"]),
)


@settings(max_examples=25, deadline=None)
@given(st.lists(ANSWERS, max_size=12))
def test_whatever_is_said_what_is_joined_stays_and_the_folder_loads(
    tmp_path_factory: pytest.TempPathFactory, answers: list[Answer]
) -> None:
    named = begun(BARE)
    cures = []
    for answer in answers:
        try:
            named = after(named, answer)
        except InputError as error:
            cures.append(error.cure)
    assert all(cures)
    assert as_begun(named) == joined(BARE)
    assert len(set(named.names.values())) == len(BARE.cavities)
    assert answered(BARE, named.answers).loom.digest == named.loom.digest
    folder: Path = tmp_path_factory.mktemp("named")
    write_folder(named.loom, folder, over=True)
    assert load(folder).loom.digest == named.loom.digest
