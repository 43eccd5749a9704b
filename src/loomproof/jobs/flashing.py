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
    """Return the serial ports with something of USB behind them, or all where none says so."""
    from serial.tools import list_ports

    found = sorted(list_ports.comports())
    of_usb = [port for port in found if port.vid is not None]
    return tuple(Port(port.device, port.description or "no description") for port in of_usb or found)


def choose(port: str | None) -> Port:
    """Return the port that was named, or the only one there is. Raises `UsageError` where that is not one."""
    found = ports()
    if port is not None:
        return next((each for each in found if each.name == port), Port(port, "as named"))
    if len(found) == 1:
        return found[0]
    if not found:
        raise UsageError(
            "no serial port is found on this machine",
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


def flash(port: str, kind: str = "pins") -> None:
    """Write the shipped program of a kind of scanner to the board at this port, and have it read back.

    ``kind`` is a key of `PROGRAMS`. Raises `UnfitError` with the exact command where avrdude is missing,
    and `NoBenchError` with its last words where it fails.
    """
    with as_file(files("loomproof.bench") / "firmware" / PROGRAMS[kind]) as hexfile:
        words = command(port, str(hexfile))
        if not shutil.which(words[0]):
            raise UnfitError(
                "avrdude is not installed; nothing was written",
                cure=f"Install it (Debian: avrdude), or have this done where it is: {shlex.join(words)}",
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
