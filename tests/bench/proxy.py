"""A line that does harm between real ends: a host's socket or pseudo-terminal, and the simulator's.

A thread of its own moves the bytes; `noise.Noise` says what becomes of them. It can also be pulled out
like a cable, and put back, into the same device or another one.
"""

from __future__ import annotations

import contextlib
import heapq
import itertools
import os
import queue
import select
import socket
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Literal, Protocol

from loomproof.bench.address import Address, SerialAddress, TcpAddress
from tests.bench.noise import Noise

Kind = Literal["pty", "tcp"]
CHUNK = 4096
OPENING = b"SYST:LINK:OPEN "


class HostEnd(Protocol):
    """Where a host connects."""

    address: str

    def watched(self) -> list[int]:
        """Return the file descriptors to wait for."""
        ...

    def read(self) -> bytes:
        """Return what has come from the host; nothing where nothing has."""
        ...

    def write(self, data: bytes) -> int:
        """Send what fits and return how much that was; without a host, bytes go nowhere."""
        ...

    def pull(self) -> None:
        """Go away under the host, as a pulled cable does."""
        ...

    def plug(self) -> None:
        """Come back at the same address."""
        ...


class PtyEnd:
    """A pseudo-terminal behind a symbolic link: after a pull a new one stands under the same name."""

    def __init__(self, folder: Path) -> None:
        self._link = folder / "port"
        self.address = f"serial:{self._link}"
        self._near = self._far = -1
        self.plug()

    def plug(self) -> None:
        import pty
        import tty

        self._near, self._far = pty.openpty()
        tty.setraw(self._far)
        os.set_blocking(self._near, False)
        self._link.symlink_to(os.ttyname(self._far))

    def pull(self) -> None:
        if self._near < 0:
            return
        self._link.unlink()
        for side in (self._near, self._far):
            os.close(side)
        self._near = self._far = -1

    def watched(self) -> list[int]:
        return [self._near] if self._near >= 0 else []

    def read(self) -> bytes:
        return _read(self._near) if self._near >= 0 else b""

    def write(self, data: bytes) -> int:
        return _write(self._near, data) if self._near >= 0 else len(data)


class TcpEnd:
    """A listening port; a new host takes the place of the one before."""

    def __init__(self) -> None:
        self._port = 0
        self._host: socket.socket | None = None
        self._listener: socket.socket | None = None
        self.plug()
        self.address = f"tcp:127.0.0.1:{self._port}"

    def plug(self) -> None:
        self._listener = socket.create_server(("127.0.0.1", self._port))
        self._listener.setblocking(False)
        self._port = self._listener.getsockname()[1]

    def pull(self) -> None:
        self._hang_up()
        if self._listener is not None:
            self._listener.close()
            self._listener = None

    def watched(self) -> list[int]:
        return [each.fileno() for each in (self._listener, self._host) if each is not None]

    def read(self) -> bytes:
        data = b""
        if self._host is not None:
            with contextlib.suppress(BlockingIOError):
                try:
                    data = self._host.recv(CHUNK)
                    gone = not data
                except ConnectionError:
                    gone = True
                if gone:
                    self._hang_up()
        if self._listener is not None:
            with contextlib.suppress(BlockingIOError):
                arrived, _ = self._listener.accept()
                self._hang_up()
                arrived.setblocking(False)
                arrived.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
                self._host = arrived
        return data

    def write(self, data: bytes) -> int:
        if self._host is None:
            return len(data)
        try:
            return self._host.send(data)
        except BlockingIOError:
            return 0
        except OSError:
            self._hang_up()
            return len(data)

    def _hang_up(self) -> None:
        if self._host is not None:
            self._host.close()
            self._host = None


