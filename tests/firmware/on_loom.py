"""A described loom with faults on the emulated board's pins, through the simulator's network of it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from loomproof.loom.model import End, Loom
from loomproof.loom.reading import load
from loomproof.virtual.build import Hookup
from loomproof.virtual.network import Island, Network, Resistor
from loomproof.virtual.scanner import Make, Scanner
from tests.firmware.circuit import POINTS, Circuit, Pins, Points, bare

LIKE_THE_BOARD = Make(
    POINTS, line=352, accuracy=None, volt_max=None, diode=False, driver_ohm=1095 / 1.05, pulled_at_once=4
)
"""What a simulated scanner must not be able to, to be asked what this one is asked."""

_PLUG_OHM = 1e-4
"""Of a shorting plug, for each lead: two contacts hard against one bar. From memory."""


def like_expanders(points: int) -> Make:
    """Return the same for points on expanders."""
    return Make(points, line=1024, accuracy=None, volt_max=None, diode=False, driver_ohm=550.0)


def hooked(loom: Loom, faults: Sequence[str] = (), seed: int = 0, make: Make = LIKE_THE_BOARD) -> Scanner:
    """Return a simulated scanner that can what the board can, with this loom on its first points."""
    return Scanner(loom, make, hookup=Hookup.in_order(loom, make.points), faults=faults, seed=seed)


class LoomOnPins(Circuit):
    """The board with a loom on it that can be broken and mended."""

    def __init__(
        self, pins: Pins, loom: Loom | Path, faults: Sequence[str] = (), make: Make = LIKE_THE_BOARD
    ) -> None:
        self.scanner = hooked(load(loom).loom if isinstance(loom, Path) else loom, faults, make=make)
        super().__init__(pins, self.scanner.network)
        self._opened: frozenset[int] = frozenset()

    def load(self, network: Network, opened: frozenset[int] = frozenset()) -> None:
        """Put another network on the pins."""
        self._farads: dict[int, float] = {}
        super().load(network, opened)

    def farad_of(self, island: Island, members: Points, driven: int) -> float:
        if self.timed:
            return self._farad_of(island, members, driven)
        if island.mask not in self._farads:
            self._farads[island.mask] = self._farad_of(island, members, 0)
        return self._farads[island.mask]

    def _farad_of(self, island: Island, members: Points, driven: int) -> float:
        found = self.scanner.true_capacitance(island.mask, driven & ~island.mask, 0.0)
        return float(np.sum(self.farad[members])) if math.isnan(found) else found

    def fault(self, text: str) -> None:
        """Add one fault."""
        self.scanner.add(text)
        self.load(self.scanner.network, self._opened)

    def hook_up(self, ends: Mapping[int, End]) -> None:
        """Plug the same loom in another way: which cavity each point is led to."""
        self.scanner.hook_up(Hookup(self.points, ends))
        self.load(self.scanner.network, self._opened)

    def lead(self, most_ohm: float) -> None:
        """Give each lead its resistance, up to ``most_ohm``, no two alike."""
        hookup = self.scanner.hookup
        ohms = np.linspace(0.2 * most_ohm, most_ohm, len(hookup.ends))
        self.scanner.hook_up(replace(hookup, lead_ohm=dict(zip(hookup.ends, ohms.tolist(), strict=True))))
        self.load(self.scanner.network, self._opened)

    def short(self) -> None:
        """Put a shorting plug over the leads, where the loom was."""
        hookup = self.scanner.hookup
        plug = self.points
        leads = [
            Resistor(point - 1, plug, hookup.lead_ohm.get(point, 0.0) + _PLUG_OHM) for point in hookup.ends
        ]
        self.load(replace(bare(self.points), nodes=self.points + 1, resistors=tuple(leads)))

    def unplug(self) -> None:
        """Pull the loom off with its leads."""
        self.scanner.plug(False)
        self.load(self.scanner.network)

    def mend(self) -> None:
        """Take all faults away."""
        self.scanner.mend()
        self.load(self.scanner.network, self._opened)

    def at(self, time_s: float) -> bool:
        """Let loose contacts be as they are at this time; whether anything has changed."""
        opened = self.scanner.network.opened(time_s)
        if opened == self._opened:
            return False
        self._opened = opened
        self.load(self.scanner.network, opened)
        return True
