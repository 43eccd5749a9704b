"""A hook-up plan as a value: which connectors on which points, in which order; plain JSON values and back."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated

from pydantic import Field, TypeAdapter, ValidationError

from loomproof.bench.adapter import Lead, parse_adapter
from loomproof.bench.references import Reference, points_of_all
from loomproof.errors import InputError, Todo
from loomproof.loom.model import End
from loomproof.notebook import Shown
from loomproof.results.codec import fault_of


@dataclass(frozen=True, slots=True)
class Unit:
    """What is plugged as one: a connector, or some leads of one whose leads may be split."""

    name: str
    connector: str
    ends: Annotated[tuple[End, ...], Field(alias="cavities")]


@dataclass(frozen=True, slots=True)
class HookUp:
    """One way of plugging: which units are on, which of them are new, and the point of each cavity."""

    units: tuple[Unit, ...]
    new: tuple[str, ...]
    off: tuple[str, ...]
    point_of: Mapping[End, int]


@dataclass(frozen=True, slots=True)
class HookUpPlan(Shown):
    """All hook-ups in order. ``bound``: no plan has fewer; ``by`` says why.

    ``stay`` and ``limits`` (names of units, and how many of them may be on at once) are what hook-ups
    added later must keep to; ``plugs`` is the table of plugs whose leads stay on their points, "" for none.
    """

    points: int
    hook_ups: tuple[HookUp, ...]
    plug_ins: int
    bound: int
    by: str
    stay: tuple[str, ...] = ()
    limits: tuple[tuple[tuple[str, ...], int], ...] = ()
    plugs: str = ""

    @property
    def leads(self) -> Mapping[End, Lead]:
        """The leads that stay on their points, by cavity. Raises `AdapterError` for a table that is wrong."""
        if not self.plugs:
            return {}
        return {lead.end: lead for lead in parse_adapter(self.plugs, name="plugs", shared=True).entries}

    @property
    def references(self) -> tuple[Reference, ...]:
        """The reference resistors that stay on points of their own. Raises `AdapterError` as `leads` does."""
        return parse_adapter(self.plugs, name="plugs", shared=True).references if self.plugs else ()

    @property
    def reserved(self) -> frozenset[int]:
        """The points of the references, which no plug gets."""
        return points_of_all(self.references)

    @property
    def units(self) -> tuple[Unit, ...]:
        """Everything that is plugged in some hook-up."""
        return tuple(dict.fromkeys(unit for hook_up in self.hook_ups for unit in hook_up.units))

    @property
    def optimal(self) -> bool:
        """Whether fewer hook-ups are proved impossible."""
        return len(self.hook_ups) == self.bound


_SCHEMA = 1


@cache
def _codec() -> TypeAdapter[HookUpPlan]:
    """Return what reads and writes a plan; made when it is first used, for most commands use none."""
    return TypeAdapter(HookUpPlan)


def hook_ups_plain(plan: HookUpPlan) -> dict[str, object]:
    """Return a hook-up plan as plain JSON values."""
    return {"schema": _SCHEMA, **_codec().dump_python(plan, mode="json", by_alias=True)}


def read_hook_ups(value: object, where: str) -> HookUpPlan:
    """Read what `hook_ups_plain` gave. Raises `InputError` where it is something else."""
    if not isinstance(value, dict) or value.get("schema") != _SCHEMA:
        raise InputError(f"{where} is no hook-up plan of schema {_SCHEMA}", do=Todo.PLAN)
    try:
        return _codec().validate_python({key: entry for key, entry in value.items() if key != "schema"})
    except ValidationError as error:
        raise InputError(f"{where} is no hook-up plan: {fault_of(error)}", do=Todo.PLAN) from None
