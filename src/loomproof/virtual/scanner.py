"""The simulated scanner as a thing on the bench: a loom plugged in, faults, meters, time.

It knows nothing of lines and commands; `loomproof.virtual.commands` does.
"""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from loomproof.errors import AdapterError, UsageError
from loomproof.loom.model import End, Loom
from loomproof.virtual import constants as c
from loomproof.virtual.build import Hookup, build
from loomproof.virtual.capacitance import capacitance_f
from loomproof.virtual.faults import TOUCHED, Fault, read_fault
from loomproof.virtual.held import Held
from loomproof.virtual.meter import FaradError, FaradLimits, Limits, MeterError
from loomproof.virtual.meter_model import Metered, insulation_ohm
from loomproof.virtual.network import Network, Resistor, islands
from loomproof.virtual.pointsets import indexes
from loomproof.virtual.sensing import USUAL, FrontEnd, Senses

_MOST_STATES = 64

VOLT_MAX = 30.0
WATCH_US = 300
"""What the points survive, V, and the shortest watch cycle, µs."""


@dataclass(frozen=True, slots=True)
class Make:
    """What kind of scanner it is: the capabilities that it states, and keeps.

    ``accuracy`` is ``None`` for a scanner that only senses; ``insulation_v`` 0 and ``volt_max`` ``None``
    mean that it has no such test.
    """

    points: int
    line: int = 0
    accuracy: Limits | None = field(default_factory=lambda: Limits(0.1, 0.01))
    four_wire: Limits | None = None
    diode: bool = True
    volt_max: float | None = VOLT_MAX
    insulation_v: float = 0.0
    ohms: tuple[float, float] = (0.0, 2.0e6)
    reading_ms: float = 20.0
    test_current_a: float = 0.01
    test_voltage_v: float = 5.0
    settle_min_us: int = 100
    watch_us: int | None = WATCH_US
    baud_max: int = 1_000_000
    driver_ohm: float = c.DRIVER_OHM
    pulled_at_once: int = 0
    capacitance: FaradLimits | None = None
    farads: tuple[float, float] = (1e-12, 1e-6)

    @property
    def line_bytes(self) -> int:
        """The longest line, in bytes."""
        return self.line or max(1024, 2 * math.ceil(self.points / 4) + 48)


class State:
    """The network while certain loose contacts are open; what is worked out once is kept."""

    def __init__(self, network: Network, opened: frozenset[int], seed: int, front: FrontEnd = USUAL) -> None:
        self._network = network
        self._front = front
        self._opened = opened
        self._seed = seed
        self.islands = islands(network, opened)

    @cached_property
    def senses(self) -> Senses:
        """The islands as the inputs see them."""
        return Senses(self._network, self.islands, self._seed, self._front)

    @cached_property
    def metered(self) -> Metered:
        """The islands as a two-wire meter sees them, adapter leads included."""
        return Metered(self.islands)

    @cached_property
    def metered_at_tips(self) -> Metered:
        """The islands as a four-wire meter sees them, at the far end of each lead."""
        if not any(self._network.lead_ohm):
            return self.metered
        return Metered(islands(without_leads(self._network), self._opened))


