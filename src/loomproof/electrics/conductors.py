"""What one wire, fuse or link should read: nominal and greatest sound resistance at the bench's temperature.

Copper is corrected with the coefficient of IEC publication 28, 0.00393 /K from 20 °C, because a loom on a
bench is annealed copper at a known temperature. IEC 60228 prints another correction, 250/(230 + t), made to
bring factory readings back to 20 °C; it differs by 0.11 % at 5 °C and 0.43 % at 100 °C, far inside the margin
of a limit. NOTES.md says more.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal, assert_never

from loomproof.electrics import tables
from loomproof.electrics.component_kinds import FACTS, JOINS_OHM
from loomproof.electrics.joints import seat_ohm, wire_joint_ohm
from loomproof.loom.model import Component, ComponentKind, Loom, Settings, Wire

SAME_SIZE_RATIO = 0.005
"""A section within this of a table's row is that row: it tells 14/0.30 (0.990 mm²) from 1 mm²."""

LEAST_OHM = 1e-5
"""The smallest resistance given to a conductor, so that one of no length still has a current."""

RESISTIVE_OHM = 250_000.0
"""Ends of one net that read less than this, with no part between them, hang together through a bad joint: an
open reads more. A convention of this project."""

FUSE_GREATEST_RATIO = 2.0
"""Greatest over typical cold resistance of a fuse. The table is typical data, not limits; common practice,
no source."""

