"""A TCP socket as a line."""

from __future__ import annotations

import contextlib
import socket

from loomproof.errors import LinkError, NoBenchError

CONNECT_TIMEOUT_S = 5.0
SEND_TIMEOUT_S = 5.0
RECKONED_RATE = 115_200


class TcpLine:
    """An open connection. Raises `NoBenchError` where nothing listens, or where it is held by another."""

    def __init__(self, host: str, port: int) -> None:
        self._name = f"{host}:{port}"
        self._heard = False
        try:
            self._socket = socket.create_connection((host, port), timeout=CONNECT_TIMEOUT_S)
        except OSError as error:
            raise NoBenchError(
                f"nothing answers at {self._name}: {error}",
                cure="Is the scanner on the network, and the port right?",
            ) from error
        self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    @property
    def rate(self) -> int:
        """The rate to reckon with: behind a socket there may be a serial port."""
        return RECKONED_RATE

    def send(self, data: bytes) -> None:
        """Send all of these bytes."""
        try:
            self._socket.settimeout(SEND_TIMEOUT_S)
            self._socket.sendall(data)
        except OSError as error:
            raise self._gone(str(error)) from error

    def receive(self, timeout_s: float) -> bytes:
        """Return what has arrived, after at most this time."""
        try:
            self._socket.settimeout(max(timeout_s, 1e-4))
            data = self._socket.recv(65_536)
        except TimeoutError:
            return b""
        except OSError as error:
            raise self._gone(str(error)) from error
        if not data:
            raise self._gone("the other side closed it")
        self._heard = True
        return data

    def set_rate(self, rate: int) -> None:
        """Do nothing: a socket has no rate."""

    def close(self) -> None:
        """Close the connection."""
        with contextlib.suppress(OSError):
            self._socket.close()

    def _gone(self, why: str) -> LinkError | NoBenchError:
        if not self._heard:
            # A scanner serves one host; the next is let in and shown out at once.
            return NoBenchError(
                f"the scanner at {self._name} hung up before it said a word ({why}): "
                "most likely another program holds it",
                cure="A scanner talks to one program at a time: close the other one and try again.",
            )
        return LinkError(
            f"the connection to {self._name} failed: {why}",
            cure="Look at cable and network, and start the run again.",
        )
