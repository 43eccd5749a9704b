"""Ports, sockets, VISA resources and a simulator's process, each in memory: nothing is opened."""

from __future__ import annotations

import errno
import io
import math
import os
import queue
import subprocess
from pathlib import Path
from typing import Any, cast

import pytest
import serial
from pyvisa.constants import StatusCode
from pyvisa.errors import VisaIOError
from serial.tools import list_ports

from loomproof.bench.address import DEFAULT_BAUD
from loomproof.bench.serial_port import SerialLine, port_error
from loomproof.bench.simulation import Simulation
from loomproof.bench.tcp import TcpLine
from loomproof.bench.visa import VisaLine
from loomproof.errors import LinkError, NoBenchError

# -- ports and sockets --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("error", "says", "cure"),
    [
        (OSError(errno.EBUSY, "busy"), "is in use by another program", "Close the other program"),
        (OSError(errno.EAGAIN, "again"), "is in use by another program", "Close the other program"),
        (serial.SerialException("Could not exclusively lock port"), "is in use by", "Close the other"),
        (OSError(errno.ENOENT, "no entry"), "there is no serial port X1", "No serial port is found"),
        (OSError(errno.ENODEV, "no device"), "there is no serial port X1", "No serial port is found"),
        (serial.SerialException("FileNotFoundError(2, 'x')"), "there is no serial port X1", "is found"),
        (OSError(errno.EACCES, "denied"), "may not be opened by this user", "dialout"),
        (serial.SerialException("PermissionError(13, 'x')"), "may not be opened by", "dialout"),
        (OSError(errno.EIO, "input/output"), "cannot be opened: ", "No serial port is found"),
    ],
)
def test_what_keeps_a_port_from_opening_is_told(
    error: Exception, says: str, cure: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Numbers by POSIX; the texts are those that pyserial puts what Windows said in."""
    monkeypatch.setattr(list_ports, "comports", list)
    found = port_error("X1", error)
    assert says in found.message
    assert cure in str(found.cure)


class Port:
    """A serial port with nothing on it, which says how it was read."""

    def __init__(self, *_: object, **given: object) -> None:
        self.given = given
        self.in_waiting = 0
        self.baudrate = 9600
        self.asked: list[int] = []
        self.sent = b""

    def write(self, data: bytes) -> None:
        self.sent += data

    def read(self, count: int) -> bytes:
        self.asked.append(count)
        return b""

    def close(self) -> None:
        """There is nothing to close."""


def test_a_port_is_waited_at_for_a_short_time_as_for_a_long_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where one byte is read, the port waits a slice for it; where none is, it does not wait."""
    monkeypatch.setattr(serial, "Serial", Port)
    line = SerialLine("X1", 9600)
    port = cast("Port", line._port)
    for timeout_s, asked in ((0.0, []), (0.001, [1]), (0.9, [1]), (30.0, [1])):
        port.asked.clear()
        assert line.receive(timeout_s) == b""
        assert port.asked == asked


def test_a_port_is_held_alone_and_given_what_is_sent(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(serial, "Serial", Port)
    line = SerialLine("X1", 9600)
    port = cast("Port", line._port)
    assert port.given["exclusive"] is True
    line.send(b":01*IDN?*27CDACD8\n")
    assert port.sent == b":01*IDN?*27CDACD8\n"


@pytest.mark.skipif(os.name == "nt", reason="pseudo-terminals are POSIX")
def test_a_terminal_takes_all_that_is_sent_and_gives_all_that_has_come(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """What it does not take in time is an error, and one whose other end has gone gives none for ever."""
    ours, theirs = os.openpty()
    line = SerialLine(os.ttyname(theirs), 9600)
    try:
        assert line.receive(0.0) == b""
        os.write(ours, b":01OK*")
        os.write(ours, b"00000000\n")
        # What is written in two goes may come in two: a terminal hands on what it has.
        come = line.receive(1.0)
        while not come.endswith(b"\n"):
            come += line.receive(1.0)
        assert come == b":01OK*00000000\n"
        line.send(b":02*IDN?*00000000\n")
        assert os.read(ours, 100) == b":02*IDN?*00000000\n"
        monkeypatch.setattr("loomproof.bench.serial_port.WRITE_TIMEOUT_S", 0.01)
        with pytest.raises(LinkError, match="Write timeout"):
            line.send(b"x" * 10**6)
        os.close(ours)
        with pytest.raises(LinkError, match="failed"):
            line.receive(1.0)
    finally:
        line.close()
        os.close(theirs)


class Resource:
    """A VISA resource on which nothing comes."""

    baud_rate = 9600
    timeout = 0
    read = 0

    def read_raw(self) -> bytes:
        self.read += 1
        raise VisaIOError(StatusCode.error_timeout)

    def close(self) -> None:
        """There is nothing to close."""


def test_a_visa_resource_is_waited_at_in_milliseconds_and_never_without_a_wait(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """VISA counts its timeouts in ms, and takes 0 for at once."""
    resource = Resource()
    monkeypatch.setattr("loomproof.bench.visa.open_resource", lambda *_: resource)
    line = VisaLine("ASRL1::INSTR")
    assert resource.baud_rate == line.rate == DEFAULT_BAUD, "a serial resource comes at 9600 from VISA"
    for timeout_s, timeout_ms in ((0.25, 250), (2.0, 2000), (0.0001, 1)):
        assert line.receive(timeout_s) == b""
        assert resource.timeout == timeout_ms
    assert line.receive(0.0) == line.receive(-1.0) == b""
    assert resource.read == 3


class Socket:
    """A socket on which nothing comes."""

    def __init__(self) -> None:
        self.timeout_s = math.nan

    def setsockopt(self, *_: int) -> None:
        """It has no options."""

    def settimeout(self, timeout_s: float) -> None:
        self.timeout_s = timeout_s

    def recv(self, _: int) -> bytes:
        raise TimeoutError


def test_a_socket_is_never_read_without_a_timeout_and_reckoned_as_a_port(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """With a timeout of 0 it does not block, and silence is an error; a tenth of a millisecond is nothing."""
    socket = Socket()
    monkeypatch.setattr("socket.create_connection", lambda *_, **__: socket)
    line = TcpLine("192.0.2.7", 7000)
    for timeout_s in (-1.0, 0.0):
        assert line.receive(timeout_s) == b""
        assert 0.0 < socket.timeout_s <= 1e-4
    assert line.receive(2.5) == b""
    assert socket.timeout_s == 2.5
    assert line.rate == DEFAULT_BAUD


# -- a simulator's process ----------------------------------------------------------------------------


class Process:
    """A process that says these lines and ends when it is told to."""

    def __init__(self, said: str) -> None:
        self.stdin, self.stdout, self.pid = io.StringIO(), io.StringIO(said), 4
        self.ended = False

    def poll(self) -> int | None:
        return 0 if self.ended else None

    def terminate(self) -> None:
        self.ended = True

    def wait(self, _: float | None = None) -> int:
        return 0


def simulated(said: str, monkeypatch: pytest.MonkeyPatch) -> tuple[Process, Simulation]:
    process = Process(said)
    monkeypatch.setattr(subprocess, "Popen", lambda *_, **__: process)
    return process, Simulation(Path("loom"))


def test_a_simulator_that_gives_no_address_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    process = Process("hand:\n")
    monkeypatch.setattr(subprocess, "Popen", lambda *_, **__: process)
    with pytest.raises(NoBenchError, match="an address was expected"):
        Simulation(Path("loom"))
    assert process.ended
    assert process.stdin.closed


class Silent(queue.SimpleQueue[str]):
    """A queue in which nothing comes."""

    def get(self, block: bool = True, timeout: float | None = None) -> str:
        assert block
        assert timeout is not None
        raise queue.Empty


def test_a_simulator_that_says_nothing_to_an_order_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    process, simulation = simulated("tcp:127.0.0.1:7000\nas told\n", monkeypatch)
    assert str(simulation.address) == "tcp:127.0.0.1:7000"
    assert simulation.tell("mend") == "as told"
    assert process.stdin.getvalue() == "mend\n"
    simulation._lines = cast("Any", Silent())
    with pytest.raises(NoBenchError, match="said nothing for 60 s"):
        simulation.tell("mend")
    simulation.end()
    assert process.ended
