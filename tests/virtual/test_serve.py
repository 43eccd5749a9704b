"""The simulator as its hosts meet it: a process of its own on a pseudo-terminal or a TCP port."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import serial

from tests.virtual.test_link import line

WINDOWS = sys.platform == "win32"
needs_pty = pytest.mark.skipif(WINDOWS, reason="Windows has no pseudo-terminals")


class Simulator:
    """A running ``loomproof simulate`` and its address."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        assert process.stdout
        assert process.stdin
        self.process = process
        self._out, self._in = process.stdout, process.stdin
        self.address = self._out.readline().strip()
        assert self.address, process.stderr.read() if process.stderr else ""

    def order(self, text: str) -> str:
        self._in.write(text + "\n")
        self._in.flush()
        return self._out.readline().strip()

    def end_input(self) -> None:
        self._in.close()

    @contextmanager
    def host(self, baud: int = 115_200) -> Iterator[serial.SerialBase]:
        scheme, _, where = self.address.partition(":")
        url = where if scheme == "serial" else f"socket://{where}"
        port = serial.serial_for_url(url, baudrate=baud, timeout=5, do_not_open=True)
        port.open()
        try:
            yield port
        finally:
            port.close()


@contextmanager
def simulator(loom: Path, *options: str) -> Iterator[Simulator]:
    with subprocess.Popen(
        [sys.executable, "-m", "loomproof", "simulate", str(loom), "--quiet", *options],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    ) as process:
        try:
            yield Simulator(process)
        finally:
            process.terminate()
            process.wait(10)


def ask(port: serial.SerialBase, body: str) -> bytes:
    port.write(body.encode() + b"\n")
    return bytes(port.readline())


LINES = [pytest.param(("--pty",), marks=needs_pty, id="pty"), pytest.param(("--tcp", "0"), id="tcp")]


@pytest.fixture
def lamp(fixtures: Path) -> Path:
    return fixtures / "tail_lamp"


@pytest.mark.parametrize("options", LINES)
def test_hosts_come_and_go_and_orders_change_the_loom(options: tuple[str, ...], lamp: Path) -> None:
    with simulator(lamp, *options) as it:
        with it.host() as port:
            assert ask(port, "SENS:DRIV? #H0,#H1") == b"#H0,#H41\n"
            assert it.order("fault open W1") == "ok: fault open W1"
            assert ask(port, "SENS:DRIV? #H1") == b"#H1\n"
            port.write(b"MEAS:RES? #H1,#H2\n")
        # The host left without taking its reply; the next one does not trip over it.
        with it.host() as port:
            port.write(b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n")
            while (reply := port.readline()) != b":001234ABCD*FFCF59F8\n":
                assert reply
            port.write(line(1, "SENS:DRIV? #H1"))
            assert port.readline() == line(1, "#H1")
            assert it.order("mend W1") == "ok: mended open W1"
            port.write(line(2, "SENS:DRIV? #H1"))
            assert port.readline() == line(2, "#H41")


def test_a_seed_is_taken_while_it_runs(lamp: Path) -> None:
    with simulator(lamp, "--pty") as it:
        assert it.order("seed 12") == "ok: seed 12"
        assert it.order("seed x").startswith("error:")


def test_orders_that_cannot_be_are_answered_and_change_nothing(lamp: Path, tmp_path: Path) -> None:
    with simulator(lamp, "--tcp", "0") as it:
        for order, told in (
            ("fault open W99", "there is no wire W99"),
            ("mend W1", "there is no fault 'W1' to mend"),
            ("load nowhere", "nowhere"),
            ("dance", "no order here"),
            ("line wobble", "a line cannot 'wobble'"),
        ):
            answer = it.order(order)
            assert answer.startswith("error: ")
            assert told in answer
        assert it.order("faults") == "ok: no fault"
        assert it.order(f"load {lamp}").startswith("ok: loaded ")
        table = tmp_path / "adapter.csv"
        table.write_text("point,connector,cavity\n5,PLUG,1\n", encoding="utf-8")
        assert it.order(f"adapter {table}").startswith("error: adapter.csv does not fit")
        assert it.order("adapter in-order") == "ok: hooked up 13 cavities"
        assert it.order("unplug") == "ok: unplugged"
        with it.host() as port:
            assert ask(port, "SENS:DRIV? #H1") == b"#H1\n"


def test_a_second_host_is_turned_away_while_one_is_on_the_line(lamp: Path) -> None:
    with simulator(lamp, "--tcp", "0") as it, it.host() as port:
        assert ask(port, "SENS:SETT?") == b"500\n"
        where = it.address.split(":")
        with socket.create_connection((where[1], int(where[2])), timeout=5) as other:
            assert other.recv(1) == b""
        assert ask(port, "SENS:SETT?") == b"500\n"


@needs_pty
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_it_cleanly(number: signal.Signals, lamp: Path) -> None:
    with simulator(lamp) as it:
        os.kill(it.process.pid, number)
        assert it.process.wait(10) == 0
        assert it.process.stderr
        assert it.process.stderr.read() == ""


def test_it_ends_with_its_input_where_asked_to(lamp: Path) -> None:
    with simulator(lamp, "--tcp", "0", "--end-with-input") as it:
        it.end_input()
        assert it.process.wait(10) == 0


@needs_pty
def test_paced_the_line_has_a_rate_that_both_sides_must_share(lamp: Path) -> None:
    with simulator(lamp, "--paced") as it, it.host() as port:
        port.write(b":00SYST:LINK:OPEN 1234ABCD*88D5C6D6\n")
        assert port.readline() == b":001234ABCD*FFCF59F8\n"
        port.write(line(1, "SYST:BAUD 230400"))
        assert port.readline() == line(1, "OK")
        port.baudrate = 230_400
        port.write(line(2, "SENS:SETT?"))
        assert port.readline() == line(2, "500")
        port.baudrate = 9600
        port.timeout = 0.3
        port.write(line(3, "SENS:SETT?"))
        assert port.readline() != line(3, "500")


def test_a_bad_line_loses_and_damages_and_a_mended_one_does_not(lamp: Path) -> None:
    with simulator(lamp, "--tcp", "0") as it, it.host() as port:
        assert it.order("line cut") == "ok: line cut"
        port.timeout = 0.2
        assert ask(port, "SENS:SETT?") == b""
        assert it.order("line mend") == "ok: line mend"
        assert it.order("line flip 0.2") == "ok: line flip 0.2"
        port.write(b"SENS:SETT?\n" * 20)
        port.read(1000)
        assert it.order("line mend") == "ok: line mend"
        port.write(b"\n")
        port.read(1000)
        assert ask(port, "SENS:SETT?") == b"500\n"


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (("--fault", "open W99"), "there is no wire W99"),
        (("--acc", "fine"), "no limits of error"),
        (("--pty", "--tcp", "0"), "exclude each other"),
        (("--adapter", "nowhere.csv"), "nowhere.csv cannot be read"),
    ],
)
def test_what_cannot_be_is_told_at_once(options: tuple[str, ...], told: str, lamp: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "loomproof", "simulate", str(lamp), *options],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.returncode == 2
    assert told in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""
