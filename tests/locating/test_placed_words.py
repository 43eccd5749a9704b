"""Places in findings, in words: what is offered, what is left out, and when no place is claimed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest

from loomproof.diagnosis.words import Names
from loomproof.electrics.expectation import expect
from loomproof.judgement.copper import copper_of
from loomproof.judgement.place_words import CLOSE_M, of_break, of_short
from loomproof.judgement.placed import _in_connector, _side_by_side, placed
from loomproof.locating.breaks import BreakPlace, Failed, Stretch
from loomproof.locating.shorts import CONNECTOR_SHARE, Reading, ShortPlace, Spot, Touch, place_short
from loomproof.locating.tree import Run, Tree
from loomproof.locating.wander import PerMetre
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import End, Loom, Settings
from loomproof.reports.words import place_in_brief, place_text
from loomproof.results.findings import Alternative, Finding, Kind, Severity
from loomproof.results.measured import Across, Judged, Measured, PieceFarads
from loomproof.results.places import Place, WirePlace
from tests.electrics.looms import loom_of
from tests.measuring.scripted import judged

JOINTS = Settings(contact_ohm=0.012, crimp_ohm=0.006, splice_ohm=0.008)
LOOM = loom_of(
    "W1 A:1 B:1 2.0m 0.5mm2\nW2 A:2 B:2 2.0m 0.5mm2\n"
    "F1 A:4 S 0.5m 0.5mm2\nF2 S B:4 1.5m 0.5mm2\nF3 S C:1 1.0m 0.5mm2",
    settings=JOINTS,
)
EXPECTED = expect(LOOM)
NETS = tuple(frozenset(net.cavities) for net in EXPECTED.nets)
NAMES = Names(LOOM)
A1, A2, B1, B2 = (End(plug, cavity) for plug in "AB" for cavity in "12")
S = End("S")
AT = WirePlace("W1", A1, 0.4, 0.5, 0.95)
WIRE = Tree((Run("W1", A1, B1, 2.0),), (A1, B1))
PIECES = (PieceFarads(frozenset({A1}), 60e-12, 1e-12), PieceFarads(frozenset({B1}), 120e-12, 1e-12))


def finding(kind: Kind, *ends: End, cause: str = "", places: tuple[str, ...] = ()) -> Finding:
    lead = Alternative("the adapter's lead", "adapter_lead")
    return Finding(kind, Severity.FAULT, "it", ends, cause=cause, places=places, alternatives=(lead,))


def touching(*, judged: tuple[Judged, ...] = (), u_ohm: float = 1e-4) -> Measured:
    """W1 and W2, 73.4 mΩ each, touch 0.7 m from A through 0.4 Ω."""
    per_m = next(c.nominal_ohm - c.joints_ohm for _, _, c in EXPECTED.conductors[0]) / 2.0
    way = {A1: 0.7, A2: 0.7, B1: 1.3, B2: 1.3}
    across = tuple(
        Across(a, b, 0.4 + per_m * (way[a] + way[b]) + 0.018, u_ohm) for a in (A1, B1) for b in (A2, B2)
    )
    groups = (NETS[0] | NETS[1], NETS[2])
    return Measured(NETS, groups, True, judged=judged, across=(across,))


def place_of(measured: Measured, kind: Kind = Kind.SHORT) -> Place:
    (told,) = placed(EXPECTED, measured, [finding(kind, A1, A2)])
    assert told.place is not None
    return told.place


def test_a_place_found_is_told_of_a_short_and_of_leakage_with_the_readings_behind_it() -> None:
    """Evidence is told with k = 2, twice the standard uncertainty."""
    measured = touching(u_ohm=3e-4)
    for kind in (Kind.SHORT, Kind.LEAKAGE):
        assert place_of(measured, kind).readings == 4
    (told,) = placed(EXPECTED, measured, [finding(Kind.SHORT, A1, A2)])
    assert [one.uncertainty_ohm for one in told.evidence] == [6e-4] * 4
    assert told.evidence[0].text == "A:1 to A:2, read for the place"


def test_a_conductor_read_by_itself_counts_with_its_standard_uncertainty_and_a_part_not_at_all(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A judged reading is told with k = 2: ±1 mΩ is a standard uncertainty of 0.5 mΩ."""
    alone = place_of(touching())
    nominal = next(c.nominal_ohm for _, _, c in EXPECTED.conductors[0])
    part = judged("A:1", "B:1", 5.0, 5.0, 6.0, u=0.1, part="R1")
    broken = judged("A:2", "B:2", math.inf, nominal, 1.0, u=0.1)
    assert place_of(touching(judged=(part, broken))) == alone
    taken: list[Reading] = []

    def noting(trees: Sequence[Tree], readings: Sequence[Reading], *more: Any) -> ShortPlace:
        taken.extend(readings)
        return place_short(trees, readings, *more)

    monkeypatch.setattr("loomproof.judgement.placed.place_short", noting)
    place_of(touching(judged=(part, broken, judged("A:1", "B:1", nominal, nominal, 1.0, u=1e-3))))
    assert taken[4:] == [Reading(A1, B1, nominal, 0.5e-3)]


