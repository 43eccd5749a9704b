"""A loom written as KBL 2.5: it validates, it reads back, and what it cannot hold is named."""

from __future__ import annotations

from dataclasses import replace
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from lxml import etree

from loomproof.loom import checking, kbl, reading
from loomproof.loom.kbl.document import Document
from loomproof.loom.kbl.opening import breaches, parse
from loomproof.loom.kbl.reading import read_root
from loomproof.loom.model import (
    Answer,
    CavityFacts,
    Choice,
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Need,
    Settings,
    Wire,
)
from loomproof.loom.text import flaw, list_of
from loomproof.loom.xml_guard import schema_of
from tests.loom.kbl_files import COMPONENT_BOX, GENERATOR_CABLE, MAIN_HARNESS, ROOT, open_data

NULL = "/NULL"
"""KBL's word for nothing: the one name that it cannot hold."""

NAMES = st.text(min_size=1, max_size=8).filter(
    lambda text: not flaw(text) and text.strip() == text and text != NULL
)
COLOURS = st.sampled_from(["", "BK", "RD/YE", "GNYE", "light GN", "bare", "clear", "BU/WH/BK", "GD", "SR"])
HOUSED = [kind for kind in ConnectorKind if kind is not ConnectorKind.SPLICE]


def back(loom: Loom) -> Loom:
    root, _ = parse(kbl.write(loom).content, "back.kbl")
    return read_root(Document(root, "back.kbl")).loom


def bare(loom: Loom) -> Loom:
    """The loom as a program reads it that knows KBL alone: without what is carried beside it."""
    root, _ = parse(kbl.write(loom).content, "back.kbl")
    (harness,) = root.iterfind("Harness")
    for told in harness.findall("Processing_information"):
        harness.remove(told)
    return read_root(Document(root, "back.kbl")).loom


@st.composite
def looms(draw: st.DrawFn) -> Loom:
    names = draw(st.lists(NAMES, min_size=2, max_size=5, unique=True))
    connectors = []
    for index, name in enumerate(names):
        if index and draw(st.booleans()):
            connectors.append(Connector(name, ConnectorKind.SPLICE, hazard=draw(st.sampled_from(Hazard))))
            continue
        cavities = draw(st.lists(NAMES, min_size=1, max_size=5, unique=True))
        cut = draw(st.integers(0, len(cavities)))
        rows = tuple(tuple(row) for row in (cavities[:cut], cavities[cut:]) if row)
        connectors.append(
            Connector(
                name,
                draw(st.sampled_from(HOUSED)),
                rows,
                draw(st.just("") | NAMES),
                draw(st.just("") | NAMES),
                draw(st.just("") | NAMES),
                draw(st.sampled_from(Hazard)),
            )
        )
    ends = [end for connector in connectors for end in connector.ends]
    pairs = draw(
        st.lists(
            st.tuples(st.sampled_from(ends), st.sampled_from(ends)).filter(lambda pair: pair[0] != pair[1]),
            max_size=6,
        )
        if len(ends) > 1
        else st.just([])
    )
    circuits = draw(st.lists(NAMES, max_size=2, unique=True)) if pairs else []
    wires = [
        Wire(
            name,
            a,
            b,
            draw(COLOURS),
            draw(st.none() | st.floats(0.01, 100)),
            draw(st.none() | st.integers(1, 10_000_000).map(lambda um: um / 1_000_000)),
            draw(st.sampled_from(["", *circuits])),
            note=draw(st.just("") | NAMES),
        )
        for name, (a, b) in zip(
            draw(st.lists(NAMES, min_size=len(pairs), max_size=len(pairs), unique=True)), pairs, strict=True
        )
    ]
    if len(wires) > 2 and draw(st.booleans()):
        first, second = wires[0].name, wires[1].name
        wires[0] = replace(wires[0], twisted_with=list_of([second]), screened_by=wires[2].name)
        wires[1] = replace(wires[1], twisted_with=list_of([first]), screened_by=wires[2].name)
    used = {wire.circuit for wire in wires}
    return Loom(
        draw(NAMES),
        draw(st.just("") | NAMES),
        connectors=tuple(connectors),
        wires=tuple(wires),
        circuits=tuple(Circuit(name) for name in circuits if name in used),
    )


