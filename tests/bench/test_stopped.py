"""An order to stop, at any moment: the device is told to release in a way that it accepts, and says so.

The device is the simulator's, and what it executed is read from it. The moments are every byte of a command
and of its reply, and every line of the host's own code in link and driver.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from functools import partial
from types import FrameType
from typing import Any

import pytest

from loomproof.bench import link as link_module
from loomproof.bench import scanner as scanner_module
from loomproof.bench.scanner import ScannerBench
from loomproof.bench.seam import NOT_RELEASED, NOTHING_DRIVEN, RELEASED, end_told
from loomproof.loom.reading import load
from loomproof.virtual.link import Device
from loomproof.virtual.scanner import Scanner
from tests.bench.device import Clock
from tests.bench.noise import Harm, Noise
from tests.bench.simline import SimLine
from tests.bench.torture import FIXTURES

DRIVES = ("SENS:DRIV", "MEAS", "WATC")
LOOM = load(FIXTURES / "tail_lamp").loom


class Stopped(SimLine):
    """A line on which Ctrl-C comes once: after so many bytes sent, or so many received, in all."""

    def __init__(self, device: Device, clock: Clock, *, sent: int = -1, received: int = -1) -> None:
        super().__init__(device, clock, Noise(Harm()))
        self._left_to_send, self._left_to_receive = sent, received
        self.came = False

    def send(self, data: bytes) -> None:
        if not self.came and 0 <= self._left_to_send <= len(data):
            self.came = True
            if self._left_to_send:
                super().send(data[: self._left_to_send])
            raise KeyboardInterrupt
        self._left_to_send -= len(data)
        super().send(data)

    def receive(self, timeout_s: float) -> bytes:
        data = super().receive(timeout_s)
        if not self.came and 0 <= self._left_to_receive <= len(data):
            self.came = True
            raise KeyboardInterrupt
        self._left_to_receive -= len(data)
        return data


def same(line: SimLine) -> SimLine:
    return line


def heard(device: Device) -> list[str]:
    """Have the device note every command that it executes."""
    done: list[str] = []
    execute = device.commands.execute

    def noted(body: str, **more: Any) -> Any:
        done.append(body)
        return execute(body, **more)

    vars(device.commands)["execute"] = noted
    return done


def used(bench: ScannerBench) -> None:
    """A little of everything that a proof asks."""
    bench.set_settle(100)
    bench.sense([0, 1, 2, 3, 5])
    bench.resistance(1, 2)
    events = bench.watch([1, 2])
    next(events)
    events.close()
    bench.sense([3])


def stopped(line_of: Callable[[Device, Clock], Stopped]) -> tuple[bool, str, list[str]]:
    """Use a bench until it is stopped. Return whether it was, what the error says, what the device did."""
    clock, device = Clock(), Device(Scanner(LOOM))
    line = line_of(device, clock)
    done = heard(device)
    try:
        with ScannerBench(lambda: line, "sim:", clock=clock).connect() as bench:
            used(bench)
    except KeyboardInterrupt as stop:
        assert device.commands.watch is None
        return True, end_told(stop), done
    assert not line.came
    return False, "", done


def judge(said: str, done: list[str]) -> None:
    """What was said is what the device saw."""
    driven = any(body.startswith(DRIVES) for body in done)
    released = "ROUT:OPEN:ALL" in done and done.index("ROUT:OPEN:ALL") > max(
        (n for n, body in enumerate(done) if body.startswith(DRIVES)), default=-1
    )
    assert said in (RELEASED, NOTHING_DRIVEN)
    if said == RELEASED:
        assert released
    else:
        assert not driven


@pytest.mark.parametrize("way", ["sent", "received"])
def test_at_every_byte_the_device_is_released(way: str) -> None:
    moment, said = 0, set()
    while True:
        at = {way: moment}
        came, text, done = stopped(partial(Stopped, sent=at.get("sent", -1), received=at.get("received", -1)))
        if not came:
            break
        judge(text, done)
        said.add(text)
        moment += 1
    assert moment > 300
    assert said == {RELEASED, NOTHING_DRIVEN}


def test_at_every_line_of_the_host_the_device_is_released() -> None:
    """Python may raise between any two lines; the way out itself is broken off too, and is gone once more."""
    files = {link_module.__file__, scanner_module.__file__}

    class At:
        def __init__(self, moment: int) -> None:
            self.left = moment

        def __call__(self, frame: FrameType, event: str, _: object) -> At | None:
            if frame.f_code.co_filename not in files or frame.f_code.co_name in (
                "__exit__",
                "close",
                "__enter__",
            ):
                return None if event == "call" else self
            if event == "line":
                self.left -= 1
                if self.left == 0:
                    sys.settrace(None)
                    raise KeyboardInterrupt
            return self

    moment = 1
    while True:
        tracer = At(moment)
        clock, device = Clock(), Device(Scanner(LOOM))
        done = heard(device)
        line = SimLine(device, clock, Noise(Harm()))
        sys.settrace(tracer)
        try:
            with ScannerBench(partial(same, line), "sim:", clock=clock).connect() as bench:
                used(bench)
            said = None
        except KeyboardInterrupt as stop:
            said = end_told(stop)
        finally:
            sys.settrace(None)
        if said is None:
            break
        if said == "":  # while it is made, before it is used
            assert not any(body.startswith(DRIVES) for body in done)
        else:
            judge(said, done)
        moment += 7
    assert moment > 500


def test_a_device_that_is_gone_is_not_said_to_be_released() -> None:
    clock, device = Clock(), Device(Scanner(LOOM))
    line = SimLine(device, clock, Noise(Harm()))
    bench = ScannerBench(lambda: line, "sim:", clock=clock).connect()

    def broken_off() -> None:
        with bench:
            bench.sense([1])
            line.noise = Noise(Harm(drop=1.0))
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt) as stop:
        broken_off()
    assert end_told(stop.value) == NOT_RELEASED
    assert not bench.released
