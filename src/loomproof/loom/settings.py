"""Defaults and limits of a loom: what is taken where its tables say nothing."""

from __future__ import annotations

from dataclasses import dataclass, fields

from loomproof.loom.guards import number

_ABOVE_ZERO = ("wire_csa_mm2", "isolation_ohm")


@dataclass(frozen=True, slots=True)
class Settings:
    """Defaults and limits that ``loom.toml`` may set; every one has the unit in its name.

    The last four are for the loom fitted and under load; their defaults are common practice: 0.5 V on the
    whole feed side, 0.2 V on one wire, 0.1 V on the earth side, 80 °C of copper in an engine bay.
    ``insulation_test_v`` is what the loom, and all that stays on it, bears in an insulation test: none,
    unless stated. ``stated`` names those that the description sets itself; one that differs from the
    default is stated.
    """

    wire_length_m: float = 2.0
    wire_csa_mm2: float = 0.5
    contact_ohm: float = 0.010
    crimp_ohm: float = 0.005
    splice_ohm: float = 0.005
    margin_ratio: float = 1.25
    margin_ohm: float = 0.050
    isolation_ohm: float = 1.0e6
    test_current_a: float = 0.05
    test_voltage_v: float = 12.0
    insulation_test_v: float = 0.0
    feed_drop_v: float = 0.5
    wire_drop_v: float = 0.2
    earth_drop_v: float = 0.1
    running_c: float = 80.0
    stated: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        stated = set(self.stated)
        for known in fields(self):
            if known.name == "stated":
                continue
            value = number(known.name, getattr(self, known.name))
            if known.name in _ABOVE_ZERO and not value:
                raise ValueError(f"{known.name}: 0 is not above zero")
            object.__setattr__(self, known.name, value)
            if value != known.default:
                stated.add(known.name)
        unknown = stated - {known.name for known in fields(self)}
        if unknown:
            raise ValueError(f"settings: there is no {min(unknown)}")
        object.__setattr__(self, "stated", frozenset(stated))
