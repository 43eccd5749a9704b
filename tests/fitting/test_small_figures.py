"""Single figures and sentences of the sheet, by hand, of looms of two or three wires."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.errors import UsageError
from loomproof.fitting.ampacity import read_ampacity
from loomproof.fitting.fuse_coordination import fuse_rows
from loomproof.fitting.needs import plan_of
from loomproof.fitting.proof_status import standing_of
from loomproof.fitting.sharing import shared
from loomproof.fitting.sheet import fitting_sheet
from loomproof.loom.choices import needs_of
from loomproof.loom.model import (
    Circuit,
    Component,
    ComponentKind,
    Connector,
    ConnectorKind,
    End,
    Loom,
    Need,
    Wire,
)
from loomproof.results.document import ClaimEntry, Verdict
from loomproof.results.fitting import DropRow, Fault, Level
from tests.fitting.looms import document
from tests.fitting.test_drops import CONTACTS_U_OHM, claim
from tests.fitting.test_small_checks import two_feeds
from tests.fitting.test_small_looms import chain, check_of
from tests.fitting.test_small_sheets import needing, relay_loom, told, with_stub, with_wires

SHORT_M = 0.1
"""So short that joints say more of the doubt than copper."""


def lamps(*, size_mm2: float = 0.75, long_m: float = 1.0, second: bool = True) -> Loom:
    """Lamps P of 5 A and Q of 3 A behind the splice S1, each with a wire to the ring E; one feed for both."""
    names = ("P", "Q") if second else ("P",)
    return Loom(
        "lamps",
        connectors=(
            Connector("CAR", ConnectorKind.SOCKET, (("1",),)),
            Connector("S1", ConnectorKind.SPLICE),
            Connector("E", ConnectorKind.RING, (("1",),)),
            *(Connector(name, ConnectorKind.PLUG, (("1", "2"),)) for name in names),
        ),
        wires=(
            Wire("W1", End("CAR", "1"), End("S1"), "RD", size_mm2, long_m, "feed"),
            *(
                wire
                for name in names
                for wire in (
                    # Described from the lamp, so that current flows against the description.
                    Wire(f"W{name}", End(name, "1"), End("S1"), "RD", size_mm2, long_m, name),
                    Wire(f"V{name}", End(name, "2"), End("E", "1"), "BN", size_mm2, long_m, "earth"),
                )
            ),
        ),
        circuits=(
            Circuit("feed", "permanent feed", "30", None, "30 A"),
            Circuit("earth", "earth of the lamps", "31"),
            *(Circuit(n, f"lamp {n}", "", {"P": 5.0, "Q": 3.0}[n], needs=("feed", "earth")) for n in names),
        ),
    )


def drop(loom: Loom, circuit: str, side: str, *claims: ClaimEntry) -> DropRow:
    sheet = fitting_sheet(loom, None, document(loom, Verdict.PASS, claims=claims), running_c=20.0)
    return next(row for row in sheet.drops if (row.circuit, row.side) == (circuit, side))


def test_what_a_shared_way_has_too_much_lies_somewhere_between_its_currents() -> None:
    """8 A flow to the splice and 5 A on to P:1; 0.5 Ω more is read than described, somewhere. At 5 A they
    lose 2.5 V, at 8 A 4 V: half way, give or take half the difference (a rectangle, GUM 4.3.7)."""
    plain = drop(lamps(), "P", "feed")
    assert plain.basis == "computed"
    read_ohm = plain.resistance_ohm + 0.5 + 2 * 0.005  # and two contacts of 5 ± 5 mΩ
    row = drop(lamps(), "P", "feed", claim("CAR:1", "P:1", read_ohm, 0.004))
    assert (row.basis, row.path) == ("measured", "CAR:1 → P:1")
    assert row.drop_v - plain.drop_v == pytest.approx(0.5 * (8.0 + 5.0) / 2)
    reading_v = 8.0 * math.hypot(0.004, CONTACTS_U_OHM)
    place_v = 2.0 * 0.5 * (8.0 - 5.0) / 2 / math.sqrt(3.0)
    assert row.uncertainty_v == pytest.approx(math.hypot(reading_v, place_v))


def test_two_earth_wires_side_by_side_halve_the_ohms_and_more_than_halve_the_doubt_of_joints() -> None:
    """Equal wires share the current: what all copper errs by counts half; joints err each alone, each with a
    quarter of its weight: √2/4. One wire: 2.5 mm² of 7.98 mΩ/m at the most (ISO 6722), 58 MS/m with a lay
    factor of 1.065, two crimps of 0.25 ± 0.25 mΩ."""
    nominal, greatest = SHORT_M * 1.065 / 58.0 / 2.5, SHORT_M * 0.00798
    copper_u = 2.0 * (greatest - nominal) / math.sqrt(3.0)
    joints_u = 2.0 * math.hypot(0.00025, 0.00025) / math.sqrt(3.0)
    one = drop(lamps(size_mm2=2.5, long_m=SHORT_M, second=False), "earth", "return")
    assert one.current_a == 5.0
    assert one.uncertainty_v == pytest.approx(5.0 * math.hypot(copper_u, joints_u))
    two = drop(lamps(size_mm2=2.5, long_m=SHORT_M), "earth", "return")
    assert (two.path, two.current_a) == ("P:2 + Q:2 → E:1", 8.0)
    assert two.resistance_ohm == pytest.approx(one.resistance_ohm / 2)
    assert two.uncertainty_v == pytest.approx(8.0 * math.hypot(copper_u / 2, joints_u * math.sqrt(2.0) / 4))
    assert (one.basis, two.basis) == ("computed", "computed")


def test_current_against_the_description_of_a_wire_is_below_zero() -> None:
    """Wires of the lamps are described from the lamp to the splice, and carry current the other way."""
    network, _ = shared(lamps(), plan_of(lamps(), needs_of(lamps())), 20.0)
    found = dict(zip((edge.name for edge in network.edges), network.current_a, strict=True))
    assert {name: found[name] for name in ("W1", "WP", "WQ")} == pytest.approx(
        {"W1": 8.0, "WP": -5.0, "WQ": -3.0}
    )


@pytest.mark.parametrize(("measured_c", "taken_c"), [(None, 20.0), (35.0, 35.0), (20.0, 20.0)])
def test_a_bench_without_a_thermometer_is_taken_to_stand_at_20_degrees(
    measured_c: float | None, taken_c: float
) -> None:
    proof = document(chain(), Verdict.PASS)
    other = proof.model_copy(update={"bench": proof.bench.model_copy(update={"temperature_c": measured_c})})
    assert standing_of(chain(), other).temperature_c == taken_c


def test_without_a_proof_nothing_is_proved() -> None:
    standing = standing_of(chain(), None)
    assert (standing.passed, standing.text) == (False, "no proof is kept of this loom")
    assert standing.banner.startswith("NOT PROVED: do not energise this loom.")


# -- what the answers imply ---------------------------------------------------------------------------


def test_a_needed_circuit_that_needs_one_left_unused_is_told_and_an_unused_one_is_not() -> None:
    idle_earth = needing(chain(), earth=Need.UNUSED)
    (text,) = told(fitting_sheet(idle_earth), "does nothing without")
    assert text.startswith("load (tail lamp) does nothing without earth, which these answers leave unused.")
    idle = needing(chain(), earth=Need.UNUSED, load=Need.UNUSED)
    assert not told(fitting_sheet(idle), "does nothing without")


@pytest.mark.parametrize("purpose", ["earth of the lamp", ""])
def test_a_plug_in_use_with_an_unused_cavity_is_told_by_purpose_or_by_name(purpose: str) -> None:
    loom = needing(chain(), earth=Need.UNUSED)
    circuits = tuple(replace(one, purpose=purpose) if one.name == "earth" else one for one in loom.circuits)
    (text,) = told(fitting_sheet(replace(loom, circuits=circuits)), "it may have no earth or no supply")
    assert f"its cavity 2 belongs to earth ({purpose or 'earth'}), which is left unused" in text


@pytest.mark.parametrize(
    ("designation", "fuse", "joined"), [("30", "10 A", False), ("30", "5 A", True), ("15", "10 A", True)]
)
def test_one_supply_described_as_two_circuits_is_not_joined_with_itself(
    designation: str, fuse: str, joined: bool
) -> None:
    loom = two_feeds(2)
    other = replace(loom.circuits[1], designation=designation, fuse=fuse)
    circuits = (loom.circuits[0], other, loom.circuits[2])
    texts = told(fitting_sheet(replace(loom, circuits=circuits)), "two feeds can be joined")
    assert bool(texts) is joined


def test_a_wire_behind_a_fuse_of_the_loom_has_a_row_though_its_circuit_names_none() -> None:
    """W2 is fed through F1 of 10 A. Where a link stands in its place and the feed names no fuse, none is."""
    loom = chain()
    unnamed = tuple(
        replace(one, fuse="", designation="" if one.name == "load" else one.designation)
        for one in loom.circuits
    )
    rows = {
        row.wire: (row.fuse, row.rating_a)
        for row in fuse_rows(replace(loom, circuits=unnamed), needs_of(loom))
    }
    assert rows == {"W2": ("F1", 10.0)}
    bare = replace(chain(ComponentKind.LINK), circuits=unnamed)
    assert fuse_rows(bare, needs_of(bare)) == ()


@pytest.mark.parametrize("forward", [False, True])
def test_a_diode_across_a_coil_is_told_by_which_side_is_fed(forward: bool) -> None:
    """Terminal 86 is fed: a cathode there carries nothing, an anode there shorts the feed through 85."""
    loom = relay_loom(weak=False)
    anode, cathode = ("86", "85") if forward else ("85", "86")
    across = Component("D1", ComponentKind.DIODE, (("A", End("K", anode)), ("K", End("K", cathode))))
    warns = fitting_sheet(replace(loom, components=(*loom.components, across))).warnings
    (found,) = [warn for warn in warns if "diode D1" in warn.text]
    assert found.parts == ("K1", "D1")
    if forward:
        assert found.level is Level.DANGER
        assert "its anode is at terminal 86, which is fed" in found.text
    else:
        assert found.level is Level.NOTE
        assert "terminal 86 must be the positive one" in found.text


def test_a_twisted_pair_is_told_where_it_goes_on_and_not_at_the_computer() -> None:
    """The computer's plug goes on one way only, and what stays off is not swapped."""
    pairs = tuple(
        Wire(f"W{k}", End("P", str(k)), End("B", str(k)), "WH", 0.5, 1.0, "load", twisted_with=f"W{3 - k}")
        for k in (1, 2)
    )
    loom = chain()
    computer = replace(loom.by_name["B"], rows=(("1", "2"),))
    connectors = tuple(computer if one.name == "B" else one for one in loom.connectors)
    loom = replace(loom, connectors=connectors, wires=pairs)
    (text,) = told(fitting_sheet(loom), "twisted pair")
    assert text.startswith("polarity: P:1 and P:2 are a twisted pair")
    assert not told(fitting_sheet(needing(loom, load=Need.UNUSED)), "twisted pair")


