"""Places from end to end: faults put into the simulated loom are told where they are, or not at all."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from loomproof.bench.adapter import in_order
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import Component, ComponentKind, Connector, ConnectorKind, End, Hazard, Loom, Wire
from loomproof.measuring.placing import NOT_ZEROED
from loomproof.results.document import Document, Verdict
from loomproof.results.findings import Finding
from loomproof.results.places import Place
from tests.locating.placing_bench import placed

RAIL = ("ECU", "PUMP", "RAIL")


def _loom() -> Loom:
    """Four wires of two metres from ECU to PUMP through trunk and branch, and a spliced feed from RAIL."""
    wires = [
        Wire(f"W{k}", End("ECU", f"{k}"), End("PUMP", f"{k}"), "BU", 0.5, 2.0, bundle="trunk branch")
        for k in range(1, 5)
    ]
    wires += [
        Wire("F0", End("RAIL", "1"), End("S1"), "RD", 0.75, 1.5),
        Wire("F1", End("S1"), End("ECU", "5"), "RD", 0.75, 1.0),
        Wire("F2", End("S1"), End("PUMP", "5"), "RD", 0.75, 2.0),
    ]
    plugs = tuple(
        Connector(name, ConnectorKind.PLUG, (("1", "2", "3", "4", "5"),), hazard=Hazard.NONE)
        for name in ("ECU", "PUMP")
    )
    return Loom(
        "places",
        connectors=(
            *plugs,
            Connector("RAIL", ConnectorKind.PLUG, (("1",),), hazard=Hazard.NONE),
            Connector("S1", ConnectorKind.SPLICE),
        ),
        wires=tuple(wires),
        bundles=(Bundle("trunk", 1.2, "ECU", "fork"), Bundle("branch", 0.8, "fork", "PUMP")),
    )


def _one(document: Document) -> tuple[Finding, Place]:
    (finding,) = document.findings
    assert finding.place is not None
    return finding, finding.place


def test_a_broken_wire_is_told_with_its_distance_and_bundle() -> None:
    outcome, bench = placed(_loom(), "open W2 at ECU:2 0.6 m")
    finding, place = _one(outcome.document)
    assert (place.answer, place.readings, bench.farad_readings) == ("wire", 2, 2)
    (stretch,) = place.stretches
    assert (stretch.wire, stretch.end, stretch.bundle, stretch.bundle_from) == (
        "W2",
        End("ECU", "2"),
        "trunk",
        "ECU",
    )
    assert stretch.low_m < 0.6 < stretch.high_m
    assert 0.02 < stretch.u_m < 0.2
    assert finding.places[0] == place.text
    assert "from ECU:2 along W2 (blue), in bundle trunk" in place.text
    assert not any(other.cause == "adapter_lead" for other in finding.alternatives)


def test_it_is_counted_from_the_nearer_end() -> None:
    place = _one(placed(_loom(), "open W3 at ECU:3 1.5 m")[0].document)[1]
    assert place.stretches[0].end == End("PUMP", "3")
    assert place.stretches[0].low_m < 0.5 < place.stretches[0].high_m


def test_a_contact_that_reaches_nothing_is_looked_at_first_and_the_other_end_is_not() -> None:
    finding, place = _one(placed(_loom(), "open PUMP:2")[0].document)
    assert place.answer in ("contact", "near")
    assert place.ends == (End("PUMP", "2"),)
    assert finding.places[0] == place.text
    assert any(other.cause == "adapter_lead" for other in finding.alternatives)


def test_in_a_spliced_net_the_wire_and_the_place_on_it_are_told() -> None:
    place = _one(placed(_loom(), "open F2 at PUMP:5 0.5 m")[0].document)[1]
    assert place.answer == "wire"
    assert [stretch.wire for stretch in place.stretches] == ["F2"]
    assert place.stretches[0].end == End("PUMP", "5")
    assert place.stretches[0].low_m < 0.5 < place.stretches[0].high_m


def test_a_piece_on_several_leads_has_the_meters_offset_in_its_uncertainty() -> None:
    """Each lead was learned with the offset in it, which a reading of the whole piece has once: ± 5 pF."""
    found = placed(_loom(), "open F2 at PUMP:5 0.5 m")[0].measured.farads
    one, two = sorted(found, key=lambda piece: len(piece.ends))
    assert (len(one.ends), len(two.ends)) == (1, 2)
    assert one.u_f == pytest.approx(1.1e-12, rel=0.05, abs=0.0)
    assert two.u_f == pytest.approx(5e-12 / 3**0.5, rel=0.15, abs=0.0)


def test_a_touch_is_told_on_both_wires_with_four_readings() -> None:
    fault = "leak 0.4 W1 at ECU:1 0.7 m W2 at ECU:2 0.7 m"
    outcome, bench = placed(_loom(), fault)
    before = placed(_loom(), fault, locate=False)[1].readings
    finding, place = _one(outcome.document)
    assert (place.answer, place.readings, bench.readings - before) == ("wire", 4, 4)
    assert {stretch.wire for stretch in place.stretches} == {"W1", "W2"}
    for stretch in place.stretches:
        assert stretch.low_m < 0.7 < stretch.high_m
        assert stretch.u_m < 0.15
    assert "in bundle trunk" in finding.places[0]


def test_a_touch_in_a_plug_is_told_so() -> None:
    place = _one(placed(_loom(), "short PUMP:1 PUMP:2")[0].document)[1]
    assert place.ends == (End("PUMP", "1"), End("PUMP", "2"))
    assert place.answer in ("connector", "either")


@pytest.mark.parametrize("fault", ["leak 3000 ECU:1 ECU:2", "high 0.5 W1"])
def test_leakage_and_bad_joints_get_no_place(fault: str) -> None:
    outcome, bench = placed(_loom(), fault)
    assert [finding.place for finding in outcome.document.findings] == [None]
    assert bench.farad_readings == 0


def test_a_sound_loom_is_asked_nothing_more_and_says_no_place() -> None:
    (outcome, bench), (_, without) = placed(_loom()), placed(_loom(), locate=False)
    assert outcome.document.verdict is Verdict.PASS
    assert (bench.readings, bench.farad_readings) == (without.readings, 0)
    assert outcome.measured == placed(_loom(), locate=False)[0].measured


def test_leads_that_were_never_zeroed_open_give_no_place_but_the_reason() -> None:
    loom = _loom()
    outcome, bench = placed(loom, "open W2 at ECU:2 0.6 m", adapter=in_order(loom.cavities))
    place = _one(outcome.document)[1]
    assert (place.answer, place.reason, bench.farad_readings) == ("none", NOT_ZEROED, 0)


def test_a_part_on_the_net_and_a_screen_forbid_a_place() -> None:
    loom = _loom()
    part = Component(
        "C1",
        ComponentKind.CAPACITOR,
        (("1", End("ECU", "2")), ("2", End("ECU", "4"))),
        capacitance_f=1e-9,
    )
    screened = tuple(replace(w, screened_by="W3") if w.name == "W2" else w for w in loom.wires)
    for changed, why in (
        (replace(loom, components=(part,)), "C1 hangs on these wires"),
        (replace(loom, wires=screened), "runs in a screen"),
    ):
        outcome, bench = placed(changed, "open W2 at ECU:2 0.6 m")
        reasons = [finding.place.reason for finding in outcome.document.findings if finding.place]
        assert reasons
        assert why in reasons[0]
        assert bench.farad_readings == 0


def test_a_document_without_places_is_written_as_before() -> None:
    document = placed(_loom(), "high 0.5 W1")[0].document
    assert '"place":' not in json.dumps(document.plain()["findings"])
    assert Document.model_validate_json(document.model_dump_json(by_alias=True)) == document


@pytest.mark.parametrize("place_m", [0.3, 1.0, 1.7])
def test_without_lengths_of_bundles_a_touch_on_the_way_is_never_put_into_a_plug(place_m: float) -> None:
    """Wires that leave one plug in one bundle are taken to lie together; the touch is told along them."""
    fault = f"leak 0.05 W1 at ECU:1 {place_m} m W2 at ECU:2 {place_m} m"
    place = _one(placed(replace(_loom(), bundles=()), fault)[0].document)[1]
    assert place.answer == "wire"
    assert {stretch.wire for stretch in place.stretches} == {"W1", "W2"}
    for stretch in place.stretches:
        from_ecu = place_m if stretch.end.connector == "ECU" else 2.0 - place_m
        assert stretch.low_m < from_ecu < stretch.high_m


def test_wires_that_meet_nowhere_known_give_no_place_but_the_reason() -> None:
    loom = _loom()
    wires = tuple(
        replace(w, b=End("RAIL", "1"), bundle="lead branch")
        if w.name == "W1"
        else replace(w, bundle="trunk branch")
        for w in loom.wires
        if w.name in ("W1", "W2")
    )
    changed = replace(loom, wires=wires, bundles=())
    place = _one(placed(changed, "leak 0.05 W1 at ECU:1 1.0 m W2 at ECU:2 1.0 m")[0].document)[1]
    assert (place.answer, place.stretches) == ("none", ())
    assert "side by side is not described" in place.reason


@pytest.mark.parametrize(("at", "k", "other"), [("PUMP", 1, 2), ("ECU", 2, 1)])
def test_a_break_whose_piece_touches_another_wire_says_why_it_has_no_place(
    at: str, k: int, other: int
) -> None:
    """What the other wire has is in the piece's capacitance, and the touch has no ohms from both ends."""
    touch = f"leak 0.4 W{k} at ECU:{k} 0.5 m W{other} at ECU:{other} 0.5 m"
    outcome, _ = placed(_loom(), touch, f"open W{k} at {at}:{k} 0.3 m")
    places = {finding.kind.value: finding.place for finding in outcome.document.findings}
    broken, short = places["open"], places["short"]
    assert broken is not None
    assert short is not None
    piece = f"ECU:{k}" if at == "PUMP" else f"PUMP:{k}"
    assert broken.reason == (
        f"W{k}'s piece at {piece} touches W{other}, so its capacitance is not its own; mend that first"
    )
    assert short.reason == f"a break is in W{k} as well, and a touch is placed by ohms from both ends"
