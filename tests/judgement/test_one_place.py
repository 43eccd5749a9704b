"""Several faults at one place of a bundle are told once, with what does such damage; others stay apart."""

from __future__ import annotations

import random
import sys
from dataclasses import replace

import pytest

from loomproof.judgement.one_place import shared_places
from loomproof.loom.bundles import Bundle
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire
from loomproof.reports import words
from loomproof.results.findings import Finding, Kind, Severity
from loomproof.results.places import Place, WirePlace
from tests.locating.placing_bench import placed
from tests.locating.test_placing import _loom


def _row(count: int) -> Loom:
    """Wires of two metres from A to B, half of them written the other way, through trunk and branch."""
    ends = [(End("A", f"{k}"), End("B", f"{k}")) for k in range(count)]
    return Loom(
        "row",
        connectors=tuple(
            Connector(name, ConnectorKind.PLUG, (tuple(f"{k}" for k in range(count)),)) for name in "AB"
        ),
        wires=tuple(
            Wire(f"W{k}", *(pair if k % 2 else pair[::-1]), length_m=2.0, bundle="trunk branch")
            if k % 2
            else Wire(f"W{k}", *pair[::-1], length_m=2.0, bundle="branch trunk")
            for k, pair in enumerate(ends)
        ),
        bundles=(Bundle("trunk", 1.2, "A", "fork"), Bundle("branch", 0.8, "fork", "B")),
    )


def _open(loom: Loom, number: int, middle_m: float, u_m: float) -> Finding:
    """An open of wire ``number`` whose place is so far from A, counted from the wire's nearer end."""
    wire = loom.wires[number]
    end = wire.a if (wire.a.connector == "A") == (middle_m < 1.0) else wire.b
    near_m = middle_m if end.connector == "A" else 2.0 - middle_m
    stretch = WirePlace(wire.name, end, near_m - u_m, near_m + u_m, 0.95, wire_m=2.0)
    return Finding(
        Kind.OPEN,
        Severity.FAULT,
        f"{wire.name} open",
        wire.ends,
        (wire.name,),
        cause="broken_wire",
        place=Place("wire", "", 0.95, (), (stretch,)),
    )


@pytest.mark.parametrize(
    ("places", "told"),
    [
        (((0.95, 0.1), (0.90, 0.1), (1.0, 0.1)), [("trunk", 3)]),
        (((0.95, 0.1), (0.30, 0.1)), []),
        (((0.3, 0.1), (0.33, 0.1), (1.6, 0.1), (1.65, 0.1)), [("trunk", 2), ("branch", 2)]),
        (((1.18, 0.1), (1.20, 0.1)), [("trunk", 2)]),  # on both sides of the fork, seen by both bundles
        (((0.5, 0.1), (0.55, 0.1), (0.5, 0.01), (0.56, 0.01)), [("trunk", 3)]),  # two are too exact to be one
    ],
)
def test_faults_are_joined_by_hand(
    places: tuple[tuple[float, float], ...], told: list[tuple[str, int]]
) -> None:
    loom = _row(len(places))
    found = shared_places(loom, [_open(loom, k, *place) for k, place in enumerate(places)])
    assert sorted((len(place.findings), len(place.wires)) for place in found) == sorted(
        (n, n) for _, n in told
    )
    if all(bundle == "trunk" for bundle, _ in told):
        assert all(place.bundle == "trunk" for place in found)
    for place in found:
        assert place.causes == ("a cut", "a crush", "chafe on an edge")
        assert f"in bundle {place.bundle}" in place.text


def test_the_interval_is_that_of_the_mean_and_holds_every_middle() -> None:
    loom = _row(2)
    (place,) = shared_places(loom, [_open(loom, 0, 0.40, 0.1), _open(loom, 1, 0.44, 0.1)])
    # By hand: the mean of two alike is 0.42 m, its U 0.1/√2 = 0.0707 m.
    assert (place.low_m, place.high_m) == pytest.approx((0.42 - 0.0707, 0.42 + 0.0707), abs=1e-4)
    assert "2 wires damaged 0.34 m to 0.50 m from A in bundle trunk" in place.text


def test_a_place_that_passes_a_fork_names_both_bundles() -> None:
    loom = _row(2)
    (place,) = shared_places(loom, [_open(loom, 0, 1.22, 0.1), _open(loom, 1, 1.12, 0.1)])
    # By hand: the mean is 1.17 m, its U 0.0707 m: to 0.101 m before the fork at 1.2 m, and 0.041 m after.
    assert place.bundle == "trunk"
    assert {part.begin for part in place.passes} == {"fork"}
    reach = {part.bundle: part.high_m for part in place.passes}
    assert reach == pytest.approx({"trunk": 0.1007, "branch": 0.0407}, abs=1e-3)
    assert "within 0.11 m of fork in bundle trunk" in place.text
    assert "within 0.05 m of fork in bundle branch" in place.text


def test_what_has_no_one_place_is_joined_with_nothing() -> None:
    loom = _row(2)
    one, other = _open(loom, 0, 0.4, 0.1), _open(loom, 1, 0.4, 0.1)
    assert other.place is not None
    shares = replace(other.place, stretches=(replace(other.place.stretches[0], as_share=True),))
    for changed in (
        replace(other, place=None),
        replace(other, severity=Severity.NOTE),
        replace(other, place=replace(other.place, answer="either")),
        replace(other, place=shares),
        replace(other, place=replace(other.place, stretches=other.place.stretches * 2)),
    ):
        assert shared_places(loom, [one, changed]) == ()


def test_one_place_is_told_as_one_and_faults_half_a_metre_apart_are_not() -> None:
    """Places drawn from the normal distribution that their U (k = 2) states."""
    draw, loom = random.Random(22), _row(4)
    joined = false = 0
    for _ in range(300):
        count = draw.randint(2, 4)
        at_m, us = draw.uniform(0.2, 1.0), [draw.uniform(0.03, 0.12) for _ in range(4)]
        here = [_open(loom, k, draw.gauss(at_m, us[k] / 2), us[k]) for k in range(count)]
        joined += [len(place.findings) for place in shared_places(loom, here)] == [count]
        away = [_open(loom, k, draw.gauss((0.25, 0.75)[k], us[k] / 2), us[k]) for k in range(2)]
        false += bool(shared_places(loom, away))
    assert joined >= 285  # 95 %
    assert false <= 6  # 2 %


def test_a_damage_of_three_wires_is_told_once_from_end_to_end() -> None:
    faults = [f"open W{k} at ECU:{k} 0.6 m" for k in (1, 2, 3)]
    document = placed(_loom(), *faults)[0].document
    (place,) = document.shared_places
    assert (place.wires, place.bundle, place.begin) == (("W1", "W2", "W3"), "trunk", "ECU")
    assert place.low_m < 0.6 < place.high_m
    (said,) = words.shared_places(document)
    assert said.startswith("findings 1, 2, 3: 3 wires damaged")
    assert document.plain()["shared_places"]


def test_a_document_of_one_fault_has_no_shared_place_and_does_not_write_any() -> None:
    document = placed(_loom(), "open W2 at ECU:2 0.6 m")[0].document
    assert document.shared_places == ()
    assert "shared_places" not in document.plain()


def test_fewer_than_two_places_ask_for_no_distribution(monkeypatch: pytest.MonkeyPatch) -> None:
    """What a sound loom's proof does not need, and takes long to be imported, is not imported."""
    monkeypatch.setitem(sys.modules, "scipy.special", None)
    assert shared_places(_row(4), ()) == ()
    assert shared_places(_row(4), [_open(_row(4), 1, 1.0, 0.02)]) == ()
