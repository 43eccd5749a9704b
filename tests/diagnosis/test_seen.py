"""What one more look showed, as a value and as a text: every kind of thing, by hand."""

from __future__ import annotations

import itertools

import pytest

from loomproof.diagnosis.seen import Observation, Thing, What, read_observation, with_wholes
from loomproof.errors import UsageError
from loomproof.loom.model import End, end_of

WIRE, PART = Thing(What.WIRE, "W1"), Thing(What.PART, "F1")
CAVITY, OTHER = Thing(What.CAVITY, end=end_of("A:1")), Thing(What.CAVITY, end=end_of("B:1"))
PLUG = Thing(What.CONNECTOR, end=End("A"))
LEAD, PLUG_LEADS = Thing(What.LEAD, end=end_of("A:1")), Thing(What.LEAD, end=End("A"))
ADAPTER = Thing(What.ADAPTER)
EVERY = (WIRE, PART, CAVITY, OTHER, PLUG, LEAD, PLUG_LEADS, ADAPTER)

HOLDS = {
    (PLUG, CAVITY),
    (PLUG_LEADS, LEAD),
    (ADAPTER, LEAD),
    (ADAPTER, PLUG_LEADS),
}
"""Besides itself: a plug its cavities, all leads of a plug each of them, the adapter all leads."""


@pytest.mark.parametrize(("one", "other"), list(itertools.product(EVERY, repeat=2)))
def test_what_holds_what(one: Thing, other: Thing) -> None:
    assert one.holds(other) is (one == other or (one, other) in HOLDS)


def test_leads_of_another_plug_are_not_held() -> None:
    assert not PLUG_LEADS.holds(Thing(What.LEAD, end=end_of("B:1")))
    assert not LEAD.holds(Thing(What.LEAD, end=end_of("A:2")))


@pytest.mark.parametrize(
    ("thing", "text", "told"),
    [
        (WIRE, "W1", "W1 was seen to be"),
        (Thing(What.WIRE, "front left"), '"front left"', '"front left" was seen to be'),
        (PART, "F1", "F1 was seen to be"),
        (CAVITY, "A:1", "A:1 was seen to be"),
        (PLUG, "A", "A was seen to be"),
        (LEAD, "adapter A:1", "the adapter's lead for A:1 was seen to be"),
        (PLUG_LEADS, "adapter A", "the adapter's lead for A was seen to be"),
        (ADAPTER, "adapter", "the adapter was seen to be"),
    ],
)
def test_a_thing_is_said_and_read_back(thing: Thing, text: str, told: str) -> None:
    assert str(thing) == text
    for sound, word in ((True, "sound"), (False, "bad")):
        seen = Observation(thing, sound)
        assert str(seen) == f"{text} {word}"
        assert seen.told == f"{told} {word}"
        assert read_observation(str(seen).replace('"', ""), (*EVERY, thing)) == seen


@pytest.mark.parametrize(
    ("word", "sound"),
    [("sound", True), ("good", True), ("right", True), ("bad", False), ("faulty", False), ("wrong", False)],
)
def test_words_for_sound_and_bad(word: str, sound: bool) -> None:
    assert read_observation(f"  W1  {word} ", EVERY) == Observation(WIRE, sound)


@pytest.mark.parametrize("text", ["", "W1", "sound", " bad", "W1 broken", "W1sound"])
def test_what_says_nothing_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="says nothing that can be taken"):
        read_observation(text, EVERY)


@pytest.mark.parametrize("text", ["W9 sound", "A:9 bad", "adapter C:1 bad", "Q sound"])
def test_what_no_finding_speaks_of_is_refused(text: str) -> None:
    with pytest.raises(UsageError, match="no finding speaks of"):
        read_observation(text, EVERY)


def test_the_likeliest_meaning_comes_first() -> None:
    """A wire before a plug, a plug before a part of the same name; the adapter before all."""
    named = [Thing(What.WIRE, "X"), Thing(What.CONNECTOR, end=End("X")), Thing(What.PART, "X")]
    for k, thing in enumerate(named):
        assert read_observation("X bad", named[k:]).thing == thing
    plug = Thing(What.CONNECTOR, end=End("adapter"))
    assert read_observation("adapter bad", [plug, ADAPTER]).thing == ADAPTER


def test_names_with_blanks_and_colons_are_found() -> None:
    rear = Thing(What.CONNECTOR, end=End("REAR LAMP"))
    pin = Thing(What.CAVITY, end=End("REAR LAMP", "1"))
    lead = Thing(What.LEAD, end=End("REAR LAMP", "1"))
    known = (rear, pin, lead)
    assert read_observation("REAR LAMP bad", known).thing == rear
    assert read_observation("REAR LAMP:1 bad", known).thing == pin
    assert read_observation("adapter REAR LAMP:1 bad", known).thing == lead


def test_things_stand_with_what_holds_them() -> None:
    assert with_wholes([CAVITY]) == {CAVITY, PLUG}
    assert with_wholes([LEAD]) == {LEAD, PLUG_LEADS, ADAPTER}
    assert with_wholes([WIRE, PART]) == {WIRE, PART}
    assert with_wholes([]) == set()


def test_a_wire_is_read_as_findings_print_it() -> None:
    """A name that begins with a figure is printed with the word, which can be part of a name."""
    three, named = Thing(What.WIRE, "3"), Thing(What.WIRE, "wire 3")
    assert read_observation("wire 3 sound", [three]) == Observation(three, sound=True)
    assert (
        read_observation('wire "front left" bad', [Thing(What.WIRE, "front left")]).thing.name == "front left"
    )
    assert read_observation("wire 3 bad", [three, named]).thing == named
    with pytest.raises(UsageError, match="no finding speaks of 'wire 4'"):
        read_observation("wire 4 sound", [three])
