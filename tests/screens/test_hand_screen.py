"""What a person with a meter sees and types: on a scripted terminal, and on a real one."""

from __future__ import annotations

import math
import os
import select
import stat
import subprocess
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from loomproof.jobs.hand_questions import HandAsked, HandKind, HandReply, Wish
from loomproof.loom.model import End
from loomproof.screens.big_text import _GLYPHS, big
from loomproof.screens.hand_screen import HandScreen, spoken
from loomproof.screens.speech import Voice
from tests.bench.torture import FIXTURES

LAMPS = tuple(End("LAMP", str(k)) for k in range(1, 7))
SILENT = Voice(find=lambda _: None)


class Terminal:
    """Keys and lines in turn, and everything that was shown."""

    def __init__(self, keys: str = "", lines: Sequence[str] = (), width: int = 80) -> None:
        self.keys: Iterator[str] = iter(keys)
        self.lines: Iterator[str] = iter(lines)
        self.shown: list[str] = []
        self.screen = HandScreen(self.key, self.line, self.shown.append, SILENT, lambda: width)

    def key(self) -> str:
        return next(self.keys)

    def line(self) -> str:
        return next(self.lines)

    @property
    def text(self) -> str:
        return "\n".join(self.shown)


def asked(kind: HandKind, black: Sequence[End] = (LAMPS[0],), red: Sequence[End] = LAMPS[1:]) -> HandAsked:
    return HandAsked(kind, tuple(black), tuple(red), 7, 39, may_leave_out=kind is HandKind.APART)


@pytest.mark.parametrize(
    ("kind", "red", "keys", "lines", "beeped"),
    [
        (HandKind.WHOLE, LAMPS[1:], "b", (), LAMPS[1:]),
        (HandKind.WHOLE, LAMPS[1:], "n", ["ac"], (LAMPS[2], *LAMPS[4:])),
        (HandKind.WHOLE, LAMPS[1:2], "n", (), ()),
        (HandKind.WHOLE, LAMPS[1:2], "b", (), LAMPS[1:2]),
        (HandKind.APART, LAMPS[1:], "n", (), ()),
        (HandKind.APART, LAMPS[1:], "N", (), ()),
        (HandKind.APART, LAMPS[1:], "b", ["B, d"], (LAMPS[2], LAMPS[4])),
        (HandKind.APART, LAMPS[1:2], "b", (), LAMPS[1:2]),
        (HandKind.CHAIN, LAMPS[1:], "b", ["a"], LAMPS[1:2]),
        (HandKind.FOLLOW, LAMPS[1:], "b", ["e"], LAMPS[5:]),
        (HandKind.AGAIN, LAMPS[1:2], "b", (), LAMPS[1:2]),
        (HandKind.AGAIN, LAMPS[1:2], "n", (), ()),
        (
            HandKind.APART,
            LAMPS[1:],
            "zb?bn",
            ["", "x"],
            (),
        ),  # a slip of the finger, two of the mind, then silent
    ],
)
def test_one_key_is_an_answer(
    kind: HandKind, red: Sequence[End], keys: str, lines: Sequence[str], beeped: Sequence[End]
) -> None:
    terminal = Terminal(keys, lines)
    assert terminal.screen.ask(asked(kind, red=red)) == HandReply(beeped=tuple(beeped))
    assert next(terminal.keys, "") == ""


@pytest.mark.parametrize(
    ("typed", "figure"),
    [("0.4", 0.4), ("0,4", 0.4), ("4.7k", 4700.0), ("1.2M", 1.2e6), ("o", math.inf), ("OL", math.inf)],
)
def test_a_figure_is_typed_as_it_stands_on_the_meter(typed: str, figure: float) -> None:
    terminal = Terminal(lines=["", "x1", "-3", typed])
    said = terminal.screen.ask(asked(HandKind.OHMS, red=LAMPS[1:2]))
    assert said.figure == pytest.approx(figure)


@pytest.mark.parametrize("kind", [HandKind.WHOLE, HandKind.APART, HandKind.AGAIN, HandKind.OHMS])
def test_wishes(kind: HandKind) -> None:
    one = asked(kind, red=LAMPS[1:2])
    for key, wish in (("u", Wish.BACK), ("q", Wish.STOP), ("\x04", Wish.STOP)):
        assert Terminal(key, [key]).screen.ask(one) == HandReply(wish)
    if kind is HandKind.APART:
        assert Terminal("l").screen.ask(one) == HandReply(Wish.LEAVE_OUT)
    else:
        terminal = Terminal("lq", ["l", "q"])
        assert terminal.screen.ask(one) == HandReply(Wish.STOP)
        assert "'l' is no answer here" in terminal.text


def test_the_end_of_input_stops() -> None:
    def nothing() -> str:
        raise EOFError

    screen = HandScreen(nothing, nothing, lambda _: None, SILENT)
    assert screen.ask(asked(HandKind.APART)) == HandReply(Wish.STOP)


