"""What a KBL file says comes out right, feature by feature, and what it leaves open is said."""

from __future__ import annotations

from pathlib import Path

import pytest

from loomproof.errors import DescriptionError
from loomproof.loom import kbl
from loomproof.loom.kbl.conductors import read_colour
from loomproof.loom.kbl.variants import designation_in
from loomproof.loom.model import ComponentKind, ConnectorKind, End, Hazard, Need
from loomproof.loom.reading import LoadedLoom, load
from loomproof.loom.writing import write_folder, write_workbook
from tests.loom import kbl_text as t

TWO = t.housing("two", "1", "2")
ONE = t.housing("one", "1")
PAIR = t.connector("X1", "two", "1", "2") + t.connector("X2", "two", "1", "2")


def read(tmp_path: Path, content: bytes, **options: str) -> LoadedLoom:
    path = tmp_path / "file.kbl"
    path.write_bytes(content)
    return kbl.read(path, **options)


def told(found: LoadedLoom) -> str:
    return "\n".join(str(problem) for problem in found.warnings)


@pytest.mark.parametrize("version", ["2.3 SR-1", "2.4 SR-1", "2.4", "2.5 SR-1"])
def test_every_version_is_read(tmp_path: Path, version: str) -> None:
    body = t.connection("1", "X1.1", "X2.1", signal="V.15a.A") + PAIR + t.wire("1")
    found = read(tmp_path, t.file(TWO + t.wire_part(), body, version=version))
    (wire,) = found.loom.wires
    assert (wire.a, wire.b, wire.colour, wire.csa_mm2, wire.length_m) == (
        End("X1", "1"),
        End("X2", "1"),
        "RD",
        1.0,
        1.0,
    )
    assert found.loom.circuit_by_name["V.15a.A"].designation == "15a"


def test_all_contacts_of_a_splice_are_one_end(tmp_path: Path) -> None:
    splice = (
        '<Connector_occurrence id="S.o"><Id>S</Id><Usage>splice</Usage><Part>one</Part>'
        '<Contact_points id="S.a.p"><Id>a</Id><Contacted_cavity>S.1</Contacted_cavity></Contact_points>'
        '<Contact_points id="S.b.p"><Id>b</Id><Contacted_cavity>S.1</Contacted_cavity></Contact_points>'
        '<Slots id="S.s"><Part>one.s</Part><Cavities id="S.1"><Part>one.1</Part></Cavities></Slots>'
        "</Connector_occurrence>"
    )
    body = t.connection("1", "X1.1", "S.a") + t.connection("2", "S.b", "X2.1") + PAIR + splice
    found = read(tmp_path, t.file(ONE + TWO + t.wire_part(), body + t.wire("1") + t.wire("2")))
    assert {wire.b for wire in found.loom.wires} | {wire.a for wire in found.loom.wires} >= {End("S")}
    assert found.loom.by_name["S"].kind is ConnectorKind.SPLICE


def test_a_wire_with_three_contacts_is_two_runs_that_share_its_length(tmp_path: Path) -> None:
    body = t.connection("7", "X1.1", "X2.1", "X1.2") + PAIR + t.wire("7", t.length(3000))
    found = read(tmp_path, t.file(TWO + t.wire_part(), body))
    assert [(wire.name, str(wire.a), str(wire.b), wire.length_m) for wire in found.loom.wires] == [
        ("7.1", "X1:1", "X2:1", 1.5),
        ("7.2", "X2:1", "X1:2", 1.5),
    ]


def test_a_terminal_that_fills_two_cavities_joins_them(tmp_path: Path) -> None:
    comb = t.connector("X2", "two", "1", "2", points=("9",)).replace(
        t.contact("X2", "9"), t.contact("X2", "1", "2")
    )
    body = t.connection("1", "X1.1", "X2.1") + t.connector("X1", "two", "1", "2") + comb + t.wire("1")
    found = read(tmp_path, t.file(TWO + t.wire_part(), body))
    (link,) = found.loom.components
    assert (link.kind, set(link.ends), link.fitted) == (
        ComponentKind.LINK,
        {End("X2", "1"), End("X2", "2")},
        True,
    )


def test_lengths_by_type(tmp_path: Path) -> None:
    lengths = t.length(0, "DMU") + t.length(900, "Zuschnitt") + t.length(850, "Production")
    body = t.connection("1", "X1.1", "X2.1") + PAIR + t.wire("1", lengths)
    content = t.file(TWO + t.wire_part(), body)
    first = read(tmp_path, content)
    assert first.loom.wires[0].length_m == 0.9
    assert "DMU, Zuschnitt, Production" in told(first)
    assert read(tmp_path, content, length_type="Production").loom.wires[0].length_m == 0.85
    odd = read(tmp_path, content, length_type="Produktion")
    assert odd.loom.wires[0].length_m == 0.9
    assert "no length is of the type 'Produktion'" in told(odd)


