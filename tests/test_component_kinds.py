"""Every kind of component goes the whole way: described, drawn, explained, proved, told when it is bad.

Whoever adds a kind is told here, by the type checker or by a failing case, what it still lacks
(`DEVELOPERS.md`, adding a kind of component). What a fault is told as is written by hand, by what a meter
shows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path as FilePath
from typing import assert_never

import pytest
from click.testing import CliRunner

from loomproof.cli.loom import explain
from loomproof.electrics.component_kinds import FACTS, Closed, Path, paths_of
from loomproof.electrics.components import component_reading
from loomproof.electrics.expectation import expect
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom import kbl
from loomproof.loom.checking import errors
from loomproof.loom.component_kinds import FORMS
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.loom.reading import load_files, load_workbook
from loomproof.loom.suspicions import warnings
from loomproof.loom.writing import folder_files, workbook_bytes, write_folder
from loomproof.reports.drawing_loom import picture
from loomproof.reports.drawing_symbols import symbol
from loomproof.results.document import Verdict
from loomproof.results.fitting import Action
from tests.cli.running import loomproof
from tests.measuring.scanner_bench import loom_of, outcome_of

pytestmark = pytest.mark.usefixtures("simulated_within")

KINDS = list(ComponentKind)


@dataclass(frozen=True)
class Case:
    """A row of components.csv, how it is shown, what a sound one is told as, and what its faults are."""

    row: str
    shown: str
    faults: dict[str, str]
    untold: bool = False


def case_of(kind: ComponentKind) -> Case:
    """Return the case of a kind. In a row: name, kind, terminals, Ω, %, V, F, A."""
    match kind:
        case ComponentKind.FUSE:
            return Case(
                "X1,fuse,1=A:1 2=A:2,,,,,10",
                "10 A",
                {"missing X1": "blown_fuse", "blown X1": "blown_fuse", "value 3 X1": "resistive_contact"},
            )
        case ComponentKind.LINK:
            return Case(
                "X1,link,1=A:1 2=A:2,0.02,,,,",
                "0.02 Ω",
                {"missing X1": "open_part", "value 3 X1": "resistive_contact"},
            )
        case ComponentKind.RELAY:
            return Case(
                "X1,relay,85=A:1 86=A:2 30=A:3 87=A:4 87a=A:5,85,,,,",
                "85 Ω",
                {
                    "short A:1 A:2": "shorted_part",
                    "value 200 X1": "wrong_value",
                    "missing X1": "open_part",
                },
            )
        case ComponentKind.DIODE:
            return Case(
                "X1,diode,A=A:1 K=A:2,,,0.65,,",
                "0.65 V",
                {
                    "missing X1": "missing_part",
                    "reversed X1": "reversed_diode",
                    "short A:1 A:2": "touching",
                },
            )
        case ComponentKind.RESISTOR:
            return Case(
                "X1,resistor,1=A:1 2=A:2,470,5,,,",
                "470 Ω",
                {
                    "missing X1": "missing_part",
                    "short A:1 A:2": "shorted_part",
                    "value 900 X1": "wrong_value",
                },
            )
        case ComponentKind.COIL:
            return Case(
                "X1,coil,1=A:1 2=A:2,14.5,10,,,",
                "14.5 Ω",
                {"missing X1": "missing_part", "short A:1 A:2": "shorted_part", "value 40 X1": "wrong_value"},
            )
        case ComponentKind.CAPACITOR:
            return Case(
                "X1,capacitor,1=A:1 2=A:2,,,,1e-07,",
                "100 nF",
                {"short A:1 A:2": "shorted_part", "leak 3k A:1 A:2": "wrong_value"},
                untold=True,
            )
        case _:
            assert_never(kind)


COLUMNS = "component,kind,terminals,resistance_ohm,tolerance_pct,forward_v,capacitance_f,rating_a\n"


def loom_with(kind: ComponentKind) -> Loom:
    files = folder_files(loom_of("1 2 3 4 5"))
    files["components.csv"] = f"{COLUMNS}{case_of(kind).row}\n".encode()
    return load_files(files, "parts").loom


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_described_without_a_question(kind: ComponentKind) -> None:
    loom = loom_with(kind)
    assert loom.components[0].kind is kind
    assert errors(loom) == []
    assert not [problem for problem in warnings(loom) if "X1" in problem.message]


@pytest.mark.parametrize("kind", KINDS)
def test_terminals_of_other_names_are_refused_where_they_matter(kind: ComponentKind) -> None:
    loom = loom_with(kind)
    part = loom.components[0]
    other = replace(part, terminals=tuple((f"x{name}", end) for name, end in part.terminals))
    said = [*errors(replace(loom, components=(other,))), *warnings(replace(loom, components=(other,)))]
    assert any("X1" in problem.message for problem in said)


@pytest.mark.parametrize("kind", KINDS)
def test_its_paths_run_between_its_own_terminals(kind: ComponentKind) -> None:
    part = loom_with(kind).components[0]
    paths = paths_of(part)
    assert paths
    assert {end for path in paths for end in (path.a, path.b)} == set(part.ends)
    assert paths[0].path is FACTS[kind].path
    # DIN 72552: 87a is closed at rest, 87 while the relay is pulled in.
    moving = {path.b: path.closed for path in paths if path.closed is not Closed.ALWAYS}
    at = dict(part.terminals)
    assert moving == ({at["87"]: Closed.PULLED, at["87a"]: Closed.AT_REST} if "87" in at else {})


@pytest.mark.parametrize("kind", KINDS)
def test_it_is_read_back_from_folder_and_workbook_as_it_was(kind: ComponentKind) -> None:
    loom = loom_with(kind)
    assert load_files(folder_files(loom), "parts").loom == loom
    assert load_workbook(workbook_bytes(loom), "parts.xlsx").loom == loom


@pytest.mark.parametrize("kind", KINDS)
def test_kbl_carries_it_and_names_what_of_it_is_lost(kind: ComponentKind, tmp_path: FilePath) -> None:
    loom = loom_with(kind)
    part = loom.components[0]
    part = replace(part, fitted=not part.form.seated, pullable=part.form.seated)
    written = kbl.write(replace(loom, components=(part,)))
    file = tmp_path / "parts.kbl"
    file.write_bytes(written.content)
    (back,) = kbl.read(file).loom.components
    assert (back.name, back.kind, back.terminals) == (part.name, part.kind, part.terminals)
    assert (back.fitted, back.pullable) == (part.fitted, part.pullable)
    lost = [field for field in ("resistance_ohm", "forward_v", "capacitance_f") if getattr(part, field)]
    said = " ".join(problem.message for problem in written.left_out)
    assert all(field in said for field in lost)
    if not lost:
        assert back.rating_a == part.rating_a


@pytest.mark.parametrize("kind", KINDS)
def test_words_of_a_part_in_kbl_name_one_kind(kind: ComponentKind) -> None:
    """What is written as a word is read as the same kind, whichever words come before it in the table."""
    for word in FORMS[kind].words:
        first = next(other for other, form in FORMS.items() if any(one in word for one in form.words))
        assert first is kind


@pytest.mark.parametrize("kind", KINDS)
def test_the_drawing_names_it_with_its_value(kind: ComponentKind) -> None:
    drawn = picture(loom_with(kind))
    assert f"X1 {kind} {case_of(kind).shown}" in drawn
    assert drawn.count(f'<path class="{kind}"') == 1
    assert picture(loom_of("1 2 3 4 5")).count("<path class=") == 0


def test_each_kind_has_a_symbol_of_its_own() -> None:
    strokes = [symbol(kind, 0.0, 0.0).partition(" d=")[2] for kind in KINDS]
    assert len(set(strokes)) == len(KINDS)


@pytest.mark.parametrize("kind", KINDS)
def test_explain_names_it_between_its_ends(kind: ComponentKind, tmp_path: FilePath) -> None:
    loom = loom_with(kind)
    write_folder(loom, tmp_path / "loom")
    path = paths_of(loom.components[0])[0]
    result = CliRunner().invoke(explain, [str(tmp_path / "loom"), str(path.a), str(path.b)])
    assert result.exit_code == 0, result.output
    assert "X1" in result.output


def seated(kind: ComponentKind) -> Loom:
    """A feed into a holder in which the part sits, and a load behind it."""
    names = [name for name, _ in loom_with(kind).components[0].terminals]
    holder = Connector("H", ConnectorKind.FUSE_HOLDER, (tuple(names),), hazard=Hazard.NONE)
    plug = Connector("P", ConnectorKind.PLUG, (tuple(names),), hazard=Hazard.NONE)
    part = replace(
        loom_with(kind).components[0],
        terminals=tuple((name, End("H", name)) for name in names),
        fitted=False,
        pullable=True,
    )
    wires = tuple(
        Wire(f"W{name}", End("H", name), End("P", name), csa_mm2=1.0, length_m=1.0) for name in names
    )
    return Loom("seated", connectors=(holder, plug), wires=wires, components=(part,))


@pytest.mark.parametrize("kind", KINDS)
def test_the_fitting_sheet_names_it_where_it_is_fitted(kind: ComponentKind) -> None:
    sheet = fitting_sheet(seated(kind), {})
    rows = [row for row in sheet.places if row.facts.end.connector == "H"]
    assert rows
    for row in rows:
        assert row.action is Action.FIT
        assert f"{kind} X1 {case_of(kind).shown}" in row.why


@pytest.mark.parametrize("kind", KINDS)
def test_a_sound_one_passes_or_stands_by_its_name(kind: ComponentKind) -> None:
    document = outcome_of(loom_with(kind)).document
    assert document.findings == ()
    assert ("nobody could tell X1" in document.grade_text) is case_of(kind).untold
    if case_of(kind).untold:
        assert (document.verdict, document.grade) == (Verdict.UNDECIDED, "connections")
        assert any("X1" in reason for reason in document.reasons)
    else:
        assert document.verdict is Verdict.PASS, document.reasons


FAULTS = [(kind, text, cause) for kind in KINDS for text, cause in case_of(kind).faults.items()]


@pytest.mark.parametrize(("kind", "text", "cause"), FAULTS)
def test_what_is_wrong_with_it_is_told_with_its_name_and_a_repair(
    kind: ComponentKind, text: str, cause: str
) -> None:
    outcome = outcome_of(loom_with(kind), text)
    assert outcome.document.verdict is Verdict.FAIL
    found = {finding.cause: finding for finding in outcome.findings}
    assert cause in found
    finding = found[cause]
    assert finding.components == ("X1",)
    assert type(finding.cause) is str
    if kind is not ComponentKind.DIODE and cause != "resistive_contact":
        # What to buy is known by its value; a diode is known by its type.
        assert case_of(kind).shown in " ".join(finding.repair)
    assert finding.repair
    # What may hold a charge is emptied before a hand goes to it (common practice).
    holds = FACTS[kind].path is Path.CAPACITOR
    assert ("discharge" in finding.repair[0].casefold()) is holds


@pytest.mark.parametrize("kind", KINDS)
def test_each_fault_that_a_part_of_its_path_can_have_is_among_the_cases(kind: ComponentKind) -> None:
    asked = {text.split()[0] for text in case_of(kind).faults}
    match FACTS[kind].path:
        case Path.RESISTIVE:
            assert asked >= {"missing", "short", "value"}
        case Path.DIODE:
            assert asked >= {"missing", "short", "reversed"}
        case Path.CAPACITOR:
            assert asked >= {"short", "leak"}
        case Path.CONTACT:
            assert asked >= {"missing", "value"}
        case _:
            assert_never(FACTS[kind].path)


@pytest.mark.parametrize("kind", KINDS)
def test_what_joins_at_direct_current_is_one_net(kind: ComponentKind) -> None:
    loom = loom_with(kind)
    expectation = expect(loom)
    for path in paths_of(loom.components[0]):
        one_net = expectation.net_of[path.a] == expectation.net_of[path.b]
        assert one_net is (path.path is Path.CONTACT and path.closed is not Closed.PULLED)
    for coupling in expectation.couplings:
        reading = component_reading(expectation, coupling)
        match coupling.path:
            case Path.RESISTIVE:
                assert reading.expected_ohm is not None
                assert reading.lower_ohm <= reading.expected_ohm <= reading.upper_ohm
            case Path.DIODE:
                assert reading.forward_v is not None
            case Path.CAPACITOR:
                assert (reading.expected_ohm, reading.lower_ohm) == (math.inf, loom.settings.isolation_ohm)
            case Path.CONTACT:
                raise AssertionError("a contact couples nothing")
            case _:
                assert_never(coupling.path)


def test_an_unfitted_part_is_no_path() -> None:
    for kind in KINDS:
        loom = loom_with(kind)
        out = replace(loom, components=tuple(replace(part, fitted=False) for part in loom.components))
        assert expect(out).all_couplings == ()


def test_a_part_keeps_its_kind_whole() -> None:
    """A part of each kind may be built by hand, and says what it is as a thing."""
    for kind in KINDS:
        part = Component("X", kind, (("1", End("A", "1")), ("2", End("A", "2"))))
        assert part.form is FORMS[kind]


def on_sim(folder: FilePath, kind: ComponentKind, *more: str, bench: str = "sim:") -> tuple[int, str]:
    """Prove a loom with a part of this kind by the command, on the simulated bench behind its link."""
    write_folder(loom_with(kind), folder / "loom")
    words = ("prove", folder / "loom", "--bench", bench, "--adapter", "in-order", "--out", folder / "out")
    done = loomproof(*words, *more)
    return done.returncode, done.stdout + done.stderr


@pytest.mark.parametrize("kind", KINDS)
def test_a_sound_one_is_proved_over_the_link(kind: ComponentKind, tmp_path: FilePath) -> None:
    assert on_sim(tmp_path / "plain", kind)[0] == (4 if case_of(kind).untold else 0)
    if case_of(kind).untold:
        assert on_sim(tmp_path / "lower", kind, "--grade", "connections")[0] == 0


@pytest.mark.parametrize("kind", KINDS)
def test_its_first_fault_is_told_over_the_link(kind: ComponentKind, tmp_path: FilePath) -> None:
    text = next(iter(case_of(kind).faults))
    code, said = on_sim(tmp_path, kind, bench=f"sim:?fault={text}")
    assert code == 1, said
    assert "X1" in said


def test_a_charged_capacitor_is_told_as_a_voltage_before_anything_is_driven(tmp_path: FilePath) -> None:
    bench = "sim:?fault=charged 1000u 12 A:1 A:2"
    code, said = on_sim(tmp_path, ComponentKind.CAPACITOR, bench=bench)
    assert code == 3
    assert "12 V" in said
    assert "charged capacitor" in said
    assert "discharge through a resistor" in " ".join(said.split())
