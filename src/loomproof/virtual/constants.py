"""What the simulated loom and scanner are made of: every figure with its source, the simulator's own.

Nothing here is shared with the room that computes expectations; where both need a constant, each
states its own.
"""

from __future__ import annotations

import zlib

COPPER_OHM_MM2_PER_M = 1.0 / 58.0
"""Resistivity of annealed copper at 20 °C: 100 % IACS is 58 MS/m exactly (IEC publication 28, 1925)."""

COPPER_PER_K = 0.00393
"""Temperature coefficient of annealed copper at 20 °C, constant mass (IEC publication 28, 1925)."""

STRANDING = 1.06
"""Extra length of stranded conductors; 1.05 to 1.08 for flexible classes (common practice, no source)."""

STRANDING_SPREAD = 0.02
"""Wires differ among themselves by up to this ratio either way (assumption)."""

CONTACT_SHARE = (0.3, 0.8)
"""A good contact, crimp or splice has this share of the most that it may have: the loom's settings, less for
a thick wire where the settings state nothing (assumption)."""

THICK_MM2 = 1.1
"""Above this section a wire ends in a blade, a ring or a lug and not in a signal contact (assumption)."""

THICK_CONTACT_OHM_MM2 = 0.0045
THICK_JOINT_OHM_MM2 = 0.0012
"""The most of a good contact, and of a good crimp or splice, of a thicker wire, times its section: the area
that touches grows with it (assumption)."""

CONTACT_NOISE_RATIO = 0.02
"""Standard deviation of a mated contact's resistance from reading to reading (assumption)."""

SHORT_OHM = 0.02
"""Two strands touching (assumption)."""

LEAST_OHM = 1e-6
"""Nothing is a better conductor than this; it keeps equations solvable."""

CLOSED_CONTACT_OHM = 0.01
"""A closed relay contact, a blade fuse or a link without a stated resistance (assumption)."""

RELAY_COIL_OHM = 85.0
"""A 12 V relay coil without a stated resistance (common practice, no source)."""

DIODE_FORWARD_V = 0.65
"""Forward voltage of a silicon diode at `DIODE_AT_A` where the description is silent (common practice)."""

LED_FORWARD_V = 1.9
"""Forward voltage of a red light-emitting diode at `DIODE_AT_A` (common practice)."""

DIODE_AT_A = 0.01
"""The current at which a diode's forward voltage is stated, A."""

DIODE_EMISSION = 1.8
"""Emission coefficient n in I = Is (exp(V / n Vt) - 1), the Shockley equation (assumption)."""

DIODE_SHUNT_OHM = 1.0e9
"""Leakage of a blocking diode, as a resistor (assumption)."""

BOLTZMANN_J_PER_K = 1.380649e-23
"""Boltzmann constant, exact by definition of the SI (2019)."""

CHARGE_C = 1.602176634e-19
"""Elementary charge, exact by definition of the SI (2019)."""

WIRE_F_PER_M = 100e-12
"""Capacitance of one wire in a bundle to its surroundings (assumption)."""

WANDER_RATIO = 0.15
WANDER_M = 0.25
"""Relative standard deviation of a wire's capacitance per metre along it, and how far it stays alike, as the
length of an exponential correlation (assumptions: no figure for real looms is known here)."""

WANDER_STEP_M = 0.02
LEAST_SHARE = 0.3
"""Cells in which it is drawn, and the least share of the mean that a cell has."""

LEAD_F = (10e-12, 60e-12)
"""Of an adapter lead, beside that of its point: centimetres to half a metre beside others (assumption)."""

SCREENED_F_PER_M = 200e-12
"""Capacitance of a wire inside a screen (assumption)."""

POINT_F = 30e-12
"""Capacitance of one scanner point with its lead (assumption)."""

CAPACITOR_F = 100e-9
"""A capacitor without a stated value (assumption)."""

INSULATION_OHM_M = 50e9
"""Insulation of one metre of wire to the rest of the bundle (assumption)."""

SUPPLY_OHM = 0.05
"""Of a supply that is still connected to the loom (assumption)."""

CHARGED_OHM = 0.2
"""In series with a capacitor that was left charged (assumption)."""

PROBE_OHM = 1000.0
"""Between the probe that a person holds and the scanner's 0 V (assumption)."""

SUPPLY_V = 3.3
PULL_UP_OHM = 100_000.0
DRIVER_OHM = 5.0
"""Scanner supply, pull-up of each point, and an open-drain driver that is on."""

THRESHOLD_V = (1.0, 2.0)
"""Input thresholds lie between these; each point has its own. With the pull-up they are paths of
43 kΩ to 154 kΩ, inside the 25 kΩ to 250 kΩ that the scanner states."""

AT_ONCE_OHM = 1000.0
"""What less than this joins is charged as one: with a nanofarad that is a microsecond."""

AT_REST_TAUS = 14.0
"""After so many time constants a voltage is within a millionth of its end."""

LEAST_F = 1e-15
"""What nothing else charges has this capacitance, so that it has a voltage at all."""

VOLT_INPUT_OHM = 1.0e6
"""Load of one point to the scanner's 0 V while it looks for voltage on the loom."""

INSULATION_SOURCE_OHM = 10_000.0
CHARGING_OHM = 1.0e6
ARC_OHM = 20_000.0
"""Source resistance of the insulation test, the resistance that the loom charges through, and a gap that
has broken down (assumptions)."""

PART_STRAYS = 0.5
"""A good part is off its nominal value by up to this share of its tolerance (assumption)."""


def share(seed: int, *names: str) -> float:
    """Return a number in [0, 1) that depends on the seed and the names only, not on any order."""
    return zlib.crc32(f"{seed}|{'|'.join(names)}".encode()) / 2**32


def between(bounds: tuple[float, float], seed: int, *names: str) -> float:
    """Return a number between two bounds, drawn as `share` draws."""
    low, high = bounds
    return low + (high - low) * share(seed, *names)


def thick(area_mm2: float, thin_ohm: float, ohm_mm2: float) -> float:
    """Return what a contact or joint of a wire of this section has at most."""
    return thin_ohm if area_mm2 <= THICK_MM2 else min(thin_ohm, ohm_mm2 / area_mm2)