@pytest.mark.parametrize(
    ("designation", "fuse", "level"),
    [("30", "30 A", Level.WARNING), ("30", "", Level.DANGER), ("15", "", Level.WARNING)],
)
def test_an_unused_end_is_a_danger_where_it_is_fed_for_ever_and_without_a_fuse(
    designation: str, fuse: str, level: Level
) -> None:
    loom = with_wires(with_stub("31"), Wire("W8", End("CAR", "1"), End("X", "1"), "RD", 1.0, 1.0, "stub"))
    feed = replace(loom.circuits[0], designation=designation, fuse=fuse)
    sheet = fitting_sheet(replace(loom, circuits=(feed, *loom.circuits[1:])))
    (found,) = [warn for warn in sheet.warnings if warn.text.startswith("X:1 (VT + RD) is unused")]
    assert found.level is level


# -- sentences ----------------------------------------------------------------------------------------


def test_what_is_known_to_be_fed_can_be_live_and_what_nobody_rules_out_may_be() -> None:
    """An unused tail X:1 joined to the permanent feed without a fuse of its own, or of a circuit of which
    nothing is stated."""
    fed = with_wires(with_stub("31"), Wire("W8", End("CAR", "1"), End("X", "1"), "RD", 1.0, 1.0, "stub"))
    rows = {str(row.facts.end): row.why for row in fitting_sheet(fed).safe}
    assert rows["X:1"].startswith("can be live: permanent feed (feed); fused by 30 A.")
    loom = with_stub("", far="B")
    silent = tuple(replace(one, load_a=None) if one.name == "stub" else one for one in loom.circuits)
    rows = {str(row.facts.end): row.why for row in fitting_sheet(replace(loom, circuits=silent)).safe}
    assert rows["X:1"].startswith("may be live, treat as live: stub: no designation, and neither load nor")