def test_a_wire_of_no_length_is_said_and_takes_that_of_its_route(tmp_path: Path) -> None:
    body = (
        t.connection("1", "X1.1", "X2.1")
        + t.connection("2", "X1.2", "X2.2")
        + PAIR
        + t.wire("1", t.length(0))
        + t.wire("2", t.length(0))
    )
    point = (
        '<Cartesian_point id="c"><Coordinates>1</Coordinates><Coordinates>2</Coordinates></Cartesian_point>'
    )
    nodes = "".join(
        f'<Node id="n{i}"><Id>n{i}</Id><Cartesian_point>c</Cartesian_point></Node>' for i in range(3)
    )
    segments = "".join(
        f'<Segment id="g{i}"><Id>branch {i}</Id>{t.value("Virtual_length", 400 + i, "mm")}'
        f"<End_node>n{i + 1}</End_node><Start_node>n{i}</Start_node></Segment>"
        for i in range(2)
    )
    routing = '<Routing id="r"><Routed_wire>c1</Routed_wire><Segments>g0 g1</Segments></Routing>'
    found = read(tmp_path, t.file(point + TWO + t.wire_part(), body, rest=nodes + routing + segments))
    assert [wire.length_m for wire in found.loom.wires] == [0.801, None]
    assert found.loom.wires[0].bundles == ("branch 0", "branch 1")
    assert "wires without a length (1): 2" in told(found)
    assert "take that of their route (1): 1" in told(found)


def cable(types: tuple[str, ...], ids: tuple[str, ...]) -> bytes:
    cores = "".join(
        f'<Core id="cp{i}"><Id>{ids[i]}</Id><Wire_type>{kind}</Wire_type>'
        f"{t.value('Cross_section_area', 0.35, 'mm2')}{t.colour('Core_colour', 'ws' if i else 'blk')}</Core>"
        for i, kind in enumerate(types)
    )
    wire_part = f'<General_wire id="cab">{t.part()}{cores}{t.colour("Cover_colour", "/NULL")}</General_wire>'
    occurrences = "".join(
        f'<Core_occurrence id="co{i}"><Wire_number>{i}</Wire_number><Part>cp{i}</Part>{t.length(1000)}'
        "</Core_occurrence>"
        for i in range(len(types))
    )
    placed = (
        '<General_wire_occurrence xsi:type="kbl:Special_wire_occurrence" id="sw"><Part>cab</Part>'
        f"{t.length(1000)}"
        f"<Special_wire_id>SL1</Special_wire_id>{occurrences}</General_wire_occurrence>"
    )
    three = t.housing("three", "0", "1", "2")
    ends = "".join(t.connection(f"c{i}", f"X1.{i}", f"X2.{i}", of=f"co{i}") for i in range(len(types)))
    both = "".join(t.connector(name, "three", "0", "1", "2") for name in ("X1", "X2"))
    return t.file(three + wire_part, ends + both + placed)


def test_twisted_cores_and_the_screen_of_a_cable(tmp_path: Path) -> None:
    loom = read(tmp_path, cable(("shield", "twist", "twist"), ("0-x", "1-ws", "2-ws"))).loom
    assert [wire.screened_by for wire in loom.wires] == ["", "0", "0"]
    assert [wire.partners for wire in loom.wires] == [(), ("2",), ("1",)]
    assert [wire.colour for wire in loom.wires] == ["bare", "WH", "WH"]
    assert {wire.note for wire in loom.wires} == {"core of SL1"}


def test_a_screen_is_told_by_its_name_where_all_cores_have_its_type(tmp_path: Path) -> None:
    loom = read(tmp_path, cable(("shield", "shield"), ("1-Signal", "2-Schirm"))).loom
    assert [wire.screened_by for wire in loom.wires] == ["1", ""]
    loom = read(tmp_path, cable(("shield", "shield", "shield"), ("a", "b", "c"))).loom
    assert [wire.screened_by for wire in loom.wires] == ["", "", ""]


def test_a_wiring_group_is_twisted(tmp_path: Path) -> None:
    group = '<Wiring_group id="g"><Id>1</Id><Type>twisted pair</Type>'
    group += "<Assigned_wire>w1 w2</Assigned_wire></Wiring_group>"
    body = t.connection("1", "X1.1", "X2.1") + t.connection("2", "X1.2", "X2.2") + PAIR
    found = read(tmp_path, t.file(TWO + t.wire_part(), body + t.wire("1") + t.wire("2") + group))
    assert [wire.partners for wire in found.loom.wires] == [("2",), ("1",)]


