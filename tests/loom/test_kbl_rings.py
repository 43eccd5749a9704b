"""KBL: rings and their words, ends without a contact, coaxial contacts, places, twists and screens."""

from __future__ import annotations

import pytest

from loomproof.electrics.expectation import expect
from loomproof.loom import kbl
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.model import ConnectorKind, End, Loom
from tests.loom import kbl_text as t
from tests.loom.kbl_files import COMPONENT_BOX, GENERATOR_CABLE, MAIN_HARNESS, Counted, open_data

TWO = t.housing("two", "1", "2")
ONE = t.housing("one", "1")
PAIR = t.connector("X1", "two", "1", "2") + t.connector("X2", "two", "1", "2")


def read(content: bytes) -> tuple[Loom, str]:
    root, warnings = parse(content, "file.kbl")
    document = Document(root, "file.kbl", list(warnings))
    return read_root(document).loom, "\n".join(str(one) for one in document.warnings)


def nets(loom: Loom) -> list[set[str]]:
    return [{str(end) for end in net.ends} for net in expect(loom).nets]


def placed(key: str) -> str:
    return (
        f'<Placement id="pl{key}"><U>1</U><U>0</U><V>0</V><V>1</V>'
        f"<Cartesian_point>pt{key}</Cartesian_point></Placement>"
    )


def point(x: float, y: float, key: str) -> str:
    return (
        f'<Cartesian_point id="pt{key}"><Coordinates>{x}</Coordinates><Coordinates>{y}</Coordinates>'
        "</Cartesian_point>"
    )


@pytest.mark.parametrize("name", [GENERATOR_CABLE, COMPONENT_BOX, MAIN_HARNESS])
def test_every_ring_of_an_open_file_has_the_words_of_its_terminal(name: str) -> None:
    counted = Counted(open_data(name))
    words = {
        (one.findtext("Id") or "").strip(): (one.findtext("Description") or "").strip()
        for one in counted.root.iter("Special_terminal_occurrence")
    }
    loom = kbl.read(open_data(name)).loom
    rings = [one for one in loom.connectors if one.kind is ConnectorKind.RING]
    assert rings
    for ring in rings:
        assert words[ring.name]
        assert ring.description.split(", ")[0] == words[ring.name]


def test_an_end_on_the_connector_takes_its_one_free_cavity() -> None:
    plug = t.connector("X2", "two", "1", "2", points=("1",))
    body = t.connection("1", "X1.1", "X2.1") + t.connection("2", "X1.2", "X2.o")
    body = body.replace("X2.o.p", "X2.o") + t.connector("X1", "two", "1", "2") + plug
    loom, told = read(t.file(TWO + t.wire_part(), body + t.wire("1") + t.wire("2")))
    assert loom.wire_by_name["2"].ends == (End("X1", "2"), End("X2", "2"))
    assert "2 at X2:2" in told
    assert loom.left_out == ()


def test_where_no_cavity_is_free_it_is_the_shell_and_no_conductor_is_lost() -> None:
    body = t.connection("1", "X1.1", "X2.1") + t.connection("2", "X1.2", "X2.o")
    loom, told = read(
        t.file(TWO + t.wire_part(), body.replace("X2.o.p", "X2.o") + PAIR + t.wire("1") + t.wire("2"))
    )
    assert loom.wire_by_name["2"].b == End("X2", "shell")
    assert loom.by_name["X2"].cavities == ("1", "2", "shell")
    assert {"X1:2", "X2:shell"} in nets(loom)
    assert "its shell" in told


