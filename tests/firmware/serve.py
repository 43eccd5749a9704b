"""The emulated board as a process of its own: its UART on a pseudo-terminal, at the pace of the clock.

    python -m tests.firmware.serve LOOM [--expanders N | --ohms] [--eeprom FILE] [--seed N] [--any-rate]
        [--unplugged]

Prints the port's address. Lines on its input: ``fault TEXT``, ``mend``, ``plug ADAPTER``, ``leads OHM``
(each lead has up to so many), ``short`` (a shorting plug over the leads in the loom's place, until ``mend``),
``reset``, ``pins``; each is answered by one line. It ends with its input. The port's far side stays open
here, so that a host may come and go. A host at another rate than the board's sends rubbish, unless
``--any-rate`` says that what is behind the port has none.
"""

from __future__ import annotations

import argparse
import os
import pty
import select
import sys
import termios
import time
import tty
from pathlib import Path

from loomproof.bench.adapter import read_adapter
from tests.firmware.circuit import Pins, on_expanders
from tests.firmware.emulated import HZ, Board
from tests.firmware.expanded import CHIP_POINTS, Expanded
from tests.firmware.ohming import OhmBoard, usual
from tests.firmware.on_loom import LoomOnPins, like_expanders
from tests.firmware.tapped import LoomOnTaps

_STEP = HZ // 1000
_BEHIND_S = 0.2
_SPEEDS = {
    getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdigit()
}


class Served:
    """A board and the port that it is behind."""

    def __init__(self, board: Board, circuit: LoomOnPins, *, any_rate: bool = False) -> None:
        self.board, self.circuit, self._any_rate = board, circuit, any_rate
        self.near, self.far = pty.openpty()
        tty.setraw(self.far)
        os.set_blocking(self.near, False)
        self.address = f"serial:{os.ttyname(self.far)}"
        self._began_s = time.monotonic() - board.seconds
        self._text = b""
        self._leaving = b""

    def turn(self) -> bool:
        """Let the board live up to now, and wait a little; false once the input has ended."""
        ahead_s = self._began_s + self.board.seconds - time.monotonic()
        if ahead_s < -_BEHIND_S:  # a slow machine: the board's time stretches rather than its line bursts
            self._began_s = time.monotonic() - self.board.seconds
        readable, _, _ = select.select([self.near, 0], [], [], max(ahead_s, 0.0))
        if self.near in readable:
            self.board.feed(self._heard(os.read(self.near, 4096)))
        if 0 in readable:
            data = os.read(0, 4096)
            if not data:
                return False
            self._text += data
            *orders, self._text = self._text.split(b"\n")
            for order in orders:
                sys.stdout.write(self._obey(order.decode().strip()) + "\n")
                sys.stdout.flush()
        self._leaving += self.board.run(_STEP)
        if self._leaving:
            try:
                self._leaving = self._leaving[os.write(self.near, self._leaving) :]
            except BlockingIOError:
                self._leaving = self._leaving[-4096:]
        if self.circuit.at(self.board.seconds):
            self.board.touch()
        return True

    def _heard(self, data: bytes) -> bytes:
        """What the board hears of these bytes."""
        speed = _SPEEDS.get(termios.tcgetattr(self.far)[4], 0)
        rate = self.board.rate
        same = self._any_rate or abs(speed - rate) <= 0.04 * rate
        return data if same else bytes(0x80 | b for b in data)

    def _obey(self, order: str) -> str:
        verb, _, rest = order.partition(" ")
        if verb == "fault":
            self.circuit.fault(rest)
        elif verb == "plug":
            self.circuit.hook_up({lead.point: lead.end for lead in read_adapter(Path(rest)).entries})
        elif verb == "leads":
            self.circuit.lead(float(rest))
        elif verb == "short":
            self.circuit.short()
        elif verb == "mend":
            self.circuit.mend()
        elif verb == "reset":
            self.board.reset()
        elif verb == "pins":
            return " ".join(f"{points:X}" for points in self.board.pins())
        else:
            return f"error: {order!r}"
        self.board.touch()
        return f"ok {order}"


def _alone(asked: argparse.Namespace, eeprom: bytes) -> tuple[LoomOnPins, Board]:
    circuit = LoomOnPins(Pins.drawn(asked.seed), asked.loom)
    return circuit, Board(circuit, eeprom=eeprom)


def _expanded(asked: argparse.Namespace, eeprom: bytes) -> tuple[LoomOnPins, Board]:
    points = asked.expanders * CHIP_POINTS
    circuit = LoomOnPins(on_expanders(asked.seed, points), asked.loom, make=like_expanders(points))
    circuit.timed = False
    return circuit, Expanded(circuit, eeprom=eeprom)


def _ohmed(asked: argparse.Namespace, eeprom: bytes) -> tuple[LoomOnPins, Board]:
    circuit = LoomOnTaps(asked.seed, asked.loom)
    return circuit, OhmBoard(circuit, asked.seed, eeprom=eeprom or usual(asked.seed))


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("loom", type=Path)
    parser.add_argument("--expanders", type=int, default=0, help="how many; none: the board alone")
    parser.add_argument("--ohms", action="store_true", help="converter and taps, calibrated")
    parser.add_argument("--eeprom", type=Path)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--any-rate", action="store_true")
    parser.add_argument("--unplugged", action="store_true")
    asked = parser.parse_args()
    eeprom = asked.eeprom.read_bytes() if asked.eeprom else b""
    make = _expanded if asked.expanders else _ohmed if asked.ohms else _alone
    circuit, board = make(asked, eeprom)
    if asked.unplugged:
        circuit.unplug()
        board.touch()
    served = Served(board, circuit, any_rate=asked.any_rate)
    sys.stdout.write(served.address + "\n")
    sys.stdout.flush()
    while served.turn():
        pass


if __name__ == "__main__":
    main()
