"""The simulated scanner on a real line: a pseudo-terminal or a TCP port, one host at a time.

Time is virtual unless paced: what the scanner would wait for settling and measuring is skipped, and only
what the host waits counts as it is. Paced, replies leave when a real scanner's would, at its line rate.
"""

from __future__ import annotations

import contextlib
import os
import queue
import selectors
import socket
import sys
import threading
import time
from collections import deque
from collections.abc import Callable
from typing import Protocol

from loomproof.errors import NoBenchError, Todo
from loomproof.virtual.console import Control
from loomproof.virtual.link import Device, Sent

_CHUNK = 4096
_BITS_PER_BYTE = 10
_LONGEST_SLEEP_S = 0.5
_MOST_UNREAD_BYTES = 1 << 18
_TRY_AGAIN_S = 0.002


class Line(Protocol):
    """A line that a host may be on."""

    address: str

    def watched(self) -> list[int]:
        """Return the file descriptors whose input wakes the server."""
        ...

    def read(self) -> bytes:
        """Return what has arrived; nothing where nothing has."""
        ...

    def write(self, data: bytes) -> int:
        """Send what fits and return how much that was; without a host, bytes go nowhere."""
        ...

    def host_baud(self) -> int | None:
        """Return the rate that the host's port is set to; ``None`` where the line has no rate."""
        ...

    def close(self) -> None:
        """Give the line back."""
        ...


class PtyLine:
    """A pseudo-terminal. The simulator keeps the far side open, so that hosts may come and go."""

    def __init__(self) -> None:
        try:
            import pty
            import tty

            self._near, self._far = pty.openpty()
        except (ImportError, OSError):
            raise NoBenchError(
                "this system has no pseudo-terminals",
                cure="Put it on a port of the network.",
                do=Todo.CABLE,
            ) from None
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self.address = f"serial:{os.ttyname(self._far)}"

    def watched(self) -> list[int]:
        """Return the near side."""
        return [self._near]

    def read(self) -> bytes:
        """Return what has arrived."""
        try:
            return os.read(self._near, _CHUNK)
        except OSError:
            return b""

    def write(self, data: bytes) -> int:
        """Send what fits; where nobody reads, the terminal's own buffer fills and the rest waits."""
        try:
            return os.write(self._near, data)
        except OSError:
            return 0

    def host_baud(self) -> int | None:
        """Return the rate that the host's side is set to."""
        import termios

        speed = termios.tcgetattr(self._far)[5]
        return next((rate for rate in _RATES if getattr(termios, f"B{rate}", None) == speed), None)

    def close(self) -> None:
        """Close both sides."""
        for side in (self._near, self._far):
            with contextlib.suppress(OSError):
                os.close(side)


_RATES = (300, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 460800, 500000, 921600, 1000000)


class TcpLine:
    """A TCP port on this machine only; one host at a time, others are turned away."""

    def __init__(self, port: int) -> None:
        self._host: socket.socket | None = None
        self._listener = socket.socket()
        if os.name != "nt":
            self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._listener.bind(("127.0.0.1", port))
        except (OSError, OverflowError) as error:
            self._listener.close()
            raise NoBenchError(
                f"port {port} cannot be opened: {error}", cure="Choose another, or 0 for any free one."
            ) from None
        self._listener.listen(4)
        self._listener.setblocking(False)
        self.address = f"tcp:127.0.0.1:{self._listener.getsockname()[1]}"

    def watched(self) -> list[int]:
        """Return the listener and the host."""
        found = [self._listener.fileno()]
        return [*found, self._host.fileno()] if self._host else found

    def read(self) -> bytes:
        """Return what has arrived; take a new host where there is none."""
        data = b""
        if self._host:
            try:
                data = self._host.recv(_CHUNK)
                if not data:
                    self._drop()
            except BlockingIOError:
                pass
            except OSError:
                self._drop()
        with contextlib.suppress(BlockingIOError):
            arrived, _ = self._listener.accept()
            if self._host:
                arrived.close()
            else:
                arrived.setblocking(False)
                arrived.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._host = arrived
        return data

    def _drop(self) -> None:
        if self._host:
            self._host.close()
            self._host = None

    def write(self, data: bytes) -> int:
        """Send what fits; without a host, bytes go nowhere."""
        if not self._host:
            return len(data)
        try:
            return self._host.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._drop()
            return len(data)

    def host_baud(self) -> int | None:
        """A TCP line has no rate."""
        return None

    def close(self) -> None:
        """Close the host and the listener."""
        self._drop()
        self._listener.close()


