"""A serial port as a line, by pyserial; what goes wrong is said with its cure."""

from __future__ import annotations

import contextlib
import errno
import os
import select
import time

import serial
from serial.tools import list_ports

from loomproof.errors import BenchError, LinkError, NoBenchError

WRITE_TIMEOUT_S = 5.0
SLICE_S = 0.05
MOST_BYTES = 4096


class SerialLine:
    """An open serial port, 8N1. Raises `NoBenchError` where it cannot be opened."""

    def __init__(self, port: str, baud: int) -> None:
        try:
            self._port = serial.Serial(
                port, baud, timeout=SLICE_S, write_timeout=WRITE_TIMEOUT_S, exclusive=True
            )
        except (serial.SerialException, OSError, ValueError) as error:
            raise port_error(port, error) from error
        self._name = port
        self._by_descriptor = os.name == "posix" and hasattr(self._port, "fileno")

    @property
    def rate(self) -> int:
        """Bits per second."""
        return int(self._port.baudrate)

    def send(self, data: bytes) -> None:
        """Send all of these bytes."""
        try:
            if self._by_descriptor:
                self._write_at_once(data)
            else:
                self._port.write(data)
        except (serial.SerialException, OSError, TypeError) as error:
            raise self._gone(error) from error

    def receive(self, timeout_s: float) -> bytes:
        """Return what has arrived, after at most this time and a slice (50 ms) more."""
        try:
            if self._by_descriptor:
                return self._read_at_once(SLICE_S if timeout_s > 0.0 else 0.0)
            data = b""
            if timeout_s > 0.0:
                data = self._port.read(1)
                if not data:
                    return b""
            waiting = self._port.in_waiting
            return data + self._port.read(waiting) if waiting else data
        except (serial.SerialException, OSError, TypeError) as error:
            # A TypeError is what pyserial gives where the port was closed under a read.
            raise self._gone(error) from error

    def _write_at_once(self, data: bytes) -> None:
        """Send these bytes; the port is waited at only where it does not take all of them at once."""
        descriptor = self._port.fileno()
        until = time.monotonic() + WRITE_TIMEOUT_S
        while data:
            with contextlib.suppress(BlockingIOError):
                data = data[os.write(descriptor, data) :]
            left_s = max(until - time.monotonic(), 0.0)
            if data and not select.select([], [descriptor], [], left_s)[1]:
                raise serial.SerialTimeoutException("Write timeout")

    def _read_at_once(self, timeout_s: float) -> bytes:
        """Return what has arrived, asked of the system once: pyserial asks for a byte, then for the rest.

        Without time to wait it is read without asking whether there is anything, so that nothing is no error.
        """
        descriptor = self._port.fileno()
        if timeout_s > 0.0 and not select.select([descriptor], [], [], timeout_s)[0]:
            return b""
        try:
            data = os.read(descriptor, MOST_BYTES)
        except BlockingIOError:
            return b""
        if not data and timeout_s > 0.0:
            raise serial.SerialException("it is ready to be read, and gives nothing")
        return data

    def set_rate(self, rate: int) -> None:
        """Change the rate of this side, once all is sent."""
        try:
            self._port.flush()
            self._port.baudrate = rate
        except (serial.SerialException, OSError, ValueError) as error:
            raise self._gone(error) from error

    def close(self) -> None:
        """Give the port back."""
        with contextlib.suppress(serial.SerialException, OSError):  # it may have gone away before us
            self._port.close()

    def _gone(self, error: Exception) -> LinkError:
        return LinkError(
            f"the serial port {self._name} failed: {error}",
            cure="Is the cable still in? Plug it in, and start the run again.",
        )


def port_error(port: str, error: Exception) -> BenchError:
    """Return what a failure to open this port means, and what to do."""
    number = getattr(error, "errno", None)
    text = str(error)
    if number in (errno.EACCES, errno.EPERM) or "PermissionError(13" in text:
        return NoBenchError(
            f"the serial port {port} may not be opened by this user, or another program holds it",
            cure="Close the other program; on Linux join the group that owns the port (often dialout), "
            "then log in again.",
        )
    if number in (errno.EBUSY, errno.EAGAIN) or "exclusively lock" in text:
        return NoBenchError(
            f"the serial port {port} is in use by another program",
            cure="Close the other program and try again.",
        )
    if number in (errno.ENOENT, errno.ENXIO, errno.ENODEV) or "FileNotFoundError(2" in text:
        return NoBenchError(f"there is no serial port {port}", cure=ports_found())
    return NoBenchError(f"the serial port {port} cannot be opened: {text}", cure=ports_found())


def ports_found() -> str:
    """Name the serial ports of this machine in a sentence."""
    ports = sorted(list_ports.comports())
    if not ports:
        return "No serial port is found on this machine; is the scanner plugged in?"
    return "Ports found: " + "; ".join(f"{port.device} ({port.description})" for port in ports) + "."
