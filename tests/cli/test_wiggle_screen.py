"""``loomproof wiggle`` on a terminal: keys, widths, resizing, Ctrl-C; a terminal or a bench that goes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import pytest

from tests.dialogue import Dialogue, termios
from tests.simulating import started

TAIL_LAMP = Path(__file__).parents[2] / "fixtures" / "tail_lamp"
LOOSE = "sim:?fault=loose%20LAMP:2%204%20Hz"


@pytest.fixture(autouse=True)
def _stopped() -> Iterator[None]:
    yield
    Dialogue.stop_all()


def watching(where: Path, columns: int, *more: str | Path, bench: str = LOOSE) -> Dialogue:
    words = ("wiggle", TAIL_LAMP, "--bench", bench, "--for", "4h", "--meter-volts", "0", "--made-safe")
    screen = Dialogue(*words, *more, cwd=where, columns=columns)
    screen.sees("Move the loom now")
    return screen


def fits(screen: Dialogue, columns: int) -> None:
    for text in screen.lines():
        # A path that was named is not cut.
        assert len(text) <= columns or "/" in text, text


@pytest.mark.parametrize("columns", [120, 60])
def test_keys_events_and_an_end_by_ctrl_c(tmp_path: Path, columns: int) -> None:
    screen = watching(tmp_path, columns, "--picture", "moved.svg")
    screen.sees("break at")
    screen.presses("1")
    screen.sees("moving: BODY")
    screen.sees("over after")
    screen.sees(r"BODY\s+being\s+moved")
    screen.presses("x0")
    screen.sees("moving: nothing named")
    screen.sees("break at")
    screen.interrupts()
    screen.sees(r"Broken off\. What was seen until then:")
    assert screen.ends() == 3
    said = " ".join(" ".join(screen.lines()).split())
    assert re.search(r"Watched \d+ nets for breaks for \d+\.\d s, and \d+ for touching", said)
    assert "shortest surely seen event" in said
    assert "LAMP:2" in said
    assert "Drawn: moved.svg" in said
    assert ElementTree.parse(tmp_path / "moved.svg").getroot().tag.endswith("svg")
    fits(screen, columns)


def test_the_terminal_is_left_as_it_was_and_may_be_resized(tmp_path: Path) -> None:
    screen = watching(tmp_path, 120)
    screen.sees("break at")
    assert not screen.modes()[3] & termios.ICANON, "single keys are taken while it watches"
    for columns in (60, 20, 200):
        screen.resizes(columns)
        screen.sees("over after")
    screen.interrupts()
    screen.sees("Broken off")
    assert screen.waits() == 3
    assert screen.modes()[3] & termios.ICANON
    assert screen.modes()[3] & termios.ECHO


def test_a_terminal_that_goes_away_ends_it(tmp_path: Path) -> None:
    screen = watching(tmp_path, 80)
    screen.sees("break at")
    screen.hangs_up()
    assert screen.ended() != 0


def test_a_bench_that_goes_away_ends_it_with_what_was_seen(tmp_path: Path) -> None:
    simulation = started(TAIL_LAMP, ["--fault", "loose LAMP:2 4 Hz"], tcp=True)
    try:
        screen = watching(tmp_path, 80, "--adapter", "in-order", bench=str(simulation.address))
        screen.sees("break at")
        simulation.tell("line cut")
        screen.sees(r"Broken off\. What was seen until then:")
        screen.sees("Watched")
        assert screen.ends() == 3
    finally:
        simulation.end()