class Server:
    """Moves bytes between a line and a device, and control lines to the loom, until it is stopped."""

    def __init__(
        self,
        device: Device,
        line: Line,
        control: Control,
        *,
        paced: bool = False,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.device = device
        self.line = line
        self.control = control
        self.paced = paced
        self._noise = control.noise
        self._orders: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._ear, self._mouth = socket.socketpair()
        self._ear.setblocking(False)
        self._skipped_s = 0.0
        self._clock = clock
        self._began_s = clock()
        self._outbox: deque[Sent] = deque()
        self._leaving = bytearray()
        self._incoming: deque[tuple[float, bytes]] = deque()
        self._line_free_s = self._wire_free_s = 0.0
        self._stopped = False

    def now_s(self) -> float:
        """The device's clock: what has passed, and what was skipped."""
        return self._clock() - self._began_s + self._skipped_s

    def order(self, text: str | None) -> None:
        """Hand in a control line, or ``None`` to stop; may be called from any thread or a signal."""
        self._orders.put(text)
        with contextlib.suppress(OSError):
            self._mouth.send(b".")

    def run(self, say: Callable[[str], None]) -> None:
        """Serve until `order` (None). ``say`` takes the answers to control lines."""
        try:
            while not self._stopped:
                self._wait()
                self._obey(say)
                self.turn()
        finally:
            self.close()

    def close(self) -> None:
        """Release the points and give the line back."""
        self.device.commands.release()
        self.line.close()
        self._ear.close()
        self._mouth.close()

    def _wait(self) -> None:
        now = self.now_s()
        due = self.device.wake_s(now)
        if self._outbox:
            due = min(due, self._due_s(self._outbox[0]))
        if self._leaving:
            due = min(due, now + _TRY_AGAIN_S)
        if self._incoming:
            due = min(due, self._incoming[0][0])
        pause = min(max(due - now, 0.0), _LONGEST_SLEEP_S)
        with selectors.DefaultSelector() as selector:
            for found in (*self.line.watched(), self._ear.fileno()):
                selector.register(found, selectors.EVENT_READ)
            selector.select(pause)
        with contextlib.suppress(BlockingIOError):
            self._ear.recv(_CHUNK)

    def _obey(self, say: Callable[[str], None]) -> None:
        while True:
            try:
                order = self._orders.get_nowait()
            except queue.Empty:
                return
            if order is None:
                self._stopped = True
                return
            if order.strip():
                say(self.control.obey(order, self.now_s()))

    def turn(self) -> None:
        """Take what has arrived, let the device do what is due, send what may go."""
        data = self.line.read()
        now = self.now_s()
        if data:
            self._incoming.append(
                (self._arrival_s(len(data), now), self._damaged(self._noise.pass_on(data), self.device.baud))
            )
        while self._incoming and self._incoming[0][0] <= now:
            arrived_s, data = self._incoming.popleft()
            self.device.feed(data, arrived_s)
        if now < self._noise.stalled_until_s:
            return
        while True:
            self.device.waiting_bytes = self._waiting_bytes()
            self._outbox.extend(self.device.step(now))
            self._forget_unread()
            self._transmit(now)
            if self.paced or self.device.busy_s <= now:
                return
            # The scanner would be busy for a while: on a virtual clock, that while is over now.
            self._skipped_s += self.device.busy_s - now
            now = max(self.now_s(), self.device.busy_s)

    def _forget_unread(self) -> None:
        """Let replies go where a host asks and never reads; a real line would have lost them too."""
        while self._outbox and self._waiting_bytes() > _MOST_UNREAD_BYTES:
            self._outbox.popleft()

    def _waiting_bytes(self) -> int:
        return len(self._leaving) + sum(len(sent.data) for sent in self._outbox)

    def _arrival_s(self, count: int, now: float) -> float:
        """When the last of so many bytes has come down the line."""
        if not self.paced:
            return now
        self._wire_free_s = max(self._wire_free_s, now) + count * _BITS_PER_BYTE / self.device.baud
        return self._wire_free_s

    def _due_s(self, sent: Sent) -> float:
        return max(sent.ready_s, self._line_free_s) + len(sent.data) * _BITS_PER_BYTE / sent.baud

    def _transmit(self, now: float) -> None:
        while self._outbox and not (self.paced and now < self._due_s(self._outbox[0])):
            sent = self._outbox.popleft()
            if self.paced:
                self._line_free_s = max(sent.ready_s, self._line_free_s)
                self._line_free_s += len(sent.data) * _BITS_PER_BYTE / sent.baud
            self._leaving += self._damaged(self._noise.pass_on(sent.data), sent.baud)
        if self._leaving:
            del self._leaving[: self.line.write(bytes(self._leaving))]

    def _damaged(self, data: bytes, baud: int) -> bytes:
        """Return what arrives of bytes sent at one rate where the host's may be another: then, rubbish."""
        rate = self.line.host_baud() if self.paced else None
        return data if rate in (None, baud) else bytes(byte ^ 0xA5 | 0x80 for byte in data)


def listen_to_stdin(server: Server, *, stop_at_end: bool) -> None:
    """Read control lines from standard input in a thread of its own."""

    def listen() -> None:
        for text in sys.stdin:
            server.order(text)
        if stop_at_end:
            server.order(None)

    threading.Thread(target=listen, name="control", daemon=True).start()
