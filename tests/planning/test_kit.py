"""What adapters for looms are made of, against counts by hand."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import openpyxl
import pypdf
import pytest

from loomproof.errors import UsageError
from loomproof.jobs.kit import kit_for, write_kit
from loomproof.loom.model import CavityFacts, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.planning.kit import HookedUp, kit_of
from loomproof.results.kit import Kit, PlugType
from tests.cli.running import loomproof


def plug(name: str, cavities: str, housing: str = "", kind: ConnectorKind = ConnectorKind.PLUG) -> Connector:
    return Connector(name, kind, (tuple(cavities.split()),), housing=housing, hazard=Hazard.NONE)


def loom(name: str, *plugs: Connector, wires: tuple[Wire, ...] = ()) -> Loom:
    return Loom(name, connectors=plugs, wires=wires)


def whole(one: Loom) -> HookedUp:
    return HookedUp(one, ({end: point for point, end in enumerate(one.cavities, 1)},))


def quantities(kit: Kit) -> dict[str, int]:
    return {each.type.housing or each.type.of or each.type.kind: each.quantity for each in kit.plugs}


def test_looms_share_plugs_and_the_most_demanding_one_counts() -> None:
    one = loom("one", plug("A", "1 2", "H2"), plug("B", "1 2", "H2"), plug("C", "1 2 3", "H3"))
    other = loom("other", plug("X", "1 2", "H2"), plug("Y", "1 2", "H2"), plug("Z", "1 2", "H2"))
    kit = kit_of([whole(one), whole(other)], 7)
    assert quantities(kit) == {"H2": 3, "H3": 1}
    assert [each.type.housing for each in kit.once] == ["H2"]
    assert [each.type.housing for each in kit.for_one("one")] == ["H3"]
    assert kit.for_one("other") == ()
    assert sum(each.leads for each in kit.plugs) == 3 * 2 + 3


def test_of_several_hook_ups_the_fullest_counts() -> None:
    """A and B are never on together, so one plug serves both; A is put on twice."""
    one = loom("one", plug("A", "1 2", "H2"), plug("B", "1 2", "H2"), plug("C", "1", "H1"))
    on_a, on_b, c = (
        {End("A", "1"): 1, End("A", "2"): 2},
        {End("B", "1"): 1, End("B", "2"): 2},
        {End("C", "1"): 3},
    )
    kit = kit_of([HookedUp(one, ({**on_a, **c}, {**on_b, **c}, on_a))], 3)
    assert quantities(kit) == {"H2": 1, "H1": 1}
    (driven,) = kit.driven
    assert (driven.cavities, driven.hook_ups, driven.plug_ins, driven.points) == (5, 3, 4, 3)
    assert [(label.hook_up, label.point, str(label.end)) for label in kit.lead_labels][-2:] == [
        (3, 1, "A:1"),
        (3, 2, "A:2"),
    ]


def test_what_is_not_described_is_asked_and_never_shared() -> None:
    one = loom("one", plug("A", "1 2"), plug("R", "1", kind=ConnectorKind.RING))
    other = loom("other", plug("A", "1 2"), plug("R", "1", kind=ConnectorKind.RING))
    kit = kit_of([whole(one), whole(other)], 3)
    assert kit.questions == (
        "one: which housing has A (plug, 2 cavities)?",
        "other: which housing has A (plug, 2 cavities)?",
    )
    assert quantities(kit) == {"A of one": 1, "A of other": 1, "ring": 1}


def test_a_housing_that_is_described_in_two_ways_is_asked_about() -> None:
    kit = kit_of(
        [whole(loom("one", plug("A", "1 2", "H"))), whole(loom("other", plug("B", "1 2 3", "H")))], 3
    )
    (question,) = kit.questions
    assert "is it one housing" in question
    assert [len(each.type.cavities) for each in kit.plugs] == [2, 3]


def test_nothing_is_made_for_what_must_never_be_driven() -> None:
    bag = Connector("BAG", ConnectorKind.PLUG, (("1", "2"),), housing="HB", hazard=Hazard.PYROTECHNIC)
    kit = kit_of([whole(loom("one", bag, plug("A", "1", "H1")))], 3)
    assert quantities(kit) == {"H1": 1}
    assert [str(label.end) for label in kit.lead_labels] == ["A:1"]
    assert "BAG is pyrotechnic" in kit.questions[0]


def test_terminals_go_by_section_seal_and_emptiness() -> None:
    wires = (
        Wire("W1", End("A", "1"), End("B", "1"), "RD", 0.5),
        Wire("W2", End("A", "2"), End("B", "2"), "BU", 1.5),
        Wire("W3", End("A", "3"), End("B", "2")),
    )
    described = Loom(
        "one",
        connectors=(plug("A", "1 2 3 4", "H4"), plug("B", "1 2", "H2")),
        wires=wires,
        cavity_facts=(CavityFacts(End("A", "4"), spare=True, sealed=True),),
    )
    kit = kit_of([whole(described)], 6)
    of_a = [
        each
        for each in kit.terminals
        if each.type == PlugType(ConnectorKind.PLUG, "H4", "", ("1", "2", "3", "4"))
    ]
    assert [(each.sections_mm2, each.sealed, each.empty, each.quantity) for each in of_a] == [
        ((0.5,), False, False, 1),
        ((1.5,), False, False, 1),
        ((), False, False, 1),
        ((), True, True, 1),
    ]
    assert [label.colours for label in kit.lead_labels[:4]] == [("RD",), ("BU",), (), ()]


def test_table_workbook_and_page_hold_the_same(fixtures: Path, tmp_path: Path) -> None:
    kit = kit_for([fixtures / "tail_lamp", fixtures / "hillclimb_engine"], 64)
    write_kit(kit, tmp_path / "kit.csv")
    rows = list(csv.DictReader(io.StringIO((tmp_path / "kit.csv").read_text(encoding="utf-8-sig"))))
    assert sum(int(row["quantity"]) for row in rows if row["list"] == "plugs") == sum(
        p.quantity for p in kit.plugs
    )
    labels = [row for row in rows if row["list"] == "lead labels"]
    assert len(labels) == len(kit.lead_labels)
    assert {"BODY", "LAMP", "EARTH"} <= {row["connector"] for row in labels}
    write_kit(kit, tmp_path / "kit.xlsx")
    sheet = openpyxl.load_workbook(tmp_path / "kit.xlsx").active
    assert sheet is not None
    assert sheet.max_row == len(rows) + 1
    write_kit(kit, tmp_path / "kit.pdf")
    text = "".join(page.extract_text() for page in pypdf.PdfReader(tmp_path / "kit.pdf").pages)
    assert "Labels for leads" in text
    assert "BODY:6" in text
    with pytest.raises(UsageError, match=r"\.csv, \.xlsx or \.pdf"):
        write_kit(kit, tmp_path / "kit.txt")


def test_a_loom_given_twice_is_refused(fixtures: Path) -> None:
    with pytest.raises(UsageError, match="two looms are called"):
        kit_for([fixtures / "tail_lamp", fixtures / "tail_lamp"])


def test_a_board_too_small_says_so_and_still_lists_the_plugs(fixtures: Path) -> None:
    done = loomproof("adapter", "parts", fixtures / "tail_lamp", "--points", "1")
    assert done.returncode == 2
    assert "Left tail lamp cannot be hooked up to 1 point: " in " ".join(done.stderr.split())
    assert loomproof("adapter", "parts", fixtures / "tail_lamp", "--points", "9").returncode == 0
    assert "none: " in done.stdout
    assert "BP6" in done.stdout
    assert loomproof("adapter", "parts").returncode == 2
    assert "there is no such loom" in loomproof("adapter", "parts", "nowhere").stderr


def test_repairs_name_wire_terminals_and_sleeves(
    fixtures: Path, tmp_path: Path, simulated_within: None
) -> None:
    home = str(tmp_path / "home")
    lamp, words = fixtures / "tail_lamp", "sim:?fault=open%20W2&fault=short%20BODY:3%20BODY:4"
    loomproof("prove", lamp, "--bench", words, "--out", tmp_path, LOOMPROOF_HOME=home)
    done = loomproof("findings", "--parts", lamp, LOOMPROOF_HOME=home)
    said = " ".join(done.stdout.split())
    assert "0.75 mm², BK/RD (black/red), at most 1.4 m" in said
    assert "terminal 0.75 mm², housing BP6" in said
    assert "insulating sleeve over 0.75 mm², where it touches" in said
    narrowed = loomproof("findings", "--saw", "W2 sound", "--parts", lamp, LOOMPROOF_HOME=home)
    wanted = " ".join(narrowed.stdout.partition("To have ready")[2].split())
    assert "terminal 0.75 mm², housing BP6" in wanted
    assert "at most 1.4 m" not in wanted
    assert "crimp splice" not in wanted
    assert "insulating sleeve" in wanted
    nowhere = loomproof("findings", "--parts", "nowhere", LOOMPROOF_HOME=home)
    assert nowhere.returncode == 2
    assert nowhere.stdout == ""
    other = loomproof("findings", "--parts", fixtures / "hillclimb_engine", LOOMPROOF_HOME=home)
    assert "The description is not the one that was proved" in " ".join(other.stdout.split())
