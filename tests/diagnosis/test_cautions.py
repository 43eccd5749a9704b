"""Where work on a finding can hurt: the cautions that it carries, by what is at the place."""

from __future__ import annotations

from dataclasses import replace

import pytest

from loomproof.diagnosis.supplies import Side, joined_supplies, side_of, swapped_supplies
from loomproof.diagnosis.words import Names
from loomproof.loom.model import (
    Circuit,
    Connector,
    ConnectorKind,
    End,
    Hazard,
    Loom,
    Wire,
)


def loom_with(hazard: Hazard = Hazard.NONE) -> Loom:
    """A plug of which this is known, one of which nothing is, and a wire of every side of a supply."""
    circuits = (
        Circuit("feed", "", "30"),
        Circuit("lamp", "", "58"),
        Circuit("fused", "", "", fuse="5 A"),
        Circuit("earth", "", "31"),
        Circuit("signal", "", ""),
        Circuit("through", "", "31b"),
    )
    names = [*(circuit.name for circuit in circuits), "not described"]
    return Loom(
        "cautions",
        connectors=(
            Connector("A", ConnectorKind.PLUG, (tuple(str(k) for k in range(9)),), hazard=hazard),
            Connector("B", ConnectorKind.PLUG, (tuple(str(k) for k in range(9)),)),
        ),
        wires=tuple(
            Wire(f"W-{name}", End("A", str(k)), End("B", str(k)), circuit=name)
            for k, name in enumerate(names)
        ),
        circuits=circuits,
    )


@pytest.mark.parametrize(
    ("hazard", "airbag", "electronics"),
    [
        (Hazard.NONE, False, False),
        (Hazard.UNKNOWN, False, False),
        (Hazard.PYROTECHNIC, True, False),
        (Hazard.ELECTRONICS, False, True),
    ],
)
def test_what_is_at_the_place_is_cautioned_of(hazard: Hazard, airbag: bool, electronics: bool) -> None:
    names = Names(loom_with(hazard))
    told = names.cautions([End("B", "1"), End("A", "1")])
    assert told[0].startswith("Battery off and control units unplugged")
    assert "Local rules" in told[0]
    assert (
        any(text.startswith("Airbag or belt-tensioner circuit: licensed people only") for text in told)
        is airbag
    )
    assert any("no test current into them" in text for text in told) is electronics
    assert len(names.cautions([End("B", "1"), End("nowhere", "1")])) == 1


SIDES = {
    "feed": Side.FEED,
    "lamp": Side.FEED,
    "fused": Side.FEED,
    "earth": Side.EARTH,
    "signal": Side.SIGNAL,
    "through": Side.SIGNAL,
    "not described": Side.UNKNOWN,
}


@pytest.mark.parametrize(("name", "side"), SIDES.items())
def test_a_conductor_is_what_its_circuit_says(name: str, side: Side) -> None:
    loom = loom_with()
    assert side_of(loom, [loom.wire_by_name[f"W-{name}"]]) is side
    assert side_of(loom, []) is Side.UNKNOWN


@pytest.mark.parametrize("one", SIDES)
@pytest.mark.parametrize("other", SIDES)
def test_no_battery_before_what_joins_or_exchanges_a_feed_is_mended(one: str, other: str) -> None:
    """Feed to earth burns; a conductor of which nothing is known may be either. Typed by hand."""
    loom = loom_with()
    pair = [[loom.wire_by_name[f"W-{name}"]] for name in (one, other)]
    sides = {SIDES[one], SIDES[other]}
    joined, swapped = joined_supplies(loom, pair), swapped_supplies(loom, pair)
    grave = sides == {Side.FEED, Side.EARTH}
    doubtful = Side.UNKNOWN in sides and bool(sides & {Side.FEED, Side.EARTH})
    assert len(joined) == (grave or doubtful)
    assert len(swapped) == (Side.FEED in sides and len(sides) == 2)
    for text in (*joined, *swapped):
        assert text.startswith("Do not connect the battery")
        assert "before this is mended" in text
    assert any("a feed is joined to earth, and the wire burns" in text for text in joined) is grave


def test_earth_counts_more_than_a_feed_in_one_conductor() -> None:
    """A net with an earth wire and a fused one is earth: what joins it to a feed is a short."""
    loom = loom_with()
    both = [loom.wire_by_name["W-earth"], loom.wire_by_name["W-feed"]]
    assert side_of(loom, both) is Side.EARTH
    assert side_of(loom, [replace(both[1], circuit="signal"), both[1]]) is Side.FEED
