"""Capacitors that were left charged: what they still hold, and how the scanner empties them.

Each is a source of its present voltage behind `constants.CHARGED_OHM`; what flows out of it, by the nodal
voltages of its island, takes charge away. Within one step the current is taken to fall with the voltage, as
it does through resistances.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from loomproof.virtual import constants as c
from loomproof.virtual.network import Charged, Network, Source
from loomproof.virtual.sensing import Senses

_EMPTY_V = 0.01


class Held:
    """The charge on a network's charged capacitors, as time goes by."""

    def __init__(self, charged: Sequence[Charged]) -> None:
        self._charged = tuple(charged)
        self._volts = [each.volts for each in charged]
        self._at_s: float | None = None

    @property
    def volts(self) -> tuple[float, ...]:
        """What each holds, V, to a hundredth."""
        return tuple(round(volts, 2) for volts in self._volts)

    def network(self, network: Network) -> Network:
        """Return the network with what is still held as sources."""
        live = tuple(
            Source(each.plus, each.minus, volts, c.CHARGED_OHM)
            for each, volts in zip(self._charged, self.volts, strict=True)
            if volts
        )
        return replace(network, sources=(*network.sources, *live)) if live else network

    def pass_time(self, senses: Senses, drive: int, start_s: float, settle_s: float) -> None:
        """Leave the loom alone up to ``start_s``, then drive it for ``settle_s``."""
        if not any(self._volts):
            return
        known = self.volts  # what the voltages of ``senses`` were worked out with
        if self._at_s is not None and start_s > self._at_s:
            self._flow(senses, known, 0, start_s - self._at_s)
        self._flow(senses, known, drive, settle_s if settle_s < math.inf else 0.0)
        self._at_s = start_s + (settle_s if settle_s < math.inf else 0.0)

    def _flow(self, senses: Senses, known: tuple[float, ...], drive: int, time_s: float) -> None:
        islands = senses.all_voltages()
        for k, each in enumerate(self._charged):
            found = [v for v in islands if each.plus in v.island.nodes and each.minus in v.island.nodes]
            if not found or not known[k]:
                continue
            island = found[0].island
            node = found[0].volts(drive & found[0].mask)
            across = node[island.nodes.index(each.plus)] - node[island.nodes.index(each.minus)]
            siemens = max(known[k] - float(across), 0.0) / c.CHARGED_OHM / known[k]
            left = self._volts[k] * math.exp(-siemens * time_s / each.farad)
            self._volts[k] = left if left > _EMPTY_V else 0.0