def test_joints_and_contacts_have_a_share_of_the_most_they_may_have_and_are_no_part_of_the_copper() -> None:
    """Rectangular from 0.3 to 0.8 of the most: 0.55 of it, and half of it over √12 (JCGM 100:2008, 4.3.7)."""
    copper = copper_of(EXPECTED, [EXPECTED.nets[0]], {}, 0.0)
    assert copper.contact_ohm[A1] == pytest.approx((0.0066, 0.006 / math.sqrt(12.0)))
    assert copper.joint_ohm["W1", A1] == pytest.approx((0.0033, 0.003 / math.sqrt(12.0)))
    assert copper.run_ohm["W1"] == pytest.approx(2.0 * 0.0345, rel=0.1), "0.5 mm² at 20 °C, 17.2 nΩm"


def test_wires_are_looked_at_pair_by_pair_and_cavities_plug_by_plug() -> None:
    """W1 lies beside F2 alone, the second of three; each two cavities of a touch share a plug."""
    wires = tuple(
        replace(wire, bundle={"W1": "left", "F2": "left"}.get(wire.name, "right")) for wire in LOOM.wires
    )
    loom = replace(
        LOOM, wires=wires, bundles=(Bundle("left", 1.0, "fork", "B"), Bundle("right", 0.5, "A", "x"))
    )
    expected = expect(loom)
    stretches = _side_by_side(expected, [expected.nets[0], expected.nets[2]])
    assert stretches is not None
    assert [set(each.legs) for each in stretches if each.bundle] == [{"W1", "F2"}]
    assert _in_connector([EXPECTED.nets[0], EXPECTED.nets[2]]) == (
        (A1, End("A", "4")),
        (B1, End("B", "4")),
    )


def test_a_touch_of_a_net_with_a_wire_of_no_known_length_gets_no_place() -> None:
    wires = tuple(replace(wire, length_m=None) if wire.name == "W2" else wire for wire in LOOM.wires)
    (told,) = placed(expect(replace(LOOM, wires=wires)), touching(), [finding(Kind.SHORT, A1, A2)])
    assert (told.place, told.evidence) == (None, ())


def test_an_open_of_a_whole_plug_gets_no_place_though_its_wire_was_read() -> None:
    measured = Measured(NETS, (frozenset({A1}), frozenset({B1}), *NETS[1:]), True, farads=PIECES)
    wire, plug = placed(
        EXPECTED,
        measured,
        [finding(Kind.OPEN, A1, B1, cause=cause) for cause in ("broken_wire", "unplugged")],
    )
    assert wire.place is not None
    assert "60 pF at A:1" in wire.evidence[0].text
    assert "120 pF at B:1" in wire.evidence[0].text
    assert plug.place is None


def test_where_places_are_not_told_apart_all_that_was_offered_before_stays() -> None:
    """One piece of 4 pF, give or take 120: it may be anything that its wires could have."""
    ends = frozenset({A1}), frozenset({B1})
    measured = Measured(NETS, (*ends, *NETS[1:]), True, farads=(PieceFarads(ends[0], 4e-12, 60e-12),))
    before = finding(Kind.OPEN, A1, B1, cause="broken_wire", places=("here", "there"))
    (told,) = placed(EXPECTED, measured, [before])
    assert told.place is not None
    assert told.place.answer == "either"
    assert (told.places, told.alternatives) == (before.places, before.alternatives)


def test_a_contact_told_by_its_place_is_not_offered_a_second_time() -> None:
    measured = Measured(
        NETS,
        (frozenset({A1}), frozenset({B1}), *NETS[1:]),
        True,
        farads=(replace(PIECES[0], farad=0.0, u_f=0.1e-12), replace(PIECES[1], farad=180e-12, u_f=0.1e-12)),
    )
    before = finding(Kind.OPEN, A1, B1, cause="bad_contact", places=(NAMES.place(A1), "there"))
    (told,) = placed(EXPECTED, measured, [before])
    assert told.place is not None
    assert told.place.ends == (A1,)
    assert told.places == (told.place.text, "there")


def words(*failed: Failed, pieces: int = 2, tree: Tree = WIRE, loom: Loom = LOOM) -> Place:
    return of_break(Names(loom), loom, BreakPlace(failed, PerMetre()), PIECES[:pieces], tree)


