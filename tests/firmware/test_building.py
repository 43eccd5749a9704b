"""What the build must be: no warning, no finding, formatted, small enough, its stack bounded."""

from __future__ import annotations

import re
import shutil
import sys
from collections.abc import Sequence
from pathlib import Path

import pytest

from tests.firmware.building import FIRMWARE, firmware, needs_avr, run
from tests.firmware.circuit import Circuit, Pins, joined, on_expanders
from tests.firmware.emulated import Board, symbols
from tests.firmware.expanded import Expanded
from tests.firmware.terminal import Terminal

RAM_END = 0x21FF
PAINT = 0xC5
ROOM = {
    "pins": ("--flash", "32768", "--ram", "4096"),
    "ohms": ("--flash", "65536", "--ram", "8192"),
    "expanders": ("--flash", "65536", "--ram", "8192", "--nests"),
}
"""What each kind may have; the smaller chips of the family that one may follow have 32 KiB and 4 KiB."""


def c_files() -> list[Path]:
    return sorted([*FIRMWARE.glob("*/**/*.[ch]"), *Path(__file__).parent.glob("*.[ch]")])


@pytest.mark.skipif(not shutil.which("clang-format"), reason="clang-format is not installed")
def test_the_sources_are_formatted() -> None:
    style = f"--style=file:{FIRMWARE / '.clang-format'}"
    run(["clang-format", style, "--dry-run", "--Werror", *c_files()])


@pytest.mark.skipif(not shutil.which("cppcheck"), reason="cppcheck is not installed")
@pytest.mark.parametrize("kind", ROOM)
def test_cppcheck_finds_nothing(kind: str) -> None:
    run(
        ["cppcheck", "-q", "--std=c11", "--enable=warning,style,performance,portability",
         "--error-exitcode=1",
         "--suppress=missingIncludeSystem", "--inline-suppr",
         "-I", FIRMWARE / "core", "-I", FIRMWARE / "board" / kind,
         FIRMWARE / "core"]
    )  # fmt: skip


@pytest.mark.skipif(not shutil.which("clang-tidy"), reason="clang-tidy is not installed")
@pytest.mark.parametrize("kind", ROOM)
def test_clang_tidy_finds_nothing(kind: str) -> None:
    """Its checks, and why some are left out, stand in the firmware's `.clang-tidy`."""
    core = sorted((FIRMWARE / "core").glob("*.c"))
    run(
        ["clang-tidy", "--quiet", *core, "--", "-std=c11", f"-I{FIRMWARE}/core", f"-I{FIRMWARE}/board/{kind}"]
    )


def test_files_stay_readable() -> None:
    assert [path.name for path in c_files() if len(path.read_text().splitlines()) >= 400] == []


@needs_avr
def test_the_painted_stack_of_a_board_with_expanders_too() -> None:
    said = run([sys.executable, FIRMWARE / "size.py", firmware("expanders"), *ROOM["expanders"]])
    found = re.search(r"deepest stack (\d+) \+ (\d+)", said)
    assert found
    bound = int(found[1]) + int(found[2])
    board = Expanded(Circuit(on_expanders(2, 512), joined([(1, 500)], points=512)))
    terminal = Terminal(board)
    assert board.ask("*TST?", 60.0) != "0"
    terminal.open()
    for body in ("SENS:DRIV? #H1,#H2", "SYST:CAP?", "WATC:STAR #H1,#G40", "WATC:STAR #H1,#H40", "*IDN?"):
        terminal.ask(body)
        board.run(2_000_000)
    seen = deepest_seen(board, "expanders")
    assert 0.5 * bound < seen <= bound


@needs_avr
def test_no_memory_is_asked_for_and_none_comes_from_outside() -> None:
    for name in ("malloc", "calloc", "realloc", "free", "printf", "alloca"):
        assert name not in symbols()


@needs_avr
@pytest.mark.parametrize(("kind", "room"), ROOM.items())
def test_flash_and_ram_leave_a_fifth(kind: str, room: Sequence[str]) -> None:
    said = run([sys.executable, FIRMWARE / "size.py", firmware(kind), *room])
    shares = [float(share) for share in re.findall(r"\(([0-9.]+)%\)", said)]
    assert len(shares) == 2
    assert max(shares) <= 80.0


def deepest_seen(board: Board, kind: str = "pins") -> int:
    start = symbols(kind)["_end"]
    room = board.data(start, RAM_END + 1 - start)
    return len(room) - (len(room) - len(room.lstrip(bytes([PAINT]))))


@needs_avr
def test_the_painted_stack_is_used_no_deeper_than_the_call_graph_says() -> None:
    said = run([sys.executable, FIRMWARE / "size.py", firmware()])
    found = re.search(r"deepest stack (\d+) \+ (\d+)", said)
    assert found
    bound = int(found[1]) + int(found[2])
    board = Board(Circuit(Pins.drawn(2), joined([(1, 2, 3, 4, 5, 6)])))
    terminal = Terminal(board)
    assert board.ask('CAL:SER "SN7"') == "OK"
    assert board.ask("CAL:CAP:OPEN #H3F") == "OK"
    assert board.ask("*TST?") == "202"
    terminal.open()
    for body in ("SENS:DRIV? #H1,#H2", "SYST:CAP?", "SYST:ERR?", "WATC:STAR #H1,#H40", "*IDN?", "WATC:STOP"):
        terminal.ask(body)
        board.run(200_000)
    seen = deepest_seen(board)
    assert 0.5 * bound < seen <= bound
