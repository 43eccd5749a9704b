"""A plan as plain JSON values and back: saved, printed, compared, and run again.

Cavities stand as texts (``ECU:12``), point sets as hex texts (``0x1f``), infinite values as ``"open"``.
`questions_of` is what two plans must agree in to ask the same; limits may differ with the temperature.
"""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from loomproof.errors import InputError, Todo
from loomproof.planning.plan import Plan
from loomproof.results.codec import fault_of


class SavedPlan(BaseModel):
    """A plan with what it was made for: the digests of description and adapter."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True, allow_inf_nan=False, defer_build=True)

    number: Literal[2] = Field(default=2, alias="schema")
    loom: str
    loom_digest: str
    adapter_digest: str
    plan: Plan

    def plain(self) -> dict[str, Any]:
        """Return plain JSON values."""
        return self.model_dump(mode="json", by_alias=True)


def read_saved(text: str | bytes, where: str = "the plan") -> SavedPlan:
    """Read the JSON of what `SavedPlan.plain` gave. Raises `InputError` with the place of what is wrong."""
    try:
        return SavedPlan.model_validate_json(text)
    except ValidationError as error:
        raise InputError(f"{where} is no saved plan: {fault_of(error)}", do=Todo.PLAN) from None


def questions_of(plan: Plan) -> object:
    """Return everything that a plan asks of the bench, without the limits that answers are judged by."""
    return (
        plan.vectors,
        tuple((reading.a, reading.b, reading.wires) for reading in plan.conductors),
        tuple((reading.part.component, reading.part.a, reading.part.b) for reading in plan.parts),
        tuple((bound.component, bound.one, bound.other) for bound in plan.bounds),
        plan.isolation_ohm,
        tuple(sorted(plan.scope.point_of.items())),
    )