def on_wire(low_m: float, high_m: float, share: float = 0.99, wire: str = "W1") -> Failed:
    return Failed(None, wire, share, (Stretch(wire, low_m, high_m, share),))


def test_a_stretch_of_more_than_half_of_its_wire_says_no_place_on_it() -> None:
    assert words(on_wire(0.3, 1.3)).answer == "wire"
    place = words(on_wire(0.3, 1.31))
    assert place.answer == "either"
    assert "do not tell where along it" in place.text


def test_no_place_is_told_to_less_than_a_centimetre() -> None:
    assert words(on_wire(0.5, 0.5)).text.startswith("0.50 m ± 0.01 m from A:1 along W1")


def test_a_contact_and_wire_close_to_it_are_one_place_as_far_as_the_farthest_of_the_wire() -> None:
    def near(far_m: float) -> Place:
        contact = Failed(A1, "", 0.5)
        wire = Failed(None, "W1", 0.48, (Stretch("W1", 0.0, 0.05, 0.4), Stretch("W1", 0.2, far_m, 0.08)))
        return words(contact, wire)

    place = near(CLOSE_M)
    assert place.answer == "near"
    assert place.share == pytest.approx(0.98)
    assert place.text.endswith("or within 0.30 m of it")
    place = near(CLOSE_M + 0.01)
    assert place.answer == "either"
    assert place.share == pytest.approx(0.98)
    assert "; or " in place.text


def test_a_place_rests_on_both_pieces_or_on_an_assumed_figure() -> None:
    assert "picofarads per metre cancel" in words(on_wire(0.5, 0.6)).basis
    one = words(on_wire(0.5, 0.6), pieces=1).basis
    assert "of one piece" in one
    assert "pF/m assumed" in one


STAR = Tree(
    (Run("F1", End("A", "4"), S, 0.5), Run("F2", S, End("B", "4"), 1.5), Run("F3", S, End("C", "1"), 1.0)),
    (End("A", "4"), End("B", "4"), End("C", "1")),
)


def test_a_failed_joint_is_told_by_what_joins_there() -> None:
    joint, crimp, contact = (
        words(Failed(end, run, 0.99), tree=STAR).text
        for end, run in ((S, "F2"), (End("B", "4"), "F2"), (End("B", "4"), ""))
    )
    assert joint == "at splice S, where F2 joins it"
    assert "the crimp of F2" in crimp
    assert "or the adapter's own pin there" in contact


def test_a_place_is_counted_from_an_end_that_a_person_can_find() -> None:
    """A splice is inside the loom: from it nothing is counted, however near it is."""
    (near_splice,) = words(on_wire(0.1, 0.2, wire="F2"), tree=STAR).stretches
    assert near_splice.end == End("B", "4")
    assert near_splice.low_m == pytest.approx(1.3)
    (near_splice,) = words(on_wire(0.4, 0.45, wire="F1"), tree=STAR).stretches
    assert near_splice.end == End("A", "4")
    assert near_splice.low_m == pytest.approx(0.4)


def bundled(trunk_m: float, *more: Bundle, a: str = "fork", b: str = "other fork") -> Loom:
    """W1 runs through the trunk and what is more; the rest of its two metres are tails at both ends."""
    names = " ".join(["trunk", *(each.name for each in more)])
    wires = tuple(replace(w, bundle=names if w.name == "W1" else "") for w in LOOM.wires)
    return replace(LOOM, wires=wires, bundles=(Bundle("trunk", trunk_m, a, b), *more))


def test_in_a_bundle_a_place_is_told_as_far_as_tails_of_unknown_length_let_it_and_within_the_bundle() -> None:
    place = words(on_wire(0.9, 1.0), loom=bundled(1.0, a="A", b="far"))
    (stretch,) = place.stretches
    assert (stretch.bundle, stretch.bundle_from) == ("trunk", "A")
    assert stretch.bundle_low_m == pytest.approx(0.9)
    assert stretch.bundle_high_m == pytest.approx(1.0)
    assert "from A" in place.text.split("in bundle trunk")[1]
    assert (
        "from"
        not in words(on_wire(0.9, 1.0), loom=bundled(1.0, a="", b="")).text.partition("bundle trunk")[2]
    )
    loom = bundled(1.4, Bundle("twig", 0.2, "other fork", "far"))  # 0.2 m at each end, give or take as much
    for low_m, high_m, bounds in ((0.25, 0.35, (0.0, 0.35)), (1.65, 1.7, (0.0, 0.2))):
        (stretch,) = words(on_wire(low_m, high_m), loom=loom).stretches
        assert (stretch.bundle_low_m, stretch.bundle_high_m) == pytest.approx(bounds)


PAIR = (WIRE, Tree((Run("W2", A2, B2, 2.0),), (A2, B2)))


