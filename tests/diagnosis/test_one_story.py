"""A finding tells one story: its heading, cause, places and first steps claim no more than each other."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from loomproof.diagnosis import explain
from loomproof.diagnosis.narrow import narrow
from loomproof.diagnosis.seen import Observation, Thing, What
from loomproof.loom.model import End, Loom, ends_of
from loomproof.loom.reading import load
from loomproof.reports.words import cause
from loomproof.results.findings import Finding
from loomproof.results.measured import Decision, Judged, Measured
from loomproof.results.places import Place
from tests.diagnosis.injector import Bench, Injected


@pytest.fixture(scope="module")
def looms(fixtures: Path) -> dict[str, Loom]:
    return {name: load(fixtures / name).loom for name in ("tail_lamp", "hillclimb_engine")}


def found(loom: Loom, fault: Injected) -> Finding:
    bench = Bench(loom)
    (finding,) = explain(loom, Measured(bench.build(), bench.build([fault]), complete=True))
    return finding


@pytest.fixture(scope="module")
def opened(looms: dict[str, Loom]) -> Finding:
    return found(looms["tail_lamp"], Injected("open", wires=("W2",)))


def sound(*things: Thing) -> list[Observation]:
    return [Observation(thing, sound=True) for thing in things]


BODY, LAMP = (Thing(What.CAVITY, end=end) for end in ends_of("BODY:2 LAMP:2"))


def test_an_open_that_may_sit_at_a_contact_is_not_called_a_broken_wire(opened: Finding) -> None:
    """Read from both ends, a contact pushed back and a broken wire are the same."""
    assert opened.title == "W2 (black/red) open between BODY:2 and LAMP:2", "what was measured"
    assert cause(opened) == "bad contact or broken wire"
    assert opened.places[0].startswith("BODY:2, row ")


@pytest.mark.parametrize(
    ("place", "told"),
    [
        (Place("wire", "there"), "broken wire"),
        (Place("near", "there"), "bad contact or broken wire"),
        (Place("none", "nowhere"), "bad contact or broken wire"),
    ],
)
def test_only_a_place_on_its_way_makes_it_a_broken_wire(opened: Finding, place: Place, told: str) -> None:
    assert cause(replace(opened, place=place)) == told


def test_high_resistance_is_not_put_into_the_wire_alone(opened: Finding) -> None:
    high = replace(opened, cause="resistive_wire")
    assert cause(high) == "resistive contact or wire"
    assert cause(replace(high, place=Place("contact", "there"))) == "resistive contact"


def test_a_contact_that_was_seen_to_be_sound_is_not_looked_at_again(opened: Finding) -> None:
    ((left,), _) = narrow([opened], sound(BODY))
    assert left.cavities == (LAMP.end,)
    assert not any(text.startswith("BODY:2, row") for text in left.places)
    assert any(step.startswith("Unplug and look at the contacts of LAMP:2: ") for step in left.repair)
    assert not any("BODY:2 and LAMP:2: pushed" in step for step in left.repair)
    assert cause(left) == "bad contact or broken wire"


def test_with_both_contacts_sound_the_wire_is_broken(opened: Finding) -> None:
    ((left,), _) = narrow([opened], sound(BODY, LAMP))
    assert cause(left) == "broken wire"
    assert [text[:8] for text in left.places] == ["along W2"]
    assert not any(step.startswith("Unplug and look") for step in left.repair)
    assert left.identity == opened.identity, "the same finding"


def test_wires_that_may_be_crossed_at_either_plug_are_headed_so(looms: dict[str, Loom]) -> None:
    one, other = ends_of("ECU-B:8 ECU-B:9")
    crossed = found(looms["hillclimb_engine"], Injected("swap", (one, other)))
    both = {"at ECU-B:8 and ECU-B:9", "at THR:3 and THR:4"}
    assert set(crossed.title.partition(" crossed ")[2].split(", or ")) == both
    for plug, left in (("ECU-B", "THR:3 and THR:4"), ("THR", "ECU-B:8 and ECU-B:9")):
        ((told,), _) = narrow([crossed], sound(Thing(What.CONNECTOR, end=End(plug))))
        assert told.title == f"W67 (orange/white) and W68 (orange/green) crossed at {left}"
        assert not any(f"at {plug}:" in step and "release" in step for step in told.repair), "none is moved"
        assert not any(place.startswith(f"{plug}:") for place in told.places)


def test_contacts_of_a_high_joint_that_were_seen_to_be_sound_are_not_looked_at_again(
    looms: dict[str, Loom],
) -> None:
    loom = looms["tail_lamp"]
    as_described = Bench(loom).build()
    read = Judged(BODY.end, LAMP.end, 0.2, 0.01, 0.06, 0.13, Decision.FAIL, wires=("W2",))
    (high,) = explain(loom, Measured(as_described, as_described, complete=True, judged=(read,)))
    first = "Look at BODY:2 and LAMP:2 first: contact green, spread, or crimped on insulation?"
    assert first in high.repair
    ((left,), _) = narrow([high], sound(BODY))
    assert first.replace("BODY:2 and LAMP:2", "LAMP:2") in left.repair
    ((wire,), _) = narrow([high], sound(BODY, LAMP))
    assert cause(wire) == "resistive wire"
    assert not any(step.startswith("Look at") for step in wire.repair)


def test_a_short_of_the_adapter_is_told_with_the_whole_loom_off(looms: dict[str, Loom]) -> None:
    """With one plug off, a short in it still reads between the wires' other ends."""
    touch = found(looms["tail_lamp"], Injected("short", ends_of("LAMP:3 LAMP:4")))
    (told,) = (each.tell_apart for each in touch.alternatives if each.text.startswith("leads of the adapter"))
    assert told.startswith("Take the whole loom off the adapter and prove again, ")
    apart = next(step for step in touch.repair if "one at a time" in step)
    assert apart.startswith("Where plugs within the loom join up"), (
        "a plug off the adapter takes no short along"
    )