def as_kbl_holds(loom: Loom) -> Loom:
    """The loom without what `Written.left_out` names, and with what KBL says of unwired cavities."""
    cabled = {wire.screened_by for wire in loom.wires} | {
        wire.name for wire in loom.wires if wire.screened_by
    }
    wires = []
    for wire in loom.wires:
        screen = wire.screened_by or wire.name
        note = ", ".join(filter(None, (wire.note, f"core of {screen}" if wire.name in cabled else "")))
        wires.append(replace(wire, note=note))
    facts = []
    connectors = tuple(
        replace(one, rows=tuple(tuple(sorted(row, key=natural)) for row in one.rows))
        if one.kind is not ConnectorKind.SPLICE
        else one
        for one in loom.connectors
    )
    for connector in connectors:
        for end in connector.ends if connector.kind is not ConnectorKind.SPLICE else ():
            held = loom.wires_at.get(end, ())
            shared = len(held) > 1 and connector.kind in (ConnectorKind.PLUG, ConnectorKind.SOCKET)
            if shared or not held:
                facts.append(CavityFacts(end, spare=not held, shared=shared))
    order = list(dict.fromkeys(wire.circuit for wire in loom.wires if wire.circuit))
    return replace(
        loom,
        serial="",
        part_number=loom.part_number or loom.serial,
        revision="",
        description="from back.kbl",
        connectors=connectors,
        wires=tuple(wires),
        cavity_facts=tuple(facts),
        circuits=tuple(Circuit(name) for name in order),
    )


def natural(name: str) -> list[tuple[int, int, str]]:
    """Digits count as numbers and come before letters."""
    parts = [(mark.isdecimal(), mark) for mark in name]
    runs = [(digits, "".join(mark for _, mark in run)) for digits, run in groupby(parts, key=lambda p: p[0])]
    return [(0, int(run), "") if digits else (1, 0, run) for digits, run in runs]


@settings(max_examples=60, suppress_health_check=[HealthCheck.too_slow], deadline=None)
@given(looms())
def test_any_loom_validates_and_reads_back(loom: Loom) -> None:
    written = kbl.write(loom)
    root = etree.fromstring(written.content)
    assert breaches(root, "2.5", "written.kbl") == ()
    assert kbl.write(loom) == written
    assert back(loom) == loom or checking.errors(loom)
    found, wanted = bare(loom), as_kbl_holds(loom)
    assert found.connectors == wanted.connectors
    assert found.wires == wanted.wires
    assert found.cavity_facts == wanted.cavity_facts
    assert [circuit.name for circuit in found.circuits] == [circuit.name for circuit in wanted.circuits]
    assert (found.name, found.description) == (wanted.name, wanted.description)


@pytest.mark.parametrize("name", [GENERATOR_CABLE, COMPONENT_BOX, MAIN_HARNESS])
def test_an_imported_harness_survives_export(name: str) -> None:
    loom = kbl.read(open_data(name)).loom
    assert back(loom).digest == back(back(loom)).digest == loom.digest
    found = bare(loom)
    assert [(w.name, w.a, w.b, w.colour, w.csa_mm2, w.length_m, w.circuit) for w in found.wires] == [
        (w.name, w.a, w.b, w.colour, w.csa_mm2, w.length_m, w.circuit) for w in loom.wires
    ]
    assert [(c.name, c.kind, sorted(c.cavities)) for c in found.connectors] == [
        (c.name, c.kind, sorted(c.cavities)) for c in loom.connectors
    ]
    assert [(c.name, c.kind, c.terminals, c.rating_a) for c in found.components] == [
        (c.name, c.kind, c.terminals, c.rating_a) for c in loom.components
    ]


@pytest.mark.parametrize("name", ["hillclimb_engine", "tail_lamp"])
def test_the_demo_looms_validate(name: str) -> None:
    loom = reading.load(ROOT / "fixtures" / name).loom
    content = kbl.write(loom).content
    assert schema_of("kbl", "2.5").validate(etree.fromstring(content))
    assert back(loom) == loom
    found = bare(loom)
    assert [(w.name, w.a, w.b, w.colour) for w in found.wires] == [
        (w.name, w.a, w.b, w.colour) for w in loom.wires
    ]


def test_a_mark_that_protects_people_is_never_lost() -> None:
    airbag = Connector("AB1", ConnectorKind.PLUG, (("1", "2"),), hazard=Hazard.PYROTECHNIC)
    assert bare(Loom("l", connectors=(airbag,))).by_name["AB1"].hazard is Hazard.PYROTECHNIC


