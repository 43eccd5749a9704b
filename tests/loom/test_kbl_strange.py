"""KBL files as strangers write them: ends that lead nowhere, positions in no order, units, namespaces."""

from __future__ import annotations

import pytest

from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.opening import parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.model import End, Loom
from tests.loom import kbl_text as t
from tests.loom.test_vec import nets

PARTS = t.housing("two", "1", "2") + t.housing("one", "1") + t.wire_part()
PLUGS = t.connector("X1", "two", "1", "2") + t.connector("X2", "two", "1", "2")


def read(content: bytes, *pairs: tuple[str, str]) -> tuple[Loom, str]:
    """Return the loom of a file after texts of it were replaced, and what was said; each has to be there."""
    text = content.decode()
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    root, warnings = parse(text.encode(), "loom.kbl")
    found = read_root(Document(root, "loom.kbl", list(warnings)))
    return found.loom, "\n".join(str(problem) for problem in found.warnings)


def branched(lengths: str = "") -> bytes:
    return t.file(PARTS, t.connection("1", "X1.1", "X2.1", "X2.2") + PLUGS + t.wire("1", lengths))


def test_an_end_that_leads_nowhere_is_told() -> None:
    loom, told = read(branched(), ("X2.1.p</Contact_point>", "X9.1.p</Contact_point>"))
    assert loom.left_out == ("wire 1: the file places 2 of its 3 ends",)
    assert "some of whose ends lie in no cavity of the file, read with the others (1): 1" in told
    assert {"X1:1", "X2:2"} in nets(loom)


@pytest.mark.parametrize("position", ["1.0", "NaN", "INF"])
def test_ends_without_an_order_have_no_lengths(position: str) -> None:
    loom, told = read(branched(), (">0.5<", f">{position}<"))
    assert [wire.length_m for wire in loom.wires] == [None, None]
    assert {"X1:1", "X2:1", "X2:2"} in nets(loom)
    assert "whose positions say no order" in told


def test_three_conductors_of_one_contact_stay_apart() -> None:
    points = "".join(t.contact("X2", "1").replace("X2.1.p", f"X2.{n}.p") for n in "89")
    plug = t.connector("X2", "one", "1").replace('<Slots id="X2.s">', points + '<Slots id="X2.s">')
    cores = "".join(
        f'<Core id="k{n}"><Id>{said}</Id><Wire_type>{said}</Wire_type>'
        f"{t.value('Cross_section_area', 0.14, 'mm2')}{t.colour('Core_colour', 'sw')}</Core>"
        for n, said in ((1, "inner"), (2, "screen"), (3, "other"))
    )
    cable = f'<General_wire id="gc">{t.part()}{cores}{t.colour("Cover_colour", "sw")}</General_wire>'
    used = "".join(
        f'<Core_occurrence id="wo{n}"><Wire_number>{n}</Wire_number><Part>k{n}</Part>{t.length(500)}'
        "</Core_occurrence>"
        for n in "123"
    )
    placed = (
        f'<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="go"><Part>gc</Part>'
        f"{t.length(500)}<Special_wire_id>TRI</Special_wire_id>{used}</General_wire_occurrence>"
    )
    body = "".join(
        t.connection(n, f"X1.{n}", f"X2.{at}", of=f"wo{n}") for n, at in zip("123", "189", strict=True)
    )
    body += t.connector("X1", "three", "1", "2", "3") + plug + placed
    loom, _ = read(t.file(t.housing("three", "1", "2", "3") + t.housing("one", "1") + cable, body))
    assert nets(loom) == [
        {"X1:1", "X2:1"},
        {"X1:2", str(End("X2", "1 screen"))},
        {"X1:3", str(End("X2", "1 core 2"))},
    ]


def test_contact_points_that_are_taken_to_touch_are_said() -> None:
    point = t.contact("X2", "1").replace("X2.1.p", "X2.9.p")
    plug = t.connector("X2", "one", "1").replace('<Slots id="X2.s">', point + '<Slots id="X2.s">')
    body = t.connection("1", "X1.1", "X2.1") + t.connection("2", "X1.2", "X2.9")
    body += t.connector("X1", "two", "1", "2") + plug + t.wire("1") + t.wire("2")
    loom, told = read(t.file(PARTS, body))
    assert nets(loom) == [{"X1:1", "X1:2", "X2:1"}]
    assert "several contact points, which are taken to touch there (1): X2:1" in told


def single(lengths: str = "") -> bytes:
    return t.file(PARTS, t.connection("1", "X1.1", "X2.1") + PLUGS + t.wire("1", lengths))


def test_a_wire_that_is_not_in_the_file_is_told_and_keeps_its_ends() -> None:
    loom, told = read(single(), ("<Wire>w1<", "<Wire>w9<"))
    assert {"X1:1", "X2:1"} in nets(loom)
    assert "<Wire> refers to 'w9', which is not in the file" in told


def test_a_cavity_that_is_not_there_is_told() -> None:
    _, told = read(single(), ("<Contacted_cavity>X2.1<", "<Contacted_cavity>X2.1 X2.77<"))
    assert "names cavities that are not in the harness: X2.77" in told


