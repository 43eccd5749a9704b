"""What a person types, read: right lines, wrong ones, and how a line may go on."""

from __future__ import annotations

import pytest

from loomproof.errors import InputError
from loomproof.loom.colours import NAMES
from loomproof.loom.model import ConnectorKind, End
from loomproof.naming.answers import Answer, after, begun
from loomproof.naming.completing import completions, known_of
from loomproof.naming.typed import read_answer, saying
from tests.naming.engine import engine, nameless

BARE, TRUTH = nameless(engine())
BACK = {real: end for end, real in TRUTH.items()}
END = BACK[End("INJ1", "2")]
NAMED = after(begun(BARE), Answer(BACK[End("ECU", "1")], "ECU"))


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("INJ1", {"connector": "INJ1"}),
        ("INJ1:2", {"connector": "INJ1", "cavity": "2"}),
        ("INJ1 2", {"connector": "INJ1", "cavity": "2"}),
        ("  INJ1   2  ", {"connector": "INJ1", "cavity": "2"}),
        (":02", {"cavity": "02"}),
        (". RD/WH", {"colour": "RD/WH"}),
        (". red white", {"colour": "RD/WH"}),
        ("INJ1 2 rdwh", {"connector": "INJ1", "cavity": "2", "colour": "RD/WH"}),
        ("INJ1 RD injector", {"connector": "INJ1", "colour": "RD", "purpose": "injector"}),
        (
            "EARTH1 ring BN 31",
            {"connector": "EARTH1", "kind": ConnectorKind.RING, "colour": "BN", "designation": "31"},
        ),
        ("F1 fuse holder 30", {"connector": "F1", "kind": ConnectorKind.FUSE_HOLDER, "designation": "30"}),
        ("SW B", {"connector": "SW", "cavity": "B"}),
        ('"rear lamp":"L 1" BK', {"connector": "rear lamp", "cavity": "L 1", "colour": "BK"}),
        ('INJ1:2 "red lamp"', {"connector": "INJ1", "cavity": "2", "purpose": "red lamp"}),
        (
            "INJ1:2 red lamp of the dash",
            {"connector": "INJ1", "cavity": "2", "colour": "RD", "purpose": "lamp of the dash"},
        ),
        # Typed small, it is the plug that is there; in quotes it is another.
        ("ecu:5", {"connector": "ECU", "cavity": "5"}),
        ('"ecu":5', {"connector": "ecu", "cavity": "5"}),
        ("ECU:01", {"connector": "ECU", "cavity": "01"}),
        ('"q"', {"connector": "q"}),
    ],
)
def test_lines_that_are_read(line: str, said: dict[str, object]) -> None:
    read = read_answer(NAMED, END, line)
    want = {name: said.get(name, "" if name != "kind" else None) for name in _FIELDS}
    assert {name: getattr(read, name) for name in _FIELDS} == want


_FIELDS = ("connector", "cavity", "kind", "colour", "designation", "purpose")


@pytest.mark.parametrize(
    ("line", "why"),
    [
        ("", "nothing is said"),
        ("q", "Ctrl-D"),
        ("Undo", "Ctrl-Z"),
        ("help", "keys"),
        ("x" * 200, "200 letters; 40"),
        ("INJ1:" + "9" * 41, "cavity"),
        ("INJ1 2 " + "why " * 60, "purpose"),
        ('"rear lamp', "not closed"),
        ("INJ1:", "cavity is missing"),
        ("INJ1: 2", "cavity is missing"),
    ],
)
def test_lines_that_are_refused_say_what_to_do(line: str, why: str) -> None:
    with pytest.raises(InputError, match=why) as refused:
        read_answer(NAMED, END, line)
    assert refused.value.cure


def test_what_a_line_comes_to_is_said_before_enter() -> None:
    said = saying(NAMED, read_answer(NAMED, END, "INJ1:2 RD/WH injector"))
    assert said == f"{END} is INJ1:2, wire red/white, its net is for injector (injectors)"
    whole = saying(NAMED, read_answer(NAMED, END, "INJ1"))
    assert whole == f"the whole plug {END.connector} is INJ1, its 2 cavities keep their names"


def offered(text: str, end: End = END, car: bool = False) -> list[str]:
    known = known_of(engine() if car else None)
    return [each.line for each in completions(NAMED, known, end, text)]


def test_plugs_of_the_loom_and_of_the_car_are_completed() -> None:
    assert offered("e") == ["ECU"]
    assert offered("E", car=True)[:3] == ["ECU", "EARTH1", "EARTH2"]
    assert "LAMBDA" in offered("la", car=True)
    # A plug without a name has none to offer.
    assert offered(END.connector[:2]) == []


def test_cavities_that_are_free_are_completed_with_those_of_a_known_face_first() -> None:
    assert offered("LAMBDA:", car=True)[:4] == [f"LAMBDA:{n}" for n in (1, 2, 3, 4)]
    assert offered("ECU:")[-1] == "ECU:25"
    assert "ECU:1" not in offered("ECU:")
    assert offered("NEW:")[0] == "NEW:2", "as on the adapter"


def test_every_colour_of_iec_60757_is_completed_by_letters_and_by_word() -> None:
    """Letters and words are the table of IEC 60757, which `loomproof.loom.colours` holds with its source."""
    for code, word in NAMES.items():
        assert f"INJ1:2 {code}" in offered(f"INJ1:2 {word[:4]}"), word
    assert offered("INJ1:2 rd/w") == ["INJ1:2 RD/WH"]


@pytest.mark.parametrize(
    ("start", "whole"),
    [
        # Designations of DIN 72552: 31 earth, 87a relay contact, break, 50 starter control.
        ("31", "31a"),
        ("87", "87a"),
        ("starter", "50"),
        ("inj", "injector"),
        ("knock", "knock-sensor"),
        ("rin", "ring"),
        ("vapour", "canister-valve"),
    ],
)
def test_designations_kinds_and_purposes_are_completed(start: str, whole: str) -> None:
    assert f"INJ1:2 BK {whole}" in offered(f"INJ1:2 BK {start}")
