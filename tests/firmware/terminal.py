"""A host of the scanner link's checked form in a few lines, written from its page, for one emulated board."""

from __future__ import annotations

import binascii

from tests.firmware.emulated import Board

NONCE = b"1234ABCD"


def sealed(number: int, body: str, nonce: bytes = NONCE) -> bytes:
    """Return a checked line."""
    covered = b"%02X" % number + body.encode()
    return b":%b*%08X\n" % (covered, binascii.crc32(nonce + covered))


class Terminal:
    """Counts, seals, and holds answers against what a good line is."""

    def __init__(self, board: Board) -> None:
        self.board = board
        self.number = 0

    def send(self, line: bytes, most_s: float = 0.3) -> bytes:
        """Send raw bytes and return all that comes within this time of the board's."""
        self.board.feed(line)
        return self.board.run(int(most_s * 16e6))

    def open(self, nonce: bytes = NONCE) -> None:
        """Open the link."""
        line = sealed(self.number, f"SYST:LINK:OPEN {nonce.decode()}", b"")
        assert self.send(line) == sealed(self.number, nonce.decode(), b"")

    def line(self, body: str) -> bytes:
        """Return the next line."""
        self.number = (self.number + 1) % 256
        return sealed(self.number, body)

    def ask(self, body: str, most_s: float = 5.0) -> str:
        """Ask, and return a good answer's body."""
        self.board.feed(self.line(body))
        got = self.board.run_until(lambda out: out.endswith(b"\n"), most_s)
        answer = got[3 : got.rindex(b"*")].decode()
        assert got == sealed(self.number, answer), got
        return answer

    def silent(self, line: bytes, most_s: float = 0.3) -> None:
        """Send what must not be answered."""
        assert self.send(line, most_s) == b""
