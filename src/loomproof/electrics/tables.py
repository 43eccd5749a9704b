"""Published figures, read from the data files beside this module; every row has a source and a status.

Status is one of: ``seen quoted`` (read where the source says, not in the standard itself), ``seen quoted,
recomputed``, ``computed`` (from the stated formula), ``common practice`` (no normative source) and ``from
memory`` (not confirmed; nothing is decided on it alone).
"""

from __future__ import annotations

import csv
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from typing import NamedTuple


class Copper(NamedTuple):
    """What is used of copper: Ω·mm²/m at 20 °C, 1/K at 20 °C, and lay factors of flexible strands."""

    resistivity_ohm_mm2_per_m: float
    temperature_coefficient_per_k: float
    lay_factor_nominal: float
    lay_factor_greatest: float


class Size(NamedTuple):
    """One row of a conductor table. Ohms per metre at 20 °C; ``None`` where the table has no such figure."""

    table: str
    label: str
    csa_mm2: float
    typical_ohm_per_m: float | None
    greatest_ohm_per_m: float | None
    source: str
    status: str


class FuseRow(NamedTuple):
    """Typical cold resistance of a blade fuse, Ω, and its drop at rated current, V, by rating, A."""

    rating_a: float
    cold_ohm: float
    source: str
    status: str
    drop_v: float


class Joint(NamedTuple):
    """The most of a sound mated contact and of a crimp or splice joint, Ω, from a section upward, mm²."""

    from_mm2: float
    contact_ohm: float
    joint_ohm: float
    source: str
    status: str


@cache
def rows(name: str) -> tuple[Mapping[str, str], ...]:
    """Return the rows of one data file (``awg`` reads ``data/awg.csv``) as texts by column."""
    text = (files("loomproof.electrics") / "data" / f"{name}.csv").read_text(encoding="utf-8")
    return tuple(csv.DictReader(text.splitlines()))


@cache
def copper() -> Copper:
    """Return the constants of copper."""
    value = {row["quantity"]: float(row["value"]) for row in rows("copper")}
    return Copper(
        value["resistivity_20c"],
        value["temperature_coefficient_20c"],
        value["lay_factor_nominal"],
        value["lay_factor_greatest"],
    )


@cache
def sizes() -> tuple[Size, ...]:
    """Return the sizes of the tables that expectations use: IEC 60228 class 5, n/0.30, AWG."""
    found = [
        Size(
            "IEC 60228 class 5",
            f"{row['csa_mm2']} mm² (IEC 60228 class 5)",
            float(row["csa_mm2"]),
            None,
            float(row["plain_max_ohm_per_km"]) / 1000,
            row["source"],
            row["status"],
        )
        for row in rows("iec_60228_class_5")
    ]
    found += [
        Size(
            "n/0.30",
            row["strands"],
            float(row["csa_mm2"]),
            float(row["typical_ohm_per_km"]) / 1000 if row["typical_ohm_per_km"] else None,
            None,
            row["source"],
            row["status"],
        )
        for row in rows("strands_030")
    ]
    found += [
        Size("AWG", f"AWG {row['awg']}", float(row["csa_mm2"]), None, None, row["source"], row["status"])
        for row in rows("awg")
    ]
    return tuple(found)


@cache
def fuses() -> tuple[FuseRow, ...]:
    """Return typical cold resistances of blade fuses, rating ascending."""
    return tuple(
        sorted(
            FuseRow(
                float(row["rating_a"]),
                float(row["cold_ohm"]),
                row["source"],
                row["status"],
                float(row["drop_v"]),
            )
            for row in rows("fuses")
        )
    )


@cache
def joints() -> tuple[Joint, ...]:
    """Return contacts and joints of thicker wires, section ascending."""
    return tuple(
        Joint(
            float(row["from_mm2"]),
            float(row["contact_ohm"]),
            float(row["joint_ohm"]),
            row["source"],
            row["status"],
        )
        for row in rows("joints")
    )


def joints_of(csa_mm2: float) -> Joint | None:
    """Return the row of a section; ``None`` for a thin wire, which meets a signal contact."""
    return next((row for row in reversed(joints()) if csa_mm2 >= row.from_mm2), None)