def test_a_wire_that_loses_too_much_while_sound_is_told_as_described_too_weak() -> None:
    """30 m of 0.5 mm² have 1.1 Ω (58 MS/m, 1.065): 5.5 V at 5 A."""
    (told_of,) = [
        warn for warn in fitting_sheet(chain(size_mm2=0.5, long_m=30.0)).warnings if "too weak" in warn.text
    ]
    assert told_of.parts == ("W2",)
    assert told_of.text.startswith("wire W2 is too weak for its load as described: 30 m of 0.5 mm² lose 5.")
    assert not told(fitting_sheet(chain(size_mm2=2.5)), "too weak")


def test_an_end_of_two_wires_has_the_section_of_the_thicker() -> None:
    thin = Wire("W9", End("P", "1"), End("CAR", "2"), "VT", 0.5, 1.0, "signal")
    sheet = fitting_sheet(with_wires(chain(size_mm2=1.5), thin))
    facts = {str(row.facts.end): row.facts for row in sheet.connect}
    assert facts["P:1"].csa_mm2 == 1.5
    assert facts["CAR:2"].csa_mm2 == 0.5


@pytest.mark.parametrize(("ohm", "said"), [(None, "no path (over 10 kΩ)"), (1000.0, "over 500 Ω")])
def test_a_live_end_must_have_no_path_to_earth_but_that_of_its_parts(ohm: float | None, said: str) -> None:
    """Half of what a resistor to the ring has, or 10 kΩ where nothing joins the two."""
    loom = chain()
    if ohm is not None:
        part = Component(
            "R9", ComponentKind.RESISTOR, (("1", End("P", "1")), ("2", End("E", "1"))), ohm, circuit="load"
        )
        loom = replace(loom, components=(*loom.components, part))
    found = check_of(loom, "P:1", Fault.SHORTED)
    assert f"bare metal of body and of the engine block: {said}." in found.text
    assert found.least_ohm == (10_000.0 if ohm is None else 500.0)