def test_units_of_inches_and_gauges() -> None:
    # 1 inch is 25.4 mm by definition; the section of AWG 18 is 0.823 mm² (ASTM B258, table of nominal areas).
    mm = '<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>'
    mm2 = mm.replace('"mm"', '"mm2"').replace("</Unit>", "<Si_dimension>square</Si_dimension></Unit>")
    loom, told = read(
        single(t.length(10)),
        (mm, '<Unit id="mm"><Unit_name>inch</Unit_name></Unit>'),
        (mm2, '<Unit id="mm2"><Unit_name>AWG</Unit_name></Unit>'),
        ("<Value_component>1.0<", "<Value_component>18<"),
    )
    assert loom.wires[0].csa_mm2 == pytest.approx(0.823, abs=0.0005)
    assert loom.wires[0].length_m == pytest.approx(0.254)
    assert "no unit of" not in told


def test_a_namespace_on_everything_is_taken_off_and_said() -> None:
    loom, told = read(
        single(),
        ("kbl:KBL_container xmlns:kbl=", "KBL_container xmlns="),
        ("</kbl:", "</"),
        ('"kbl:', '"'),
    )
    assert "namespace that the schema has on the root alone" in told
    assert {"X1:1", "X2:1"} in nets(loom)


def test_a_point_that_is_no_place_is_none() -> None:
    numbers = "<Coordinates>NaN</Coordinates><Coordinates>INF</Coordinates>"
    point = f'<Cartesian_point id="cp">{numbers}</Cartesian_point>'
    at = '<Placement id="pl"><U>1.0</U><U>0.0</U><V>0.0</V><V>1.0</V><Cartesian_point>cp</Cartesian_point>'
    content = single().replace(b"<Id>X1</Id><Part>", f"<Id>X1</Id>{at}</Placement><Part>".encode())
    loom, _ = read(
        content.replace(b'<Connector_housing id="two"', f'{point}<Connector_housing id="two"'.encode())
    )
    assert loom.by_name["X1"].location == ""


def test_connections_on_one_connector_are_not_taken_to_meet() -> None:
    body = t.connection("1", "X1.1", "X2") + t.connection("2", "X1.2", "X2")
    loom, told = read(t.file(PARTS, body.replace("X2.p", "X2.o") + PLUGS + t.wire("1") + t.wire("2")))
    assert {"X1:1", "X2:shell"} in nets(loom)
    assert {"X1:2", str(End("X2", "shell 2"))} in nets(loom)
    assert '1 at X2:shell, 2 at X2:"shell 2"' in told


def test_a_screen_on_a_plug_of_one_cavity_is_not_taken_to_meet_its_core() -> None:
    body = t.connection("1", "X1.1", "X2.1") + t.connection("2", "X1.2", "X2").replace("X2.p", "X2.o")
    body += t.connector("X1", "two", "1", "2") + t.connector("X2", "one", "1") + t.wire("1") + t.wire("2")
    loom, _ = read(t.file(PARTS, body))
    assert nets(loom) == [{"X1:1", "X2:1"}, {"X1:2", "X2:shell"}]


def test_an_end_that_names_a_cavity_is_in_it() -> None:
    loom, _ = read(single(), ("X2.1.p</Contact_point>", "X2.1</Contact_point>"))
    assert {"X1:1", "X2:1"} in nets(loom)
    assert loom.left_out == ()


def test_a_contact_that_cores_of_two_cables_share_stays_apart_from_a_second_one() -> None:
    points = t.contact("X2", "1") + t.contact("X2", "1").replace("X2.1.p", "X2.9.p")
    plug = t.connector("X2", "one", "1").replace(t.contact("X2", "1"), points)
    cores = "".join(
        f'<General_wire id="g{c}">{t.part()}'
        + "".join(
            f'<Core id="k{c}{n}"><Id>{n}</Id>{t.value("Cross_section_area", 0.5, "mm2")}'
            f"{t.colour('Core_colour', 'sw')}</Core>"
            for n in "12"
        )
        + f"{t.colour('Cover_colour', 'sw')}</General_wire>"
        for c in "XY"
    )
    used = "".join(
        f'<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="o{c}"><Part>g{c}</Part>'
        f"{t.length(500)}<Special_wire_id>{c}</Special_wire_id>"
        + "".join(
            f'<Core_occurrence id="w{c}{n}"><Wire_number>{c}{n}</Wire_number><Part>k{c}{n}</Part>'
            f"{t.length(500)}</Core_occurrence>"
            for n in "12"
        )
        + "</General_wire_occurrence>"
        for c in "XY"
    )
    body = t.connection("X1", "X1.1", "X2.1", of="wX1") + t.connection("X2", "X1.2", "X2.9", of="wX2")
    body += t.connection("Y1", "X1.3", "X2.1", of="wY1") + t.connection("Y2", "X1.4", "X1.5", of="wY2")
    body += t.connector("X1", "five", *"12345") + plug + used
    loom, _ = read(t.file(t.housing("five", *"12345") + t.housing("one", "1") + cores, body))
    assert nets(loom) == [
        {"X1:1", "X1:3", "X2:1"},
        {"X1:2", str(End("X2", "1 screen"))},
        {"X1:4", "X1:5"},
    ]


def test_a_fuse_that_the_file_places_nowhere_is_told_once() -> None:
    part = f'<Component id="pf">{t.part("pf", "Fuse 5A")}</Component>'
    fuse = (
        '<Component_occurrence id="F9"><Id>F9</Id><Mounting>nowhere</Mounting><Part>pf</Part>'
        "</Component_occurrence>"
    )
    body = fuse + t.connection("1", "X1.1", "X2.1") + PLUGS + t.wire("1")
    loom, told = read(t.file(part + PARTS, body))
    assert loom.left_out == ("part F9: the file places none of its legs",)
    assert told.count("<Mounting> refers to 'nowhere'") == 1
