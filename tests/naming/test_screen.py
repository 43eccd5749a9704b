"""The screen of naming on terminals of any size, and keys as terminals send them."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from loomproof.jobs.naming import Key
from loomproof.naming.desk import step, steps
from loomproof.naming.happening import Happened, Letters
from loomproof.naming.shown import shown
from loomproof.screens.full_screen import KEYS, keys_of
from loomproof.screens.naming_screen import LEAST_WIDTH, frame
from tests.naming.test_desk import desk, touch, typed

EVENTS: st.SearchStrategy[Happened] = st.one_of(
    st.sampled_from([*Key]),
    st.sampled_from([touch("INJ1:1"), touch("ECU:1"), touch("TPS:3"), touch("ECU:24")]),
    st.builds(Letters, st.text(max_size=30)),
    st.sampled_from([Letters("1"), Letters("INJ1"), Letters("電線"), Letters("z" * 300)]),
)


@settings(max_examples=60, deadline=None)
@given(st.lists(EVENTS, max_size=10), st.integers(1, 200), st.integers(1, 70))
def test_whatever_happens_the_screen_fits_and_the_cursor_is_on_it(
    happened: list[Happened], width: int, height: int
) -> None:
    drawn = frame(shown(steps(desk(), happened)), width, height)
    assert len(drawn.lines) <= height
    assert all(len(line) < max(width, LEAST_WIDTH + 1) for line in drawn.lines)
    assert 0 <= drawn.line < height
    assert 0 <= drawn.column <= max(width, LEAST_WIDTH)


@pytest.mark.parametrize(("width", "height"), [(120, 36), (60, 24)])
def test_all_that_is_asked_stands_on_a_usual_screen(width: int, height: int) -> None:
    there = step(desk(touch("INJ1:2")), Letters("INJ2"))
    lines = frame(shown(there), width, height).lines
    whole = "\n".join(lines)
    for text in ("[1] INJ1: injectors", "What is", "> INJ2", "= the whole plug", "[Enter] answer", "Ctrl-D"):
        assert text in whole, whole
    drawn = frame(shown(there), width, height)
    assert lines[drawn.line].startswith("> INJ2")
    assert drawn.column == len("> INJ2")


def test_of_a_long_net_the_end_that_is_meant_stays_on_a_low_screen() -> None:
    there = shown(desk(touch("INJ4:1")))
    chosen = next(line.name for line in there.ends if line.chosen)
    lines = frame(there, 60, 18).lines
    assert any(line.startswith(f"> {chosen}") for line in lines)
    assert any("more" in line for line in lines)


def test_the_end_of_a_long_line_is_seen_where_the_cursor_is() -> None:
    drawn = frame(shown(desk(touch("INJ4:1"), Letters("x" * 90), Letters("END"))), 60, 24)
    assert drawn.lines[drawn.line].endswith("END")
    assert drawn.lines[drawn.line].startswith("><")


def test_an_error_stands_apart_from_what_is_told() -> None:
    wrong = "\n".join(frame(shown(desk(touch("INJ4:1"), typed("q"))), 80, 30).lines)
    assert "! Ctrl-D stops till later" in wrong
    told = "\n".join(frame(shown(desk(touch("INJ4:1"), typed("INJ4"))), 80, 30).lines)
    assert "is INJ4:1." in told
    assert "! " not in told


@pytest.mark.parametrize(
    ("sent", "keys"),
    [
        (b"a", [b"a"]),
        ("Größe".encode(), ["Größe".encode()]),
        (b"ab\r", [b"ab", Key.ENTER]),
        (b"\x1b[A", [Key.OTHER_END_BACK]),
        (b"\x1bOB\x1b[6~", [Key.OTHER_END, Key.NEXT]),
        (b"\x1b[1;5C", [Key.UNKNOWN]),
        (b"\x1bb", [Key.UNKNOWN]),
        (b"\x1b", [Key.CLEAR]),
        (b"\x1b\x1b", [Key.CLEAR, Key.CLEAR]),
        (b"\x1b[", [Key.CLEAR, b"["]),
        (b"\x04\x1a\x7f\t", [Key.STOP, Key.UNDO, Key.ERASE, Key.COMPLETE]),
        (b"\x02", [Key.UNKNOWN]),
        (b"\x0c", []),
    ],
)
def test_what_terminals_send_is_read(sent: bytes, keys: list[Key | bytes]) -> None:
    """Sequences as ECMA-48 forms them (5.4: parameter, intermediate, final byte) and as xterm sends them."""
    assert keys_of(sent, more=False) == (keys, b"")


@pytest.mark.parametrize("whole", [sent for sent in KEYS if len(sent) > 1])
def test_a_sequence_that_comes_in_pieces_is_one_key(whole: bytes) -> None:
    for cut in range(1, len(whole)):
        found, left = keys_of(whole[:cut], more=True)
        assert found == []
        assert keys_of(left + whole[cut:], more=True) == ([KEYS[whole]], b"")


@given(st.binary(max_size=40))
def test_no_bytes_make_it_stumble(sent: bytes) -> None:
    found, left = keys_of(sent, more=True)
    again, rest = keys_of(left, more=False)
    assert rest == b""
    assert len(found) + len(again) <= len(sent)
