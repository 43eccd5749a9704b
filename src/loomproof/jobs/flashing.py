"""The reference scanner's program onto a board: which port, which command, and what the programmer said.

The programs are those of ``firmware_notes/reference_scanner``, built and shipped with the package. One is
written by avrdude over the board's own USB; the bootloader stays.
"""

from __future__ import annotations

import shlex
import shutil
import subprocess
from dataclasses import dataclass
from importlib.resources import as_file, files
from pathlib import Path

from loomproof.errors import NoBenchError, UnfitError, UsageError

CHIP = "atmega2560"
PROTOCOL = "wiring"
"""avrdude's name for what the bootloader of the common ATmega2560 boards speaks (STK500 version 2)."""

PROGRAMS = {
    "pins": "reference_scanner.hex",
    "ohms": "reference_scanner_ohms.hex",
    "expanders": "reference_scanner_expanders.hex",
}
"""Each kind of reference scanner, and its program."""

RATE = 115_200
MOST_S = 180.0
"""A program of 21 KiB takes some ten seconds, twice as long with its verification."""

_LAST_LINES = 6


@dataclass(frozen=True)
class Port:
    """A serial port of this machine, and what it says of itself."""

    name: str
    description: str


def ports() -> tuple[Port, ...]:
    """Return the serial ports with something of USB behind them: a board is at no other."""
    from serial.tools import list_ports

    of_usb = [port for port in sorted(list_ports.comports()) if port.vid is not None]
    return tuple(Port(port.device, port.description or "no description") for port in of_usb)


def choose(port: str | None) -> Port:
    """Return the port that was named, or the only one there is. Raises `UsageError` where that is not one."""
    found = ports()
    if port is not None:
        known = next((each for each in found if each.name == port), None)
        # A name such as COM3 is no file; a path that is none is no port.
        if known is None and "/" in port and not Path(port).exists():
            names = ", ".join(each.name for each in found)
            raise UsageError(
                f"{port}: there is no such port",
                cure=f"There is {names}." if names else "Plug the board in, with a cable that carries data.",
            )
        return known or Port(port, "as named")
    if len(found) == 1:
        return found[0]
    if not found:
        raise UsageError(
            "no USB serial port is found on this machine",
            cure="Plug the board in, with a cable that carries data.",
        )
    names = "; ".join(f"{each.name} ({each.description})" for each in found)
    raise UsageError(f"{len(found)} serial ports are found: {names}", cure="Name the board's own port.")


def command(port: str, hexfile: str) -> list[str]:
    """Return what writes this program: all else on the chip stays, and what was written is read back."""
    return [
        "avrdude", "-p", CHIP, "-c", PROTOCOL, "-P", port, "-b", str(RATE), "-D",
        "-U", f"flash:w:{hexfile}:i",
    ]  # fmt: skip


def command_without_programmer(port: str, kind: str = "pins") -> str:
    """Return, where avrdude is missing, what would write the board, as it is typed; "" where it is there."""
    if shutil.which("avrdude"):
        return ""
    with as_file(files("loomproof.bench") / "firmware" / PROGRAMS[kind]) as hexfile:
        return shlex.join(command(port, str(hexfile)))


def flash(port: str, kind: str = "pins") -> None:
    """Write the shipped program of a kind of scanner to the board at this port, and have it read back.

    ``kind`` is a key of `PROGRAMS`. Raises `UnfitError` where avrdude is missing, and `NoBenchError` with its
    last words where it fails. `command_without_programmer` gives the exact command.
    """
    with as_file(files("loomproof.bench") / "firmware" / PROGRAMS[kind]) as hexfile:
        words = command(port, str(hexfile))
        if not shutil.which(words[0]):
            raise UnfitError(
                "avrdude is not installed; nothing was written",
                cure="Install it (Debian: avrdude), or have the command run where it is.",
            )
        try:
            done = subprocess.run(words, capture_output=True, text=True, timeout=MOST_S, check=False)
        except subprocess.TimeoutExpired:
            raise NoBenchError(
                f"avrdude was not done after {MOST_S:g} s; the board may hold half a program",
                cure="Unplug the board, plug it in again, and write it once more: its bootloader is there.",
            ) from None
    if done.returncode:
        said = " / ".join((done.stderr + done.stdout).strip().splitlines()[-_LAST_LINES:])
        raise NoBenchError(
            f"avrdude could not write the board at {port}: {said or 'it gave no reason'}",
            cure="Is it an ATmega2560 board, is its port free, and does the cable carry data?",
        )
