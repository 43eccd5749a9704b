"""The shipped program, and the command that writes it to a board."""

from __future__ import annotations

import os
from importlib.resources import files
from pathlib import Path

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from loomproof.cli.main import run
from loomproof.jobs.flashing import PROGRAMS
from tests.bench.torture import FIXTURES
from tests.firmware.building import firmware, needs_avr
from tests.firmware.building import run as tool
from tests.firmware.processes import Emulation

BUILT_WITH = "5.4.0"
SHIPPED = files("loomproof.bench") / "firmware"


@needs_avr
@pytest.mark.parametrize(("kind", "name"), PROGRAMS.items())
def test_what_is_shipped_is_what_the_sources_make(kind: str, name: str) -> None:
    """Byte for byte, by the compiler that the shipped one was made with; others may order code otherwise."""
    if (version := tool(["avr-gcc", "-dumpversion"]).strip()) != BUILT_WITH:
        pytest.skip(f"avr-gcc {version} here, {BUILT_WITH} for the shipped program")
    assert (firmware(kind) / "scanner.hex").read_text() == (SHIPPED / name).read_text(encoding="ascii"), (
        "run make ship in firmware_notes/reference_scanner"
    )


@pytest.fixture
def programmer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An avrdude of our own that notes how it was called, and fails where a file tells it to."""
    if os.name == "nt":
        pytest.skip("the stand-in for avrdude is a shell script")
    folder = tmp_path / "bin"
    folder.mkdir()
    notes = tmp_path / "called"
    script = folder / "avrdude"
    script.write_text(
        f'#!/bin/sh\nprintf "%s\\n" "$@" > {notes}\n'
        f"[ -e {tmp_path}/fail ] && echo 'stk500v2_getsync(): timeout' >&2 && exit 1\nexit 0\n",
        encoding="utf-8",
    )
    script.chmod(0o755)
    monkeypatch.setenv("PATH", f"{folder}{os.pathsep}{os.environ['PATH']}")
    return notes


@needs_avr
def test_a_board_is_written_asked_and_tested(programmer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    emulation = Emulation(FIXTURES / "tail_lamp", ["--unplugged"])
    try:
        port = str(emulation.address).removeprefix("serial:")
        assert run(["bench", "flash", "--port", port, "--yes"]) == 0
    finally:
        emulation.end()
    called = programmer.read_text(encoding="utf-8").split("\n")
    assert called[:9] == ["-p", "atmega2560", "-c", "wiring", "-P", port, "-b", "115200", "-D"]
    assert called[9] == "-U"
    assert called[10].startswith("flash:w:")
    out = capsys.readouterr().out
    assert "Written and read back." in out
    assert "FAILED" not in out
    assert "passed" in out


@needs_avr
def test_the_kind_that_is_built_is_written(programmer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With converter and multiplexers, calibrated or not, the same questions and the same test follow."""
    emulation = Emulation(FIXTURES / "tail_lamp", ["--ohms", "--unplugged"])
    try:
        port = str(emulation.address).removeprefix("serial:")
        assert run(["bench", "flash", "--port", port, "--kind", "ohms", "--yes"]) == 0
    finally:
        emulation.end()
    assert "reference_scanner_ohms.hex" in programmer.read_text(encoding="utf-8")
    assert "passed" in capsys.readouterr().out


def test_a_programmer_that_fails_is_told_in_its_words(
    programmer: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (programmer.parent / "fail").touch()
    assert run(["bench", "flash", "--port", "ttyX9", "--yes"]) == 3
    assert "getsync(): timeout" in capsys.readouterr().err


def test_without_the_programmer_the_exact_command_is_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("shutil.which", lambda name: None)
    folded = ["bench", "flash", "--port", "ttyX9", "--kind", "ohms"]
    assert run(folded) == 3
    said = capsys.readouterr().err
    (line,) = [each for each in said.splitlines() if each.startswith("avrdude -p")]
    assert line.startswith("avrdude -p atmega2560 -c wiring -P ttyX9 -b 115200 -D -U flash:w:")
    assert line.endswith("reference_scanner_ohms.hex:i")
    assert "avrdude is not installed; nothing was written" in said
    assert "Confirm" not in said


def test_a_port_that_is_not_there_is_told(programmer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["bench", "flash", "--port", "/dev/ttyX9", "--yes"]) == 2
    assert "/dev/ttyX9: there is no such port" in capsys.readouterr().err
    assert not programmer.exists()


def test_nobody_who_answers_writes_nothing(programmer: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["bench", "flash", "--port", "ttyX9"]) == 2
    assert not programmer.exists()
    assert "nothing was written" in capsys.readouterr().err


def test_of_several_ports_one_must_be_named(
    programmer: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = [ListPortInfo("/dev/ttyUSB0"), ListPortInfo("/dev/ttyACM3"), ListPortInfo("/dev/ttyS0")]
    for port in found[:2]:
        port.vid, port.description = 0x1234, "USB serial"
    monkeypatch.setattr(list_ports, "comports", lambda: found)
    assert run(["bench", "flash", "--yes"]) == 2
    said = capsys.readouterr().err
    assert "2 serial ports are found: /dev/ttyACM3 (USB serial); /dev/ttyUSB0 (USB serial)" in said
    for none in ([], found[2:]):  # the machine's own port is no board's
        monkeypatch.setattr(list_ports, "comports", none.copy)
        assert run(["bench", "flash", "--yes"]) == 2
        assert "no USB serial port is found" in capsys.readouterr().err
    assert not programmer.exists()