def coaxial(one_cable: bool) -> bytes:
    """Two conductors, core and screen, whose contact points share cavity 1 of X2."""
    second = t.contact("X2", "1").replace("X2.1.p", "X2.9.p")
    plug = t.connector("X2", "one", "1", extra="").replace('<Slots id="X2.s">', second + '<Slots id="X2.s">')
    cores = "".join(
        f'<Core id="k{n}"><Id>{said}</Id><Wire_type>{said}</Wire_type>'
        f"{t.value('Cross_section_area', 0.14, 'mm2')}{t.colour('Core_colour', 'sw')}</Core>"
        for n, said in ((1, "inner"), (2, "screen"))
    )
    cable = f'<General_wire id="gc">{t.part()}{cores}{t.colour("Cover_colour", "sw")}</General_wire>'
    used = "".join(
        f'<Core_occurrence id="wo{n}"><Wire_number>{n}</Wire_number><Part>k{n}</Part>{t.length(500)}'
        "</Core_occurrence>"
        for n in (1, 2)
    )
    placed_cable = (
        f'<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="go"><Part>gc</Part>'
        f"{t.length(500)}<Special_wire_id>COA</Special_wire_id>{used}</General_wire_occurrence>"
    )
    body = t.connection("1", "X1.1", "X2.1", of="wo1" if one_cable else "w1")
    body += t.connection("2", "X1.2", "X2.9", of="wo2" if one_cable else "w2")
    body += t.connector("X1", "two", "1", "2") + plug
    body += placed_cable if one_cable else t.wire("1") + t.wire("2")
    return t.file(TWO + ONE + (cable if one_cable else t.wire_part()), body)


def test_a_coaxial_contact_is_two_potentials() -> None:
    loom, _ = read(coaxial(one_cable=True))
    assert nets(loom) == [{"X1:1", "X2:1"}, {"X1:2", str(End("X2", "1 screen"))}]
    assert loom.wire_by_name["1"].screened_by == "2"


def test_two_single_wires_in_one_cavity_are_one() -> None:
    loom, _ = read(coaxial(one_cable=False))
    assert nets(loom) == [{"X1:1", "X1:2", "X2:1"}]


def test_coordinates_that_all_say_the_same_say_nothing() -> None:
    apart = ["x y z (mm): 0 0", "x y z (mm): 7 9"]
    for points, wanted in ((((0, 0), (0, 0)), ["", ""]), (((0, 0), (7, 9)), apart)):
        body = t.connection("1", "X1.1", "X2.1")
        plugs = "".join(
            t.connector(f"X{n}", "two", "1", "2").replace(
                f"<Id>X{n}</Id><Part>", f"<Id>X{n}</Id>{placed(str(n))}<Part>"
            )
            for n, xy in enumerate(points, 1)
        )
        head = "".join(point(*xy, str(n)) for n, xy in enumerate(points, 1))
        loom, _ = read(t.file(head + TWO + t.wire_part(), body + plugs + t.wire("1")))
        assert [one.location for one in loom.connectors] == wanted


def test_cavities_of_a_slot_come_in_natural_order_and_are_counted() -> None:
    housing = t.housing("many", "10", "2", "A1", "1").replace(">4<", ">6<")
    body = t.connection("1", "X1.10", "X2.1") + t.connector("X1", "many", "10", "2", "A1", "1")
    body += t.connector("X2", "two", "1", "2") + t.wire("1")
    loom, told = read(t.file(housing + TWO + t.wire_part(), body))
    assert loom.by_name["X1"].cavities == ("1", "2", "10", "A1")
    assert "X1 (said 6, listed 4)" in told


@pytest.mark.parametrize(
    ("about", "twisted"), [("0,35 UTP", True), ("twisted pair", True), ("output", False)]
)
def test_a_cable_that_is_called_twisted_twists_its_cores(about: str, twisted: bool) -> None:
    content = coaxial(one_cable=True).decode().replace(">screen<", ">outer<")
    loom, _ = read(called(content, about))
    assert loom.wire_by_name["1"].twisted_with == ("2" if twisted else "")


def test_the_uninsulated_core_of_a_coaxial_cable_is_its_screen() -> None:
    content = coaxial(one_cable=True).decode().replace(">screen<", ">2<")
    before, after = content.split('<Core id="k2">')
    content = before + '<Core id="k2">' + after.replace(">sw<", ">SRC<", 1)
    loom, _ = read(called(content, "COAX 50"))
    assert loom.wire_by_name["1"].screened_by == "2"


def called(content: str, about: str) -> bytes:
    """The file with its cable described so."""
    head = '<General_wire id="gc">'
    return content.replace(head + t.part(), head + t.part("1", about)).encode()
