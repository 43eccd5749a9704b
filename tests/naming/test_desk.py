"""The dialogue of naming, event by event: touches, keys in place and out of place, and what stands there."""

from __future__ import annotations

from collections.abc import Iterable

import pytest

from loomproof.loom.model import End
from loomproof.naming.answers import begun
from loomproof.naming.desk import LONGEST_LINE, Desk, steps
from loomproof.naming.happening import Happened, Key, Letters, Lifted, Measured, Touch
from loomproof.naming.progress import counts
from loomproof.naming.shown import shown
from tests.naming.engine import NETS, engine, nameless

BARE, TRUTH = nameless(engine())
BACK = {real: end for end, real in TRUTH.items()}


def at(text: str) -> End:
    return BACK[End(*text.split(":"))]


def touch(text: str) -> Touch:
    """What the probe reaches on this end: its whole net."""
    net = next((ends for ends in NETS.values() if text in ends), (text,))
    return Touch(tuple(sorted(map(at, net))))


def typed(line: str) -> Iterable[Happened]:
    return (*map(Letters, line), Key.ENTER)


def desk(*happened: Happened | Iterable[Happened]) -> Desk:
    flat: list[Happened] = []
    for each in happened:
        flat += [each] if isinstance(each, Happened) else each
    return steps(Desk(begun(BARE)), flat)


def test_a_touch_says_its_net_and_takes_the_end_of_the_smaller_plug() -> None:
    there = shown(desk(touch("INJ1:2")))
    assert [line.name for line in there.ends] == sorted([str(at("INJ1:2")), str(at("ECU:12"))])
    assert there.question == f"What is {at('INJ1:2')}?"
    assert "not which end" in there.heading
    assert there.offers[0].says.startswith("INJ1")
    assert there.touches == 1


def test_the_next_touch_stays_at_the_plug_where_the_person_was() -> None:
    done = desk(touch("ECU:5"), Key.OTHER_END, typed("ECU"), Lifted(), touch("ECU:12"))
    assert done.chosen == at("INJ1:2"), "a nameless end before one that has its name"
    there = desk()
    chosen = _to(there, touch("TPS:1"), at("TPS:1"))
    done = steps(there, [touch("TPS:1"), *chosen, *typed("TPS:1"), touch("TPS:2")])
    assert done.chosen == at("TPS:2")


def test_one_key_takes_a_suggestion_and_nothing_else_does() -> None:
    before = desk(touch("INJ1:2"))
    for key in (Key.ENTER, Key.COMPLETE, Key.LEFT, Key.ERASE, Key.UNKNOWN):
        assert steps(before, [key]).named.answers == ()
    taken = steps(before, [Letters("1")])
    assert taken.named.names[at("INJ1:2")] == End("INJ1", "2")
    assert taken.named.circuit_at(End("INJ1", "2")) == "injector"
    assert "5 plugs of two share one wire" in taken.named.answers[0].whence
    assert counts(taken.named).ends == 2


def test_a_figure_that_is_no_suggestion_is_told_and_a_name_may_begin_with_one() -> None:
    there = desk(touch("INJ1:2"), Letters("9"))
    assert there.refused
    assert "There is no suggestion 9" in there.said
    assert there.named.answers == ()
    assert desk(touch("INJ1:2"), Letters("²")).text == "²", "a figure that no key of a suggestion has"
    assert desk(touch("INJ1:2"), Letters(" "), typed("5A:1")).named.names[at("INJ1:2")] == End("5A", "1")
    # Behind a letter a figure is a letter; with nothing suggested it begins a line.
    assert desk(touch("INJ1:2"), typed("K1")).named.names[at("INJ1:2")] == End("K1", "2")


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("q", "Ctrl-D stops till later"),
        ("undo", "Ctrl-Z takes"),
        ("", "Type what it is"),
        ("   ", "Type what it is"),
        ("x" * 200, "200 letters"),
        ('"open', "not closed"),
    ],
)
def test_a_wrong_line_is_refused_in_words_and_stays_to_be_mended(line: str, why: str) -> None:
    there = desk(touch("INJ1:2"), typed(line))
    assert why in there.said
    assert there.refused
    assert there.named.answers == ()
    assert there.text == line.strip() or not line.strip()


def test_a_name_given_twice_is_refused() -> None:
    there = desk(touch("INJ1:2"), typed("INJ1"), touch("INJ2:2"), typed("INJ1"))
    assert "INJ1 is there already" in there.said
    assert there.named.names[at("INJ2:2")] == at("INJ2:2")


def test_keys_before_any_touch_do_no_harm() -> None:
    for key in (*Key, Letters("1"), Letters("x"), *map(Letters, "INJ1 2")):
        there = desk(key)
        assert there.named.answers == ()
        shown(there)
    assert "Nothing is touched yet" in desk(typed("INJ1")).said


def test_a_line_that_is_begun_keeps_its_end_when_another_is_touched() -> None:
    there = desk(touch("INJ1:2"), Letters("INJ"), touch("TPS:3"))
    assert there.chosen == at("INJ1:2")
    assert "a line is begun for" in there.said
    assert desk(touch("INJ1:2"), Letters("INJ"), touch("TPS:3"), Key.CLEAR, touch("TPS:3")).chosen == at(
        "TPS:3"
    )


