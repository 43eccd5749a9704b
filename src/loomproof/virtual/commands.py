"""The scanner's commands: one body in, one answer out. Lines, checks and sequence are the link's business."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from typing import NamedTuple

from loomproof.virtual import constants as c
from loomproof.virtual.pointsets import read_set, write_set
from loomproof.virtual.scanner import Scanner

DEFAULT_SETTLE_US = 500
LONGEST_SETTLE_US = 10_000_000
LONGEST_DWELL_MS = 60_000
ARMED_S = 10.0
LONGEST_EVENT_BYTES = 64
DRIVER_ROOM = 1.05
"""The stated ohms in series with a driver leave room for the resistors' tolerance."""
_QUEUE = 8

_LONG = {
    "SYSTEM": "SYST",
    "ERROR": "ERR",
    "CAPABILITY": "CAP",
    "ROUTE": "ROUT",
    "SENSE": "SENS",
    "SETTLE": "SETT",
    "DRIVE": "DRIV",
    "MEASURE": "MEAS",
    "VOLTAGE": "VOLT",
    "RESISTANCE": "RES",
    "FRESISTANCE": "FRES",
    "DIODE": "DIOD",
    "CAPACITANCE": "CAP",
    "INSULATION": "INS",
    "TEMPERATURE": "TEMP",
    "WATCH": "WATC",
    "START": "STAR",
    "CLOSE": "CLOS",
}

_ANSWERED = ("*IDN?", "SYST:CAP?", "SYST:LINK?", "SYST:ERR?", "MEAS:TEMP?", "WATC:STOP")
WHILE_WATCHING = {*_ANSWERED, "*RST", "ROUT:OPEN:ALL", "SYST:LINK:OPEN"}


class Refused(Exception):  # noqa: N818 - a refusal is an answer of the device, not an error of the program
    """The device refuses: a code of the scanner link, and a text."""

    def __init__(self, code: int, text: str) -> None:
        super().__init__(text)
        self.code = code
        self.text = text


class Answer(NamedTuple):
    """What a command answers, and how long the device is busy with it."""

    text: str
    work_s: float = 0.0


@dataclass(slots=True)
class Watch:
    """A running watch: when it began on the device's clock and the loom's, what it asks, what it saw last.

    ``quiet_cycles`` counts the last cycles without an event, ``version`` is the loom's that they saw.
    """

    sets: tuple[int, ...]
    began_s: float
    loom_s: float
    cycle_s: float
    seen: list[int | None]
    quiet_cycles: int = 0
    version: int = -1
    cycles: int = 0
    events: int = 0
    lost: int = 0


def header_of(body: str) -> str:
    """Return a body's header in capitals and short form."""
    header = body.partition(" ")[0].upper()
    query = header.endswith("?")
    short = ":".join(_LONG.get(word, word) for word in header.removesuffix("?").split(":"))
    return short + "?" * query


def number(value: float) -> str:
    """Write a number as IEEE 488.2 does: ``1.25000E-1``; infinity is ``9.9E37``."""
    if math.isnan(value):
        return "9.91E37"
    if math.isinf(value):
        return "9.9E37"
    mantissa, _, exponent = f"{value:.6E}".partition("E")
    return f"{mantissa}E{int(exponent)}"