def touch(low_m: float, high_m: float, slack_m: float = 0.0, bundle: str = "", share: float = 0.6) -> Touch:
    low, high = (Spot((("W1", at_m), ("W2", at_m)), slack_m=(slack_m, slack_m)) for at_m in (low_m, high_m))
    return Touch(share, (), bundle, low_m, high_m, (low, high))


def short(*touches: Touch) -> Place:
    return of_short(NAMES, LOOM, ShortPlace(touches), (), PAIR)


def test_a_touch_is_told_by_kind_of_place_and_what_is_not_told_apart_by_all_of_it() -> None:
    wire, plug = short(touch(0.5, 0.6)), short(Touch(0.9, (A1, A2)))
    assert (wire.answer, plug.answer, plug.ends) == ("wire", "connector", (A1, A2))
    assert "where they are taken to lie side by side" in wire.text
    assert "in bundle trunk" in short(touch(0.5, 0.6, bundle="trunk")).text
    both = short(touch(0.5, 0.6), Touch(0.35, (A1, A2)))
    assert both.answer == "either"
    assert both.share == pytest.approx(0.95)


def test_touches_over_more_than_half_of_the_shortest_wire_say_no_place() -> None:
    assert short(touch(0.1, 1.1)).answer == "wire"
    none = short(touch(0.1, 0.7), touch(1.0, 1.41))
    assert (none.answer, none.stretches) == ("none", ())
    assert "2 places together 1.01 m long" in none.text


def test_a_touch_is_as_wide_as_its_bundles_place_is_uncertain_and_no_wider_than_its_wires() -> None:
    place = short(touch(0.1, 0.2, slack_m=0.15))
    assert [each.low_m for each in place.stretches] == [0.0, 0.0]
    assert [each.high_m for each in place.stretches] == pytest.approx([0.35, 0.35])
    place = short(touch(0.5, 0.6, slack_m=0.15))
    assert [each.low_m for each in place.stretches] == pytest.approx([0.35, 0.35])


def test_what_a_place_by_ohms_takes_for_known_is_told() -> None:
    """The figures are those that are reckoned with: plugs' share, joints, copper, a reading's scatter."""
    from_limits = Across(A1, A2, 0.4, 0.004, scatter_ohm=0.008, scatter_assumed=True, repeats=4)
    touches = ShortPlace((touch(0.5, 0.6),), plug_share=CONNECTOR_SHARE)
    basis = of_short(NAMES, LOOM, touches, (from_limits,), PAIR).basis
    assert "20% of shorts taken to lie in plugs" in basis
    assert "contacts, crimps and splices have 30% to 80% of the most that they may" in basis
    assert "copper of one wire is off another's by 0.8% (k = 1)" in basis
    assert "one reading scatters by 0.0080 Ω (k = 1), taken from the limits of error" in basis
    found = replace(from_limits, scatter_assumed=False)
    basis = of_short(NAMES, LOOM, replace(touches, plug_share=0.0), (found,), PAIR).basis
    assert "as self-test or zeroing found" in basis
    assert "plugs" not in basis, "there was no choice"
    assert place_of(touching()).basis.count("20% of shorts") == 1


@pytest.mark.parametrize(
    ("place", "said"),
    [
        (Place("wire", "here", 0.99, (), (AT,), "this"), "the interval holds the place with 95% probability"),
        (Place("either", "here", 0.96, (A1,), (AT,), "this"), "one of these is so with 95% probability"),
        (Place("either", "here", 0.99, (), (AT,), "this"), "the intervals hold the place with 95%"),
        (Place("connector", "here", 0.988, (A1,), (), "this"), "this is so with 98% probability"),
    ],
)
def test_how_sure_a_place_is_is_told_under_its_assumptions_and_never_rounded_up(
    place: Place, said: str
) -> None:
    assert f"By this (0 readings). Under these assumptions {said}" in place_text(place)


@pytest.mark.parametrize(
    ("place", "kind", "said"),
    [
        (
            Place("wire", "here", 0.99, (), (WirePlace("W1", A1, 0.311, 0.469, 1.0),), "this", readings=2),
            "open",
            "here. If the wires lie evenly in their bundle, it is between 0.31 and 0.47 m 19 times in 20 "
            "(2 readings)",
        ),
        (
            Place("connector", "here", 0.988, (A1,), (), "this", readings=1),
            "short",
            "here. If wires and contacts are as described, it is there 98 times in 100 (1 reading)",
        ),
        (Place("none", "no place can be told"), "open", "no place can be told"),
    ],
)
def test_at_the_bench_a_place_is_told_shortly_with_what_must_hold(place: Place, kind: str, said: str) -> None:
    """19 times in 20 is the 95 % of two standard deviations; a limit is rounded outwards."""
    assert place_in_brief(place, kind) == said