class DeviceEnd:
    """The proxy's own line to the simulator, over which the bytes pass unharmed."""

    def __init__(self, where: Address) -> None:
        self._socket: socket.socket | None = None
        if isinstance(where, TcpAddress):
            self._socket = socket.create_connection((where.host, where.port))
            self._socket.setblocking(False)
            self._socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self.fileno = self._socket.fileno()
        else:
            import tty

            assert isinstance(where, SerialAddress)
            self.fileno = os.open(where.port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
            tty.setraw(self.fileno)

    def read(self) -> bytes:
        return _read(self.fileno)

    def write(self, data: bytes) -> int:
        return _write(self.fileno, data)

    def close(self) -> None:
        if self._socket is not None:
            self._socket.close()
        else:
            os.close(self.fileno)


class Proxy:
    """Passes bytes between a host and the simulator at ``device``, and does harm on the way.

    ``reset`` is called where the device shall lose its power. Used as a context manager; ``address`` is
    where the host connects.
    """

    def __init__(
        self, kind: Kind, device: Address, noise: Noise, folder: Path, reset: Callable[[], object]
    ) -> None:
        self.noise = noise
        self.pull_after: int | None = None
        self._host: HostEnd = PtyEnd(folder) if kind == "pty" else TcpEnd()
        self._device = DeviceEnd(device)
        self._reset = reset
        self._in: list[tuple[float, int, bytes]] = []
        self._out: list[tuple[float, int, bytes]] = []
        self._order = itertools.count()
        self._half_command = self._half_reply = b""
        self._carried = b""
        self._leaving = bytearray()
        self._orders: queue.SimpleQueue[Callable[[], bool]] = queue.SimpleQueue()
        self._ear, self._mouth = socket.socketpair()
        self._error: BaseException | None = None
        self._thread = threading.Thread(target=self._guarded, daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        """Where the host connects."""
        return self._host.address

    def pull(self) -> None:
        """Pull the host's cable out."""
        self._tell(self._pull)

    def plug(self, device: Address | None = None) -> None:
        """Plug the host's cable in again, into another device where one is named."""

        def work() -> None:
            if device is not None:
                self._device.close()
                self._device = DeviceEnd(device)
            self._host.plug()

        self._tell(work)

    def close(self) -> None:
        """End the thread and everything that it holds. Raises what went wrong in it."""
        self._orders.put(lambda: False)
        self._mouth.send(b".")
        self._thread.join()
        for end in (self._ear, self._mouth, self._device):
            end.close()
        self._host.pull()
        if self._error is not None:
            raise self._error

    def __enter__(self) -> Proxy:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def _tell(self, work: Callable[[], None]) -> None:
        done = threading.Event()

        def order() -> bool:
            work()
            done.set()
            return True

        self._orders.put(order)
        self._mouth.send(b".")
        while not done.wait(0.1):
            if not self._thread.is_alive():
                raise RuntimeError("the proxy has died") from self._error

    def _guarded(self) -> None:
        try:
            while self._turn():
                pass
        except BaseException as error:  # told by close, in the test's own thread
            self._error = error

    def _turn(self) -> bool:
        due = [items[0][0] for items in (self._in, self._out) if items]
        pause = max(0.0, min(due) - time.monotonic()) if due else None
        if self._leaving:
            pause = 0.002 if pause is None else min(pause, 0.002)
        select.select([*self._host.watched(), self._device.fileno, self._ear.fileno()], [], [], pause)
        while not self._orders.empty():
            self._ear.recv(1)
            if not self._orders.get()():
                return False
        self._from_host()
        self._from_device()
        now = time.monotonic()
        while self._in and self._in[0][0] <= now:
            if self.noise.resets():
                self._reset()
            self._to_device(heapq.heappop(self._in)[2])
        while self._out and self._out[0][0] <= now:
            self._leaving += heapq.heappop(self._out)[2]
        if self._leaving:
            del self._leaving[: self._host.write(bytes(self._leaving))]
        return True

    def _from_host(self) -> None:
        whole, lf, self._half_command = (self._half_command + self._host.read()).rpartition(b"\n")
        if not lf:
            return
        if OPENING in whole:
            # What an earlier connection heard may still be in the channel of a later one.
            self.noise.remember(self._carried)
            self._carried = b""
        if self.pull_after is not None:
            self.pull_after -= 1
            if self.pull_after <= 0:
                self.pull_after = None
                # The command has passed; half of its reply is the last thing that the host hears.
                self._to_device(whole + lf)
                self._leaving += b":0"
                self._host.write(bytes(self._leaving))
                self._pull()
                return
        self._due(self._in, self.noise.to_device(whole + lf))

    def _from_device(self) -> None:
        whole, lf, self._half_reply = (self._half_reply + self._device.read()).rpartition(b"\n")
        if lf:
            self._carried += whole + lf
            self._due(self._out, self.noise.to_host(whole + lf))

    def _due(self, items: list[tuple[float, int, bytes]], pieces: list[tuple[float, bytes]]) -> None:
        now = time.monotonic()
        for late_s, piece in pieces:
            heapq.heappush(items, (now + late_s, next(self._order), piece))

    def _to_device(self, data: bytes) -> None:
        while data:
            data = data[self._device.write(data) :]

    def _pull(self) -> None:
        self._host.pull()
        self._leaving.clear()
        self._half_command = b""


def _read(fileno: int) -> bytes:
    try:
        return os.read(fileno, CHUNK)
    except (BlockingIOError, ConnectionError):
        return b""
    except OSError:  # a terminal without anybody on its other side
        return b""


def _write(fileno: int, data: bytes) -> int:
    try:
        return os.write(fileno, data)
    except BlockingIOError:
        time.sleep(0.0005)  # the other side reads in a moment
        return 0