def test_the_typed_number_says_which_end_of_a_net_is_meant_unless_a_key_did() -> None:
    there = desk(touch("EARTH1:1"), typed("EARTH1"), touch("ECU:2"))
    assert there.chosen != at("ECU:2")
    lettered = steps(there, map(Letters, "ECU:2"))
    assert shown(lettered).meant.startswith(f"{at('ECU:2')} is ECU:2")
    done = steps(lettered, [Key.ENTER])
    assert done.named.names[at("ECU:2")] == End("ECU", "2")
    assert done.chosen == at("ECU:2")
    picked = steps(there, [*_to(there, touch("ECU:2"), at("ECU:3")), *typed("ECU:2")])
    assert picked.named.names[at("ECU:3")] == End("ECU", "2")


def test_an_end_of_the_net_that_has_the_typed_name_is_the_one_that_is_meant() -> None:
    there = desk(touch("INJ1:2"), Key.OTHER_END, typed("ECU"), touch("ECU:12"), typed("ECU:12 RD/WH"))
    assert there.named.names[at("INJ1:2")] == at("INJ1:2")
    assert there.named.names[at("ECU:12")] == End("ECU", "12")
    (wire,) = there.named.loom.wires_at[End("ECU", "12")]
    assert wire.colour == "RD/WH"


def test_undo_goes_back_to_the_beginning_and_says_so() -> None:
    there = desk(touch("INJ1:2"), Letters("1"), touch("TPS:3"), typed("TPS"), Key.UNDO)
    assert there.chosen == at("TPS:3")
    assert there.said == f"Taken back: {at('TPS:3')} has no name again."
    there = steps(there, [Key.UNDO, Key.UNDO])
    assert there.named.answers == ()
    assert there.named.loom == BARE
    assert "no answer that could be taken back" in there.said


def test_nameless_ends_are_walked_through_without_a_touch() -> None:
    there, seen = desk(), []
    for _ in BARE.cavities:
        there = steps(there, [Key.NEXT])
        seen.append(there.chosen)
    assert seen == list(BARE.cavities)
    assert shown(there).heading.startswith("By the description")
    assert steps(there, [Key.PREVIOUS]).chosen == BARE.cavities[-2]


def test_what_the_probe_reaches_otherwise_than_traced_is_told() -> None:
    there = desk(Touch((at("INJ1:2"),)))
    assert f"Traced as one net with {at('ECU:12')}" in there.said
    assert "no lead of the adapter" in desk(Touch((), (61,))).said


def test_ohms_are_asked_pair_by_pair_once_the_probe_is_off() -> None:
    there = desk(touch("INJ1:2"))
    assert there.to_read is None
    there = steps(there, [Lifted()])
    assert there.to_read == (at("INJ1:2"), at("ECU:12"))
    there = steps(there, [Measured(*there.to_read, 0.051, 0.012)])
    assert there.to_read is None
    (line,) = [line for line in shown(there).ends if not line.chosen]
    assert line.ohms == "0.051 Ω ± 0.012 Ω"
    # They are of the ends, whatever those are called by then.
    assert [line.ohms for line in shown(steps(there, typed("INJ1"))).ends if line.ohms] == [line.ohms]


def test_tab_completes_goes_round_and_enter_takes_what_stands_there() -> None:
    there = desk(touch("INJ1:2"), *map(Letters, "INJ1:2 RD/W"), Key.COMPLETE)
    assert there.text == "INJ1:2 RD/WH"
    there = desk(touch("CTS:2"), *map(Letters, "CTS b"))
    seen = []
    for _ in range(4):
        there = steps(there, [Key.COMPLETE])
        seen.append(there.text)
    assert seen[:3] == ["CTS BK", "CTS BN", "CTS BU"]
    assert shown(there).meant.startswith("the whole plug")
    assert steps(there, [Key.ENTER]).named.names[at("CTS:2")] == End("CTS", "2")
    assert (
        "Nothing that is known goes on like that" in desk(touch("CTS:2"), Letters("zzz"), Key.COMPLETE).said
    )
    assert "Type a letter first" in desk(touch("CTS:2"), Key.COMPLETE).said


def test_a_line_is_edited_as_lines_are() -> None:
    keys: list[Happened] = [Key.FIRST, Key.RIGHT, Letters("X"), Key.LAST, Key.ERASE, Key.LEFT, Letters("Y")]
    assert desk(touch("CTS:2"), Letters("abc"), *keys).text == "aXYb"
    assert desk(touch("CTS:2"), Letters("one two"), Key.ERASE_WORD).text == "one "
    assert desk(touch("CTS:2"), Letters("one"), Key.ERASE_WORD).text == ""
    assert desk(touch("CTS:2"), Letters("y" * (LONGEST_LINE + 1))).text == ""
    assert desk(touch("CTS:2"), Letters("a\x00b\u200b")).text == "ab"


def test_when_all_have_names_the_screen_says_so() -> None:
    there = desk()
    for end, real in TRUTH.items():
        if end in there.named.nameless:
            there = steps(
                there, [touch(str(real)), *_to(there, touch(str(real)), end), *typed(real.connector)]
            )
    assert not there.named.nameless
    stands = shown(there)
    assert (stands.done, stands.of) == (60, 60)
    assert stands.nameless.startswith("Every end has a name")
    assert "Every end has a name" in steps(there, [Key.NEXT]).said
    assert "names already" in steps(there, [touch("INJ1:1")]).said


def _to(there: Desk, touched: Touch, end: End) -> list[Happened]:
    """Keys from the end that is taken to be meant to the one that is."""
    chosen = steps(there, [touched]).chosen
    assert chosen is not None
    return [Key.OTHER_END] * ((touched.ends.index(end) - touched.ends.index(chosen)) % len(touched.ends))