RELAY_CONTACT_OHM = 0.1
"""Greatest resistance of a relay's resting contact where it is in place; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Section:
    """Resistance per metre of one section at 20 °C, and where it comes from."""

    csa_mm2: float
    nominal_ohm_per_m: float
    greatest_ohm_per_m: float
    label: str
    source: str
    status: str


@dataclass(frozen=True, slots=True)
class Conductor:
    """One edge of a net: a wire, or a fitted part that joins. Ohms include its joints (crimps, splices).

    ``least_ohm`` is the least that a sound one has, ``joints_ohm`` the part of nominal and greatest that is
    joints. ``copper_ohm`` is what copper alone leaves: solid copper of section and length, no joint; 0 where
    one of them is not in the description, and for a component. ``defaulted`` names what the description left
    out and the loom's settings filled in (``length_m``, ``csa_mm2``, ``resistance_ohm``). ``section`` is
    ``None`` for a component.
    """

    name: str
    kind: Literal["wire", "component"]
    nominal_ohm: float
    greatest_ohm: float
    joints_ohm: float
    length_m: float = 0.0
    least_ohm: float = 0.0
    copper_ohm: float = 0.0
    section: Section | None = None
    defaulted: tuple[str, ...] = ()


def copper_factor(temperature_c: float) -> float:
    """Return resistance at ``temperature_c`` over resistance at 20 °C; raises `ValueError` below -200 °C."""
    if not -200.0 <= temperature_c <= 300.0:
        raise ValueError(f"{temperature_c} °C: copper is corrected between -200 and 300 °C")
    return 1.0 + tables.copper().temperature_coefficient_per_k * (temperature_c - 20.0)


@lru_cache(maxsize=256)
def section(csa_mm2: float) -> Section:
    """Return the resistance of one metre of this section at 20 °C; raises `ValueError` unless positive.

    A size of a table gets the table's figures. What the table lacks, and any other size, is solid copper of
    the section times the lay factor of flexible strands: 1.065 nominal, 1.157 greatest (``data/copper.csv``).
    """
    if not csa_mm2 > 0.0:
        raise ValueError(f"{csa_mm2} mm²: a section above 0 is expected")
    copper = tables.copper()
    solid = copper.resistivity_ohm_mm2_per_m / csa_mm2
    near = min(tables.sizes(), key=lambda size: abs(size.csa_mm2 / csa_mm2 - 1.0))
    if abs(near.csa_mm2 / csa_mm2 - 1.0) > SAME_SIZE_RATIO:
        return Section(
            csa_mm2,
            solid * copper.lay_factor_nominal,
            solid * copper.lay_factor_greatest,
            f"{csa_mm2:g} mm²",
            "solid copper times the lay factor of flexible strands",
            "computed",
        )
    greatest = near.greatest_ohm_per_m or solid * copper.lay_factor_greatest
    nominal = near.typical_ohm_per_m or solid * copper.lay_factor_nominal
    return Section(csa_mm2, min(nominal, greatest), greatest, near.label, near.source, near.status)


def wire_conductor(wire: Wire, loom: Loom, temperature_c: float = 20.0) -> Conductor:
    """Return what a wire should read from end to end, joints included, at this temperature."""
    settings = loom.settings
    defaulted = []
    length_m, csa_mm2 = wire.length_m, wire.csa_mm2
    if length_m is None:
        length_m = settings.wire_length_m
        defaulted.append("length_m")
    if csa_mm2 is None:
        csa_mm2 = settings.wire_csa_mm2
        defaulted.append("csa_mm2")
    joints = sum(wire_joint_ohm(loom, wire, end) for end in wire.ends)
    per_metre = section(csa_mm2)
    factor = length_m * copper_factor(temperature_c)
    return Conductor(
        name=wire.name,
        kind="wire",
        nominal_ohm=max(per_metre.nominal_ohm_per_m * factor + joints, LEAST_OHM),
        greatest_ohm=max(per_metre.greatest_ohm_per_m * factor + joints, LEAST_OHM),
        joints_ohm=joints,
        length_m=length_m,
        least_ohm=max(per_metre.nominal_ohm_per_m * factor + joints, LEAST_OHM) / 2,
        copper_ohm=0.0 if defaulted else tables.copper().resistivity_ohm_mm2_per_m / csa_mm2 * factor,
        section=per_metre,
        defaulted=tuple(defaulted),
    )


def component_conductor(component: Component, settings: Settings, temperature_c: float = 20.0) -> Conductor:
    """Return what a fitted part that joins should read, cold.

    A fuse has a contact at each blade and its cold resistance: stated, else typical for its rating. A link
    is as stated, else two crimps. A relay's resting contact has up to `RELAY_CONTACT_OHM`. A resistor or coil
    is as stated, within its tolerance; a coil is copper. Raises `ValueError` for a component that does not
    join a net.
    """
    stated = component.resistance_ohm
    spread = (component.tolerance_pct or 0.0) / 100.0
    least: float | None = None
    joints = 0.0
    match component.kind:
        case ComponentKind.LINK:
            joints = 2 * settings.crimp_ohm
            nominal = joints if stated is None else stated
            greatest = nominal * (1.0 + spread)
        case ComponentKind.FUSE:
            joints = 2 * seat_ohm(settings, component.rating_a)
            cold = fuse_cold_ohm(component.rating_a) if stated is None else stated
            nominal = joints + cold
            ratio = 1.0 + spread if stated is not None and component.tolerance_pct else FUSE_GREATEST_RATIO
            greatest = joints + cold * ratio
        case ComponentKind.RELAY:
            stated, nominal, greatest = None, RELAY_CONTACT_OHM / 2, RELAY_CONTACT_OHM
        case ComponentKind.RESISTOR | ComponentKind.COIL if stated is not None and stated <= JOINS_OHM:
            least, nominal, greatest = component_ohms(component, stated, temperature_c)
        case ComponentKind.RESISTOR | ComponentKind.COIL | ComponentKind.DIODE | ComponentKind.CAPACITOR:
            raise ValueError(f"{component.name}: a {component.kind} does not make one net of its ends")
        case _:
            assert_never(component.kind)
    return Conductor(
        name=component.name,
        kind="component",
        nominal_ohm=max(nominal, LEAST_OHM),
        greatest_ohm=max(greatest, LEAST_OHM),
        joints_ohm=joints,
        least_ohm=max(nominal / 2 if least is None else least, LEAST_OHM),
        defaulted=("resistance_ohm",) if stated is None else (),
    )


def component_ohms(
    component: Component, stated_ohm: float, temperature_c: float
) -> tuple[float, float, float]:
    """Return least, nominal and greatest ohms of a sound part stated with so many; copper's are at 20 °C."""
    facts = FACTS[component.kind]
    tolerance = facts.tolerance_pct if component.tolerance_pct is None else component.tolerance_pct
    warm = stated_ohm * (copper_factor(temperature_c) if facts.copper else 1.0)
    return warm * (1.0 - tolerance / 100.0), warm, warm * (1.0 + tolerance / 100.0)


def fuse_cold_ohm(rating_a: float | None) -> float:
    """Return the typical cold resistance of a blade fuse, Ω: the row of its rating, else the next smaller.

    A smaller fuse has more resistance, so the choice errs to the greater side. Without a rating it may be the
    smallest of the table, 1 A; below that the resistance is taken to grow with the square of the ratio.
    Source: ``data/fuses.csv`` (typical data; several rows from memory).
    """
    least = tables.fuses()[0]
    if rating_a is None:
        return least.cold_ohm
    below = [row for row in tables.fuses() if row.rating_a <= rating_a]
    if below:
        return below[-1].cold_ohm
    return least.cold_ohm * (least.rating_a / max(rating_a, 0.01)) ** 2