def test_colours_are_german_letters_or_those_of_the_standard(tmp_path: Path) -> None:
    # DIN 47002 / DIN 72551 letters and their IEC 60757 equivalents.
    for german, held in (
        ("gr", "GY"),
        ("gn", "GN"),
        ("br", "BN"),
        ("bl", "BU"),
        ("blk", "bare"),
        ("GN", "GN"),
        ("RT", "RD"),
        ("BL", "BU"),
        ("SR", "SR"),
        ("blau", "BU"),
        ("weiss", "WH"),
    ):
        assert read_colour(german) == held
    body = t.connection("1", "X1.1", "X2.1") + PAIR + t.wire("1")
    found = read(tmp_path, t.file(TWO + t.wire_part("wp", "ws", "mauve"), body))
    assert (found.loom.wires[0].colour, found.loom.wires[0].note) == ("", "colour ws mauve")
    assert "'mauve' (1)" in told(found)


@pytest.mark.parametrize(
    ("signal", "designation"),
    [
        ("V.15A.SYS", "15a"),
        ("V.15.SYS", "15"),
        ("M.31.SYS", "31"),
        ("V.58L.x", "58L"),
        ("V.30_StGen.x", "30"),
        ("M.31S.x", ""),
        ("V.30U.x", ""),
        ("V.15B.x", ""),
        ("V.53C.x", "53c"),
        ("V.99.x", ""),
        ("V.SYS.15", ""),
        ("plain", ""),
    ],
)
def test_terminal_designation_in_a_signal_name(signal: str, designation: str) -> None:
    assert designation_in(signal) == designation


def test_what_is_not_read_is_counted_and_told(tmp_path: Path) -> None:
    tape = f'<Wire_protection id="wp1">{t.part()}</Wire_protection>'
    clip = f'<Fixing id="f">{t.part()}</Fixing>'
    body = t.connection("1", "X1.1", "X2.1") + PAIR + t.wire("1")
    content = t.file(TWO + clip + t.wire_part(), body).replace(b"</kbl:KBL", tape.encode() + b"</kbl:KBL")
    assert "1 Fixing, 1 Wire_protection" in told(read(tmp_path, content))


def test_details_and_loose_wires_are_told(tmp_path: Path) -> None:
    alias = '<Alias_id id="al"><Alias_id>other</Alias_id></Alias_id>'
    plugs = PAIR.replace("<Id>X2</Id><Part>", f"<Id>X2</Id>{alias}<Part>")
    body = t.connection("1", "X1.1", "X2.1") + plugs + t.wire("1") + t.wire("9")
    words = told(read(tmp_path, t.file(TWO + t.wire_part(), body)))
    assert "wires and cores that no connection names, left out (1): 9" in words


def test_another_name_of_a_connector_describes_it(tmp_path: Path) -> None:
    alias = '<Alias_id id="al"><Alias_id>plug of the lamp</Alias_id></Alias_id>'
    plugs = PAIR.replace("<Id>X2</Id><Part>", f"<Id>X2</Id>{alias}<Part>")
    body = t.connection("1", "X1.1", "X2.1") + plugs + t.wire("1")
    found = read(tmp_path, t.file(TWO + t.wire_part(), body))
    assert found.loom.by_name["X2"].description == "plug of the lamp"


def test_what_no_wire_of_the_loom_stands_for_stays_said(tmp_path: Path) -> None:
    body = t.connection("1", "X1.1", "X2.1") + PAIR + t.wire("1") + t.wire("9")
    loom = read(tmp_path, t.file(TWO + t.wire_part(), body)).loom
    assert loom.left_out == ("wire or core 9: no connection of the file names it",)
    write_folder(loom, tmp_path / "kept")
    write_workbook(loom, tmp_path / "kept.xlsx")
    for kept in (load(tmp_path / "kept"), load(tmp_path / "kept.xlsx")):
        assert kept.loom.digest == loom.digest
        assert any("wire or core 9" in problem.message for problem in kept.warnings)


def test_a_connector_that_speaks_of_an_airbag_stays_off_the_bench(tmp_path: Path) -> None:
    bag = t.connector("X2", "two", "1", "2").replace(
        "</Id>", "</Id><Description>Beifahrer-Airbag</Description>", 1
    )
    stated = (
        '<Installation_information id="ii"><Instruction_type>hazard</Instruction_type>'
        "<Instruction_value>none</Instruction_value></Installation_information>"
    )
    plugs = t.connector("X1", "two", "1", "2")
    for extra, hazard in (("", Hazard.PYROTECHNIC), (stated, Hazard.NONE)):
        other = bag.replace('<Slots id="X2.s">', f'{extra}<Slots id="X2.s">')
        found = read(
            tmp_path,
            t.file(TWO + t.wire_part(), t.connection("1", "X1.1", "X2.1") + plugs + other + t.wire("1")),
        )
        assert found.loom.by_name["X2"].hazard is hazard
        assert found.loom.by_name["X1"].hazard is Hazard.UNKNOWN
        assert ("pyrotechnic because their words speak of one (1): X2" in told(found)) is (not extra)