# -- a table of a person's own ------------------------------------------------------------------------


def table(folder: Path, *rows: str) -> Path:
    path = folder / "table.csv"
    path.write_text("\n".join(["csa_mm2,ampacity_a,source,conditions", *rows]) + "\n", encoding="utf-8")
    return path


def test_a_table_of_ones_own_names_every_source_and_condition_in_it(tmp_path: Path) -> None:
    found = read_ampacity(
        table(tmp_path, "0.5,8,sheet A,30 °C", "1.0,14,sheet B,40 °C", "1.5,18,sheet A,40 °C")
    )
    assert dict(found.amperes) == {0.5: 8.0, 1.0: 14.0, 1.5: 18.0}
    assert (found.source, found.conditions) == ("sheet A; sheet B", "30 °C; 40 °C")


@pytest.mark.parametrize("row", ["0,8", "0.5,0", "-0.5,8", "0.5,inf", "nan,8", "x,8", "0.5"])
def test_a_row_without_two_numbers_above_zero_is_refused(row: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="row 3: csa_mm2 and ampacity_a are expected as numbers above zero"):
        read_ampacity(table(tmp_path, "1.0,14,sheet,40 °C", f"{row},sheet,40 °C" if "," in row else row))


@pytest.mark.parametrize("rest", [",", "sheet,", ",40 °C", " ,40 °C"])
def test_a_row_without_source_or_conditions_approves_nothing(rest: str, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="every row needs a source and its conditions"):
        read_ampacity(table(tmp_path, "1.0,14,sheet,40 °C", f"1.5,18,{rest}"))