@pytest.mark.parametrize("width", [80, 40, 36])
@pytest.mark.parametrize("kind", list(HandKind))
def test_nothing_is_wider_than_the_screen_and_every_end_stands_on_it(width: int, kind: HandKind) -> None:
    red = LAMPS[1:] if kind not in (HandKind.AGAIN, HandKind.OHMS, HandKind.DIODE) else LAMPS[1:2]
    terminal = Terminal("q", ["q"], width)
    terminal.screen.ask(
        asked(kind, red=red) if kind not in (HandKind.TRY, HandKind.ZERO) else HandAsked(kind)
    )
    for line in "\n".join(terminal.shown).splitlines():
        assert len(line.replace("\x1b[K", "").lstrip("\r")) <= width
    many = HandAsked(kind, LAMPS, tuple(End(f"PLUG-{k}", str(k)) for k in range(24)))
    if len(red) > 1 and kind not in (HandKind.TRY, HandKind.ZERO):
        wide = Terminal("q", ["q"], width)
        wide.screen.ask(many)
        assert all(len(line) <= width for line in "\n".join(wide.shown[1:]).splitlines())
    if kind not in (HandKind.TRY, HandKind.ZERO):
        assert all(str(end) in terminal.text for end in red)
        assert "touch 7 of about 39" in terminal.text


def test_clips_are_taken_off_when_they_are_in_the_way() -> None:
    terminal = Terminal("nnn")
    terminal.screen.ask(asked(HandKind.CHAIN, red=LAMPS[1:3]))
    terminal.screen.ask(asked(HandKind.APART, LAMPS[:3], LAMPS[3:]))
    assert "clips off" not in terminal.text
    terminal.screen.ask(asked(HandKind.APART, LAMPS[3:4], LAMPS[4:]))
    assert "Take the clips off LAMP 1 2 3." in terminal.text


def test_large_letters() -> None:
    lines = big("ECU-A:12", 40)
    assert len(lines) == 5
    assert all(len(line) <= 40 for line in lines)
    assert big("ECU-A:12", 20) == ()
    assert big("Ω", 80) == big("", 80) == ()
    assert big("lamp", 80) == big("LAMP", 80)
    shapes = [tuple(rows) for rows in _GLYPHS.values()]
    assert len(set(shapes)) >= len(shapes) - 0, "no two letters look alike"
    assert all(len(rows) == 5 and len({len(row) for row in rows}) == 1 for rows in _GLYPHS.values())


@pytest.mark.skipif(os.name == "nt", reason="the program is a shell script")
def test_it_is_said_aloud_where_something_speaks(tmp_path: Path) -> None:
    said = tmp_path / "said"
    program = tmp_path / "espeak-ng"
    program.write_text(f'#!/bin/sh\nprintf "%s\\n" "$@" > {said}.new && mv {said}.new {said}\n')
    program.chmod(program.stat().st_mode | stat.S_IXUSR)
    voice = Voice(find=lambda name: str(program) if name == "espeak-ng" else None)
    voice.say(spoken(asked(HandKind.APART)))
    assert voice._speaking is not None
    voice._speaking.wait(10)
    sentence = "Black on LAMP 1. Red on LAMP 2 3 4 5 6. Should be silent."
    assert said.read_text().splitlines() == ["--", sentence]
    said.unlink()
    voice.on = False
    voice.say("nothing")
    assert voice._speaking is None
    assert not Voice(find=lambda _: None).there


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
def test_a_proof_at_a_real_terminal(tmp_path: Path) -> None:
    """Typed as a person does, each key once its question stands there: a sound tail lamp passes."""
    turns = [
        ("up to how many ohms", "50\n"),
        ("is all of that done", "y\n"),
        ("the meter shows", "0\n"),
        *[(word, "\n") for word in ("chafed", "green", "bent", "missing or", "home-made", "melted")],
        ("how to probe", "y"),
        *[("how to probe", "b")] * 6,
        *[("how to probe", "n")] * 6,
    ]
    pty = pytest.importorskip("pty", reason="no pseudo-terminals", exc_type=ImportError)
    main, other = pty.openpty()
    words = [sys.executable, "-m", "loomproof", "prove", str(FIXTURES / "tail_lamp"), "--bench", "hand:"]
    run = subprocess.Popen(
        [*words, "--out", str(tmp_path / "out")], stdin=other, stdout=other, stderr=other, close_fds=True
    )
    os.close(other)
    seen, all_seen, pressed = "", "", ""
    try:
        for wanted, typed in turns:
            silences = 0
            while wanted not in seen.lower():
                if select.select([main], [], [], 2)[0]:
                    seen += os.read(main, 65536).decode("utf-8", "replace")
                    continue
                # A key that came before it was waited for is dropped, so that none answers what nobody has
                # read: a person presses again.
                silences += 1
                assert silences < 30, f"no {wanted!r} in {seen[-2000:]}"
                os.write(main, pressed.encode())
            all_seen += seen
            seen = seen[seen.lower().index(wanted) + len(wanted) :]
            os.write(main, typed.encode())
            pressed = typed if len(typed) == 1 and typed != "\n" else ""
        silences = 0
        while True:
            if not select.select([main], [], [], 2)[0]:
                # The last key may be dropped as any other.
                silences += 1
                assert silences < 30, f"no end in {seen[-2000:]}"
                os.write(main, pressed.encode())
                continue
            try:
                found = os.read(main, 65536)
            except OSError:
                break
            if not found:
                break
            seen += found.decode("utf-8", "replace")
        assert run.wait(60) == 0
    finally:
        run.kill()
        os.close(main)
    assert "PASS" in seen
    assert "BLACK on" in all_seen