def test_parts_keep_their_pins_and_ratings() -> None:
    base = Connector("K1", ConnectorKind.RELAY_BASE, (("1", "2", "3", "4"),))
    fuses = Connector("F", ConnectorKind.FUSE_HOLDER, (("1", "2"),))
    pins = (("30", "1"), ("85", "2"), ("86", "3"), ("87", "4"))
    relay = Component(
        "R1",
        ComponentKind.RELAY,
        tuple((pin, End("K1", cavity)) for pin, cavity in pins),
        fitted=False,
        pullable=True,
    )
    fuse = Component(
        "F1",
        ComponentKind.FUSE,
        (("1", End("F", "1")), ("2", End("F", "2"))),
        rating_a=7.5,
        fitted=False,
        pullable=True,
    )
    diode = Component("D1", ComponentKind.DIODE, (("A", End("K1", "2")), ("K", End("S1"))), note="taped in")
    splice = Connector("S1", ConnectorKind.SPLICE)
    loom = Loom("l", connectors=(base, fuses, splice), components=(relay, fuse, diode))
    assert bare(loom).components == loom.components


def test_what_was_carried_is_left_out_once_another_program_has_changed_the_file() -> None:
    loom = reading.load(ROOT / "fixtures" / "tail_lamp").loom
    content = kbl.write(loom).content
    wire = loom.wires[0].name.encode()
    assert content.count(b"<Wire_number>" + wire + b"</Wire_number>") == 1
    root, _ = parse(content.replace(b"<Wire_number>" + wire, b"<Wire_number>other"), "changed.kbl")
    document = Document(root, "changed.kbl")
    found = read_root(document).loom
    assert found.wires[0].name == "other"
    assert found.description == "from changed.kbl"
    assert any("changed since it was written" in problem.message for problem in document.warnings)


def test_everything_that_is_lost_is_named() -> None:
    plug = Connector("C1", ConnectorKind.PLUG, (("1", "", "2"),))
    loom = Loom(
        "l",
        description="about",
        connectors=(plug, Connector("S1", ConnectorKind.SPLICE)),
        wires=(
            Wire(
                "W1", End("C1", "1"), End("S1"), circuit="c", section="18 AWG", bundle="trunk", length_m=0.0
            ),
            Wire("W2", End("C1", "2"), End("S1"), twisted_with="W1"),
        ),
        components=(
            Component(
                "R1",
                ComponentKind.RESISTOR,
                (("1", End("C1", "1")), ("2", End("S1"))),
                resistance_ohm=10,
                tolerance_pct=1,
                fitted=False,
                circuit="c",
            ),
            Component(
                "D1",
                ComponentKind.DIODE,
                (("A", End("C1", "1")), ("K", End("S1"))),
                forward_v=0.6,
                rating_a=1,
            ),
            Component(
                "X1", ComponentKind.CAPACITOR, (("1", End("C1", "1")), ("2", End("S1"))), capacitance_f=1e-6
            ),
        ),
        circuits=(
            Circuit("c", "horn", "71", 4.0, "10 A", ("d",), Need.OPTIONAL),
            Circuit("d"),
        ),
        cavity_facts=(CavityFacts(End("C1", "1"), sealed=False, note="bent", shared=True),),
        choices=(Choice("q", "?", (Answer("a"),)),),
        settings=Settings(wire_length_m=3.0),
    )
    told = " ".join(problem.message for problem in kbl.write(loom).left_out)
    for lost in (
        *(
            "description",
            "wire_length_m",
            "choices: q",
            "gaps",
            "not sealed: C1:1",
            "notes of cavities: C1:1",
        ),
        *("may hold two wires", "trunk", "(AWG, strands); mm² are: W1", "a length of 0: W1"),
        *("twisted with one that is not twisted with it: W2", "resistance_ohm of parts: R1", "forward_v"),
        *(
            "tolerance_pct",
            "capacitance_f",
            "other than fuses: D1",
            "fitted and can be pulled",
            "of parts: R1",
        ),
        *("purposes", "designations", "loads", "fuses of", "need others", "is needed", "without wires: d"),
    ):
        assert lost in told, lost


def test_the_one_name_that_means_nothing_is_named() -> None:
    told = kbl.write(Loom("l", connectors=(Connector(NULL, ConnectorKind.SPLICE),))).left_out
    assert any("'/NULL'" in problem.message for problem in told)


def test_a_plain_loom_loses_nothing() -> None:
    plugs = tuple(Connector(name, ConnectorKind.PLUG, (("1",),)) for name in ("A", "B"))
    wire = Wire("W1", End("A", "1"), End("B", "1"), "RD/YE", 1.5, 2.5, "feed")
    loom = Loom("l", connectors=plugs, wires=(wire,), circuits=(Circuit("feed"),))
    assert kbl.write(loom).left_out == ()


def test_a_file_can_be_written_and_read_by_path(tmp_path: Path) -> None:
    loom = reading.load(ROOT / "fixtures" / "tail_lamp").loom
    path = tmp_path / "lamp.kbl"
    path.write_bytes(kbl.write(loom).content)
    assert len(kbl.read(path).loom.wires) == len(loom.wires)