def test_a_nominal_voltage_is_never_dropped(tmp_path: Path) -> None:
    wired = t.connection("1", "X1.1", "X2.1", signal="HV").replace(
        "</Signal_name>", "</Signal_name><Nominal_voltage>400 V</Nominal_voltage>"
    )
    found = read(tmp_path, t.file(TWO + t.wire_part(), wired + PAIR + t.wire("1")))
    assert found.loom.wires[0].note == "nominal voltage 400 V"
    assert "nominal voltages stand in the wires' notes: 400 V (1)" in told(found)
    assert "60 V" in told(found)


def modular() -> bytes:
    body = t.connection("1", "X1.1", "X2.1", signal="lamp") + t.connection("2", "X1.1", "X2.2", signal="lamp")
    body += t.connection("3", "X1.2", "X3.1") + PAIR + t.connector("X3", "two", "1", "2")
    title = "<Car_classification_level_2>/NULL</Car_classification_level_2><Model_year>/NULL</Model_year>"
    configurations = "".join(
        f'<Harness_configuration id="hc{i}">{t.part("P", name)}{title}<Modules>{modules}</Modules>'
        "</Harness_configuration>"
        for i, (name, modules) in enumerate((("plain", "m1"), ("both", "m1 m2"), ("none", "")))
    )
    modules = "".join(
        f'<Module id="{key}">{t.part(key.upper())}{title}<Content>module</Content><Of_family>fam</Of_family>'
        f'<Module_configuration id="{key}.mc"><Logistic_control_information>L</Logistic_control_information>'
        f"<Controlled_components>{controlled}</Controlled_components></Module_configuration></Module>"
        for key, controlled in (("m1", "c1"), ("m2", "c2 c3"))
    )
    family = '<Module_families id="fam"><Id>lamps</Id></Module_families>'
    wires = t.wire("1") + t.wire("2") + t.wire("3")
    return t.file(TWO + t.wire_part(), body + wires, configurations + modules + family)


def test_a_configuration_has_the_connections_of_its_modules(tmp_path: Path) -> None:
    found = read(tmp_path, modular(), configuration="plain")
    assert [wire.name for wire in found.loom.wires] == ["1"]
    assert {connector.name for connector in found.loom.connectors} == {"X1", "X2"}
    assert found.loom.choices == ()
    assert "connectors without a wire in this configuration, left out (1): X3" in told(found)
    assert read(tmp_path, modular(), configuration="hc0").loom.wires == found.loom.wires


def test_two_alternatives_at_once_are_said(tmp_path: Path) -> None:
    found = read(tmp_path, modular(), configuration="both")
    assert len(found.loom.wires) == 3
    assert "configuration 'both' fits alternatives at once and is no buildable car: lamps: M1, M2" in told(
        found
    )
    whole = told(read(tmp_path, modular()))
    assert "all 2 modules are read at once; that is no buildable car" in whole
    assert "Name a configuration: 'plain', 'both', 'none'." in whole


def test_an_empty_configuration_is_said(tmp_path: Path) -> None:
    found = read(tmp_path, modular(), configuration="none")
    assert found.loom.wires == ()
    assert "configuration 'none' names no module: no wire is left" in told(found)


def test_an_unknown_configuration_is_told_with_a_near_miss(tmp_path: Path) -> None:
    with pytest.raises(DescriptionError, match="no configuration 'plane'") as caught:
        read(tmp_path, modular(), configuration="plane")
    assert "plain" in caught.value.cure


def test_configurations_and_modules_are_choices(tmp_path: Path) -> None:
    loom = read(tmp_path, modular()).loom
    one, two, three = (wire.circuit for wire in loom.wires)
    assert (one, two, three) == ("lamp", "lamp#2", "without signal name")

    def needs(**answers: str) -> list[Need]:
        return [loom.need_of(circuit, answers) for circuit in (one, two, three)]

    needed, unused = Need.NEEDED, Need.UNUSED
    assert needs() == [needed, needed, needed]
    assert needs(configuration="plain") == [needed, unused, unused]
    assert needs(configuration="none") == [unused, unused, unused]
    assert needs(**{"module-lamps": "M2"}) == [unused, needed, needed]