class Commands:
    """The command set, on one scanner."""

    def __init__(self, scanner: Scanner) -> None:
        self.scanner = scanner
        self.settle_us = DEFAULT_SETTLE_US
        self.errors: deque[tuple[int, str]] = deque()
        self.armed: tuple[float, float] | None = None
        self.watch: Watch | None = None
        self._table: dict[str, tuple[int | None, Callable[[list[str], _Context], Answer]]] = {
            "*IDN?": (0, self._identify),
            "*RST": (0, self._reset),
            "*TST?": (0, self._test),
            "*CLS": (0, self._clear),
            "SYST:ERR?": (0, self._error),
            "SYST:CAP?": (0, self._capabilities),
            "SYST:ARM": (1, self._arm),
            "ROUT:OPEN:ALL": (0, self._release),
            "SENS:SETT": (1, self._set_settle),
            "SENS:SETT?": (0, self._get_settle),
            "SENS:DRIV?": (None, self._drive),
            "MEAS:VOLT?": (2, self._voltage),
            "MEAS:RES?": (2, self._resistance),
            "MEAS:FRES?": (2, self._resistance_4),
            "MEAS:DIOD?": (2, self._diode),
            "MEAS:CAP?": (2, self._capacitance),
            "MEAS:INS?": (4, self._insulation),
            "MEAS:TEMP?": (0, self._temperature),
            "WATC:STAR": (None, self._watch_start),
            "WATC:STOP": (0, self._watch_stop),
        }

    def power_on(self) -> None:
        """Forget everything, as at power-on."""
        self.settle_us = DEFAULT_SETTLE_US
        self.errors.clear()
        self.release()

    def release(self) -> None:
        """Release every point, end a watch, disarm."""
        self.watch = None
        self.armed = None

    def execute(self, body: str, *, time_s: float, loom_s: float, frame_bytes: int) -> Answer:
        """Run one command. Raises `Refused`; `refuse` then makes the answer.

        ``time_s`` is the device's clock, ``loom_s`` the loom's; ``frame_bytes`` is what a reply's frame
        adds to its body.
        """
        header = header_of(body)
        if header not in self._table:
            raise Refused(-113, "Undefined header")
        if self.watch and header not in WHILE_WATCHING:
            raise Refused(-221, "Settings conflict; a watch is running")
        arity, run = self._table[header]
        _, space, rest = body.partition(" ")
        if space and (not rest or " " in rest):
            raise Refused(-102, "Syntax error")
        words = rest.split(",") if space else []
        if arity is None:
            if not words:
                raise Refused(-109, "Missing parameter")
        elif len(words) != arity:
            raise Refused(
                *((-109, "Missing parameter") if len(words) < arity else (-108, "Parameter not allowed"))
            )
        return run(words, _Context(time_s, loom_s, frame_bytes))

    def refuse(self, refusal: Refused) -> str:
        """Queue a refusal and return its answer."""
        self.queue(refusal.code, refusal.text)
        return f'ERR {refusal.code},"{refusal.text}"'

    def queue(self, code: int, text: str) -> None:
        """Put an error into the queue; the last place holds the overflow."""
        if len(self.errors) >= _QUEUE:
            self.errors[-1] = (-350, "Queue overflow")
        else:
            self.errors.append((code, text))

    # What the commands read from their words

    def _set(self, word: str) -> int:
        try:
            points = read_set(word)
        except ValueError:
            raise Refused(-104, "Data type error; a point set is expected") from None
        if points >> self.scanner.make.points:
            raise Refused(-222, f"Data out of range; there are {self.scanner.make.points} points")
        return points

    def _pair(self, words: list[str]) -> tuple[int, int]:
        a, b = self._set(words[0]), self._set(words[1])
        if not a or not b:
            raise Refused(-222, "Data out of range; an empty set")
        if a & b:
            raise Refused(-221, "Settings conflict; a point on both buses")
        return a, b

    @staticmethod
    def _number(word: str) -> float:
        try:
            value = float(word) if word.isascii() and "_" not in word else math.nan
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise Refused(-104, "Data type error; a number is expected")
        return value

    # The commands

    def _identify(self, words: list[str], at: _Context) -> Answer:
        return Answer(f"loomproof,simulated scanner,SIM{self.scanner.serial:06d},1.0")

    def _reset(self, words: list[str], at: _Context) -> Answer:
        self.release()
        self.settle_us = DEFAULT_SETTLE_US
        return Answer("OK")

    def _test(self, words: list[str], at: _Context) -> Answer:
        code = self.scanner.self_test()
        if code:
            self.queue(-330, f"Self-test failed; point {code}")
        return Answer(str(code), 0.001 * self.scanner.make.points)

    def _clear(self, words: list[str], at: _Context) -> Answer:
        self.errors.clear()
        return Answer("OK")

    def _error(self, words: list[str], at: _Context) -> Answer:
        code, text = self.errors.popleft() if self.errors else (0, "No error")
        return Answer(f'{code},"{text}"')

    def _capabilities(self, words: list[str], at: _Context) -> Answer:
        make = self.scanner.make
        listed: dict[str, object] = {
            "LINK": 1,
            "POINTS": make.points,
            "LINE": make.line_bytes,
            "SENSE": 25000,
            "CLEAR": 250000,
            "SETTLE": make.settle_min_us,
        }
        if make.volt_max is not None:
            listed["VOLT"] = f"{make.volt_max:g}"
        if make.accuracy:
            listed["OHMS"] = f"{make.ohms[0]:.12g}:{make.ohms[1]:.12g}"
            listed["ACC"] = make.accuracy
        if make.four_wire:
            listed |= {"FOUR": 1, "FACC": make.four_wire}
        if make.diode:
            listed["DIOD"] = 1
        listed |= {
            "MSTIME": f"{make.reading_ms:g}",
            "TESTI": f"{make.test_current_a:g}",
            "TESTV": f"{make.test_voltage_v:g}",
        }
        if make.insulation_v:
            listed["INS"] = f"{make.insulation_v:g}"
        if make.watch_us is not None:
            listed["WATCH"] = make.watch_us
        if make.driver_ohm > c.DRIVER_OHM:
            listed["DRIVR"] = f"{make.driver_ohm * DRIVER_ROOM:g}"
        if make.pulled_at_once:
            listed["PULLS"] = make.pulled_at_once
        if make.capacitance:
            listed["CAPF"] = f"{make.farads[0]:g}:{make.farads[1]:g}"
            listed |= {"CACC": make.capacitance, "CREP": f"{make.capacitance.spread:g}"}
        listed["BAUD"] = make.baud_max
        return Answer(",".join(f"{key}={value}" for key, value in listed.items()))

    def _arm(self, words: list[str], at: _Context) -> Answer:
        volts = self._number(words[0])
        self._has(bool(self.scanner.make.insulation_v), "insulation test")
        if not 0.0 < volts <= self.scanner.make.insulation_v:
            raise Refused(-222, f"Data out of range; at most {self.scanner.make.insulation_v:g} V")
        self.armed = (volts, at.time_s + ARMED_S)
        return Answer("OK")

    def _release(self, words: list[str], at: _Context) -> Answer:
        self.release()
        return Answer("OK")

    def _set_settle(self, words: list[str], at: _Context) -> Answer:
        value = self._number(words[0])
        if not self.scanner.make.settle_min_us <= value <= LONGEST_SETTLE_US:
            raise Refused(
                -222,
                f"Data out of range; {self.scanner.make.settle_min_us} to {LONGEST_SETTLE_US} µs".replace(
                    "µ", "u"
                ),
            )
        self.settle_us = round(value)
        return Answer("OK")

    def _get_settle(self, words: list[str], at: _Context) -> Answer:
        return Answer(str(self.settle_us))

    def _answer_bytes(self) -> int:
        return math.ceil(self.scanner.make.points / 4) + 2

    def _drive(self, words: list[str], at: _Context) -> Answer:
        if at.frame_bytes + len(words) * (self._answer_bytes() + 1) - 1 > self.scanner.make.line_bytes:
            raise Refused(-223, "Too much data; the reply could outgrow a line")
        sets = [self._set(word) for word in words]
        answers, each = [], self.vector_s()
        for i, drive in enumerate(sets):
            answers.append(write_set(self.scanner.sense(drive, at.loom_s + i * each, self.settle_s)))
        return Answer(",".join(answers), each * len(sets))

    @property
    def settle_s(self) -> float:
        """The wait between driving and reading, s."""
        return self.settle_us * 1e-6

    def vector_s(self) -> float:
        """The time for one sense vector: shift out, settle, shift in, s."""
        return self.settle_s + 20e-6 + 0.5e-6 * self.scanner.make.points

    def _voltage(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        limit = self.scanner.make.volt_max
        self._has(limit is not None, "voltmeter")
        volts = self.scanner.voltage(a, b, at.loom_s)
        return Answer(number(math.inf if abs(volts) > (limit or 0.0) else volts), self._reading_s)

    def _resistance(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        self._has(self.scanner.make.accuracy is not None, "ohmmeter")
        return Answer(number(self.scanner.resistance(a, b, at.loom_s)), self._reading_s)

    def _resistance_4(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        self._has(self.scanner.make.four_wire is not None, "four-wire ohmmeter")
        return Answer(number(self.scanner.resistance(a, b, at.loom_s, four_wire=True)), self._reading_s)

    def _diode(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        self._has(self.scanner.make.diode, "diode test")
        return Answer(number(self.scanner.diode(a, b, at.loom_s)), self._reading_s)

    def _capacitance(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        self._has(self.scanner.make.capacitance is not None, "capacitance meter")
        return Answer(number(self.scanner.capacitance(a, b, at.loom_s)), self._reading_s)

    def _insulation(self, words: list[str], at: _Context) -> Answer:
        a, b = self._pair(words)
        volts, dwell_ms = self._number(words[2]), self._number(words[3])
        self._has(bool(self.scanner.make.insulation_v), "insulation test")
        if volts <= 0.0 or not 0.0 <= dwell_ms <= LONGEST_DWELL_MS:
            raise Refused(-222, f"Data out of range; dwell at most {LONGEST_DWELL_MS} ms")
        if not self.armed or at.time_s > self.armed[1] or volts > self.armed[0]:
            raise Refused(-203, "Command protected; not armed")
        self.armed = None
        ohm = self.scanner.insulation(a, b, volts, dwell_ms * 1e-3, at.loom_s)
        return Answer(number(ohm), dwell_ms * 1e-3 + self.scanner.DISCHARGE_S)

    def _temperature(self, words: list[str], at: _Context) -> Answer:
        return Answer(number(self.scanner.temperature()))

    def _watch_start(self, words: list[str], at: _Context) -> Answer:
        shortest = self.scanner.make.watch_us
        self._has(shortest is not None, "watch")
        if at.frame_bytes + LONGEST_EVENT_BYTES + self._answer_bytes() > self.scanner.make.line_bytes:
            raise Refused(-223, "Too much data; an event could outgrow a line")
        sets = tuple(self._set(word) for word in words)
        cycle_s = max((shortest or 0) * 1e-6, len(sets) * self.vector_s())
        self.watch = Watch(sets, at.time_s, at.loom_s, cycle_s, [None] * len(sets))
        return Answer("OK")

    def _watch_stop(self, words: list[str], at: _Context) -> Answer:
        watch = self.watch
        if watch is None:
            raise Refused(-221, "Settings conflict; no watch runs")
        self.release()
        return Answer(f"{watch.cycles},{watch.events},{watch.lost}")

    @property
    def _reading_s(self) -> float:
        return self.scanner.make.reading_ms * 1e-3

    @staticmethod
    def _has(it: bool, what: str) -> None:
        if not it:
            raise Refused(-241, f"Hardware missing; this scanner has no {what}")


class _Context(NamedTuple):
    time_s: float
    loom_s: float
    frame_bytes: int
