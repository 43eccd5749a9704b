"""A SCPI switch matrix with a meter on a TCP socket, written for the tests from IEEE 488.2 and SCPI-99."""

from __future__ import annotations

import re
import socket
import socketserver
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Ohms = Callable[[frozenset[int], frozenset[int]], float]


class Matrix:
    """Rows 1 and 2 (feeding), 3 and 4 (sensing).

    Crosspoints are ``row`` and three digits of the point, or ``row!point`` (SCPI-99, volume 1, 8.3.2).
    """

    def __init__(self, ohms: Ohms) -> None:
        self.ohms = ohms
        self.closed: set[tuple[int, int]] = set()
        self.errors: list[str] = []
        self.heard: list[str] = []
        self.deaf_to = ""
        self.behind: list[str] = []
        """Readings still to be given before those of now: with one in it every reading is the one before."""
        self.twice_at = 0
        """Which reading is answered twice; 0 for none."""
        self.readings = 0

    def obey(self, line: str) -> str | None:
        """Do one program message; return its answer where it has one."""
        self.heard.append(line)
        if self.deaf_to and line.startswith(self.deaf_to):
            return None
        if line == "*IDN?":
            return "Invented Instruments,Matrix 64,M7,2.1"
        if line == "*OPC?":
            return "1"
        if line == "SYSTem:ERRor?":
            return self.errors.pop(0) if self.errors else '0,"No error"'
        if line == "*CLS":
            self.errors.clear()
            return None
        if line == "ROUTe:OPEN:ALL":
            self.closed.clear()
            return None
        if line.startswith("SENSe:RESistance:"):
            return None
        if match := re.fullmatch(r"ROUTe:CLOSe \(@([0-9!,]+)\)", line):
            self.closed |= {(int(each[0]), int(each[1:].lstrip("!"))) for each in match[1].split(",")}
            return None
        if match := re.fullmatch(r"MEASure:(F?)RESistance\?", line):
            self.readings += 1
            self.behind.append(f"{self._read(four=bool(match[1])):.6E}")
            told = self.behind.pop(0)
            return f"{told}\n{told}" if self.readings == self.twice_at else told
        self.errors.append('-113,"Undefined header"')
        return None

    def _read(self, four: bool) -> float:
        feed = [frozenset(p for r, p in self.closed if r == row) for row in (1, 2, 3, 4)]
        if not feed[0] or not feed[1] or (four and (feed[2] != feed[0] or feed[3] != feed[1])):
            return 9.9e37
        if feed[0] & feed[1]:
            return 0.01  # both buses on one point
        ohm = self.ohms(feed[0], feed[1])
        return 9.9e37 if ohm == float("inf") else ohm


@contextmanager
def served(matrix: Matrix) -> Iterator[str]:
    """Serve an instrument on a free port; yields its VISA resource."""

    class Handler(socketserver.StreamRequestHandler):
        def handle(self) -> None:
            for line in self.rfile:
                # Acknowledged at once: a client that writes twice before it reads waits for that (RFC 896).
                self.connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_QUICKACK, 1)
                answer = matrix.obey(line.decode("ascii").strip())
                if answer is not None:
                    self.wfile.write(answer.encode() + b"\n")

    class Server(socketserver.ThreadingTCPServer):
        allow_reuse_address = True
        daemon_threads = True

    with Server(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
        thread.start()
        try:
            yield f"TCPIP::127.0.0.1::{server.server_address[1]}::SOCKET"
        finally:
            server.shutdown()
            thread.join()
