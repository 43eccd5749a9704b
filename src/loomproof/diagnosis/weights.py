"""The cost of each explanation, read from ``data/weights.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, fields
from functools import cache
from importlib import resources

FILE = "data/weights.toml"


@dataclass(frozen=True, slots=True)
class Weights:
    """Costs in thousandths of one broken wire; the meaning of each stands beside it in the data file."""

    open_wire: int
    open_contact: int
    blown_fuse: int
    open_component: int
    open_splice: int
    short: int
    swap: int
    stray: int
    whole_connector: int
    exchange_alike: int
    exchange_unlike: int
    lead: int
    touch_neighbours: int
    touch_splice: int
    touch_bundle: int
    touch_housing: int
    touch_route: int
    touch_strangers: int
    bound_wrong_loom_percent: int
    bound_wrong_loom_faults: int
    bound_alternatives: int
    bound_leak_ohm: int
    bound_bridged_percent: int
    bound_learn_kind: int
    bound_learn_scale: int
    bound_learn_most: int
    bound_learn_cases_all: int
    bound_learn_cases_family: int
    bound_learn_cases_connector: int
    bound_learn_least: int


@dataclass(frozen=True, slots=True)
class WeightRow:
    """One line of the table: name, cost in thousandths, reason."""

    name: str
    cost: int
    reason: str


@cache
def weight_table() -> tuple[WeightRow, ...]:
    """Return the whole table as it stands in the data file, with its reasons."""
    text = resources.files("loomproof.diagnosis").joinpath(FILE).read_text(encoding="utf-8")
    return tuple(WeightRow(name, row["cost"], row["reason"]) for name, row in tomllib.loads(text).items())


@cache
def weights() -> Weights:
    """Return the costs."""
    costs = {row.name: row.cost for row in weight_table()}
    return Weights(**{field.name: costs[field.name] for field in fields(Weights)})
