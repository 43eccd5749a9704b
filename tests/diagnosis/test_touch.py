"""Where two conductors could touch, from a drawing: neighbours, bundles, twisted pairs, routes."""

from __future__ import annotations

import pytest

from loomproof.diagnosis.touch import Conductor, nearest, touches
from loomproof.diagnosis.weights import weights
from loomproof.loom.model import Connector, ConnectorKind, End, Loom, Wire, end_of, ends_of
from tests.diagnosis.test_wiring_faults import plug

TABLE = weights()


def wire(name: str, a: str, b: str, *, bundle: str = "", twisted: str = "", screen: str = "") -> Wire:
    return Wire(
        name, end_of(a), end_of(b), csa_mm2=0.5, bundle=bundle, twisted_with=twisted, screened_by=screen
    )


def of(*wires: Wire) -> Conductor:
    ends = [end for one in wires for end in one.ends]
    return Conductor(tuple(end for end in ends if end.cavity), frozenset(ends), wires)


def loom_of(*wires: Wire) -> Loom:
    return Loom(
        "touch",
        connectors=(
            plug("A", "1 2 3", "4 5 6"),
            plug("B", "1 2 3"),
            plug("C", "1 2 3"),
            Connector("S", ConnectorKind.SPLICE),
        ),
        wires=wires,
    )


def told(one: Wire, other: Wire) -> list[tuple[int, tuple[End, ...]]]:
    loom = loom_of(one, other)
    forth = touches(loom, of(one), of(other), TABLE)
    back = touches(loom, of(other), of(one), TABLE)
    assert sorted(t.cost for t in forth) == sorted(t.cost for t in back)
    assert {t.ends for t in forth} == {t.ends for t in back}
    assert [t.cost for t in forth] == sorted(t.cost for t in forth)
    return [(touch.cost, touch.ends) for touch in forth]


N, S, B, H, R = (
    TABLE.touch_neighbours,
    TABLE.touch_splice,
    TABLE.touch_bundle,
    TABLE.touch_housing,
    TABLE.touch_route,
)


@pytest.mark.parametrize(
    ("one", "other", "expected"),
    [
        (wire("W1", "A:1", "B:1"), wire("W2", "A:2", "C:1"), [(N, ends_of("A:1 A:2"))]),
        (wire("W1", "A:1", "B:1"), wire("W2", "A:4", "C:1"), [(N, ends_of("A:1 A:4"))]),
        (wire("W1", "A:3", "B:1"), wire("W2", "A:1", "C:1"), [(H, ends_of("A:1 A:3"))]),
        (wire("W1", "A:1", "B:1"), wire("W2", "A:5", "C:1"), [(H, ends_of("A:1 A:5"))]),
        (wire("W1", "A:1", "A:2"), wire("W2", "B:1", "C:1"), []),
        (
            wire("W1", "A:1", "B:1"),
            wire("W2", "A:3", "B:3"),
            [(H, ends_of("A:1 A:3")), (H, ends_of("B:1 B:3")), (R, ())],
        ),
        (
            wire("W1", "A:1", "B:1"),
            wire("W2", "A:2", "B:3"),
            [(N, ends_of("A:1 A:2")), (H, ends_of("B:1 B:3")), (R, ())],
        ),
        (wire("W1", "A:1", "A:2", bundle="x y"), wire("W2", "B:1", "C:1", bundle="y z"), [(B, ())]),
        (wire("W1", "A:1", "A:2", bundle="x"), wire("W2", "B:1", "C:1", bundle="y"), []),
        (wire("W1", "A:1", "A:2", twisted="W2"), wire("W2", "B:1", "C:1"), [(S, ())]),
        (wire("W1", "A:1", "A:2"), wire("W2", "B:1", "C:1", twisted="W1"), [(S, ())]),
        (wire("W1", "A:1", "A:2", screen="W2"), wire("W2", "B:1", "C:1"), [(S, ())]),
        (wire("W1", "A:1", "A:2", screen="W9"), wire("W2", "B:1", "C:1", twisted="W8"), []),
        (wire("W1", "A:1", "S"), wire("W2", "B:1", "S"), []),
    ],
)
def test_where_two_wires_come_near_each_other(
    one: Wire, other: Wire, expected: list[tuple[int, tuple[End, ...]]]
) -> None:
    assert told(one, other) == expected


def test_what_is_said_of_a_place() -> None:
    one, other = wire("W1", "A:1", "B:1", bundle="x y"), wire("W2", "A:2", "B:3", bundle="z y x")
    said = [touch.text for touch in touches(loom_of(one, other), of(one), of(other), TABLE)]
    assert said == [
        "A:1, row 1 place 1, seen from the mating face, and A:2 beside it",
        "in bundle x y, W1 against W2",
        "B:1 and B:3, in one housing but not side by side",
        "between A and B, W1 against W2",
    ]
    twisted = wire("W1", "A:1", "A:4", twisted="W2")
    mate = wire("W2", "B:1", "C:1")
    (touch,) = touches(loom_of(twisted, mate), of(twisted), of(mate), TABLE)
    assert touch.text == "along W1 and W2, twisted or screened together"


def test_the_wire_that_shares_most_bundles_is_named_and_of_equals_the_first() -> None:
    one = wire("W1", "A:1", "A:4", bundle="x y z")
    others = (
        wire("W2", "B:1", "B:2", bundle="x"),
        wire("W3", "B:2", "B:3", bundle="y z"),
        wire("W4", "B:3", "C:1", bundle="x y"),
        wire("W5", "C:1", "C:2"),
    )
    (touch,) = touches(loom_of(one, *others), of(one), of(*others), TABLE)
    assert touch.text == "in bundle y z, W1 against W3"


def test_the_nearest_pair_comes_first_and_strangers_last() -> None:
    """1 and 2 sit side by side, 0 and 1 in one bundle; nothing brings 0 and 2 together."""
    conductors = [
        of(wire("W1", "B:1", "B:3", bundle="x")),
        of(wire("W2", "A:1", "A:4", bundle="x")),
        of(wire("W3", "A:2", "A:5")),
    ]
    loom = loom_of(*(w for c in conductors for w in c.wires))
    found = nearest(loom, conductors, TABLE)
    assert [(i, j) for i, j, _ in found] == [(1, 2), (0, 1), (0, 2)]
    assert found[2][2] == ()
    assert [near[0].cost for _, _, near in found[:2]] == [N, B]


def test_pairs_alike_stand_in_their_order() -> None:
    conductors = [of(wire(f"W{k}", f"{p}:1", f"{p}:3")) for k, p in enumerate("ABC")]
    loom = loom_of(*(w for c in conductors for w in c.wires))
    assert [(i, j) for i, j, _ in nearest(loom, conductors, TABLE)] == [(0, 1), (0, 2), (1, 2)]