class Scanner:
    """A scanner with a loom on it. Every method that reads takes the time on the loom's own clock, s."""

    def __init__(
        self,
        loom: Loom,
        make: Make | None = None,
        *,
        hookup: Hookup | None = None,
        faults: Sequence[str] = (),
        seed: int = 0,
        temperature_c: float = 20.0,
    ) -> None:
        self.make = make or Make(points=hookup.points if hookup else max(len(loom.cavities), 1))
        self.serial = seed
        self._sow(seed)
        self.temperature_c = temperature_c
        self.version = 0
        self._front = FrontEnd(self.make.driver_ohm, self.make.pulled_at_once)
        self._plugged = True
        self.loom = loom
        self.hookup = hookup or Hookup.in_order(loom, self.make.points)
        self.faults: tuple[Fault, ...] = ()
        self._use(loom, self.hookup, tuple(read_fault(text, loom) for text in faults))

    def _sow(self, seed: int) -> None:
        self.seed = seed
        self._rng = random.Random(f"{seed}/noise")
        if self.make.accuracy:
            self._two_wire = MeterError(self.make.accuracy, random.Random(f"{seed}/two-wire"))
        if self.make.four_wire:
            self._four_wire = MeterError(self.make.four_wire, random.Random(f"{seed}/four-wire"))
        if self.make.capacitance:
            self._farads = FaradError(self.make.capacitance, random.Random(f"{seed}/farads"))

    def sow(self, seed: int) -> None:
        """Draw strays of the loom, errors and noise anew from this seed; the serial number stays."""
        self._sow(seed)
        self._use(self.loom, self.hookup, self.faults)

    def _use(self, loom: Loom, hookup: Hookup, faults: tuple[Fault, ...]) -> None:
        if hookup.points != self.make.points:
            raise AdapterError(
                f"the hook-up is for {hookup.points} points, and the scanner has {self.make.points}"
            )
        for fault in faults:
            if max(fault.points, default=0) > hookup.points:
                raise UsageError(
                    f"fault {fault.text!r}: there is no point {max(fault.points)}",
                    cure=f"The scanner has {hookup.points} points.",
                )
        network = build(loom, hookup, faults, seed=self.seed, temperature_c=self.temperature_c)
        if not self._plugged:
            count = hookup.points
            network = Network(count, count, (), (-1,) * count, (0.0,) * count, insulation_s=(0.0,) * count)
        joined = [fault.points for fault in faults if fault.kind == "bench short"]
        if joined:
            known = [(a - 1, b - 1) for a, b in joined if a != b]
            extra = tuple(Resistor(a, b, c.SHORT_OHM) for a, b in known)
            network = replace(network, resistors=(*network.resistors, *extra))
        self.loom, self.hookup, self.faults, self.network = loom, hookup, faults, network
        self._bench = [fault for fault in faults if fault.kind.startswith("bench ")]
        self._states: dict[tuple[frozenset[int], tuple[float, ...]], State] = {}
        self._held = Held(network.charged)
        self.version += 1

    def add(self, text: str) -> Fault:
        """Add one fault. Raises `UsageError` and leaves all as it was where it cannot be."""
        fault = read_fault(text, self.loom)
        self._use(self.loom, self.hookup, (*self.faults, fault))
        return fault

    def mend(self, what: str = "") -> tuple[Fault, ...]:
        """Take faults away: all of them, or those in one wire, part, connector or cavity."""
        ends: tuple[End, ...] = tuple(end for end in self.loom.cavities if str(end) == what)
        gone = tuple(fault for fault in self.faults if not what or fault.touches(what, ends))
        if gone:
            self._use(self.loom, self.hookup, tuple(f for f in self.faults if f not in gone))
        return gone

    def touch(self, cavity: str) -> str:
        """Hold a probe at 0 V, through its resistor, on a cavity. Raises `UsageError` where there is none."""
        self.add(f"{TOUCHED} {cavity}")
        return cavity

    def lift(self) -> None:
        """Take the probe off."""
        kept = tuple(fault for fault in self.faults if fault.kind != TOUCHED)
        if kept != self.faults:
            self._use(self.loom, self.hookup, kept)

    def plug(self, plugged: bool) -> None:
        """Plug the loom in, or pull it off with its leads: then every point stands alone."""
        self._plugged = plugged
        self._use(self.loom, self.hookup, self.faults)

    def hook_up(self, hookup: Hookup) -> None:
        """Plug the same loom in another way; its faults stay. Raises `AdapterError` where it does not fit."""
        self._use(self.loom, hookup, self.faults)

    def load(self, loom: Loom, hookup: Hookup | None = None) -> None:
        """Plug another loom in, without faults."""
        self._use(loom, hookup or Hookup.in_order(loom, self.make.points), ())

    def state(self, time_s: float) -> State:
        """Return the network as its loose contacts stand at this moment."""
        opened = self.network.opened(time_s)
        known = opened, self._held.volts
        found = self._states.get(known)
        if found is None:
            if len(self._states) >= _MOST_STATES:
                self._states.clear()
            network = self._held.network(self.network)
            found = self._states[known] = State(network, opened, self.seed, self._front)
        return found

    def sense(self, drive: int, time_s: float, settle_s: float = math.inf) -> int:
        """Return the points that read low after ``drive`` was driven at ``time_s`` for ``settle_s``."""
        for fault in self._bench:
            if fault.kind == "bench dead-driver":
                drive &= ~self._mask(fault)
        senses = self.state(time_s).senses
        low = senses.low(drive, time_s, settle_s)
        if self.network.charged:
            self._held.pass_time(senses, drive, time_s, settle_s)
        for fault in self._bench:
            mask = self._mask(fault)
            if fault.kind == "bench stuck-low":
                low |= mask
            elif fault.kind == "bench stuck-high":
                low &= ~mask
        return low

    def _mask(self, fault: Fault) -> int:
        return sum(1 << (point - 1) for point in fault.points) & ((1 << self.make.points) - 1)

    def resistance(self, a: int, b: int, time_s: float, *, four_wire: bool = False) -> float:
        """Measure from A to B, Ω; infinity over range or open."""
        true = self.true_resistance(a, b, time_s, four_wire=four_wire)
        contacts = [self._contact_ohm(group) for group in (a, b)]
        noise = sum(ohm * self._rng.gauss(0.0, c.CONTACT_NOISE_RATIO) for ohm in contacts)
        if math.isinf(true):
            return true
        meter = self._four_wire if four_wire else self._two_wire
        shown = meter.read(true + noise)
        shown += sum(fault.value for fault in self._bench if fault.kind == "bench offset")
        return math.inf if shown > self.make.ohms[1] else shown

    def true_resistance(self, a: int, b: int, time_s: float, *, four_wire: bool = False) -> float:
        """Return what an ideal meter would show, Ω; infinity where no current flows.

        A two-wire reading holds the adapter's leads, a four-wire reading does not.
        """
        for (p, q), ohm in self.hookup.references.items():
            if {a, b} == {1 << (p - 1), 1 << (q - 1)}:
                return ohm
        state = self.state(time_s)
        port = (state.metered_at_tips if four_wire else state.metered).port(a, b)
        volts, amps = port.driven(self.make.test_voltage_v, self._source_ohm)
        return volts / amps if amps > 1e-12 else math.inf

    @property
    def _source_ohm(self) -> float:
        return self.make.test_voltage_v / self.make.test_current_a

    def _contact_ohm(self, group: int) -> float:
        """Return the mated contacts of a group's points side by side, leads left out, Ω."""
        network = self.network
        siemens = 0.0
        for i in indexes(group):
            if network.contact[i] >= 0:
                ohm = network.resistors[network.contact[i]].ohm - network.lead_ohm[i]
                siemens += 1.0 / max(ohm, 1e-9)
        return 1.0 / siemens if siemens else 0.0

    def diode(self, a: int, b: int, time_s: float) -> float:
        """Measure the forward voltage from A to B at the test current, V; infinity where it does not flow."""
        port = self.state(time_s).metered.port(a, b)
        volts = port.at_current(self.make.test_current_a, self.make.test_voltage_v)
        if math.isinf(volts):
            return volts
        return volts * (1.0 + 0.002 * (c.share(self.seed, "volts") - 0.5)) + self._rng.gauss(0.0, 0.0003)

    def voltage(self, a: int, b: int, time_s: float) -> float:
        """Measure the voltage found on the loom, A against B, nothing driven, V."""
        true = self.state(time_s).metered.found_voltage(a, b)
        return true * (1.0 + 0.004 * (c.share(self.seed, "volts") - 0.5)) + self._rng.gauss(0.0, 0.002)

    def capacitance(self, a: int, b: int, time_s: float) -> float:
        """Measure A against B at 0 V, the rest open, F; infinity over range, NaN where it does not settle."""
        true = self.true_capacitance(a, b, time_s)
        shown = true if math.isnan(true) else self._farads.read(true)
        return math.inf if shown > self.make.farads[1] else shown

    def true_capacitance(self, a: int, b: int, time_s: float) -> float:
        """Return what an ideal meter would show, with board and adapter leads, F; NaN where it conducts."""
        hooked = [0.0] * self.make.points
        for i in range(self.make.points):
            hooked[i] = c.POINT_F * c.between((0.8, 1.2), self.seed, "board", str(i))
            if i + 1 in self.hookup.ends:
                hooked[i] += c.between(c.LEAD_F, self.seed, "lead", str(i))
        return capacitance_f(self.network, self.state(time_s).islands, hooked, a, b)

    DISCHARGE_S = 0.05

    def insulation(self, a: int, b: int, volts: float, dwell_s: float, time_s: float) -> float:
        """Measure insulation resistance at a voltage, Ω, within ±5 %; infinity over 100 GΩ."""
        true = insulation_ohm(self.network, self.state(time_s).metered, a, b, volts, dwell_s)
        shown = true * (1.0 + 0.05 * (2.0 * c.share(self.seed, "insulation") - 1.0))
        return shown if shown <= 100e9 else math.inf

    def temperature(self) -> float:
        """Measure the temperature at the scanner, °C."""
        return self.temperature_c + 0.2 * (2.0 * c.share(self.seed, "thermometer") - 1.0)

    def self_test(self) -> int:
        """Return 0, or the number of the first point whose input or driver fails on its own."""
        return min((fault.points[0] for fault in self._bench if fault.points), default=0)


def without_leads(network: Network) -> Network:
    """Return the network as a four-wire reading sees it: sensed at the far end of each lead."""
    resistors = list(network.resistors)
    for i, lead in zip(network.contact, network.lead_ohm, strict=True):
        if i >= 0 and lead:
            resistors[i] = resistors[i]._replace(ohm=max(resistors[i].ohm - lead, c.LEAST_OHM))
    return replace(network, resistors=tuple(resistors))
