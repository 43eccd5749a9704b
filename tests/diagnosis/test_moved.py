"""Who is suspected of what came and went, by what changed together and by what was being moved."""

from __future__ import annotations

from collections.abc import Sequence

import pytest

from loomproof.diagnosis.moved import troubles_of
from loomproof.electrics.expectation import expect
from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.results.wiggled import Change, Moved, NetWatched, Place, Wiggled
from tests.bench.torture import FIXTURES
from tests.measuring.scanner_bench import loom_of

PLUGS = (Place("a", frozenset({"A"})), Place("b", frozenset({"B"})))


def watched(
    loom: Loom, nets: Sequence[tuple[str, ...]], seen: list[Moved], spent: dict[str, float]
) -> Wiggled:
    ends = {str(end): end for end in loom.cavities}
    told = tuple(NetWatched(tuple(ends[each] for each in net), 60.0, 60.0) for net in nets)
    return Wiggled(60.0, told, 1000, seen=tuple(seen), moved_s=spent)


def breaks(places: str, *cavities: str, net: int = 0) -> list[Moved]:
    ends = tuple(End(*each.split(":")) for each in cavities)
    return [Moved(float(k), Change.BREAK, (net,), ends, 500 + k, place) for k, place in enumerate(places)]


def test_what_parts_a_wire_of_two_ends_is_the_wire_or_either_contact_and_all_are_alike_without_a_place() -> (
    None
):
    loom = loom_of("1 2")
    (trouble,) = troubles_of(loom, watched(loom, [("A:1", "B:1")], breaks(" ", "B:1"), {}), PLUGS)
    assert {each.what for each in trouble.suspects} == {"W1", "the contact of A:1", "the contact of B:1"}
    assert [each.share for each in trouble.suspects] == pytest.approx([1 / 3] * 3)


@pytest.mark.parametrize(("places", "first"), [("aaaa", "A:1"), ("bbbb", "B:1"), ("aaaaba", "A:1")])
def test_the_contact_in_the_plug_that_was_moved_comes_first(places: str, first: str) -> None:
    loom = loom_of("1 2")
    seen = breaks(places, "B:1")
    (trouble,) = troubles_of(loom, watched(loom, [("A:1", "B:1")], seen, {"a": 30.0, "b": 30.0}), PLUGS)
    assert str(trouble.suspects[0].contact) == first
    assert sum(each.share for each in trouble.suspects) == pytest.approx(1.0)
    assert trouble.times == len(places)
    assert (trouble.shortest_us, trouble.longest_us) == (500, 499 + len(places))


def test_a_wire_shows_at_both_of_its_plugs_and_most_in_its_bundle() -> None:
    loom = loom_of("1 2")
    places = (*PLUGS, Place("w", wires=frozenset({"W1"})))
    spent = {"a": 20.0, "b": 20.0, "w": 20.0}
    (trouble,) = troubles_of(loom, watched(loom, [("A:1", "B:1")], breaks("wwwab", "B:1"), spent), places)
    assert trouble.suspects[0].what == "W1"


def test_the_share_is_that_of_the_rule_worked_by_hand() -> None:
    # One event at a, both moved for as long: weights at a 20 : 4 : 1 for the contact there, the wire and the
    # far contact, each over its own sum 21, 8 and 21; so 20/21 : 1/2 : 1/21.
    loom = loom_of("1 2")
    seen = breaks("a", "B:1")
    (trouble,) = troubles_of(loom, watched(loom, [("A:1", "B:1")], seen, {"a": 5.0, "b": 5.0}), PLUGS)
    total = 20 / 21 + 1 / 2 + 1 / 21
    assert [each.share for each in trouble.suspects] == pytest.approx(
        [20 / 21 / total, 1 / 2 / total, 1 / 21 / total]
    )


def test_a_place_that_was_moved_for_long_proves_less_by_one_event() -> None:
    loom = loom_of("1 2")
    nets = [("A:1", "B:1")]
    seen = breaks("aaaab", "B:1")
    even, uneven = (
        troubles_of(loom, watched(loom, nets, seen, spent), PLUGS)[0].suspects
        for spent in ({"a": 10.0, "b": 10.0}, {"a": 1000.0, "b": 1.0})
    )
    assert str(even[0].contact) == "A:1"
    assert str(uneven[0].contact) == "B:1"


def test_only_what_parts_just_those_cavities_is_suspected() -> None:
    """One end of a spliced net: nothing but its own wires and contact parts it alone."""
    loom = load(FIXTURES / "hillclimb_engine").loom
    nets = [tuple(map(str, net.cavities)) for net in expect(loom).nets]
    number, net = next((k, net) for k, net in enumerate(nets) if len(net) > 3)
    seen = breaks(" ", net[-1], net=number)
    (trouble,) = troubles_of(loom, watched(loom, nets, seen, {}))
    assert trouble.suspects
    told = {name for each in trouble.suspects for name in each.wires}
    far = {wire.name for wire in loom.wires if str(wire.a) == net[-1] or str(wire.b) == net[-1]}
    assert told <= far


def test_troubles_come_by_how_often_and_touches_have_no_suspects() -> None:
    loom = loom_of("1 2 3")
    nets = [("A:1", "B:1"), ("A:2", "B:2"), ("A:3", "B:3")]
    touch = Moved(0.1, Change.TOUCH, (1, 2), loom.cavities[1:3], 100, "a")
    seen = [touch, *breaks("aab", "B:1")]
    first, second = troubles_of(loom, watched(loom, nets, seen, {}), PLUGS)
    assert (first.times, second.times) == (3, 1)
    assert (second.change, second.suspects) == (Change.TOUCH, ())
    assert first.places == {"a": 2, "b": 1}


def test_where_one_place_alone_was_moved_the_shares_are_alike_and_what_is_in_it_is_named_first() -> None:
    loom = loom_of("1 2")
    seen = breaks("bb", "B:1")
    (trouble,) = troubles_of(loom, watched(loom, [("A:1", "B:1")], seen, {"b": 9.0}), PLUGS)
    assert [each.share for each in trouble.suspects] == pytest.approx([1 / 3] * 3)
    assert str(trouble.suspects[0].contact) == "B:1"
