"""KBL files of the prostep ivip association (CC BY-SA 4.0): what is read equals an independent count."""

from __future__ import annotations

from pathlib import Path

import networkx
import pytest

from loomproof.loom import kbl, reading, writing
from loomproof.loom.model import ConnectorKind, Loom
from tests.loom.kbl_files import COMPONENT_BOX, GENERATOR_CABLE, MAIN_HARNESS, Counted, open_data

CONFIGURATIONS = ("Kombination_MAXI", "Kombination_MINI", "Freie Kombination")


@pytest.fixture(scope="module")
def main() -> Counted:
    return Counted(open_data(MAIN_HARNESS))


def nets(loom: Loom) -> set[frozenset[tuple[str, str]]]:
    graph: networkx.Graph[tuple[str, str]] = networkx.Graph()
    graph.add_edges_from(
        ((wire.a.connector, wire.a.cavity), (wire.b.connector, wire.b.cavity)) for wire in loom.wires
    )
    return {frozenset(net) for net in networkx.connected_components(graph)}


def test_a_three_wire_cable() -> None:
    found = kbl.read(open_data(GENERATOR_CABLE))
    assert [
        (wire.name, str(wire.a), str(wire.b), wire.colour, wire.csa_mm2, wire.length_m)
        for wire in found.loom.wires
    ] == [
        ("1", "TMM.2A1:3", "XA.C.1:2", "BK/VT", 0.5, 0.26131),
        ("2", "XB.C.1:1", "TMM.2A1:2", "RD/YE", 0.5, 0.3211),
        ("3", "XB.C.1:1", "TMM.2A1:1", "RD/WH", 6.0, 0.3211),
    ]
    kinds = {connector.name: connector.kind for connector in found.loom.connectors}
    assert kinds["XB.C.1"] is ConnectorKind.RING


@pytest.mark.parametrize("name", [GENERATOR_CABLE, COMPONENT_BOX, MAIN_HARNESS])
def test_every_connection_is_a_wire_between_the_same_places(name: str) -> None:
    counted = Counted(open_data(name))
    wires = kbl.read(counted.path).loom.wires
    assert len(wires) == len(counted.connections)
    for wire, connection in zip(wires, counted.connections, strict=True):
        for end, contact in zip(wire.ends, counted.contacts(connection), strict=True):
            occurrence, _, number = counted.places[contact]
            wanted = "" if occurrence.findtext("Usage") == "splice" else number
            assert end.connector.startswith(occurrence.findtext("Id") or "?")
            assert end.cavity == wanted


def test_wires_and_cores(main: Counted) -> None:
    loom = kbl.read(main.path).loom
    tags = [main.by_id[one.findtext("Wire") or ""].tag for one in main.connections]
    cores = [wire for wire in loom.wires if wire.note.startswith("core of ")]
    assert (len(loom.wires), len(cores)) == (len(tags), tags.count("Core_occurrence")) == (254, 70)
    assert len({wire.note for wire in cores}) == 32


def test_connectors_with_ends(main: Counted) -> None:
    loom = kbl.read(main.path).loom
    wanted = {
        main.places[contact][0].findtext("Id") for one in main.connections for contact in main.contacts(one)
    }
    assert {end.connector for wire in loom.wires for end in wire.ends} == wanted
    assert {connector.name for connector in loom.connectors} == wanted
    usages = [
        occurrence.findtext("Usage")
        for occurrence in main.harness.findall("Connector_occurrence")
        if occurrence.find("Contact_points") is not None
    ]
    kinds = [connector.kind for connector in loom.connectors]
    assert kinds.count(ConnectorKind.SPLICE) == usages.count("splice") == 37
    assert kinds.count(ConnectorKind.RING) == usages.count("ring terminal") == 22


@pytest.mark.parametrize(
    ("index", "connections", "by_contact", "by_splice", "by_ring", "by_cavity"),
    [
        (None, 254, 165, 145, 140, 103),
        (0, 254, 165, 145, 140, 103),
        (1, 165, 84, 74, 74, 74),
        (2, 0, 0, 0, 0, 0),
    ],
    ids=["whole file", *CONFIGURATIONS],
)
def test_nets_of_each_configuration(
    main: Counted,
    index: int | None,
    connections: int,
    by_contact: int,
    by_splice: int,
    by_ring: int,
    by_cavity: int,
) -> None:
    chosen = main.configured(index)
    counts = {rule: len(main.joined(chosen, rule)) for rule in ("contact", "splice", "ring", "cavity")}
    assert counts == {"contact": by_contact, "splice": by_splice, "ring": by_ring, "cavity": by_cavity}
    loom = kbl.read(main.path, configuration=None if index is None else CONFIGURATIONS[index]).loom
    assert len(loom.wires) == len(chosen) == connections
    # Ours is the rule of the cavity: what meets in one cavity or one splice is one conductor.
    assert nets(loom) == {frozenset(net) for net in main.joined(chosen, "cavity")}
    assert len(nets(loom)) == by_cavity


def test_configurations_are_named_by_what_tells_them_apart(main: Counted) -> None:
    assert kbl.configurations(main.path) == CONFIGURATIONS


@pytest.mark.parametrize("name", [GENERATOR_CABLE, COMPONENT_BOX, MAIN_HARNESS])
def test_an_imported_harness_is_a_folder_like_any_other(name: str, tmp_path: Path) -> None:
    loom = kbl.read(open_data(name)).loom
    writing.write_folder(loom, tmp_path / "loom")
    assert reading.load(tmp_path / "loom").loom == loom
