"""A plan as plain JSON values and back: saved, printed, compared, and run again.

Cavities stand as texts (``ECU:12``), point sets as hex texts (``0x1f``), infinite values as ``"open"``.
`questions_of` is what two plans must agree in to ask the same; limits may differ with the temperature.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping
from enum import Enum
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from loomproof.errors import InputError, Todo
from loomproof.loom.model import End, end_of
from loomproof.planning.plan import Plan
from loomproof.planning.test_vectors import Group, Vector

SCHEMA = 2


@dataclasses.dataclass(frozen=True, slots=True)
class SavedPlan:
    """A plan with what it was made for: the digests of description and adapter."""

    plan: Plan
    loom: str
    loom_digest: str
    adapter_digest: str

    def plain(self) -> dict[str, object]:
        """Return plain JSON values."""
        return {
            "schema": SCHEMA,
            "loom": self.loom,
            "loom_digest": self.loom_digest,
            "adapter_digest": self.adapter_digest,
            "plan": _plain(self.plan),
        }


def read_saved(value: object, where: str = "the plan") -> SavedPlan:
    """Read what `SavedPlan.plain` gave. Raises `InputError` that names the place of what is wrong."""
    if not isinstance(value, dict) or value.get("schema") != SCHEMA:
        raise InputError(f"{where} is not a saved plan of schema {SCHEMA}", do=Todo.PLAN)
    missing = [key for key in ("loom", "loom_digest", "adapter_digest", "plan") if key not in value]
    if missing:
        raise InputError(f"{where} is no saved plan: it has no {missing[0]}", do=Todo.PLAN)
    try:
        names = [value[key] for key in ("loom", "loom_digest", "adapter_digest")]
        if not all(isinstance(name, str) for name in names):
            raise ValueError("loom, loom_digest and adapter_digest must be texts")
        plan = _read(Plan, value["plan"], "plan")
    except (KeyError, ValueError, TypeError) as error:
        raise InputError(f"{where} cannot be read: {error}", cure="Make it again.") from None
    assert isinstance(plan, Plan)
    return SavedPlan(plan, *names)


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


def _plain(value: object, *, as_set: bool = False) -> object:
    if isinstance(value, End):
        return str(value)
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, Group):
        return {"points": hex(value.points), "head": hex(value.head)}
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        sets = isinstance(value, Vector)
        return {
            field.name: _plain(getattr(value, field.name), as_set=sets) for field in dataclasses.fields(value)
        }
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, frozenset):
        return sorted(value)
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if isinstance(value, float) and math.isinf(value):
        return "open"
    if as_set and isinstance(value, int):
        return hex(value)
    return value


def _read(kind: Any, value: Any, place: str) -> object:
    """Read a plain value as ``kind``, a type as it stands in the annotations of a plan's values."""
    origin, inside = get_origin(kind), get_args(kind)
    if origin in (Union, UnionType):
        if value is None and NoneType in inside:
            return None
        return _read(next(part for part in inside if part is not NoneType), value, place)
    if origin is Literal:
        if value not in inside:
            raise ValueError(f"{place}: one of {inside} was expected, {value!r} found")
        return value
    if kind is End:
        return end_of(_of(str, value, place))
    if dataclasses.is_dataclass(kind):
        return _read_dataclass(kind, value, place)
    if origin is tuple:
        items = _of(list, value, place)
        parts = inside[:1] * len(items) if inside[-1] is Ellipsis else inside
        if len(parts) != len(items):
            raise ValueError(f"{place}: {len(parts)} values were expected, {len(items)} found")
        return tuple(
            _read(part, item, f"{place}[{k}]")
            for k, (part, item) in enumerate(zip(parts, items, strict=True))
        )
    if origin is frozenset:
        return frozenset(_of(int, item, place) for item in _of(list, value, place))
    if origin is not None and issubclass(origin, Mapping):
        key = int if inside[0] is int else end_of if inside[0] is End else str
        items = _of(dict, value, place)
        return {key(text): _read(inside[1], item, f"{place}.{text}") for text, item in items.items()}
    if kind is float:
        return math.inf if value == "open" else float(_of((int, float), value, place))
    if isinstance(kind, type) and issubclass(kind, Enum):
        return kind(value)
    return _of(kind, value, place)


def _read_dataclass(kind: Any, value: Any, place: str) -> object:
    fields = _of(dict, value, place)
    known = dataclasses.fields(kind)
    # A plan that was saved before a field was there has what the field is where nothing is said.
    names = [one.name for one in known if one.name in fields or one.default is dataclasses.MISSING]
    names = ["points", "head"] if kind is Group else names
    if set(fields) != set(names):
        odd = sorted(set(fields) ^ set(names))[0]
        raise ValueError(f"{place}: {odd} is missing or unknown")
    if kind in (Group, Vector):
        return kind(**{name: int(_of(str, fields[name], f"{place}.{name}"), 16) for name in names})
    hints = get_type_hints(kind)
    return kind(**{name: _read(hints[name], fields[name], f"{place}.{name}") for name in names})


def _of(kind: Any, value: Any, place: str) -> Any:
    if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
        raise ValueError(f"{place}: {value!r} was not expected")
    return value
