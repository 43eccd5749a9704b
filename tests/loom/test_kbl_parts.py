"""Relays, fuses and side tables of KBL files."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import DescriptionError
from loomproof.loom import kbl
from loomproof.loom.model import ComponentKind, ConnectorKind, End
from tests.loom import kbl_text as t
from tests.loom.kbl_files import COMPONENT_BOX, MAIN_HARNESS, Counted, open_data
from tests.loom.test_kbl_reading import TWO, read, told


def relay_file() -> bytes:
    box = (
        f'<Component_box id="b">{t.part("B")}<Component_box_connectors id="b.k"><Id>A</Id>'
        '<Integrated_slots id="b.s" xsi:type="kbl:Slot"><Number_of_cavities>4</Number_of_cavities>'
        + "".join(f'<Cavities id="b.{n}"><Cavity_number>{n}</Cavity_number></Cavities>' for n in (1, 2, 3, 5))
        + '</Integrated_slots></Component_box_connectors><Component_slots id="b.R"><Id>R</Id>'
        + "".join(
            f'<Component_cavities id="b.R{n}"><Cavity_number>{n}</Cavity_number></Component_cavities>'
            for n in (1, 2, 3, 5)
        )
        + "</Component_slots>"
        + "".join(
            f'<Connections id="b.L{n}"><Id>{n}</Id><Cavities>b.{n}</Cavities>'
            f"<Component_cavities>b.R{n}</Component_cavities></Connections>"
            for n in (1, 2, 3, 5)
        )
        + "</Component_box>"
    )
    relay = f'<Component id="rel">{t.part("R", "Relais")}</Component>'
    placed = (
        '<Component_box_occurrence id="bo"><Id>K</Id><Part>b</Part>'
        '<Component_box_connectors id="bo.k"><Part>b.k</Part>'
        '<Slots id="bo.s" xsi:type="kbl:Slot_occurrence"><Part>b.s</Part>'
        + "".join(f'<Cavities id="K.{n}"><Part>b.{n}</Part></Cavities>' for n in (1, 2, 3, 5))
        + '</Slots></Component_box_connectors><Component_slots id="bo.R"><Part>b.R</Part>'
        + "".join(
            f'<Component_cavities id="bo.R{n}"><Part>b.R{n}</Part></Component_cavities>' for n in (1, 2, 3, 5)
        )
        + "</Component_slots>"
        + "".join(t.contact("K", str(n)) for n in (1, 2))
        + "</Component_box_occurrence>"
    )
    mounted = '<Component_occurrence id="r1"><Id>K9</Id><Mounting>bo.R</Mounting><Part>rel</Part>'
    mounted += "</Component_occurrence>"
    body = placed + mounted + t.connection("1", "X1.1", "K.1") + t.connection("2", "X1.2", "K.2")
    body += t.connector("X1", "two", "1", "2") + t.wire("1") + t.wire("2")
    return t.file(relay + box + TWO + t.wire_part(), body)


def test_a_relay_whose_pins_the_file_does_not_name(tmp_path: Path) -> None:
    found = read(tmp_path, relay_file())
    (relay,) = found.loom.components
    assert relay.kind is ComponentKind.RELAY
    assert relay.terminals == tuple((n, End("K", n)) for n in ("1", "2", "3", "5"))
    assert (relay.fitted, relay.pullable) == (False, True)
    assert found.loom.by_name["K"].kind is ConnectorKind.RELAY_BASE
    assert "K9 (Relais) is a relay, but the file does not say which leg is coil" in told(found)


def side(tmp_path: Path, text: str) -> str:
    path = tmp_path / "side.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_side_table_adds_relay_pins_and_parts(tmp_path: Path) -> None:
    table = side(
        tmp_path,
        "component,kind,terminals,resistance_ohm,rating_a,fitted\n"
        "K9,,85=K:1 86=K:2 30=K:3 87=K:5,85,,\n"
        "F1,fuse,1=X1:1 2=X1:2,,7.5,\n",
    )
    found = read(tmp_path, relay_file(), side_table=table)
    relay, fuse = found.loom.components
    assert relay.terminal("85") == End("K", "1")
    assert (relay.resistance_ohm, relay.fitted) == (85.0, False)
    assert (fuse.rating_a, fuse.fitted, fuse.pullable) == (7.5, False, True)
    assert "which leg is coil" not in told(found)


def test_everything_wrong_with_a_side_table_is_told_at_its_cell(tmp_path: Path) -> None:
    table = side(
        tmp_path,
        "component,kind,terminals,rating_a,circuit\n"
        "K9,,85=K:1 86=K:7,,\n"
        "F1,fuze,1=X1:1 2=X1:2,,\n"
        "F2,fuse,,ten,\n"
        "F3,fuse,A=X1:1 K=X1:2,,lamps\n",
    )
    with pytest.raises(DescriptionError) as caught:
        read(tmp_path, relay_file(), side_table=table)
    places = [(problem.row, problem.column) for problem in caught.value.problems]
    assert places == [
        (2, "terminals"),
        (3, "kind"),
        (4, "terminals"),
        (4, "rating_a"),
        (5, "terminals"),
        (5, "circuit"),
    ]
    assert {problem.file for problem in caught.value.problems} == {"side.csv"}


@pytest.mark.parametrize("text", ["", "part,kind\nx,fuse\n", "component,colour\nx,red\n"])
def test_a_table_that_is_no_side_table_is_refused(tmp_path: Path, text: str) -> None:
    with pytest.raises(DescriptionError, match=r"side\.csv"):
        read(tmp_path, relay_file(), side_table=side(tmp_path, text))


def test_fuses_in_a_box_with_a_bus_bar() -> None:
    loom = kbl.read(open_data(COMPONENT_BOX)).loom
    fuses = {part.name: part for part in loom.components if part.kind is ComponentKind.FUSE}
    assert len(fuses) == 7
    assert fuses["MF1_F1"].rating_a == 150.0
    assert fuses["SR1.1_FS4"].terminal("2") == End("XJ.SR1.1.J", "4")
    bar = [part for part in loom.components if "A-1_ALL" in part.name]
    assert len(bar) == 11
    assert all(End("XJ.SR1.1.A", "1") in part.ends for part in bar)
    mated = {part.name for part in loom.components if part.note == "mated while proved"}
    assert len(mated) == 5
    assert "XD.SR1.1:1A on XJ.SR1.1.D:1A" in mated


def test_fuses_of_the_main_harness() -> None:
    found = kbl.read(open_data(MAIN_HARNESS))
    kinds = [part.kind for part in found.loom.components]
    assert (kinds.count(ComponentKind.FUSE), kinds.count(ComponentKind.RELAY)) == (20, 1)
    assert all(part.rating_a for part in found.loom.components if part.kind is ComponentKind.FUSE)
    words = told(found)
    assert "fuse ratings read from the text that describes the part (20)" in words
    assert "one slot holds 2 parts at once: SI_SITR_F31.1, SI_SITR_F31.2" in words
    assert "wires without a length (8)" in words
    assert (
        "connectors without contacts that carry the Id of another, left out as variants of its housing (13)"
        in words
    )
    designated = [wire for wire in found.loom.wires if found.loom.circuit_by_name[wire.circuit].designation]
    signals = [
        (one.findtext("Signal_name") or "").split(".")
        for one in Counted(open_data(MAIN_HARNESS)).root.iter("Connection")
    ]
    # Those of DIN 72552 that the file's senders write; 31S, 30U, 30BS and 15B are none.
    exact = {"1", "15", "30B", "31", "49", "49b", "50", "53", "53b", "53c", "54", "56", "56b", "56c", "58"}
    wanted = [fields for fields in signals if len(fields) > 1 and fields[1].split("_")[0] in exact]
    assert len(designated) == len(wanted)


def test_bundles_of_the_main_harness() -> None:
    counted = Counted(open_data(MAIN_HARNESS))
    routes = {
        routing.findtext("Routed_wire"): tuple(dict.fromkeys((routing.findtext("Segments") or "").split()))
        for routing in counted.root.findall("Routing")
    }
    wires = kbl.read(counted.path).loom.wires
    assert [wire.bundles for wire in wires] == [routes[one.attrib["id"]] for one in counted.connections]


def test_a_side_table_may_speak_of_a_part_that_this_configuration_lacks(tmp_path: Path) -> None:
    path = open_data(MAIN_HARNESS)
    whole = {part.name for part in kbl.read(path).loom.components}
    small = {part.name for part in kbl.read(path, configuration="Kombination_MINI").loom.components}
    lacking = sorted(whole - small)[0]
    table = side(tmp_path, f"component,rating_a\n{lacking},5\nSI_SITR_F1,5\n")
    loom = kbl.read(path, configuration="Kombination_MINI", side_table=table).loom
    assert lacking not in loom.component_by_name
    assert loom.component_by_name["SI_SITR_F1"].rating_a == 5.0
