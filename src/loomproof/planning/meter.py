"""What a resistance reading of a bench is worth."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from loomproof.bench.seam import Accuracy, Wires
from loomproof.electrics.uncertainty import reading_budget
from loomproof.loom.plain import Ohm


@dataclass(frozen=True, slots=True)
class Meter:
    """What a resistance reading of this bench is worth, two-wire and four-wire.

    ``lead_ohm`` holds each point's adapter lead; ``lead_u_ohm`` the standard uncertainty of one lead.
    ``repeatability_ohm`` is the standard deviation of single readings, ``reproducibility_ohm`` what a change
    of operator adds, whatever is read, as repeats do not take it off. ``test_current_a`` and
    ``test_voltage_v`` are the most that it puts on the loom. ``zeroed``: the leads were learned with this
    meter, so that what is fixed in its two-wire error has gone with them.
    """

    two_wire: Accuracy
    four_wire: Accuracy | None
    range_ohm: tuple[Ohm, Ohm]
    lead_ohm: Mapping[int, float]
    lead_u_ohm: float = 0.0
    repeatability_ohm: float = 0.0
    repeats: int = 1
    temperature_u_k: float = 0.0
    reproducibility_ohm: float = 0.0
    test_current_a: float = 0.02
    test_voltage_v: float = 5.0
    zeroed: bool = False

    def uncertainty_ohm(self, reading_ohm: float, wires: Wires) -> float:
        """Return the expanded uncertainty (k = 2) of a reading corrected for leads.

        Below its range a meter says no more than that it is below: see `most_ohm` as well.
        """
        four = wires == 4 and self.four_wire is not None
        accuracy = self.four_wire if four and self.four_wire else self.two_wire
        found_ohm = reading_budget(
            0.0 if self.zeroed and not four else accuracy.ohm,
            accuracy.ratio,
            reading_ohm,
            lead_uncertainty_ohm=0.0 if wires == 4 else self.lead_u_ohm * 2**0.5,
            repeatability_ohm=self.repeatability_ohm,
            repeats=self.repeats,
            temperature_uncertainty_k=self.temperature_u_k,
            reproducibility_ohm=self.reproducibility_ohm,
        ).expanded_ohm
        return max(found_ohm, self.range_ohm[0]) if reading_ohm < self.range_ohm[0] else found_ohm

    def most_ohm(self, reading_ohm: float, wires: Wires) -> float | None:
        """Return what a reading below the meter's range is surely below, leads included; ``None`` for others.

        It is the lower end of the range, and the meter's error there.
        """
        least_ohm = self.range_ohm[0]
        return least_ohm + self.uncertainty_ohm(least_ohm, wires) if reading_ohm < least_ohm else None

    def isolation_u_ohm(self, reading_ohm: float) -> float:
        """Return the expanded uncertainty (k = 2) of an isolation reading: leads and copper play no part."""
        return reading_budget(self.two_wire.ohm, self.two_wire.ratio, reading_ohm).expanded_ohm

    @property
    def over_range_ohm(self) -> float:
        """What a reading over range is surely above: the end of the range, less the meter's error there."""
        return self.range_ohm[1] - self.isolation_u_ohm(self.range_ohm[1])

    @property
    def isolation_most_ohm(self) -> float:
        """The highest isolation limit that a reading in range can decide, rounded down to two figures."""
        most = self.over_range_ohm
        if not 0.0 < most < math.inf:
            return max(most, 0.0)
        step = 10.0 ** (math.floor(math.log10(most)) - 1)
        return math.floor(most / step) * step

    def leads_ohm(self, a: int, b: int, wires: Wires) -> float:
        """Return what the leads of two points add to a two-wire reading."""
        return 0.0 if wires == 4 else self.lead_ohm.get(a, 0.0) + self.lead_ohm.get(b, 0.0)
