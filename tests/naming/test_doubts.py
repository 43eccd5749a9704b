"""Answers that are a slip more likely than meant: refused, told, or asked about before they are taken."""

from __future__ import annotations

import pytest

from loomproof.errors import InputError
from loomproof.loom.model import End
from loomproof.naming.answers import begun
from loomproof.naming.desk import Desk, steps
from loomproof.naming.happening import Key, Letters, Touch
from loomproof.naming.typed import read_answer, saying
from tests.naming.engine import engine, nameless

BARE, TRUTH = nameless(engine())
BACK = {real: end for end, real in TRUTH.items()}
TPS = [BACK[End("TPS", str(n))] for n in (1, 2, 3)]


def typed(desk: Desk, end: End, line: str) -> Desk:
    return steps(desk, [Touch((end,)), *map(Letters, line), Key.ENTER])


def test_a_cavity_with_a_colon_is_refused_unless_it_is_quoted() -> None:
    named = begun(BARE)
    with pytest.raises(InputError, match="has a colon in it") as refused:
        read_answer(named, TPS[0], "TAILX:2TAILX:2")
    assert refused.value.cure
    assert read_answer(named, TPS[0], 'TAILX:"2:1"').cavity == "2:1"


def test_a_number_beyond_the_plug_and_letters_that_are_no_colour_are_told() -> None:
    named = begun(BARE)
    for line, told in (
        ("REAR:99", "99 of a plug of 3: read the number again"),
        # XX is no code of IEC 60757 (its table of letters).
        ("REAR:2 XX", "XX is no colour code of IEC 60757"),
    ):
        assert told in saying(named, read_answer(named, TPS[0], line))
        assert told in typed(Desk(named), TPS[0], line).said
    for line in ("REAR:3", "REAR:2 RD/WH", "REAR:87 lamp"):
        said = saying(named, read_answer(named, TPS[0], line))
        assert "plug of" not in said
        assert "IEC" not in said


def test_a_second_name_for_one_adapter_plug_is_asked_about_once() -> None:
    desk = typed(Desk(begun(BARE)), TPS[0], "LAMP:1")
    desk = typed(desk, TPS[1], "LAMP:2")
    assert len(desk.named.answers) == 2
    asked = typed(desk, TPS[2], "EAR:1")
    assert asked.refused
    assert asked.said.startswith(f"{TPS[0]}, of the same adapter plug, is LAMP: is EAR another plug?")
    assert asked.named.answers == desk.named.answers
    assert asked.text == "EAR:1"
    taken = steps(asked, [Key.ENTER])
    assert taken.named.names[TPS[2]] == End("EAR", "1")
    ring = typed(desk, TPS[2], "EARTH1:1 ring")
    assert ring.named.names[TPS[2]] == End("EARTH1", "1")
